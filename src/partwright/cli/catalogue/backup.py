"""partwright catalogue backup: a copy of the catalogue, while it may be in use."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import catalogue_path, in_option, lessons_words, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False), metavar="FILE")
@in_option
@json_option
def command(file: str, catalogue: str | None, as_json: bool) -> int:
    """Copy the catalogue to FILE, whole or not at all, while others may be using it.

    The lessons' folders hold everything the catalogue does, so they are what matters most: back them up too.
    """
    from partwright.cli.output import print_json
    from partwright.errors import InputError, Place

    if Path(file).resolve() == catalogue_path(catalogue).resolve():
        raise InputError("is the catalogue itself", "Choose another name for the backup.", place=Place(file=file))
    with opened(catalogue) as open_one:
        open_one.backup(Path(file))
        count = open_one.count()
    if as_json:
        print_json({"file": file, "lessons": count, "bytes": Path(file).stat().st_size})
    else:
        click.echo(f"{file}  {lessons_words(count)}")
    return 0
