"""What is to be drawn at each note and over which notes: marks and the source's own signs, brought together.

A mark replaces the source's sign of the same kind on its note, since the plan already heeds what the source says;
what no mark speaks of stays as the source has it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from partwright.engraving.render_copy import NoteSigns
from partwright.score import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, WordsMark

__all__ = ["ROMAN", "AtNote", "Line", "gather"]

ROMAN = ("I", "II", "III", "IV", "V", "VI")


@dataclass(slots=True)
class AtNote:
    """Everything printed at one note, by kind."""

    fingers: list[str] = field(default_factory=list)
    guide: bool = False  # a dash before the finger: it slides here from its last place
    harmonic: str = ""
    string: str = ""
    bow: str = ""
    hand: list[str] = field(default_factory=list)  # position and extension labels, in the row under the staff
    above: list[str] = field(default_factory=list)
    below: list[str] = field(default_factory=list)
    glissando: str = ""
    arpeggiate: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A line with words at its start, over a range of notes."""

    first: str
    last: str
    text: str
    dashed: bool
    hand: bool  # in the row under the staff; otherwise above the fingers


def gather(
    marks: Sequence[Mark], signs: Mapping[str, NoteSigns], *, string_letters: Mapping[int, str]
) -> tuple[dict[str, AtNote], tuple[Line, ...]]:
    """By note id what is printed there, and the lines over several notes."""
    notes: dict[str, AtNote] = {}
    lines: list[Line] = []
    spoken: dict[str, set[str]] = {}

    def at(note_id: str, kind: str) -> AtNote:
        spoken.setdefault(note_id, set()).add(kind)
        return notes.setdefault(note_id, AtNote())

    for mark in marks:
        if isinstance(mark, FingeringMark):
            text = mark.finger if mark.substitute is None else f"{mark.finger}–{mark.substitute}"
            at(mark.note_id, "finger").fingers.append(text)
        elif isinstance(mark, StringMark):
            at(mark.note_id, "string").string = mark.letter or string_letters.get(mark.number, _roman(mark.number))
        elif isinstance(mark, TechnicalMark):
            _technical(at, mark)
        elif isinstance(mark, WordsMark):
            _words(at, mark)
        elif isinstance(mark, BracketLine):
            if mark.role == "guide":
                at(mark.last_note_id, "guide").guide = True
            else:
                lines.append(
                    Line(
                        mark.first_note_id,
                        mark.last_note_id,
                        mark.text,
                        mark.line == "dashes",
                        hand=mark.role == "extension",
                    )
                )
    for note in notes.values():  # "T–1" says all that "T" says
        if any(text.startswith("T–") for text in note.fingers):
            note.fingers = [text for text in note.fingers if text != "T"]
    for note_id, found in signs.items():
        _from_source(notes.setdefault(note_id, AtNote()), found, spoken.get(note_id, set()), string_letters)
    return {note_id: found for note_id, found in notes.items() if found != AtNote()}, tuple(lines)


def _roman(number: int) -> str:
    return ROMAN[number - 1] if 1 <= number <= len(ROMAN) else str(number)


def _technical(at: Callable[[str, str], AtNote], mark: TechnicalMark) -> None:
    if mark.element in ("up-bow", "down-bow"):
        at(mark.note_id, "bow").bow = mark.element
    elif mark.element == "harmonic":
        at(mark.note_id, "harmonic").harmonic = "natural"
    elif mark.element == "open-string":
        note = at(mark.note_id, "open")
        if "0" not in note.fingers:
            note.fingers.append("0")
    elif mark.element == "thumb-position":
        note = at(mark.note_id, "thumb")
        if "T" not in note.fingers:
            note.fingers.append("T")


def _words(at: Callable[[str, str], AtNote], mark: WordsMark) -> None:
    note = at(mark.note_id, mark.role)
    if mark.role in ("position", "extension"):
        note.hand.append(mark.text)
    elif mark.role == "string" and not note.string:
        note.string = mark.text
    elif mark.placement == "below":
        note.below.append(mark.text)
    else:
        note.above.append(mark.text)


def _from_source(note: AtNote, found: NoteSigns, spoken: set[str], string_letters: Mapping[int, str]) -> None:
    if not spoken & {"finger", "thumb", "open"}:
        note.fingers = list(found.fingers)
        if found.thumb and "T" not in note.fingers:
            note.fingers.append("T")
        if found.open_string and "0" not in note.fingers:
            note.fingers.append("0")
    if "harmonic" not in spoken:
        note.harmonic = found.harmonic
    if "string" not in spoken and found.strings:
        number = found.strings[0]
        note.string = string_letters.get(number, _roman(number))
    if "bow" not in spoken:
        note.bow = found.bow
    note.glissando = found.glissando
    note.arpeggiate = found.arpeggiate
