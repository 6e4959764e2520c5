"""partwright catalogue page: the catalogue as a page for a web site."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import in_option, lessons_words, opened, today
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("page")
@click.argument("file", type=click.Path(dir_okay=False), metavar="FILE")
@click.option("--title", default="Catalogue", show_default=True, help="What stands at its head.")
@click.option("--all", "everything", is_flag=True, help="Lessons that are not released yet too.")
@in_option
@json_option
def command(file: str, title: str, everything: bool, catalogue: str | None, as_json: bool) -> int:
    """Write the released lessons as one HTML page: levels, keys, lengths, positions, hardest spots, editions, prices.

    The page fetches nothing and runs nothing; put it on any site.
    """
    from partwright.catalogue import catalogue_page
    from partwright.cli.output import print_json
    from partwright.files import write_atomic

    with opened(catalogue) as open_one:
        entries = [entry for entry in open_one.entries() if everything or entry.editions]
    write_atomic(Path(file), catalogue_page(entries, title=title, today=today().isoformat()))
    if as_json:
        print_json({"file": file, "lessons": len(entries)})
    else:
        click.echo(f"{file}  {lessons_words(len(entries))}")
    return 0
