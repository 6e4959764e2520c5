"""partwright engrave: the part as PDF or SVG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, label_options, marks_option, out_option, score_argument

if TYPE_CHECKING:
    from partwright.lesson import Prepared
    from partwright.score import Mark

__all__ = ["command"]


@click.command("engrave")
@score_argument
@out_option(
    required=True, words="The page to write: .pdf or .svg. An SVG holds one page; more are numbered FILE-2.svg …"
)
@click.option("--page", "paper", default="a4", metavar="SIZE", help="a4 or letter.  [default: a4]")
@click.option("--charts", is_flag=True, help="Draw the fingerboard charts of the positions used, not the part.")
@hand_options
@marks_option
@label_options
@json_option
def command(
    score: str,
    out: str,
    paper: str,
    charts: bool,
    marks: str | None,
    roman: bool | None,
    as_json: bool,
    **hand: object,
) -> int:
    """Print the part as PDF or SVG.

    SCORE is a tune or a lesson folder. The part is fingered first; --marks none prints it as it came.

    \b
    partwright engrave waltz.musicxml --out waltz.pdf
    partwright engrave waltz --page letter --roman --out waltz.pdf
    partwright engrave waltz --charts --out waltz-charts.pdf
    """
    from partwright.building import page_heading
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import plan_prepared, read_job, refuse_source
    from partwright.engraving import (
        charts_pdf,
        charts_svg,
        engrave_part_pdf,
        engrave_part_svg,
        hands_of_plan,
        page_size,
    )
    from partwright.errors import InputError
    from partwright.files import write_atomic
    from partwright.lesson import page_instrument, page_tune

    path = Path(out)
    kind = path.suffix.casefold()
    if kind not in (".pdf", ".svg"):
        raise InputError(f'"{out}" ends neither in .pdf nor in .svg', "Name the page accordingly.")
    size = page_size(paper)
    job = read_job(score, **hand)
    refuse_source(path, job.tune_path)
    for text in job.remarks:
        remark(f"remark: {text}")
    heading = page_heading(job, roman=roman)
    pages: Sequence[bytes | str]
    if charts:
        instrument = page_instrument(job, roman=roman)
        hands = hands_of_plan(job.part, plan_prepared(job), instrument)
        fifths = job.part.bars[0].fifths
        if kind == ".pdf":
            pages = [charts_pdf(instrument, hands, heading=heading, fifths=fifths, page=size)]
        else:
            pages = charts_svg(instrument, hands, heading=heading, fifths=fifths, page=size)
    else:
        found = engraved_marks(job, marks=marks, roman=roman)
        tune, instrument = page_tune(job), page_instrument(job, roman=roman)
        if kind == ".pdf":
            pages = [engrave_part_pdf(tune, found, heading=heading, page=size, instrument=instrument)]
        else:
            pages = engrave_part_svg(tune, found, heading=heading, page=size, instrument=instrument)
    written = [path, *(path.with_name(f"{path.stem}-{n}{path.suffix}") for n in range(2, len(pages) + 1))]
    for target, page in zip(written, pages, strict=True):
        write_atomic(target, page)
    if as_json:
        print_json({"files": [str(target) for target in written], "page": paper})
    else:
        for target in written:
            click.echo(f"{target}")
    return 0


def engraved_marks(job: Prepared, *, marks: str | None, roman: bool | None) -> tuple[Mark, ...]:
    """The plan's marks for the page; no plan is made where no marks are wanted."""
    from partwright.cli.read_job import plan_prepared
    from partwright.lesson import lesson_bowing, plan_marks

    wanted = marks or job.lesson.marks
    if wanted == "none":
        return ()
    plan = plan_prepared(job)
    return plan_marks(job, plan, bowing=lesson_bowing(job, plan), marks=wanted, roman=roman)
