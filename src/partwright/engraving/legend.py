"""The line at the foot of the first page that says what the marks mean: only those that are used."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.engraving.annotations import ROMAN
from partwright.instrument import Instrument
from partwright.score import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, WordsMark

__all__ = ["marks_legend", "string_letters"]


def string_letters(instrument: Instrument | None) -> dict[int, str]:
    """The letter of each string by its number, 1 = highest."""
    return {string.number: string.letter for string in instrument.strings} if instrument is not None else {}


def marks_legend(marks: Sequence[Mark], instrument: Instrument | None) -> tuple[str, ...]:
    """Sentences for the marks used, in the order a player meets them."""
    found = []
    if any(isinstance(mark, StringMark) for mark in marks) or _roles(marks, "string"):
        numbered = any(isinstance(mark, StringMark) and mark.letter in ROMAN for mark in marks)
        found.append(f"A {'numeral' if numbered else 'letter'} over a note names its string.")
    if any(isinstance(m, TechnicalMark) and m.element == "harmonic" for m in marks):
        found.append("A small circle: natural harmonic.")
    if any(isinstance(m, FingeringMark) and m.substitute is not None for m in marks):
        found.append("2–1: change the finger while the note sounds.")
    if any(isinstance(m, BracketLine) and m.role == "guide" for m in marks):
        found.append("A dash before a finger: it slides there from its last note.")
    if _roles(marks, "position"):
        found.append(f"Under the staff stands the position{_naming(instrument)}.")
    if any(isinstance(m, BracketLine) and m.role == "extension" for m in marks) or _roles(marks, "extension"):
        found.append("ext.: the hand is extended for the length of the line.")
    return tuple(found)


def _roles(marks: Sequence[Mark], role: str) -> bool:
    return any(isinstance(mark, WordsMark) and mark.role == role for mark in marks)


def _naming(instrument: Instrument | None) -> str:
    """How the positions are named, by the place of first position's and fourth position's first finger."""
    if instrument is None:
        return ""
    names = {name.label: name.frame for name in instrument.position_names.get(instrument.school, ())}
    if "I" in names and "IV" in names:
        return f" (I: first finger {_semitones(names['I'])} above the open string, IV: {_semitones(names['IV'])})"
    return ""


def _semitones(number: int) -> str:
    return f"{number} semitone" if number == 1 else f"{number} semitones"
