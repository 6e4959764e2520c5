"""Reading a taste file: every fault with its line, and nothing that would plan worse than no taste at all.

A cost below nothing would make shifts sought for their own sake, so it is refused; what the table likes may be avoided.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from partwright.errors import InputError, NewerFormat, Place
from partwright.fingering.taste import TASTE_FORMAT, HandTaste, Taste
from partwright.fingering.terms import term_table
from partwright.nearest import nearest

__all__ = ["parse_taste", "read_taste"]

_LARGEST_BYTES = 2_000_000
_MOST_TIMES = 20.0
_MOST_ADDED = 5.0


def read_taste(path: Path) -> Taste:
    """The taste in this file. Raises InputError saying what is wrong and on which line, or NewerFormat."""
    place = Place(file=str(path))
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(
            "is not there", "Learn a taste with: partwright learn LESSON --out FILE.", place=place
        ) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the path.", place=place) from error
    if len(data) > _LARGEST_BYTES:
        raise InputError("is far too large for a taste", "Is it another file?", place=place)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text", "Save it again as UTF-8.", place=place) from error
    return parse_taste(text, file=str(path))


def parse_taste(text: str, *, file: str) -> Taste:
    """A taste from the text of its file. Raises as `read_taste`."""
    import tomllib

    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML ({error})", "Mend that line.", place=Place(file=file)) from error
    reader = _Reader(text, file)
    version = data.get("format")
    if not isinstance(version, int) or isinstance(version, bool):
        raise InputError(
            "is not a taste: it has no format number", "A taste begins with format = 1.", place=Place(file=file)
        )
    if version > TASTE_FORMAT:
        raise NewerFormat(
            f"was made by a newer partwright (taste format {version}; this one knows up to {TASTE_FORMAT})",
            "Install the newer partwright; nothing was changed.",
            place=Place(file=file, line=reader.line("format")),
        )
    for key in data:
        if key not in ("format", "name", "made", "hands"):
            raise reader.fault(key, f'there is no setting "{key}" in a taste', "Take the line out.")
    hands = reader.table(data, "hands", "hands")
    return Taste(
        name=reader.text(data, "name"),
        made=reader.text(data, "made"),
        hands=tuple(_hand(name, hands[name], reader) for name in hands),
    )


def _hand(name: str, row: Any, reader: _Reader) -> HandTaste:
    if not isinstance(row, dict):
        raise reader.fault(name, f'the hand for "{name}" is a table', "Write [hands.cello] on a line of its own.")
    for key in row:
        if key not in ("decisions", "corrections", "lessons", "table", "times", "added", "learned_from", "let_stand"):
            raise reader.fault(key, f'there is no setting "{key}" in the hand for {name}', "Take the line out.")
    weights = {term.name: term.weight for term in term_table()}
    times = reader.numbers(row, "times", weights)
    for term, value in times.items():
        if value < 0 and weights[term] > 0:
            raise reader.fault(
                term,
                f'"{term}" is {value:g} times its weight, and nothing can cost less than nothing',
                "Write 0 where it does not matter to you.",
            )
        if abs(value) > _MOST_TIMES:
            raise reader.fault(term, f'"{term}" is {value:g} times its weight', f"{_MOST_TIMES:g} is the most.")
    added = reader.numbers(row, "added", weights)
    for term, value in added.items():
        if abs(value) > _MOST_ADDED:
            raise reader.fault(term, f'"{term}" adds {value:g}', f"{_MOST_ADDED:g} is the most; a shift costs 1.")
    places = reader.table(row, "learned_from", "learned_from")
    if not all(isinstance(at, list) and all(isinstance(one, str) for one in at) for at in places.values()):
        raise reader.fault("learned_from", "learned_from is a list of places for each tune", "Learn the taste again.")
    stood = reader.table(row, "let_stand", "let_stand")
    if not all(isinstance(words, str) for words in stood.values()):
        raise reader.fault("let_stand", "let_stand is a text for each tune", "Learn the taste again.")
    return HandTaste(
        instrument=name,
        times=times,
        added=added,
        decisions=reader.whole(row, "decisions"),
        corrections=reader.whole(row, "corrections"),
        lessons=reader.whole(row, "lessons"),
        table=reader.text(row, "table"),
        learned_from={tune: tuple(at) for tune, at in places.items()},
        let_stand=stood,
    )


class _Reader:
    """Takes values out of a table, and knows on which line a key stands."""

    def __init__(self, text: str, file: str) -> None:
        self._lines = text.splitlines()
        self._file = file

    def line(self, key: str) -> int | None:
        """The first line with this key, or with a table of this name."""
        wanted = re.compile(rf"^\s*(?:\"?{re.escape(key)}\"?\s*=|\[[^\]]*\b{re.escape(key)}\b[^\]]*\])")
        return next((n for n, line in enumerate(self._lines, start=1) if wanted.match(line)), None)

    def fault(self, key: str, what: str, todo: str) -> InputError:
        return InputError(what, todo, place=Place(file=self._file, line=self.line(key)))

    def table(self, row: Mapping[str, Any], key: str, words: str) -> dict[str, Any]:
        value = row.get(key, {})
        if not isinstance(value, dict):
            raise self.fault(key, f'"{words}" is a table', f"Write [{words}] on a line of its own.")
        return value

    def text(self, row: Mapping[str, Any], key: str) -> str:
        value = row.get(key, "")
        if not isinstance(value, str):
            raise self.fault(key, f'"{key}" is a text in quotes', "Put it in quotes.")
        return value

    def whole(self, row: Mapping[str, Any], key: str) -> int:
        value = row.get(key, 0)
        if isinstance(value, bool) or not isinstance(value, int) or value < 0:
            raise self.fault(key, f'"{key}" is a whole number from 0', "Learn the taste again.")
        return value

    def numbers(self, row: Mapping[str, Any], key: str, known: Mapping[str, float]) -> dict[str, float]:
        found = {}
        for name, value in self.table(row, key, key).items():
            if name not in known:
                near = nearest(name, known)
                todo = f"Did you mean {near}?" if near else "Take the line out, or learn the taste again."
                raise self.fault(name, f'there is no cost term "{name}"', todo)
            if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                raise self.fault(name, f'"{name}" is a number', "Write it as 1.4.")
            found[name] = float(value)
        return found
