"""partwright catalogue copy: a buyer's line on every page of a copy, counted against the licence."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import enter_again, in_option, lesson_folder, today
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("copy")
@click.argument("lesson", metavar="LESSON")
@click.option("--for", "line", required=True, metavar="LINE", help='The licence line, as in "A. Reader, order 118".')
@click.option("--out", required=True, type=click.Path(file_okay=False), metavar="DIR", help="Where the files go.")
@click.option("--edition", "number", type=click.IntRange(1), metavar="N", help="Which edition.  [default: the latest]")
@click.option("--file", "names", multiple=True, metavar="NAME", help="Only this PDF, as in part-a4. Repeatable.")
@in_option
@json_option
def command(
    lesson: str, line: str, out: str, number: int | None, names: tuple[str, ...], catalogue: str | None, as_json: bool
) -> int:
    """Make a buyer's copy of an edition: its PDFs with the licence line at the foot of every page.

    The copy is counted against the licence's limit before its files are written. One line is one sale: the same line
    again, or on a later edition whose mistakes are mended, is not counted twice. `partwright catalogue verify` knows
    the copy again. The line is kept in the lesson's folder, in editions/copies.jsonl: it may name a person, so write
    no more into it than you need.

    \b
    partwright catalogue copy waltz --for "A. Reader, order 118" --out outbox
    """
    from partwright.catalogue import make_copy
    from partwright.cli.output import print_json, remark

    folder = lesson_folder(lesson, catalogue)
    made = make_copy(folder, line, Path(out), today=today(), number=number, names=names)
    enter_again(folder, catalogue)
    for gap in made.gaps:
        remark(f"remark: {gap}")
    if as_json:
        print_json(
            {
                "copy": made.id,
                "edition": made.edition,
                "line": made.line,
                "files": [str(path) for path in made.files],
                "made": made.made,
                "allowed": made.allowed,
                "again": made.again,
                "replaces": list(made.replaces),
            }
        )
        return 0
    for path in made.files:
        click.echo(f"{path}")
    before = ", made before" if made.again else ""
    if made.replaces and not before:
        listed = " and ".join(str(number) for number in made.replaces)
        before = f", in place of edition {listed} of the same sale"
    of = f" of {made.allowed}" if made.allowed is not None else ""
    click.echo(f"copy {made.id} of edition {made.edition}{before}: {made.made}{of} made.")
    return 0
