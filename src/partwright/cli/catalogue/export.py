"""partwright catalogue export: the catalogue as a table for other programs."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import in_option, lessons_words, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False), metavar="FILE")
@click.option("--wishes", default="", metavar="WISHES", help="As in list: only lessons that meet these.")
@in_option
@json_option
def command(file: str, wishes: str, catalogue: str | None, as_json: bool) -> int:
    """Write the catalogue's lessons to FILE: .csv for a spreadsheet, .json for a program.

    In CSV a text that a spreadsheet would run as a formula has an apostrophe before it.
    """
    from partwright.catalogue import export_csv, export_json, find_lessons_by, parse_filters
    from partwright.cli.output import print_json
    from partwright.errors import InputError, Place
    from partwright.files import write_atomic

    path = Path(file)
    kind = path.suffix.casefold()
    if kind not in (".csv", ".json"):
        raise InputError("is neither .csv nor .json", "Choose one of the two.", place=Place(file=file))
    with opened(catalogue) as open_one:
        found = find_lessons_by(open_one.database, filters=parse_filters(wishes))
        entries = open_one.entries([row.entry.id for row in found.rows])
    # The mark at the start tells a spreadsheet that the text is UTF-8.
    text = "\ufeff" + export_csv(entries) if kind == ".csv" else export_json(entries)
    write_atomic(path, text)
    if as_json:
        print_json({"file": file, "lessons": len(entries)})
    else:
        click.echo(f"{file}  {lessons_words(len(entries))}")
    return 0
