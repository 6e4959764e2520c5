"""partwright demo: the demonstration lesson, written and built."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("demo")
@click.argument("folder", type=click.Path(), metavar="[DIR]", default="demo", required=False)
@json_option
def command(folder: str, as_json: bool) -> int:
    """Make the demonstration lesson in DIR (./demo if none is named) and build all of it.

    The tune and its teacher are invented; both are dedicated to the public domain. Where DIR holds the demonstration
    already, only what is out of date is made. With it come a small catalogue with four more lessons, and two editions
    of the first: one has a misprint, which viewers found.
    """
    from partwright.cli.build import run_build
    from partwright.cli.demo_catalogue import make_demo_catalogue
    from partwright.cli.output import remark
    from partwright.lesson import write_demo

    path = Path(folder)
    if write_demo(path):
        remark(f"{folder}: the demonstration lesson is written; building it.")
    code = run_build(path, as_json=as_json)
    catalogue = make_demo_catalogue(path)
    if not as_json:
        remark(f"Look at {path / 'build' / 'part-a4.pdf'} first, then at {path / 'lesson.toml'}.")
        remark(f"A small catalogue is beside it: partwright catalogue list --in {catalogue}")
    return code
