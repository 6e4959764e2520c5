"""partwright play: a tune as sound, or as a Standard MIDI File."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.options import hand_options, json_option, out_option, score_argument

__all__ = ["command"]


@click.command("play")
@score_argument
@out_option(required=True, words="File to write: .flac, .wav, .mp3, .m4a, .opus or .mid.")
@click.option("--tempo", "tempo_qpm", type=float, metavar="QPM", help="Quarter notes a minute at the beginning.")
@click.option("--speed", type=float, default=1.0, metavar="FACTOR", help="All tempi times this.  [default: 1]")
@click.option(
    "--count-in", "count_in", type=click.IntRange(0, 4), default=0, metavar="BARS", help="Bars counted before."
)
@click.option(
    "--only",
    multiple=True,
    type=click.Choice(["guide", "accompaniment", "click", "drone"]),
    help="What is heard. Repeatable.  [default: guide and accompaniment]",
)
@click.option("--bars", metavar="FIRST-LAST", help="Only these bars, as printed: 11-18.")
@click.option("--subdivide", type=click.IntRange(1, 4), default=1, help="Clicks in a beat.  [default: 1]")
@click.option("--split", is_flag=True, help="Guide on the left, everything else on the right.")
@click.option("--a4", "a4_hz", type=float, default=440.0, metavar="HZ", help="Pitch of A4, 415 to 466.  [default: 440]")
@click.option(
    "--temperament",
    "temperament_name",
    type=click.Choice(["equal", "pythagorean", "just"]),
    default="equal",
    help="just: pure intervals above the drone, or above the key's first note.  [default: equal]",
)
@click.option(
    "--drone", metavar="NOTE", help="Note of the drone and of just intonation, as in D or Bb.  [default: the key]"
)
@click.option("--vibrato-cents", type=click.FloatRange(0, 60), metavar="CENTS", help="Half width.  [default: by level]")
@click.option(
    "--chords", type=click.Choice(["plucked", "struck", "held"]), default="plucked", help="Sound of the chords."
)
@click.option(
    "--sound-font",
    type=click.Path(),
    metavar="FILE",
    help="Your General MIDI sound font for the accompaniment, .sf2 or .sf3; needs the command fluidsynth.",
)
@click.option(
    "--count",
    type=click.Choice(["click", "spoken"]),
    help="How --count-in counts. spoken: with the click, needs the command espeak-ng.  [default: click]",
)
@click.option("--lufs", type=click.FloatRange(-40, -8), default=-16.0, metavar="LUFS", help="Loudness.  [default: -16]")
@click.option("--written", is_flag=True, help="MIDI only: each bar once, as on the page; repeats are not unfolded.")
@hand_options
@json_option
def command(score: str, out: str, as_json: bool, **options: object) -> int:
    """Play a tune into a file: as it is fingered and bowed, repeats unfolded.

    SCORE is a tune or a lesson folder. Chords come from the other parts of the score, or from its chord symbols. With
    --count-in the count is that of the first bar, a pick-up's true length included.

    \b
    partwright play waltz.musicxml --out waltz.flac
    partwright play waltz --speed 0.6 --count-in 1 --only guide --only click --out slow.mp3
    partwright play waltz --bars 11-18 --only guide --temperament just --drone D --out pure.flac
    partwright play waltz --out waltz.mid
    """
    from partwright.cli.output import print_json, remark
    from partwright.cli.play_job import play_job

    played = play_job(score, Path(out), options)
    for text in played.remarks:
        remark(f"remark: {text}")
    if as_json:
        print_json(played.document())
    else:
        click.echo(played.sentence())
    return 0
