"""Finding lessons: by words, and by what a player asks for ("intermediate, no extensions, D major, under 3 minutes").

A phrase is a list of wishes with commas between; every one of them must hold. A wish the catalogue does not understand
is refused with what it does. A lesson whose facts are not known yet meets no wish about them.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from partwright.catalogue.entry import Entry, parse_price
from partwright.catalogue.store import ENTRY_COLUMNS
from partwright.errors import InputError
from partwright.lesson import RIGHTS_STATUSES
from partwright.nearest import nearest

__all__ = ["Filters", "Found", "Listed", "find_lessons_by", "parse_filters", "wishes"]

STATES = ("draft", "released", "changed", "incomplete")
INSTRUMENTS = ("cello", "viola", "violin", "double bass")


@dataclass(frozen=True, slots=True, kw_only=True)
class Filters:
    """What a lesson must be. None and empty: anything. Seconds are of one playing; cents of the price's currency."""

    level: str = ""
    instrument: str = ""
    key: str = ""  # "D major", "F♯ minor"
    metre: str = ""
    under_seconds: float | None = None
    over_seconds: float | None = None
    extensions: bool | None = None
    harmonics: bool | None = None
    thumb: bool | None = None
    double_stops: bool | None = None
    only_position: str = ""  # label of the one position used, as in "I"
    uses_position: str = ""
    lowest_midi: int | None = None
    highest_midi: int | None = None
    state: str = ""
    status: str = ""  # of the rights
    tag: str = ""
    under_cents: int | None = None
    currency: str = ""
    errata: bool | None = None  # errata still open
    to_answer: bool | None = None  # viewers' reports still to be answered


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A lesson in a list: its own entry without what hangs on it, its latest edition, what is open."""

    entry: Entry
    edition: int | None
    status: str
    open_errata: int
    to_answer: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """How many lessons there are in all, and the ones asked for."""

    total: int
    rows: tuple[Listed, ...]


def find_lessons_by(
    database: sqlite3.Connection,
    *,
    words: str = "",
    filters: Filters | None = None,
    limit: int | None = None,
    offset: int = 0,
) -> Found:
    """Lessons with all these words (the beginning of each is enough) that are as `filters` say; the best match first,
    else by title."""
    where, values = _conditions(filters or Filters())
    tables = "lessons l"
    order = "l.title COLLATE NOCASE, l.id"
    if words.strip():
        match = _match(words)
        if not match:
            return Found(total=0, rows=())
        tables = "words w JOIN lessons l ON l.number = w.rowid"
        where = ["words MATCH ?", *where]
        values = [match, *values]
        order = "bm25(words, 8.0, 4.0, 2.0, 3.0, 1.0), " + order
    condition = f"WHERE {' AND '.join(where)}" if where else ""
    total = int(database.execute(f"SELECT count(*) FROM {tables} {condition}", values).fetchone()[0])
    columns = ", ".join(f"l.{name}" for name in ENTRY_COLUMNS)
    rows = database.execute(
        f"SELECT {columns}, (SELECT max(number) FROM editions WHERE lesson = l.id), "
        "(SELECT status FROM rights WHERE lesson = l.id), "
        "(SELECT count(*) FROM errata WHERE lesson = l.id AND state IN ('draft', 'confirmed')), "
        "(SELECT count(*) FROM reports WHERE lesson = l.id AND state = 'open' AND kind IN ('claim', 'question')) "
        f"FROM {tables} {condition} ORDER BY {order} LIMIT ? OFFSET ?",
        [*values, -1 if limit is None else max(0, limit), max(0, offset)],
    )
    count = len(ENTRY_COLUMNS)
    return Found(
        total=total,
        rows=tuple(
            Listed(
                entry=Entry(**dict(zip(ENTRY_COLUMNS, row[:count], strict=True))),
                edition=row[count],
                status=row[count + 1] or "",
                open_errata=row[count + 2],
                to_answer=row[count + 3],
            )
            for row in rows
        ),
    )


def _match(words: str) -> str:
    """The words as a query of the index: every one, each as a beginning; nothing of it is read as an operator."""
    found = re.findall(r"\w+", words.replace("_", " "))[:20]
    return " ".join(f'"{word}"*' for word in found)


def _conditions(filters: Filters) -> tuple[list[str], list[Any]]:
    where: list[str] = []
    values: list[Any] = []

    def add(condition: str, *bound: Any) -> None:
        where.append(condition)
        values.extend(bound)

    if filters.level:
        add("l.level = ?", filters.level)
    if filters.instrument:
        add("l.instrument = ?", filters.instrument.replace(" ", "_"))
    if filters.key:
        add("l.key >= ? AND l.key < ?", filters.key, filters.key + "\x7f")  # "D major (by the signature …)" too
    if filters.metre:
        add("l.metre = ?", filters.metre)
    if filters.under_seconds is not None:
        add("l.seconds < ?", filters.under_seconds)
    if filters.over_seconds is not None:
        add("l.seconds > ?", filters.over_seconds)
    for name in ("extensions", "harmonics", "thumb", "double_stops"):
        wanted = getattr(filters, name)
        if wanted is not None:
            add(f"l.{name} > 0" if wanted else f"l.{name} = 0")
    if filters.only_position:
        add("EXISTS (SELECT 1 FROM positions p WHERE p.lesson = l.id AND p.label = ?)", filters.only_position)
        add("NOT EXISTS (SELECT 1 FROM positions p WHERE p.lesson = l.id AND p.label != ?)", filters.only_position)
    if filters.uses_position:
        add("EXISTS (SELECT 1 FROM positions p WHERE p.lesson = l.id AND p.label = ?)", filters.uses_position)
    if filters.lowest_midi is not None:
        add("l.lowest_midi >= ?", filters.lowest_midi)
    if filters.highest_midi is not None:
        add("l.highest_midi <= ?", filters.highest_midi)
    if filters.state:
        add("l.state = ?", filters.state)
    if filters.status:
        wanted_status = "" if filters.status == "none" else filters.status
        add("EXISTS (SELECT 1 FROM rights r WHERE r.lesson = l.id AND r.status = ?)", wanted_status)
    if filters.tag:
        add("EXISTS (SELECT 1 FROM tags t WHERE t.lesson = l.id AND t.tag = ?)", filters.tag.casefold())
    if filters.under_cents is not None:
        add("l.price_cents < ? AND l.currency = ?", filters.under_cents, filters.currency)
    open_errata = "EXISTS (SELECT 1 FROM errata e WHERE e.lesson = l.id AND e.state IN ('draft', 'confirmed'))"
    if filters.errata is not None:
        add(open_errata if filters.errata else f"NOT {open_errata}")
    waiting = "r.state = 'open' AND r.kind IN ('claim', 'question')"
    answer = f"EXISTS (SELECT 1 FROM reports r WHERE r.lesson = l.id AND {waiting})"
    if filters.to_answer is not None:
        add(answer if filters.to_answer else f"NOT {answer}")
    return where, values


# Phrases -------------------------------------------------------------------------------------------------------------

_KEY = re.compile(r"^([a-gA-G])\s*(sharp|flat|#|♯|b|♭)?\s*(major|minor)$")
_TIME = re.compile(
    r"^(under|over|less than|more than|at most|at least)\s+(\d+(?:\.\d+)?)\s*(min|minute|minutes|s|second|seconds)$"
)
_CLOCK = re.compile(r"^(under|over|less than|more than)\s+(\d+):([0-5]\d)$")
_PRICE = re.compile(r"^(?:under|less than|below)\s+(\d+(?:\.\d+)?)\s*([A-Za-z]{3})$")
_METRE = re.compile(r"^(\d{1,2})/(\d{1,2})$")
_WITHOUT = re.compile(r"^(no|without|with)\s+(extensions?|harmonics?|thumb(?: position)?|double stops?|errata)$")
_POSITION = re.compile(r"^(?:position|uses|in)\s+([½IVX]+[♯♭]?|half)(?:\s+position)?$", re.IGNORECASE)
_FIRST = re.compile(r"^(?:only first position|first position only|first position)$")
_TAG = re.compile(r"^(?:tag|tagged|about)\s+(.+)$")
_STATUS_WORDS = {
    "public domain": "public-domain", "own work": "own-work", "licensed": "licensed",
    "fan arrangement": "fan-arrangement", "no rights": "none", "no status": "none",
}  # fmt: skip


def wishes() -> tuple[str, ...]:
    """Examples of everything a phrase may hold, for help and for messages."""
    return (
        "beginner", "intermediate", "advanced", "cello", "D major", "F sharp minor", "3/4", "under 3 minutes",
        "over 90 seconds", "no extensions", "no thumb", "with harmonics", "no double stops", "first position",
        "position IV", "released", "draft", "changed", "incomplete", "public domain", "own work", "licensed",
        "fan arrangement", "no rights", "tag waltz", "under 5 EUR", "with errata", "to answer",
    )  # fmt: skip


def parse_filters(phrase: str) -> Filters:
    """The filters a phrase asks for. Raises InputError for a wish it does not understand, with the nearest it does.

    >>> found = parse_filters("intermediate, no extensions, D major, under 3 minutes")
    >>> found.level, found.extensions, found.key, found.under_seconds
    ('intermediate', False, 'D major', 180.0)
    """
    filters = Filters()
    for wish in re.split(r"[,;]|\band\b", phrase):
        text = " ".join(wish.split())
        if not text:
            continue
        changes = _wish(text)
        if changes is None:
            near = nearest(text.casefold(), wishes(), likeness=0.5)
            todo = f'Did you mean "{near}"?' if near else f"Understood are, for example: {', '.join(wishes()[:12])}."
            raise InputError(f'"{text}" is not understood as a wish', todo)
        clash = [name for name in changes if _given(filters, name) and getattr(filters, name) != changes[name]]
        if clash:
            raise InputError(f'"{text}" contradicts what was asked before it', "Ask for one of the two.")
        filters = replace(filters, **changes)
    return filters


def _given(filters: Filters, name: str) -> bool:
    default = next(field.default for field in fields(Filters) if field.name == name)
    return bool(getattr(filters, name) != default)


def _wish(text: str) -> dict[str, Any] | None:
    low = text.casefold()
    if low in ("beginner", "intermediate", "advanced"):
        return {"level": low}
    if low.replace("_", " ") in INSTRUMENTS:
        return {"instrument": low.replace("_", " ")}
    if low in STATES:
        return {"state": low}
    if low in _STATUS_WORDS or low in RIGHTS_STATUSES:
        return {"status": _STATUS_WORDS.get(low, low)}
    if low in ("to answer", "reports", "with reports"):
        return {"to_answer": True}
    for pattern, made in _PATTERNS:
        if found := pattern.match(low if pattern is not _KEY and pattern is not _POSITION else text):
            return made(found)
    return None


def _key(found: re.Match[str]) -> dict[str, Any]:
    sign = {"sharp": "♯", "#": "♯", "♯": "♯", "flat": "♭", "b": "♭", "♭": "♭"}.get(found[2] or "", "")
    return {"key": f"{found[1].upper()}{sign} {found[3]}"}


def _time(found: re.Match[str]) -> dict[str, Any]:
    seconds = float(found[2]) * (60 if found[3].startswith("min") else 1)
    if found[1] in ("under", "less than", "at most"):
        return {"under_seconds": seconds + (0.5 if found[1] == "at most" else 0.0)}
    return {"over_seconds": seconds - (0.5 if found[1] == "at least" else 0.0)}


def _clock(found: re.Match[str]) -> dict[str, Any]:
    seconds = int(found[2]) * 60.0 + int(found[3])
    return {"under_seconds" if found[1] in ("under", "less than") else "over_seconds": seconds}


def _price(found: re.Match[str]) -> dict[str, Any]:
    try:
        cents, currency = parse_price(f"{found[1]} {found[2].upper()}")
    except ValueError as error:
        raise InputError(str(error)) from error
    return {"under_cents": cents, "currency": currency}


def _without(found: re.Match[str]) -> dict[str, Any]:
    name = {"e": "extensions", "h": "harmonics", "t": "thumb", "d": "double_stops"}[found[2][0]]
    name = "errata" if found[2] == "errata" else name
    return {name: found[1] == "with"}


_PATTERNS: Sequence[tuple[re.Pattern[str], Callable[[re.Match[str]], dict[str, Any]]]] = (
    (_KEY, _key),
    (_TIME, _time),
    (_CLOCK, _clock),
    (_PRICE, _price),
    (_METRE, lambda found: {"metre": found[0]}),
    (_WITHOUT, _without),
    (_FIRST, lambda _: {"only_position": "I"}),
    (_POSITION, lambda found: {"uses_position": "½" if found[1].casefold() == "half" else found[1].upper()}),
    (_TAG, lambda found: {"tag": found[1].strip()}),
)
