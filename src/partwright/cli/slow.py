"""partwright slow: a recording at another speed, or in another key."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import json_option, out_option

if TYPE_CHECKING:
    from partwright.sound import Slowed

__all__ = ["command"]


@click.command("slow")
@click.argument("audio", type=click.Path(), metavar="AUDIO")
@click.option(
    "--speed", type=float, default=1.0, metavar="FACTOR", help="0.5 to 1.5; 0.75 is three quarters.  [default: 1]"
)
@click.option(
    "--transpose",
    "semitones",
    type=float,
    default=0.0,
    metavar="SEMITONES",
    help="Up, or down if negative, at most 12.",
)
@out_option(required=True, words="File to write: .flac, .wav, .mp3, .m4a or .opus.")
@json_option
def command(audio: str, speed: float, semitones: float, out: str, as_json: bool) -> int:
    """Slow a recording down at its own pitch, or transpose it at its own speed.

    \b
    partwright slow band.mp3 --speed 0.75 --out band-75.mp3
    partwright slow band.flac --transpose -2 --out band-in-c.flac
    """
    from partwright.cli.output import print_json, remark
    from partwright.sound import Tags, slow_file

    told = [0]

    def heard(seconds: float, of: float | None) -> None:
        """One line a minute of music; the work is quicker than that."""
        if seconds >= 60 * (told[0] + 1):
            told[0] = int(seconds // 60)
            remark(f"{_clock(seconds)}{f' of {_clock(of)}' if of else ''} done")

    words = [f"{speed * 100:g} %"] if speed != 1 else []
    words += [f"{semitones:+g} semitones"] if semitones else []
    tags = Tags(title=" ".join([Path(audio).stem, f"({', '.join(words)})"]) if words else Path(audio).stem)
    slowed = slow_file(Path(audio), Path(out), speed=speed, semitones=semitones, tags=tags, heard=heard)
    for text in slowed.remarks:
        remark(f"remark: {text}")
    if as_json:
        print_json(_document(slowed))
    else:
        loud = f", {slowed.lufs:.1f} LUFS" if math.isfinite(slowed.lufs) else ""
        click.echo(f"{out}: {_clock(slowed.seconds)} from {_clock(slowed.source_seconds)}{loud}.")
    return 0


def _document(slowed: Slowed) -> dict[str, object]:
    return {
        "file": str(slowed.file),
        "seconds": round(slowed.seconds, 6),
        "source_seconds": round(slowed.source_seconds, 6),
        "lufs": round(slowed.lufs, 2) if math.isfinite(slowed.lufs) else None,
        "true_peak_dbtp": round(slowed.true_peak_dbtp, 2) if math.isfinite(slowed.true_peak_dbtp) else None,
        "notes": [],
        "remarks": list(slowed.remarks),
    }


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
