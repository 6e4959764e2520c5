"""partwright catalogue release: freeze what is sold as the next edition."""

from __future__ import annotations

import click

from partwright.cli.catalogue.shelf import enter_again, in_option, lesson_folder, parse_date, today
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("release")
@click.argument("lesson", metavar="LESSON")
@click.option("--date", metavar="DATE", help="Date of the edition, as in 2026-11-28.  [default: today]")
@click.option("--anyway", is_flag=True, help="Even where nothing a buyer would see has changed.")
@in_option
@json_option
def command(lesson: str, date: str | None, anyway: bool, catalogue: str | None, as_json: bool) -> int:
    """Freeze what is sold of a lesson as its next edition, in LESSON/editions.

    The lesson is built, its pages get the edition's number and date, and the files are kept with their hashes, with
    what they were made from, and with what changed since the last edition in a player's words. An edition is never
    written over. The same lesson and date give the same bytes in any folder.

    Nothing is released without a rights status in lesson.toml: see partwright catalogue rights LESSON.

    \b
    partwright catalogue release waltz
    """
    from partwright.building import STEPS, choose_steps
    from partwright.catalogue import copies_sold, release
    from partwright.catalogue.editions_io import sold_products
    from partwright.catalogue.entry_io import read_copies
    from partwright.cli.output import print_json, progress, remark
    from partwright.lesson import RIGHTS_CAUTION, erratum_words, read_lesson

    folder = lesson_folder(lesson, catalogue)
    total = len(choose_steps(STEPS, sold_products(read_lesson(folder))))
    with progress(total) as shown:
        done = release(
            folder,
            today=today(),
            date=parse_date(date),
            copies_made=copies_sold(read_copies(folder)),
            even_if_unchanged=anyway,
            started=lambda step, number, count: shown.start(step.words, number, count),
            finished=lambda _: shown.finish(),
        )
    enter_again(folder, catalogue)
    edition = done.edition
    for text in (*(f"remark: {text}" for text in done.remarks), *(f"remark: {gap}" for gap in done.gaps)):
        remark(text)
    remark(RIGHTS_CAUTION)
    if as_json:
        print_json(
            {
                "lesson": edition.lesson_id,
                "edition": edition.number,
                "date": edition.date.isoformat(),
                "folder": str(done.folder),
                "seal": edition.seal,
                "changes": list(edition.changes),
                "files": [{"name": f.name, "sha256": f.sha256, "bytes": f.size_bytes} for f in edition.files],
                "mended": [erratum.id for erratum in done.mended],
                "still_open": [erratum.id for erratum in done.unmended],
                "remarks": [*done.remarks, *(str(gap) for gap in done.gaps)],
            }
        )
        return 0
    files = f"{len(edition.files)} file{'' if len(edition.files) == 1 else 's'}"
    click.echo(f"{done.folder}  edition {edition.number}, {edition.date.isoformat()}, {files}")
    for change in edition.changes:
        click.echo(f"  {change}")
    for erratum in done.mended:
        click.echo(f"✓ erratum {erratum.id} is mended: {erratum_words(erratum)}")
    for erratum in done.unmended:
        click.echo(f"? erratum {erratum.id} is still open: {erratum_words(erratum)}")
    return 0
