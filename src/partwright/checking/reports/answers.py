"""Kept reports and what became of them: each follows its erratum, and every change of its state stays in its history.

A report whose erratum is fixed in a released edition is answered by that edition; one whose erratum was refused is
answered too. Where the erratum is open again, so is the report. What the maker answered by hand stays answered.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from partwright.errors import LessonError
from partwright.lesson import Erratum

__all__ = ["ANSWERED", "OPEN", "answered_by_hand", "settled", "state_words"]

OPEN, ANSWERED = "open", "answered"

Row = Mapping[str, Any]


def settled(rows: Sequence[Row], errata: Sequence[Erratum], *, on: datetime.date) -> tuple[dict[str, Any], ...]:
    """The kept reports as they stand with these errata. `on` dates what has no date of its own."""
    by_id = {erratum.id: erratum for erratum in errata}
    return tuple(_settled(dict(row), by_id.get(str(row.get("erratum") or "")), on) for row in rows)


def answered_by_hand(
    rows: Sequence[Row], ids: Sequence[str], *, on: datetime.date, answered: bool = True
) -> tuple[dict[str, Any], ...]:
    """The reports with these ids answered by the maker, or open again. Raises LessonError for an id that is none."""
    known = {str(row.get("id")) for row in rows}
    for report in ids:
        if report not in known:
            listed = ", ".join(sorted(known, key=lambda text: (len(text), text))) or "none yet"
            raise LessonError(f'there is no report "{report}"', f"Known are: {listed}.")
    state = ANSWERED if answered else OPEN
    return tuple(
        _turned(dict(row), state, on, {"by": "maker"})
        if str(row.get("id")) in ids and _state(row) != state
        else dict(row)
        for row in rows
    )


def state_words(row: Row) -> str:
    """What became of a report, for a reader.

    >>> state_words({"state": "answered", "edition": 2, "answered": "2026-12-07", "erratum": "e1"})
    'answered: mended in edition 2 (2026-12-07)'
    >>> state_words({"state": "open"})
    'open'
    """
    if _state(row) != ANSWERED:
        return _state(row)
    on = f" ({row['answered']})" if row.get("answered") else ""
    if row.get("edition"):
        return f"answered: mended in edition {row['edition']}{on}"
    last = _last(row)
    return f"answered: {last['why']}{on}" if last.get("why") else f"answered{on}"


def _settled(row: dict[str, Any], erratum: Erratum | None, on: datetime.date) -> dict[str, Any]:
    if erratum is None:
        return row
    answer = _answer(erratum)
    if answer is not None and _state(row) == OPEN and not _opened_by_hand(row, erratum):
        return _turned(row, ANSWERED, erratum.fixed or on, {"erratum": erratum.id, **answer})
    if answer is None and _state(row) == ANSWERED and _last(row).get("erratum"):
        return _turned(row, OPEN, on, {"erratum": erratum.id})
    return row


def _answer(erratum: Erratum) -> dict[str, Any] | None:
    """How an erratum answers those who told of it; None while it is to be decided, or mended but not yet out."""
    if erratum.state == "refused":
        return {"why": "no mistake"}
    if erratum.state != "fixed":
        return None
    if erratum.fixed_in is not None:
        return {"edition": erratum.fixed_in}
    # What is wrong in a video is in no edition: it is mended when the maker says so.
    return {"why": "mended"} if erratum.where == "video" else None


def _opened_by_hand(row: Row, erratum: Erratum) -> bool:
    """Whether the maker opened it again after this very erratum had answered it."""
    told = [e for e in _history(row) if e.get("erratum") == erratum.id and e.get("state") == ANSWERED]
    return bool(told) and _last(row).get("by") == "maker"


def _turned(row: dict[str, Any], state: str, on: datetime.date, more: Mapping[str, Any]) -> dict[str, Any]:
    """The report in another state; what it was before stays in its history."""
    entry = {"date": on.isoformat(), "state": state, **more}
    row["history"] = [*_history(row), entry]
    row["state"] = state
    for key in ("answered", "edition"):
        row.pop(key, None)
    if state == ANSWERED:
        row["answered"] = on.isoformat()
        if "edition" in more:
            row["edition"] = more["edition"]
    return row


def _state(row: Row) -> str:
    return str(row.get("state") or OPEN)


def _history(row: Row) -> list[Mapping[str, Any]]:
    history = row.get("history")
    return [entry for entry in history if isinstance(entry, Mapping)] if isinstance(history, list) else []


def _last(row: Row) -> Mapping[str, Any]:
    history = _history(row)
    return history[-1] if history else {}
