"""partwright new: a lesson folder from a tune, and at once a word on what was found."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("new")
@click.argument("folder", type=click.Path(), metavar="DIR")
@click.option(
    "--from", "tune", required=True, type=click.Path(), metavar="TUNE", help="MusicXML, MIDI or ABC; it is copied."
)
@click.option("--to", "key", metavar="KEY", help='Put it into this key: "G", "Bb"; partwright keys ranks them.')
@click.option("--octave", type=int, default=0, metavar="N", help="Octaves higher (lower with -1).  [default: 0]")
@click.option("--instrument", metavar="NAME", help="cello, viola, violin or double_bass.  [default: cello]")
@click.option("--size", metavar="SIZE", help="Size of the instrument, as in 3/4.  [default: full size]")
@click.option("--string-length-mm", type=float, metavar="MM", help="Your open string from nut to bridge, in mm.")
@click.option("--tuning", metavar="PITCHES", help='Open strings low to high, as in "C2 G2 D3 G3".')
@click.option("--school", metavar="NAME", help="Whose names of positions to use.")
@click.option("--level", metavar="LEVEL", help="beginner, intermediate or advanced.  [default: advanced]")
@click.option("--part", metavar="PART", help="Which part, where the tune has several.")
@click.option("--voice", metavar="VOICE", help="Which voice, where the part has several.")
@click.option("--title", help="Printed at the head of the page.  [default: as in the tune]")
@click.option("--teacher", help="Who fingers and teaches it.")
@json_option
def command(folder: str, tune: str, key: str | None, octave: int, as_json: bool, **settings: object) -> int:
    """Start a lesson folder from a tune.

    DIR must not be there yet, or be empty. The tune is copied into it byte for byte (MIDI, ABC and .mxl are converted
    once, the original kept beside), and lesson.toml is written with a word on every setting. In another key the tune is
    written out anew, and the original kept beside it; partwright keys says which key lies well.

    \b
    partwright new waltz --from waltz.musicxml
    partwright new waltz --from waltz.musicxml --to G --octave -1
    partwright new waltz --from waltz.mid --instrument viola --level beginner
    """
    from partwright.cli.output import print_json, remark
    from partwright.lesson import Lesson, new_lesson, prepare_instrument, survey_document, survey_lines

    given = {key: value for key, value in settings.items() if value is not None}
    lesson = Lesson(**given)  # type: ignore[arg-type]
    prepare_instrument(lesson, Path())
    lesson, survey = new_lesson(Path(folder), Path(tune), lesson, key=key, octaves=octave)
    if as_json:
        print_json({"folder": folder, "title": lesson.title, **survey_document(survey)})
        return 0
    click.echo(f"{folder}: {lesson.title}")
    for line in survey_lines(survey):
        click.echo(line)
    remark(f"Next: look at {folder}/lesson.toml, then run: partwright build {folder}")
    return 0
