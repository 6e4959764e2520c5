"""partwright studio: the local web page over all of it."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["command"]


@click.command("studio")
@click.argument("lesson", type=click.Path(), metavar="[LESSON]", required=False)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    metavar="N",
    help="Port on this machine.  [default: 8484, or the next free]",
)
@click.option("--no-browser", is_flag=True, help="Only print the address; do not open the browser.")
def command(lesson: str | None, port: int | None, no_browser: bool) -> int:
    """Open the studio: the whole line of work on one page in your browser, on this machine only.

    With LESSON it opens that lesson; without, it lists the lessons of this folder and starts new ones. What you do
    there is saved at once into the lesson's folder. End it with Ctrl-C.

    \b
    partwright studio waltz
    partwright studio --no-browser --port 9000
    """
    from partwright.cli.output import remark
    from partwright.errors import LessonError, Place
    from partwright.lesson import LESSON_FILE
    from partwright.studio import serve_studio

    folder, opened = Path(), None
    if lesson is not None:
        path = Path(lesson).resolve()
        if not (path / LESSON_FILE).is_file():
            raise LessonError(
                "is no lesson" if path.exists() else "is not there",
                "Name a lesson's folder, or start one on the page: partwright studio.", place=Place(file=lesson),
            )  # fmt: skip
        folder, opened = path.parent, path.name

    def told(address: str) -> None:
        click.echo(address)
        remark("The studio is open at this address, on this machine only. End it with Ctrl-C.")

    serve_studio(folder, opened=opened, port=port, browser=not no_browser, told=told)
    remark("The studio is closed; everything was saved as you went.")
    return 0
