"""Refusing what the engraving library is known to break on, before it sees it.

The schema lets nonsense through (divisions of 10^14, bars of 0 beats); the library aborts, faults or never ends on
it. Measured limits: durations beyond 64 bars' worth, metres outside powers of two, staves by the thousand.
Units: durations in MusicXML divisions; bars as printed.
"""

from __future__ import annotations

import math
from typing import Any

from partwright.errors import EngravingError, Place

__all__ = ["check_drawable"]

MAX_NOTES = 50_000
MAX_DIVISIONS = 16_383
MAX_STAVES = 4
MAX_BEATS = 64
MAX_DURATION_QUARTERS = 256
MAX_REPEAT_TIMES = 64


def check_drawable(part: Any) -> None:
    """Check one MusicXML `<part>` element. Raises EngravingError naming the bar for the first thing it cannot draw."""
    divisions = 1.0
    notes = 0
    for measure in part.iterchildren("measure"):
        bar = measure.get("number") or "?"
        for element in measure.iter():
            if not isinstance(element.tag, str):
                continue
            tag = element.tag
            if tag == "divisions":
                divisions = _number(element, bar, "divisions", 1e-9, MAX_DIVISIONS)
            elif tag == "duration":
                most = MAX_DURATION_QUARTERS * (16 if element.getparent().tag == "backup" else 1)
                _number(element, bar, "duration", 0, most * divisions)
            elif tag == "beats":
                _beats(element, bar)
            elif tag == "beat-type":
                value = _number(element, bar, "beat type", 1, 128)
                if value not in (1, 2, 4, 8, 16, 32, 64, 128):
                    raise _bad(bar, f"a beat type of {_short(element)} is no note value", "Use 1, 2, 4, 8 and so on.")
            elif tag == "staves":
                _number(element, bar, "number of staves", 1, MAX_STAVES)
            elif tag in ("staff", "staff-lines"):
                _number(element, bar, tag, 0, 12)
            elif tag == "repeat" and element.get("times"):
                _within(element.get("times"), bar, "number of repeats", 0, MAX_REPEAT_TIMES)
            elif tag in ("actual-notes", "normal-notes"):
                _number(element, bar, "tuplet", 1, 128)
            elif tag == "octave":
                _number(element, bar, "octave", -1, 10)
            elif tag == "alter":
                _number(element, bar, "accidental", -3, 3)
            elif tag == "fifths":
                _number(element, bar, "key signature", -12, 12)
            elif tag in ("line", "clef-octave-change"):
                _number(element, bar, "clef", -4, 12)
            elif tag == "multiple-rest":
                _number(element, bar, "multi-bar rest", 1, 1000)
            elif tag == "note":
                notes += 1
                if notes > MAX_NOTES:
                    raise _bad(bar, f"there are more than {MAX_NOTES} notes", "Engrave one movement at a time.")
    if notes == 0:
        raise EngravingError("there is not a single note or rest to engrave", "Choose a part that has notes.")


def _beats(element: Any, bar: str) -> None:
    for share in (element.text or "").split("+"):
        _within(share, bar, "metre", 1, MAX_BEATS)


def _number(element: Any, bar: str, what: str, low: float, high: float) -> float:
    return _within(element.text, bar, what, low, high)


def _within(text: str | None, bar: str, what: str, low: float, high: float) -> float:
    try:
        value = float(text or "")
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        shown = (text or "").strip()[:24] or "nothing"
        raise _bad(bar, f"the {what} is {shown}, which cannot be engraved", "Correct it in the source.")
    return value


def _short(element: Any) -> str:
    return (element.text or "").strip()[:24]


def _bad(bar: str, what: str, todo: str) -> EngravingError:
    return EngravingError(what, todo, place=Place(bar=bar))
