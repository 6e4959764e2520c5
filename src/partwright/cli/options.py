"""Options that several commands share, declared once so that they read and mean the same everywhere."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = ["HAND_KEYS", "hand_options", "json_option", "label_options", "marks_option", "out_option", "score_argument"]

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

HAND_KEYS: tuple[str, ...] = (
    "part",
    "voice",
    "instrument",
    "size",
    "string_length_mm",
    "tuning",
    "school",
    "level",
    "levels_file",
    "taste",
    "pins",
    "keep_source_marks",
)
"""Parameters of `hand_options`, as they arrive in a command; `read_job` takes them all."""


def score_argument(function: Decorated) -> Decorated:
    """SCORE: a tune's file, or a lesson folder."""
    return click.argument("score", type=click.Path(), metavar="SCORE")(function)


def hand_options(function: Decorated) -> Decorated:
    """Which notes, on which instrument, at which level, around which pins. A lesson's own settings are the default."""
    options = (
        click.option("--part", metavar="PART", help="Which part, by id, name or number, where the tune has several."),
        click.option("--voice", metavar="VOICE", help="Which voice, where the part has several."),
        click.option(
            "--instrument",
            metavar="NAME",
            help="cello, viola, violin, double_bass, or a table of your own (.toml).  [default: cello]",
        ),
        click.option("--size", metavar="SIZE", help="Size of the instrument, as in 3/4.  [default: full size]"),
        click.option(
            "--string-length-mm", type=float, metavar="MM", help="Your open string from nut to bridge, in mm."
        ),
        click.option("--tuning", metavar="PITCHES", help='Open strings low to high, as in "C2 G2 D3 G3".'),
        click.option("--school", metavar="NAME", help="Whose names of positions to use."),
        click.option("--level", metavar="LEVEL", help="beginner, intermediate or advanced.  [default: advanced]"),
        click.option(
            "--levels-file", type=click.Path(dir_okay=False), metavar="FILE", help="Levels of your own (.toml)."
        ),
        click.option(
            "--taste", type=click.Path(dir_okay=False), metavar="FILE", help="A hand from partwright learn (.toml)."
        ),
        click.option(
            "--pin",
            "pins",
            multiple=True,
            metavar="PIN",
            help='A decision that stands: "BAR:BEAT=FINGER[/STRING][@POSITION]", as in 13:2=3, 13:2=1/D, 5:1=2-1; '
            '!= forbids. For the bow "BAR:BEAT=down", "up" or "retake". Repeatable.',
        ),
        click.option(
            "--keep-source-marks/--ignore-source-marks",
            "keep_source_marks",
            default=None,
            help="Whether fingers and bow signs already in the tune are decisions.  [default: keep]",
        ),
    )
    for option in reversed(options):
        function = option(function)
    return function


def marks_option(function: Decorated) -> Decorated:
    """How many fingers are written."""
    return click.option(
        "--marks",
        type=click.Choice(["every", "needed", "none"]),
        default=None,
        help="Fingers on every note, where a player needs one, or none.  [default: needed]",
    )(function)


def label_options(function: Decorated) -> Decorated:
    """How strings are named on the page."""
    return click.option(
        "--roman/--letters",
        "roman",
        default=None,
        help="Strings as Roman numerals (I = the highest) or by letter.  [default: letters]",
    )(function)


def out_option(*, required: bool, words: str) -> Callable[[Decorated], Decorated]:
    """Where the result goes."""
    return click.option("-o", "--out", type=click.Path(), required=required, metavar="FILE", help=words)


def json_option(function: Decorated) -> Decorated:
    """One JSON document instead of text."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document on standard output and nothing else there."
    )(function)
