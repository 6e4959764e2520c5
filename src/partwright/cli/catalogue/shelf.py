"""What the commands of the catalogue share: which catalogue, which lesson, what day it is."""

from __future__ import annotations

import datetime
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from partwright.errors import InputError

if TYPE_CHECKING:
    from partwright.catalogue import Catalogue, Listed

__all__ = ["enter_again", "in_option", "lesson_folder", "lessons_words", "listed_rows", "opened", "parse_date", "today"]

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def in_option(function: Decorated) -> Decorated:
    """--in: the catalogue's file."""
    return click.option(
        "--in",
        "catalogue",
        type=click.Path(dir_okay=False),
        metavar="FILE",
        envvar="PARTWRIGHT_CATALOGUE",
        help="The catalogue.  [default: catalogue.db in this folder]",
    )(function)


def catalogue_path(given: str | None) -> Path:
    """The file named, or the one in the present folder."""
    from partwright.catalogue import CATALOGUE_FILE

    return Path(given) if given else Path(CATALOGUE_FILE)


@contextmanager
def opened(given: str | None, *, create: bool = False) -> Iterator[Catalogue]:
    """The catalogue, open."""
    from partwright.catalogue import open_catalogue

    with open_catalogue(catalogue_path(given), create=create) as catalogue:
        yield catalogue


def lesson_folder(name: str, given: str | None) -> Path:
    """The folder of a lesson named by its folder or by its id in the catalogue."""
    path = Path(name)
    if path.is_dir():
        return path
    if not catalogue_path(given).is_file():
        raise InputError(f'there is no folder "{name}", and no catalogue here to look for the id in', "Check the name.")
    with opened(given) as catalogue:
        return catalogue.folder_of(catalogue.entry(name))


def enter_again(folder: Path, given: str | None) -> None:
    """Read a lesson again into the catalogue; a word where there is none, or where it cannot take it.

    What was done to the lesson is done in either case.
    """
    from partwright.cli.output import remark
    from partwright.errors import PartwrightError

    path = catalogue_path(given)
    if not path.is_file():
        remark(f"It is in no catalogue yet: partwright catalogue add {folder}")
        return
    try:
        with opened(given) as catalogue:
            catalogue.add(folder)
    except PartwrightError as error:
        remark(f"remark: done, but the catalogue could not be told of it: {error}")


def today() -> datetime.date:
    """The day by this machine's clock, or by SOURCE_DATE_EPOCH where that is set (reproducible-builds.org)."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    moment = float(epoch) if epoch.isdigit() else time.time()
    return datetime.datetime.fromtimestamp(moment, tz=datetime.UTC if epoch.isdigit() else None).date()


def parse_date(text: str | None) -> datetime.date | None:
    """An ISO 8601 calendar date."""
    if text is None:
        return None
    try:
        if len(text) != len("2026-11-28"):
            raise ValueError
        return datetime.date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f'"{text}" is no date', "Write it as 2026-11-28.") from error


_HEADINGS = ("id", "title", "level", "key", "length", "edition", "rights", "state", "open")


def lessons_words(count: int) -> str:
    """As in "1 lesson", "12 lessons"."""
    return f"{count} lesson{'' if count == 1 else 's'}"


def listed_rows(rows: tuple[Listed, ...]) -> tuple[str, ...]:
    """Lessons as the lines of a table."""
    from partwright.catalogue import duration_words
    from partwright.cli.output import table_lines

    return table_lines(
        _HEADINGS,
        [
            (
                row.entry.id,
                row.entry.title[:40],
                row.entry.level,
                row.entry.key.partition(" (")[0],
                duration_words(row.entry.seconds),
                str(row.edition or "–"),
                row.status or "none",
                row.entry.state,
                ", ".join(
                    text
                    for text in (
                        f"{row.open_errata} {'erratum' if row.open_errata == 1 else 'errata'}"
                        if row.open_errata
                        else "",
                        f"{row.to_answer} to answer" if row.to_answer else "",
                    )
                    if text
                ),
            )
            for row in rows
        ],
    )
