"""Changing lesson.toml as a page asks, key by key, so that every comment and every odd spacing stands.

Functions here take a parsed document and change it; nothing is read or written. A document is tomlkit's.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from partwright.errors import LessonError, Place
from partwright.lesson import LESSON_FILE

__all__ = [
    "SETTINGS",
    "apply_settings",
    "apply_table",
    "parse_document",
    "pin_comments",
    "put_pin",
    "replace_entries",
    "set_pin_comment",
    "set_teaching_order",
    "take_pin",
]

SETTINGS: Mapping[str, tuple[str, str]] = {
    "title": ("", "title"),
    "subtitle": ("", "subtitle"),
    "composer": ("", "composer"),
    "arranger": ("", "arranger"),
    "teacher": ("", "teacher"),
    "instrument": ("instrument", "name"),
    "level": ("instrument", "level"),
    "tempo_qpm": ("tempo", "performance_qpm"),
    "practice_percent": ("tempo", "practice_percent"),
    "marks": ("page", "marks"),
    "string_names": ("page", "strings"),
    "paper": ("page", "paper"),
    "own_levels": ("arranging", "levels"),
    "undo_steps": ("arranging", "undo"),
    "second": ("arranging", "second"),
    "style": ("arranging", "style"),
    "tries": ("teaching", "tries"),
    "speaking_wpm": ("teaching", "speaking_wpm"),
}
"""Settings a page may change: the table ("" = top) and the key of lesson.toml by their name on the page."""


def parse_document(text: str) -> Any:
    """lesson.toml as a document that keeps its comments. Raises LessonError where it is no TOML."""
    import tomlkit
    from tomlkit.exceptions import ParseError

    try:
        return tomlkit.parse(text)
    except ParseError as error:
        raise LessonError(
            "is not TOML",
            "Put right what is wrong there in a text editor.",
            place=Place(file=LESSON_FILE, line=error.line),
        ) from error


def put_pin(document: Any, place: str, value: str, *, replaces: Sequence[str]) -> None:
    """Set a value at a place of [pins]; of what stands there only the values in `replaces` go."""
    pins = _table(document, "pins")
    kept = [item for item in _values(pins.get(place)) if item not in replaces and item != value]
    _store(pins, place, [*kept, value])


def take_pin(document: Any, place: str, value: str | None = None) -> None:
    """Take a value out of a place of [pins], or all of them; nothing where it isn't there."""
    if "pins" not in document:
        return
    pins = _table(document, "pins")
    if place not in pins:
        return
    kept = [] if value is None else [item for item in _values(pins[place]) if item != value]
    if kept:
        _store(pins, place, kept)
    else:
        del pins[place]


def _values(found: Any) -> list[str]:
    if found is None:
        return []
    return [str(item) for item in found] if isinstance(found, list) else [str(found)]


def _store(pins: Any, place: str, values: Sequence[str]) -> None:
    pins[place] = values[0] if len(values) == 1 else list(values)


LONGEST_COMMENT = 300


def pin_comments(text: str) -> dict[str, str]:
    """What the teacher wrote behind the pins of a lesson.toml, by their places. A line of its own belongs to no pin.

    >>> pin_comments('[pins]\\n"13:1" = "3/D"  # it sings\\n')
    {'13:1': 'it sings'}
    """
    table = _PINS_TABLE.search(text)
    if table is None or "#" not in table[0]:
        return {}
    found = {}
    for line in table[0].splitlines()[1:]:
        pin = _PIN_LINE.fullmatch(line)
        if pin is None:
            return dict(_comments_parsed(table[0]))
        if pin["place"] and (words := (pin["comment"] or "").lstrip("#").strip()):
            place = pin["place"]
            found[place[1:-1] if place[0] in "\"'" else place] = words
    return found


# From [pins] to the next table, so that only these lines are parsed for their comments.
_PINS_TABLE = re.compile(r"^[ \t]*\[[ \t]*pins[ \t]*\].*?(?=^[ \t]*\[|\Z)", re.MULTILINE | re.DOTALL)


# A pin as nearly all are written, or a line without any; whatever else there is, is left to the parser, which is slow.
_STRING = r"""(?:"[^"\\]*"|'[^']*')"""
_LIST = rf"\[[ \t]*{_STRING}(?:[ \t]*,[ \t]*{_STRING})*[ \t]*,?[ \t]*\]"
_PIN_LINE = re.compile(
    rf"[ \t]*(?:(?P<place>{_STRING}|[A-Za-z0-9_-]+)[ \t]*=[ \t]*(?:{_STRING}|{_LIST})[ \t]*(?P<comment>#.*)?|#.*)?"
)


@lru_cache(maxsize=32)
def _comments_parsed(table: str) -> tuple[tuple[str, str], ...]:
    from tomlkit.exceptions import ParseError

    try:
        pins = parse_document(table)["pins"]
    except (LessonError, ParseError, KeyError):
        return ()
    found = []
    for place in pins:
        comment = pins.item(place).trivia.comment
        if words := str(comment).lstrip("#").strip():
            found.append((str(place), words))
    return tuple(found)


def set_pin_comment(document: Any, place: str, comment: str) -> None:
    """Write a comment behind the pins of a place; nothing takes it away. Raises LessonError where no pin stands."""
    pins = _table(document, "pins")
    if place not in pins:
        raise LessonError(f'there is no pin at "{place}"', "Pin it first.", place=Place(file=LESSON_FILE))
    words = " ".join("".join(c if c.isprintable() else " " for c in comment).split())[:LONGEST_COMMENT]
    trivia = pins.item(place).trivia
    trivia.comment_ws, trivia.comment = ("  ", f"# {words}") if words else ("", "")


def apply_settings(document: Any, values: Mapping[str, Any]) -> None:
    """Set settings by their names on the page; None takes one out, so that the tune or the program decides."""
    for name, value in values.items():
        table, key = SETTINGS[name]
        if value is None:
            if not table:
                document.pop(key, None)
            elif table in document:
                _table(document, table).pop(key, None)
            continue
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        where = document if not table else _table(document, table)
        where[key] = value


def apply_table(document: Any, name: str, values: Mapping[str, Any]) -> None:
    """Set keys of one table of lesson.toml; None or nothing takes one out. Dates come as ISO 8601 text."""
    import tomlkit
    from tomlkit.items import Table

    kept: dict[str, Any] = {}
    if name in document and not isinstance(document[name], Table):  # `rights = [...]` at the top becomes its lines
        lines = list(document.pop(name))
        kept = {"lines": lines} if lines else {}
    if name not in document:
        document.append(name, tomlkit.table())
    table = _table(document, name)
    for key, value in {**kept, **values}.items():
        if value in (None, "", []):
            table.pop(key, None)
        else:
            table[key] = datetime.date.fromisoformat(value) if key in _DATES else value


_DATES = frozenset({"granted", "expires"})


def replace_entries(document: Any, name: str, entries: Sequence[Mapping[str, Any]], keys: Sequence[str]) -> None:
    """Make the tables [[name]] these, in this order. A table keeps its comments as long as its place is filled; where
    there are fewer now, those go whose first key (their name) none of the new ones has."""
    import tomlkit
    from tomlkit.items import AoT

    if name not in document:
        if not entries:
            return
        document.append(name, tomlkit.aot())
    tables = document[name]
    if not isinstance(tables, AoT):
        raise LessonError(f'"{name}" is a list of tables', f"Write each as [[{name}]].", place=Place(file=LESSON_FILE))
    named = [entry.get(keys[0]) for entry in entries]
    while len(tables) > len(entries):
        gone = [index for index, table in enumerate(tables) if table.get(keys[0]) not in named]
        del tables[gone[-1] if gone else -1]
    for index, entry in enumerate(entries):
        if index == len(tables):
            fresh = tomlkit.table()
            tables.append(fresh)
        table = tables[index]
        for key in keys:
            value = entry.get(key)
            if value in (None, "", []):
                table.pop(key, None)
            elif key not in table or table[key] != value:
                table[key] = value
    if not entries:
        del document[name]


def set_teaching_order(document: Any, order: Sequence[str]) -> None:
    """The order in which sections are taught; empty: as they stand in the tune."""
    table = _table(document, "teaching")
    if order:
        table["order"] = list(order)
    else:
        table.pop("order", None)


def _table(document: Any, name: str) -> Any:
    import tomlkit
    from tomlkit.items import Table

    if name not in document:
        document[name] = tomlkit.table()
    table = document[name]
    if not isinstance(table, Table):
        raise LessonError(
            f'"{name}" is a table of settings', f"Write [{name}] on a line of its own.", place=Place(file=LESSON_FILE)
        )
    return table
