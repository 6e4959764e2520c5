"""partwright engrave: the part as PDF or SVG."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.options import hand_options, json_option, label_options, marks_option, out_option, score_argument

__all__ = ["command"]


@click.command("engrave")
@score_argument
@out_option(
    required=True, words="The page to write: .pdf or .svg. An SVG holds one page; more are numbered FILE-2.svg …"
)
@click.option("--page", "paper", default="a4", metavar="SIZE", help="a4 or letter.  [default: a4]")
@hand_options
@marks_option
@label_options
@json_option
def command(
    score: str,
    out: str,
    paper: str,
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
    """
    from partwright.building import page_heading, page_labels
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import plan_prepared, read_job, refuse_source
    from partwright.engraving import engrave_part_pdf, engrave_part_svg, page_size
    from partwright.errors import InputError
    from partwright.files import write_atomic
    from partwright.lesson import page_tune, plan_marks

    path = Path(out)
    kind = path.suffix.casefold()
    if kind not in (".pdf", ".svg"):
        raise InputError(f'"{out}" ends neither in .pdf nor in .svg', "Name the page accordingly.")
    size = page_size(paper)
    job = read_job(score, **hand)
    refuse_source(path, job.tune_path)
    wanted = marks or job.lesson.marks
    found = () if wanted == "none" else plan_marks(job, plan_prepared(job), marks=wanted, roman=roman)
    for text in job.remarks:
        remark(f"remark: {text}")
    heading, labels, tune = page_heading(job, roman=roman), page_labels(job, roman=roman), page_tune(job)
    if kind == ".pdf":
        write_atomic(path, engrave_part_pdf(tune, found, heading=heading, page=size, string_letters=labels))
        written = [path]
    else:
        pages = engrave_part_svg(tune, found, heading=heading, page=size, string_letters=labels)
        written = [path, *(path.with_name(f"{path.stem}-{n}.svg") for n in range(2, len(pages) + 1))]
        for target, page in zip(written, pages, strict=True):
            write_atomic(target, page)
    if as_json:
        print_json({"files": [str(target) for target in written], "page": paper})
    else:
        for target in written:
            click.echo(f"{target}")
    return 0
