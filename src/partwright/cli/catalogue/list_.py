"""partwright catalogue list: the lessons that are as you ask."""

from __future__ import annotations

import click

from partwright.cli.catalogue.shelf import in_option, listed_rows, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("list")
@click.argument("wishes", default="", metavar="[WISHES]")
@click.option("--limit", type=click.IntRange(1), metavar="N", help="At most so many.  [default: all]")
@in_option
@json_option
def command(wishes: str, limit: int | None, catalogue: str | None, as_json: bool) -> int:
    """List the lessons; with WISHES only those that meet them all.

    \b
    partwright catalogue list "intermediate, no extensions, D major, under 3 minutes"

    \b
    Wishes are, with commas between:
      beginner, intermediate, advanced     cello, viola, violin, double bass
      D major, F sharp minor, B flat major 3/4, 6/8
      under 3 minutes, over 90 seconds     under 5 EUR
      no extensions, with harmonics, no thumb, no double stops
      first position, position IV
      draft, released, changed, incomplete
      public domain, own work, licensed, fan arrangement, no rights
      with errata, to answer               tag waltz
    """
    from partwright.catalogue import find_lessons_by, parse_filters

    filters = parse_filters(wishes)
    with opened(catalogue) as open_one:
        found = find_lessons_by(open_one.database, filters=filters, limit=limit)
    return show_found(found, as_json=as_json)


def show_found(found: object, *, as_json: bool) -> int:
    """Print a list of lessons; shared with `search`."""
    from partwright.catalogue import Found
    from partwright.cli.output import print_json, remark

    assert isinstance(found, Found)
    if as_json:
        rows = [
            {
                "id": row.entry.id,
                "folder": row.entry.folder,
                "title": row.entry.title,
                "composer": row.entry.composer,
                "instrument": row.entry.instrument,
                "level": row.entry.level,
                "key": row.entry.key,
                "seconds": row.entry.seconds,
                "state": row.entry.state,
                "edition": row.edition,
                "rights_status": row.status,
                "open_errata": row.open_errata,
                "reports_to_answer": row.to_answer,
            }
            for row in found.rows
        ]
        print_json({"total": found.total, "lessons": rows})
        return 0
    if found.rows:
        for line in listed_rows(found.rows):
            click.echo(line)
    more = f", the first {len(found.rows)} shown" if len(found.rows) < found.total else ""
    remark(f"{found.total} lesson{'' if found.total == 1 else 's'}{more}.")
    return 0
