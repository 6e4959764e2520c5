"""partwright catalogue build: what is out of date, over many lessons at once."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import in_option, lessons_words, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("build")
@click.argument("lessons", nargs=-1, metavar="[LESSON...]")
@click.option("--only", multiple=True, metavar="NAME", help="Only this product, with what it needs. Repeatable.")
@click.option("--wishes", default="", metavar="WISHES", help="As in list: only lessons that meet these.")
@click.option("--processes", type=click.IntRange(1, 512), metavar="N", help="On so many.  [default: one for each core]")
@click.option("--cluster", metavar="ADDRESS", help="On the Dask cluster at tcp://HOST:PORT instead of this machine.")
@in_option
@json_option
def command(
    lessons: tuple[str, ...],
    only: tuple[str, ...],
    wishes: str,
    processes: int | None,
    cluster: str | None,
    catalogue: str | None,
    as_json: bool,
) -> int:
    """Build what is out of date in every lesson of the catalogue, or in those named, many at once.

    A lesson that cannot be built is told at the end; the others are done. Stop it whenever you like: the next run goes
    on where it was. A cluster's workers must see the lessons under the same paths. Exit code 1: some failed.

    \b
    partwright catalogue build
    partwright catalogue build --only part-a4 --wishes "draft"
    """
    from partwright.building import STEPS, choose_steps
    from partwright.catalogue import (
        Built,
        build_many,
        cluster_pool,
        find_lessons_by,
        local_pool,
        parse_filters,
    )
    from partwright.cli.output import print_json, progress, remark
    from partwright.errors import PartwrightError

    choose_steps(STEPS, only)
    with opened(catalogue) as open_one:
        if lessons:
            folders = [open_one.folder_of(open_one.entry(name)) for name in lessons]
        else:
            found = find_lessons_by(open_one.database, filters=parse_filters(wishes))
            folders = [open_one.folder_of(row.entry) for row in found.rows]
        pool = cluster_pool(cluster) if cluster else local_pool(processes)
        troubles: list[str] = []

        with progress(len(folders)) as shown:

            def told(done: int, total: int, built: Built) -> None:
                state = "failed" if not built.ok else "made" if built.made else "kept"
                shown.start(Path(built.folder).name, done, total)
                shown.finish(f"{state}  {Path(built.folder).name}: {built.made} of {built.steps} made anew")
                if built.ok:
                    try:
                        open_one.add(Path(built.folder))
                    except PartwrightError as error:
                        troubles.append(str(error))

            results = build_many(folders, pool, only=only, told=told)
            seconds = shown.seconds
    failed = [built for built in results if not built.ok]
    if as_json:
        print_json(
            {
                "lessons": [
                    {
                        "folder": b.folder,
                        "ok": b.ok,
                        "made": b.made,
                        "steps": b.steps,
                        "seconds": round(b.seconds, 3),
                        "cpu_seconds": round(b.cpu_seconds, 3),
                        "content": b.content or None,
                        "error": b.error or None,
                    }
                    for b in results
                ]
            }
        )
    for text in troubles:
        remark(f"remark: {text}")
    for built in failed:
        remark(f"✗ {built.error}")
    made = sum(built.made > 0 for built in results)
    if not as_json:
        click.echo(
            f"{lessons_words(len(results))}, {made} with something made anew, {len(failed)} failed, in {seconds:.1f} s."
        )
    return 1 if failed else 0
