"""partwright arrange: the tune in another key, for another level, with a second part, with an accompaniment."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, out_option, score_argument

if TYPE_CHECKING:
    from partwright.lesson import Prepared
    from partwright.score import WrittenScore

__all__ = ["command"]


@click.command("arrange")
@score_argument
@out_option(required=True, words="MusicXML file to write (.musicxml, .xml, .mxl).")
@click.option("--to", "key", metavar="KEY", help='Put it into this key: "G", "Bb", "F# minor".')
@click.option("--octave", type=int, default=0, metavar="N", help="Octaves higher (lower with -1).  [default: 0]")
@click.option("--version", "version", metavar="LEVEL", help="The version for this level, with its steps listed.")
@click.option("--undo", multiple=True, metavar="STEP", help='A step not to make, as in "octave 18-23". Repeatable.')
@click.option("--second", type=click.Choice(["bass", "counter", "drone"]), help="A second part instead of the tune.")
@click.option(
    "--accompany", "style", metavar="STYLE", help="An accompaniment instead of the tune; auto = by the metre."
)
@hand_options
@json_option
def command(
    score: str,
    out: str,
    key: str | None,
    octave: int,
    version: str | None,
    undo: tuple[str, ...],
    second: str | None,
    style: str | None,
    as_json: bool,
    **hand: object,
) -> int:
    """Write the tune in another key, for another level, or a part to go with it.

    partwright keys tells which key lies well. A lesson makes its versions, second part and accompaniment with
    partwright build; this writes a single file of a tune that has no lesson yet.

    \b
    partwright arrange waltz.musicxml --to G --octave -1 --out waltz-in-g.musicxml
    partwright arrange waltz.musicxml --version beginner --out waltz-easy.musicxml
    partwright arrange waltz.musicxml --second bass --level beginner --out waltz-bass.musicxml
    partwright arrange waltz.musicxml --accompany waltz --out waltz-band.musicxml
    """
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import read_job, refuse_source
    from partwright.errors import InputError, PartwrightError, Place
    from partwright.score import compose_musicxml, write_musicxml

    if sum(choice is not None for choice in (version, second, style)) > 1:
        raise InputError("--version, --second and --accompany each make a file of their own", "Ask for one at a time.")
    if undo and version is None:
        raise InputError("--undo belongs to --version", "Name the level with --version.")
    job = read_job(score, **hand)
    refuse_source(Path(out), job.tune_path)
    try:
        job, moved = _moved(job, key, octave)
        written, document, words, remarks = _made(job, version=version, undo=undo, second=second, style=style)
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error
    write_musicxml(compose_musicxml(written), Path(out))
    for text in (*job.remarks, *remarks):
        remark(f"remark: {text}")
    if as_json:
        print_json({"score": score, "file": out, "semitones": moved, **document})
        return 0
    click.echo(f"{out}: {words}{f', moved by {moved:+d} semitones' if moved else ''}.")
    for line in document.get("lines", ()):  # type: ignore[attr-defined]
        click.echo(f"  {line}")
    return 0


def _moved(job: Prepared, key: str | None, octave: int) -> tuple[Prepared, int]:
    """The job in another key, and how many semitones that is."""
    from partwright.arranging import move_part, semitones_to

    semitones = semitones_to(job.part, key, octave)
    if semitones == 0:
        return job, 0
    return replace(job, tune=replace(job.tune, part=move_part(job.part, semitones)), pins=()), semitones


def _made(
    job: Prepared, *, version: str | None, undo: tuple[str, ...], second: str | None, style: str | None
) -> tuple[WrittenScore, dict[str, object], str, tuple[str, ...]]:
    """What is to be written, its JSON, a word on it, and remarks."""
    from partwright.arranging import (
        accompaniment_score,
        accompany,
        second_part,
        steps_document,
        written_part,
        written_score,
    )
    from partwright.lesson import lesson_harmony, lesson_versions

    if style is not None:
        found = lesson_harmony(job.part)
        made = accompany(
            job.part, style="" if style == "auto" else style, harmony=found.harmony, proposed=found.proposed
        )
        words = f"accompaniment, {made.style}: {', '.join(part.name.lower() for part, _ in made.parts)}"
        remarks = tuple(dict.fromkeys((*found.remarks, *made.remarks)))
        return accompaniment_score(made, job.part), {"style": made.style, "remarks": list(remarks)}, words, remarks
    if second is not None:
        found = lesson_harmony(job.part)
        line = second_part(
            job.part,
            job.instrument,
            kind=second,
            level=job.level,
            harmony=found.harmony,
            proposed=found.proposed,
        )
        remarks = (*found.remarks, *line.remarks)
        bars = written_part(line.part, clefs=job.instrument.levels[job.level].clefs, with_chords=False)
        words = f"{line.part.name.lower()} for {job.level}, {len(line.part.notes)} notes"
        document: dict[str, object] = {"second": second, "level": job.level, "remarks": list(remarks)}
        return written_score([bars], job.part, subtitle=line.part.name), document, words, remarks
    if version is not None:
        lesson = replace(job.lesson, undo=tuple(f"{version}: {name}" for name in undo))
        made_version = lesson_versions(replace(job, lesson=lesson), levels=[version])[version]
        document = steps_document(made_version)
        kept = made_version.recognition
        words = (
            f"{version} version in {len(made_version.steps)} steps; {kept.contour:.0%} of the tune's moves and "
            f"{kept.strong_names:.0%} of its strong beats are kept"
        )
        document["lines"] = [f"{step.name}: {step.what}. Why: {step.why}." for step in made_version.steps]
        bars = written_part(made_version.part, clefs=job.instrument.levels[version].clefs)
        return written_score([bars], job.part, subtitle=f"{version} version"), document, words, made_version.remarks
    bars = written_part(job.part, clefs=job.instrument.levels[job.level].clefs)
    return written_score([bars], job.part), {}, f"{len(job.part.notes)} notes", ()
