"""What a rewriting step is, and the state that steps are made on. A step has a name by which it can be undone.

>>> step = Step(rule="octave", first_bar="18", last_bar="23", what="an octave lower", why="E4 lies too high")
>>> step.name
'octave 18-23'
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from partwright.arranging.harmony import Harmony
from partwright.fingering import FingeringPlan, Planning, plan_of, playable_midi, prepare
from partwright.instrument import Instrument, Level
from partwright.score import Note, Part

__all__ = ["Sketch", "Span", "Step", "place_words", "spans_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One change to the tune: which rule, which bars, what was done, and why. `name` is what `undo` lists."""

    rule: str
    first_bar: str
    last_bar: str
    what: str
    why: str

    @property
    def name(self) -> str:
        bars = self.first_bar if self.first_bar == self.last_bar else f"{self.first_bar}-{self.last_bar}"
        return f"{self.rule} {bars}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A phrase as bar indices and onsets: where it begins and where the next one does."""

    first_bar: int
    last_bar: int
    note_ids: frozenset[str]
    again: bool = False  # the phrase has been heard before


@dataclass(kw_only=True)
class Sketch:
    """The tune while it is rewritten: the part as it stands, the steps taken, and the level it is made for."""

    part: Part
    instrument: Instrument
    level: Level
    harmony: Harmony
    phrases: tuple[Span, ...]
    undone: frozenset[str]
    steps: list[Step] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    plans: dict[tuple[Note, ...], FingeringPlan] = field(default_factory=dict)
    last: Planning | None = None

    def __post_init__(self) -> None:
        self.reach = playable_midi(self.instrument, self.level)

    def take(self, step: Step, part: Part) -> bool:
        """Make the step, unless the teacher has undone it."""
        if step.name in self.undone:
            self.skipped.append(step.name)
            return False
        self.steps.append(step)
        self.part = part
        return True

    def plan(self, part: Part | None = None) -> FingeringPlan:
        """The plan of the part as it stands, or of another one; each made once."""
        part = part or self.part
        if part.notes not in self.plans:
            planning = prepare(part, self.instrument, level=self.level.name, like=self.last)
            self.last = planning
            self.plans[part.notes] = plan_of(planning)
        return self.plans[part.notes]


def spans_of(part: Part, phrases: Sequence[tuple[int, int]], again: Sequence[tuple[int, int]]) -> tuple[Span, ...]:
    """Phrases, given as first and last index into the part's notes, as spans. `again`: bar indices (first, last) of
    stretches that have been heard before. Without phrases the whole part is one."""
    pairs = list(phrases) or [(0, len(part.notes) - 1)]
    found = []
    for first, last in pairs:
        notes = part.notes[first : last + 1]
        bars = sorted({note.bar_index for note in notes})
        middle = bars[len(bars) // 2]
        heard = any(one <= middle <= two for one, two in again)
        ids = frozenset(note.id for note in notes)
        found.append(Span(first_bar=bars[0], last_bar=bars[-1], note_ids=ids, again=heard))
    return tuple(found)


def place_words(part: Part, notes: Sequence[Note]) -> tuple[str, str]:
    """First and last bar of some notes, as printed."""
    indices = [note.bar_index for note in notes]
    return part.bars[min(indices)].number, part.bars[max(indices)].number
