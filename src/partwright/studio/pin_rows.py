"""The pins of a lesson as rows a page can show, and how a pin for a note is written down.

A place is "BAR:BEAT", with the pitch ("13:1:F#3") where several notes begin there. A place may hold several values, as
in "13:1" = ["3/D", "down"].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.bowing import is_bow_pin, parse_bow_pin
from partwright.errors import InputError
from partwright.fingering import Placement, parse_pin
from partwright.instrument import THUMB, Instrument, finger_text
from partwright.lesson import Prepared
from partwright.score import Note, Part, beat_text

__all__ = ["PinRow", "bow_place", "finger_places", "pin_rows", "placement_value", "value_words"]

_FINGERS = {
    0: "open string",
    1: "first finger",
    2: "second finger",
    3: "third finger",
    4: "fourth finger",
    THUMB: "thumb",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PinRow:
    """One line of [pins]: where, what, of which note (None where the tune has no such note any more)."""

    place: str
    value: str
    kind: Literal["finger", "bow"]
    note: Note | None
    words: str
    comment: str = ""  # what stands behind it in lesson.toml


def pin_rows(job: Prepared, comments: Mapping[str, str]) -> tuple[PinRow, ...]:
    """The pins as they stand in lesson.toml, with the comments behind them by place."""
    rows = []
    for entry in job.lesson.pins:
        place, _, value = entry.text.partition("=")
        note: Note | None = None
        bow = is_bow_pin(entry.text)
        try:
            pin = parse_bow_pin(entry.text, job.part) if bow else parse_pin(entry.text, job.part, job.instrument)
            note = job.part.by_id[pin.note_id]
        except (InputError, KeyError):
            note = None
        words = f"{value}-bow" if bow and value in ("down", "up") else value if bow else value_words(value)
        place = place.strip()
        rows.append(
            PinRow(
                place=place,
                value=value,
                kind="bow" if bow else "finger",
                note=note,
                words=words,
                comment=comments.get(place, ""),
            )
        )
    return tuple(rows)


def finger_places(part: Part) -> tuple[str, ...]:
    """Where a finger pin of each note is written."""
    there: dict[tuple[str, Fraction], list[Note]] = {}
    for note in part.notes:
        there.setdefault((note.bar, note.beat), []).append(note)
    found = []
    for note in part.notes:
        others = there[note.bar, note.beat]
        proper = [other for other in others if not other.grace] or others
        plain = f"{note.bar}:{beat_text(note.beat)}"
        alone = len(proper) == 1 and proper[0] is note
        found.append(plain if alone else f"{plain}:{note.written_pitch.name}")
    return tuple(found)


def bow_place(note: Note) -> str:
    """Where a bow pin of this note is written."""
    return f"{note.bar}:{beat_text(note.beat)}"


def placement_value(placement: Placement, instrument: Instrument, *, whole: bool = False) -> str:
    """A placement as the value of a pin; `whole` names the position too."""
    finger = finger_text(placement.finger)
    if placement.substitute is not None:
        finger += f"-{finger_text(placement.substitute)}"
    text = f"{finger}/{instrument.strings[placement.string].letter}"
    if whole and placement.finger != 0:
        label = instrument.position(placement.frame, placement.zone).label
        if any(name.label == label for name in instrument.position_names[instrument.school]):
            text += f"@{label}"
    return text


def value_words(value: str) -> str:
    """A pin's value in words.

    >>> value_words("3/D"), value_words("/G"), value_words("1/A@IV")
    ('third finger on the D string', 'on the G string', 'first finger on the A string, position IV')
    """
    rest, _, position = value.partition("@")
    fingers, _, string = rest.partition("/")
    names = [_FINGERS[THUMB if one == "T" else int(one)] for one in fingers.split("-") if one in "01234T" and one]
    words = ", then ".join(names)
    if string and words == "open string":
        words = f"open {string}"
    elif string:
        words = f"{words} on the {string} string".strip()
    if position:
        words = f"{words}, position {position}".strip(", ")
    return words or value
