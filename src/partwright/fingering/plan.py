"""What a fingering plan is: a placement for every sounding note, its price, and what had to be relaxed.

Units: places in semitones above the open string; costs without unit (weights are calibrated so that a plain
shift of a second costs about 1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Literal

from partwright.instrument import finger_text

__all__ = ["CostItem", "FingeredNote", "FingeringPlan", "Pin", "Placement", "Relaxation", "UnlikePhrase"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where and how one note is stopped.

    `string` is indexed from 0 = lowest; `finger` 0 (open), 1..4 or THUMB; `frame` is where the hand lies (see
    `instrument`), which an open string carries on; `shape` names a row of the instrument's hand shapes;
    `harmonic` is the partial number, 0 for a stopped or open note.
    """

    string: int
    semitones: int  # where the finger is, above the open string; for a harmonic the node it touches
    finger: int
    frame: int
    shape: str
    zone: Literal["neck", "upper", "thumb"]
    harmonic: int = 0
    substitute: int | None = None  # the finger that takes over while the note is held

    @property
    def finger_text(self) -> str:
        """As in JSON and on the page: "0".."4", "T", substitution "2-1"."""
        text = finger_text(self.finger)
        return text if self.substitute is None else f"{text}-{finger_text(self.substitute)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CostItem:
    """One term of the price of a placement: its name in the cost table, words for a player, and its value."""

    term: str
    words: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FingeredNote:
    """A written note with its placement. `cost` is what it and the move to it add to the plan."""

    note_id: str
    placement: Placement
    pinned: bool = False
    cost: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """What the teacher insists on for one note; None leaves a thing open. `banned` turns it into "not this"."""

    note_id: str
    finger: int | None = None
    string: int | None = None
    frame: int | None = None
    shape: str | None = None
    harmonic: bool | None = None
    substitute: int | None = None
    banned: bool = False
    origin: str = "call"  # source, lesson, call, studio


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """A level's limit that had to give way, where, and what else would help."""

    note_id: str
    bar: str
    beat: Fraction
    limit: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnlikePhrase:
    """Equal phrases that are fingered differently, and why."""

    bars: tuple[str, str]
    like_bars: tuple[str, str]
    why: str


@dataclass(frozen=True, kw_only=True)
class FingeringPlan:
    """Fingers for a whole part, in written order. Tied continuations repeat the placement of their first note."""

    notes: tuple[FingeredNote, ...]
    total_cost: float
    level: str
    relaxed: tuple[Relaxation, ...] = ()
    unlike: tuple[UnlikePhrase, ...] = ()
    unplayable: tuple[Relaxation, ...] = ()  # notes or chords for which nothing exists: no placement is invented
    remarks: tuple[str, ...] = ()

    @cached_property
    def by_id(self) -> Mapping[str, FingeredNote]:
        return {note.note_id: note for note in self.notes}
