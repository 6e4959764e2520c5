"""How a command speaks: results to standard output, remarks and progress to standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from partwright.cli.interrupt import stop_if_asked

if TYPE_CHECKING:
    from partwright.checking import Verdict

__all__ = ["Progress", "print_findings", "print_json", "progress", "remark", "table_lines"]

_STATUS_COLOURS = {"wrong": (166, 58, 30), "check": (138, 90, 0), "right": (27, 107, 74)}


def print_json(document: Mapping[str, object]) -> None:
    """One JSON document on standard output, UTF-8, and nothing else there."""
    import io
    import json

    payload = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.flush()
        sys.stdout.buffer.write(payload.encode("utf-8"))  # JSON is UTF-8, whatever the terminal speaks
        sys.stdout.flush()
    else:
        sys.stdout.write(payload)


def remark(text: str) -> None:
    """A remark for the person at the terminal; never part of the result."""
    click.echo(text, err=True)


def print_findings(rows: Iterable[tuple[Verdict, str, str, str]]) -> None:
    """Findings on standard output, one a line: (verdict, place, what, why). Colour only on a terminal, never alone."""
    listed = tuple(rows)
    if not listed:
        return
    from partwright.checking import finding_lines

    colour = sys.stdout.isatty()
    for (verdict, _, _, _), (mark, rest) in zip(listed, finding_lines(listed), strict=True):
        click.echo(f"{click.style(mark, fg=_STATUS_COLOURS[verdict]) if colour else mark}  {rest}")


def table_lines(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """A plain table with aligned columns.

    >>> table_lines(["bar", "finger"], [["12", "3"]])
    ('bar  finger', '12   3')
    """
    widths = [max(len(str(row[i])) for row in [headings, *rows]) for i in range(len(headings))]
    return tuple(
        "  ".join(f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True)).rstrip() for row in [headings, *rows]
    )


class Progress:
    """Says what is being done, how much of it, and what is next: a bar on a terminal, plain lines elsewhere."""

    def __init__(self, total: int, *, quiet: bool = False) -> None:
        self._total = total
        self._quiet = quiet
        self._terminal = sys.stderr.isatty()
        self._started = time.monotonic()
        self._done = 0

    def start(self, words: str, number: int, total: int) -> None:
        """Work on `words` begins, piece `number` (from 1) of `total`. An interrupt that came to nothing counts now."""
        stop_if_asked()
        self._total = total
        if self._quiet:
            return
        count = f"{number}/{total}"
        if self._terminal:
            filled = round(20 * self._done / max(self._total, 1))
            click.echo(f"\r\x1b[2K{'━' * filled}{'─' * (20 - filled)} {count} {words}", err=True, nl=False)
        else:
            click.echo(f"{count} {words}", err=True)

    def finish(self, words: str = "") -> None:
        """The piece of work is done; `words`, if any, stay on the screen."""
        self._done += 1
        if words and not self._quiet:
            click.echo(f"\r\x1b[2K{words}" if self._terminal else f"    {words}", err=True)

    def close(self) -> None:
        if self._terminal and not self._quiet:
            click.echo("\r\x1b[2K", err=True, nl=False)

    @property
    def seconds(self) -> float:
        return time.monotonic() - self._started


@contextmanager
def progress(total: int, *, quiet: bool = False) -> Iterator[Progress]:
    """A `Progress` that clears its bar however the work ends."""
    shown = Progress(total, quiet=quiet)
    try:
        yield shown
    finally:
        shown.close()
