"""partwright build: everything in a lesson that is out of date."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import json_option

if TYPE_CHECKING:
    from partwright.building import Ran

__all__ = ["command", "run_build"]


@click.command("build")
@click.argument("folder", type=click.Path(), metavar="LESSON")
@click.option("--only", multiple=True, metavar="NAME", help="Only this product, with what it needs. Repeatable.")
@json_option
def command(folder: str, only: tuple[str, ...], as_json: bool) -> int:
    """Make everything in a lesson that is out of date.

    What has not changed is not made again: the content decides, not the date. Each line says why a thing was made or
    left. Everything made lies in LESSON/build and may be deleted.

    \b
    partwright build waltz
    partwright build waltz --only part-a4
    """
    return run_build(Path(folder), only=only, as_json=as_json)


def run_build(folder: Path, *, only: tuple[str, ...] = (), as_json: bool = False) -> int:
    """Build and say what was done; shared by `build` and `demo`."""
    from partwright.building import STEPS, build_lesson, choose_steps
    from partwright.cli.output import print_json, progress, remark

    total = len(choose_steps(STEPS, only))
    with progress(total) as shown:
        ran = build_lesson(
            folder,
            only=only,
            started=lambda step, number, count: shown.start(step.words, number, count),
            finished=lambda done: shown.finish(_line(done)),
        )
        seconds = shown.seconds
    if as_json:
        print_json(
            {
                "lesson": str(folder),
                "steps": [
                    {
                        "name": r.step,
                        "made": r.made,
                        "why": r.why,
                        "files": [str(folder / f) for f in r.files],
                        "seconds": round(r.seconds, 3),
                        "remarks": list(r.remarks),
                    }
                    for r in ran
                ],
            }
        )
        return 0
    for done in ran:
        for text in done.remarks:
            remark(f"remark: {text}")
    made = sum(done.made for done in ran)
    for done in ran:
        for file in _gathered(done.files):
            click.echo(f"{folder / file}  {done.words}")
    click.echo(f"{made} of {len(ran)} made anew in {seconds:.1f} s; the rest were up to date.")
    return 0


def _gathered(files: Sequence[str]) -> list[str]:
    """Files of a folder of their own as one line: the folder, and how many it holds."""
    by_folder: dict[Path, list[str]] = {}
    for file in files:
        by_folder.setdefault(Path(file).parent, []).append(file)
    lines = []
    for parent, inside in by_folder.items():
        many = len(parent.parts) > 1 and len(inside) > 1
        lines += [f"{parent}/ ({len(inside)} files)"] if many else inside
    return lines


def _line(done: Ran) -> str:
    return f"{'made' if done.made else 'kept'}  {done.step}: {done.why}"
