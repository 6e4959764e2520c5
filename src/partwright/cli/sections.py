"""partwright sections: a tune taken apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument

if TYPE_CHECKING:
    from partwright.lesson import Likeness, Outline

__all__ = ["command"]


@click.command("sections")
@score_argument
@hand_options
@json_option
def command(score: str, as_json: bool, **hand: object) -> int:
    """Show the sections of a tune, the phrases in them, and which bars are earlier bars again but for which notes.

    A lesson's own sections stand; else those the page shows; else they are found in the music. Where equal notes have
    another finger or stroke, that is told too.

    \b
    partwright sections waltz.musicxml
    partwright sections waltz --json
    """
    from partwright.cli.output import print_json
    from partwright.cli.read_job import plan_prepared, read_job
    from partwright.lesson import make_outline, outline_document

    job = read_job(score, **hand)
    plan = plan_prepared(job)
    outline = make_outline(job.part, sections=job.lesson.sections, plan=plan, instrument=job.instrument)
    if as_json:
        print_json({"score": score, **outline_document(outline)})
        return 0
    for line in _lines(outline):
        click.echo(line)
    return 0


def _lines(outline: Outline) -> list[str]:
    from partwright.cli.output import table_lines
    from partwright.lesson import likeness_words
    from partwright.score import beat_text

    numbers = [bar.number for bar in outline.bars.part.bars]
    rows = []
    for section in outline.sections:
        for index, phrase in enumerate(section.phrases or (None,), start=1):
            rows.append(
                [
                    section.name if index == 1 else "",
                    f"{section.first_bar}–{section.last_bar}" if index == 1 else "",
                    f"phrase {index}" if phrase else "rests",
                    f"{numbers[phrase.first_bar]}:{beat_text(phrase.first_beat)} to "
                    f"{numbers[phrase.last_bar]}:{beat_text(phrase.last_beat)}"
                    if phrase
                    else "",
                ]
            )
    lines = list(table_lines(["section", "bars", "", "from bar:beat to bar:beat"], rows))
    if outline.likenesses:
        lines += ["", "Again:"]
        lines += [f"  {_again(likeness, likeness_words(likeness))}" for likeness in outline.likenesses]
    told = {"lesson": "set in lesson.toml", "page": "as the page shows them", "music": "found in the music"}
    origin = told[outline.sections[0].origin] if outline.sections else "none"
    lines.append(
        f"{len(outline.sections)} sections ({origin}), {len(outline.phrases)} phrases, "
        f"{len(outline.likenesses)} returns."
    )
    return lines


def _again(likeness: Likeness, words: str) -> str:
    return words[0].upper() + words[1:]
