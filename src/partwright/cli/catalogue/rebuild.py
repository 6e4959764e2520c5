"""partwright catalogue rebuild: make the catalogue again from the folders."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import catalogue_path, in_option, lessons_words, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("rebuild")
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False), metavar="[FOLDER...]")
@in_option
@json_option
def command(folders: tuple[str, ...], catalogue: str | None, as_json: bool) -> int:
    """Make the catalogue again from the lessons' folders: those below the catalogue's own folder, below FOLDER, and
    where lessons were added from before. A catalogue that is damaged is moved aside first, never thrown away.

    Exit code 1: some folders are not as they should be; each is told.
    """
    from partwright.cli.output import print_json, progress, remark
    from partwright.errors import InputError, NewerFormat

    path = catalogue_path(catalogue)
    if path.is_file():
        try:
            with opened(catalogue) as open_one:
                damaged = open_one.faults()
        except NewerFormat:
            raise
        except InputError as error:
            if "is in use" in error.what:
                raise
            damaged = (error.what,)
        if damaged:
            aside = _aside(path)
            remark(f"remark: {path} was damaged ({damaged[0]}); it is now {aside}.")
    with progress(0) as shown, opened(catalogue, create=True) as open_one:
        done = open_one.rebuild(
            [Path(folder) for folder in folders],
            told=lambda number, total, folder: shown.start(folder.name, number, total) if number % 50 == 1 else None,
        )
    if as_json:
        print_json(
            {
                "lessons": done.lessons,
                "gone": list(done.gone),
                "trouble": [{"folder": t.folder, "what": t.what} for t in done.trouble],
            }
        )
        return 1 if done.trouble or done.gone else 0
    for lesson_id in done.gone:
        click.echo(f"? check  {lesson_id}: was in the catalogue, but its folder is nowhere below where it looked.")
    for trouble in done.trouble:
        click.echo(f"✗ wrong  {trouble.folder}  {trouble.what}")
    click.echo(f"{lessons_words(done.lessons)} in the catalogue.")
    return 1 if done.trouble or done.gone else 0


def _aside(path: Path) -> Path:
    """Move a damaged catalogue out of the way under a name that is free, with what belongs to it."""
    number = 1
    while (target := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    path.rename(target)
    for ending in ("-wal", "-shm"):
        beside = path.with_name(path.name + ending)
        if beside.exists():
            beside.rename(target.with_name(target.name + ending))
    return target
