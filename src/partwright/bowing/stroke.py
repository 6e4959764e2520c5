"""What a bowing plan is: one stroke for every group of notes under one bow, its price and that of the other direction.

Units: places on the bow as a fraction (0 = frog, 1 = tip); speeds in mm/s; times in seconds; costs without unit
(a retake with time to make it costs about 1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from partwright.bowing.plan import Problem
    from partwright.bowing.search import BowSearch

__all__ = ["DIRECTIONS", "BowPin", "BowingPlan", "Direction", "SlurSuggestion", "Stroke", "StrokeWord"]

Direction = Literal["down", "up"]
StrokeWord = Literal["detached", "slur", "portato", "measured tremolo", "tremolo", "staccato", "marcato"]
DIRECTIONS: tuple[Direction, Direction] = ("down", "up")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One movement of the bow: the notes under it, which way, and from where to where on the hair.

    `retake`: the bow is lifted before it and set again in the same direction. `hook`: it goes on in the direction
    of the stroke before, without a lift. `reset`: the bow is set elsewhere although the direction changes.
    `other_extra` is what the cheapest plan with the other direction here would cost more than this plan; it is
    infinite where a pin forbids it.
    """

    note_ids: tuple[str, ...]  # in the order in which they sound; grace notes and chord notes included
    bar: str
    beat: Fraction
    direction: Direction
    start: float  # place on the bow, 0 frog … 1 tip
    end: float
    speed_mm_s: float
    duration_seconds: float
    retake: bool = False
    hook: bool = False
    reset: bool = False
    after_rest: bool = False
    sign_needed: bool = True  # a player needs its sign: it does not simply alternate, or something begins with it
    kind: StrokeWord = "detached"
    slur: str | None = None  # id of the slur that joins the notes, where one does
    section_start: bool = False
    pinned: bool = False
    cost: float = 0.0
    other_extra: float = 0.0

    @property
    def id(self) -> str:
        """The id of the stroke's first note."""
        return self.note_ids[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class BowPin:
    """What the teacher insists on for the stroke that holds one note. None leaves a thing open.

    `retake` True: the bow is lifted before the stroke; False: it is not.
    """

    note_id: str
    direction: Direction | None = None
    retake: bool | None = None
    origin: str = "call"  # source, lesson, call, studio


@dataclass(frozen=True, slots=True, kw_only=True)
class SlurSuggestion:
    """A slur to add or to split, never applied by itself. `saves` is how much cheaper the whole plan would be."""

    kind: Literal["add", "split"]
    first_note_id: str
    last_note_id: str
    bar: str
    beat: Fraction
    saves: float
    words: str


@dataclass(frozen=True, kw_only=True)
class BowingPlan:
    """Strokes for a whole part, in written order. Plucked notes have none."""

    strokes: tuple[Stroke, ...]
    total_cost: float
    level: str
    instrument: str
    suggestions: tuple[SlurSuggestion, ...] = ()
    remarks: tuple[str, ...] = ()
    search: BowSearch | None = field(default=None, repr=False, compare=False)  # what a further pin starts from
    problem: Problem | None = field(default=None, repr=False, compare=False)  # what it was made from

    @cached_property
    def by_note(self) -> Mapping[str, Stroke]:
        """The stroke under which each note is played, by note id."""
        return {note_id: stroke for stroke in self.strokes for note_id in stroke.note_ids}
