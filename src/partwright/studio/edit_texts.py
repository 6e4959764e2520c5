"""Changing lesson.toml as a page asks, key by key, so that every comment and every odd spacing stands.

Functions here take a parsed document and change it; nothing is read or written. A document is tomlkit's.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from partwright.errors import LessonError, Place
from partwright.lesson import LESSON_FILE

__all__ = [
    "SETTINGS",
    "apply_settings",
    "apply_table",
    "parse_document",
    "put_pin",
    "replace_entries",
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
    """Make the tables [[name]] these, in this order. A table keeps its comments as long as its place is filled."""
    import tomlkit
    from tomlkit.items import AoT

    if name not in document:
        if not entries:
            return
        document.append(name, tomlkit.aot())
    tables = document[name]
    if not isinstance(tables, AoT):
        raise LessonError(f'"{name}" is a list of tables', f"Write each as [[{name}]].", place=Place(file=LESSON_FILE))
    while len(tables) > len(entries):
        del tables[-1]
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
