"""partwright catalogue add: enter lessons, or read them again."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import in_option, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("add")
@click.argument("folders", nargs=-1, required=True, type=click.Path(), metavar="LESSON...")
@click.option("--new-id", is_flag=True, help="Give the lesson a new id: for a copy that becomes a lesson of its own.")
@in_option
@json_option
def command(folders: tuple[str, ...], new_id: bool, catalogue: str | None, as_json: bool) -> int:
    """Enter lessons in the catalogue, or read them again after they were moved or changed.

    A lesson gets an id from its title, written into its lesson.toml; by that it is known wherever its folder lies. A
    folder that holds no lesson itself is looked through for lessons.

    \b
    partwright catalogue add waltz
    partwright catalogue add lessons
    """
    from partwright.catalogue import ensure_id
    from partwright.catalogue.catalogue_io import find_lessons
    from partwright.cli.output import print_json, remark
    from partwright.errors import LessonError, PartwrightError, Place

    added, failed = [], []
    with opened(catalogue, create=True) as open_one:
        taken = set(open_one.ids())
        for name in folders:
            path = Path(name)
            found = find_lessons([path]) if path.is_dir() else ()
            if not found:
                missing = "holds no lesson" if path.is_dir() else "is not there"
                raise LessonError(missing, "Check the name.", place=Place(file=name))
            outside = [path.parent] if found[0] == path.resolve() else [path]
            for folder in found:
                try:
                    taken.add(ensure_id(folder, taken=taken, new=new_id))
                    added.append(open_one.add(folder))
                except PartwrightError as error:
                    failed.append(str(error))
            open_one.remember_roots([p for p in outside if not p.resolve().is_relative_to(open_one.home)])
        count = open_one.count()
    if as_json:
        print_json({"added": [{"id": e.id, "folder": e.folder, "state": e.state} for e in added], "failed": failed})
    for entry in [] if as_json else added:
        click.echo(f"{entry.id}  {entry.title}  {entry.state}")
        if entry.trouble:
            remark(f"remark: {entry.trouble}")
    for text in failed:
        remark(f"partwright: {text}")
    if not as_json:
        remark(f"{count} lesson{'' if count == 1 else 's'} in the catalogue.")
    return 2 if failed else 0
