"""Bow pins as a teacher writes them: "13:2=down", "5:1=up", "9:1=retake".

Bars as printed, beats from 1 in the metre's own beats, with a fraction where needed ("2+1/2").
"""

from __future__ import annotations

import re
from fractions import Fraction

from partwright.bowing.stroke import BowPin, Direction
from partwright.errors import InputError, Place
from partwright.score import Part, beat_text

__all__ = ["is_bow_pin", "parse_bow_pin"]

_FORM = re.compile(r"\s*(?P<bar>[^:=]+?)\s*(?::\s*(?P<beat>[0-9+/. ]+?)\s*)?=\s*(?P<value>[A-Za-z -]+?)\s*")
_VALUES: dict[str, tuple[Direction | None, bool | None]] = {
    "down": ("down", None),
    "up": ("up", None),
    "retake": (None, True),
    "no retake": (None, False),
    "down retake": ("down", True),
    "up retake": ("up", True),
}
_HOW = 'Write it as BAR:BEAT=down or BAR:BEAT=up, as in "13:2=down"; "retake" asks for a lift before the note.'


def is_bow_pin(text: str) -> bool:
    """Whether a pin speaks of the bow rather than of a finger.

    >>> is_bow_pin("13:2=down"), is_bow_pin("13:2=3/D")
    (True, False)
    """
    found = _FORM.fullmatch(text)
    return found is not None and _value(found["value"]) in _VALUES


def parse_bow_pin(text: str, part: Part, *, origin: str = "call") -> BowPin:
    """A bow pin from its written form. Raises InputError saying what is wrong and where."""
    found = _FORM.fullmatch(text)
    if found is None or _value(found["value"]) not in _VALUES:
        raise InputError(f'"{text}" is not a bow pin', _HOW)
    beat = _beat(found["beat"], text)
    bar = found["bar"]
    numbers = [b.number for b in part.bars]
    if bar not in numbers:
        raise InputError(f'"{text}": there is no bar {bar}', f"The tune has bars {numbers[0]} to {numbers[-1]}.")
    inside = [note for note in part.notes if note.bar == bar and not note.grace and not note.pizzicato]
    at = next((note for note in inside if note.beat == beat), None)
    if at is None:
        beats = ", ".join(dict.fromkeys(beat_text(note.beat) for note in inside)) or "none"
        place = Place(bar=bar, beat=beat_text(beat))
        raise InputError(f'"{text}": no bowed note begins there', f"Notes begin at beat {beats}.", place=place)
    direction, retake = _VALUES[_value(found["value"])]
    return BowPin(note_id=at.id, direction=direction, retake=retake, origin=origin)


def _value(text: str) -> str:
    words = text.casefold().replace("-", " ").split()
    return " ".join(word for word in words if word != "bow")


def _beat(text: str | None, pin: str) -> Fraction:
    try:
        return sum((Fraction(part.strip()) for part in (text or "1").split("+")), Fraction(0))
    except (ValueError, ZeroDivisionError) as error:
        raise InputError(f'"{pin}" names no beat', _HOW) from error
