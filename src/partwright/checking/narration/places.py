"""Where a speaker can be: the places of a part, each a run of equal notes, with what score and plan have there.

Units: places are indexed from 0 in written order; durations in quarter notes. A place is what a teacher talks of as one
thing: "the C sharp, twice". Runs end at section starts and at repeat signs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from partwright.bowing import BowingPlan, Stroke
from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import Instrument
from partwright.score import Note, Part

__all__ = ["Attack", "Place", "Section", "find_places", "position_words"]

_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of bars with a name, by index of its first and last bar."""

    name: str
    first_bar_index: int
    last_bar_index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Attack:
    """One stroke of one note, or chord: what is struck, and what sounds until the next."""

    notes: tuple[Note, ...]
    placements: tuple[Placement, ...]
    duration_quarters: Fraction  # with what is tied to it
    struck_quarters: Fraction  # as written, without ties
    rest_after: bool
    stroke: Stroke | None

    @property
    def fingers(self) -> frozenset[int]:
        found = {p.finger for p in self.placements}
        return frozenset(found | {p.substitute for p in self.placements if p.substitute is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A run of equal attacks."""

    index: int
    attacks: tuple[Attack, ...]
    section: int  # index of its section
    rest_before: bool
    smaller_counts: frozenset[int]  # counts somebody might name who counts within the bar, or counts tied notes

    @property
    def note(self) -> Note:
        """The note the place is named by: the highest of its first attack."""
        return max(self.attacks[0].notes, key=lambda note: note.midi)

    @property
    def first(self) -> Note:
        return self.attacks[0].notes[0]

    @property
    def names(self) -> frozenset[tuple[str, int]]:
        """Step and alteration of every note struck."""
        return frozenset((note.pitch.step, round(note.pitch.alter)) for note in self.attacks[0].notes)

    @property
    def placements(self) -> tuple[Placement, ...]:
        return tuple(p for attack in self.attacks for p in attack.placements)

    @property
    def count(self) -> int:
        return len(self.attacks)


def find_places(
    part: Part, plan: FingeringPlan | None, bowing: BowingPlan | None, sections: Sequence[Section]
) -> tuple[Place, ...]:
    """The places of a part in written order."""
    attacks = _attacks(part, plan, bowing)
    section_of = _section_by_bar(part, sections)
    breaks = {s.first_bar_index for s in sections}
    breaks |= {bar.index for bar in part.bars if bar.repeat_start}
    breaks |= {bar.index + 1 for bar in part.bars if bar.repeat_end}
    runs: list[list[Attack]] = []
    for attack in attacks:
        if runs and _equal(runs[-1][-1], attack) and not _parted(runs[-1][-1], attack, breaks):
            runs[-1].append(attack)
        else:
            runs.append([attack])
    places: list[Place] = []
    for index, run in enumerate(runs):
        before = runs[index - 1][-1].rest_after if index else False
        places.append(
            Place(
                index=index, attacks=tuple(run), section=section_of[run[0].notes[0].bar_index], rest_before=before,
                smaller_counts=_smaller_counts(run, part),
            )
        )  # fmt: skip
    return tuple(places)


def position_words(instrument: Instrument) -> Mapping[int, frozenset[tuple[int | str, int]]]:
    """For each frame what the schools call it: (number, "half" or "thumb"; 1 where it is raised, else 0)."""
    found: dict[int, set[tuple[int | str, int]]] = {}
    for names in instrument.position_names.values():
        for name in names:
            words = name.spoken.casefold().split()
            raised = int(bool({"raised", "upper", "high"} & set(words)))
            number: int | str | None = "half" if "half" in words else None
            for ordinal in words:
                if ordinal in _ORDINALS:
                    number = _ORDINALS.index(ordinal)
                elif re.fullmatch(r"\d+", ordinal):
                    number = int(ordinal)
            if number is not None:
                found.setdefault(name.frame, set()).add((number, raised))
    return {frame: frozenset(names) for frame, names in found.items()}


def _attacks(part: Part, plan: FingeringPlan | None, bowing: BowingPlan | None) -> list[Attack]:
    groups: list[list[Note]] = []
    for note in part.notes:
        if note.tied_from is not None:
            continue
        together = groups and groups[-1][0].onset_quarters == note.onset_quarters and not note.grace
        if together and not groups[-1][0].grace:
            groups[-1].append(note)
        else:
            groups.append([note])
    found: list[Attack] = []
    for index, group in enumerate(groups):
        ends = [_sounding_end(part, note) for note in group]
        following = groups[index + 1][0].onset_quarters if index + 1 < len(groups) else None
        placements = tuple(
            plan.by_id[note.id].placement for note in group if plan is not None and note.id in plan.by_id
        )
        found.append(
            Attack(
                notes=tuple(group),
                placements=placements,
                duration_quarters=max(ends) - group[0].onset_quarters,
                struck_quarters=group[0].duration_quarters,
                rest_after=following is not None and following > max(ends),
                stroke=_stroke(bowing, group[0]),
            )
        )
    return found


def _stroke(bowing: BowingPlan | None, note: Note) -> Stroke | None:
    return None if bowing is None else bowing.by_note.get(note.id)


def _sounding_end(part: Part, note: Note) -> Fraction:
    seen = {note.id}
    while note.tied_to is not None and note.tied_to in part.by_id and note.tied_to not in seen:
        note = part.by_id[note.tied_to]
        seen.add(note.id)
    return note.end_quarters


def _equal(one: Attack, two: Attack) -> bool:
    grace = bool(one.notes[0].grace) or bool(two.notes[0].grace)
    return not grace and sorted(n.midi for n in one.notes) == sorted(n.midi for n in two.notes)


def _parted(one: Attack, two: Attack, breaks: set[int]) -> bool:
    first, second = one.notes[0].bar_index, two.notes[0].bar_index
    return first != second and any(first < bar <= second for bar in breaks)


def _smaller_counts(run: list[Attack], part: Part) -> frozenset[int]:
    """Counts within one bar, counts up to a rest, and the count with every tied note."""
    found: set[int] = set()
    if len(run) > 1:
        by_bar: dict[int, int] = {}
        for attack in run:
            by_bar[attack.notes[0].bar_index] = by_bar.get(attack.notes[0].bar_index, 0) + 1
        found |= set(by_bar.values())
        size = 0
        for attack in run:
            size += 1
            if attack.rest_after:
                found.add(size)
                size = 0
        if size:
            found.add(size)
    tied = sum(_tied_notes(part, attack.notes[0]) for attack in run)
    if tied:
        found.add(len(run) + tied)
    return frozenset(found - {len(run)})


def _tied_notes(part: Part, note: Note) -> int:
    count = 0
    while note.tied_to is not None and note.tied_to in part.by_id and count < 100:
        note = part.by_id[note.tied_to]
        count += 1
    return count


def _section_by_bar(part: Part, sections: Sequence[Section]) -> list[int]:
    found = []
    for bar in part.bars:
        inside = [k for k, s in enumerate(sections) if s.first_bar_index <= bar.index <= s.last_bar_index]
        found.append(inside[0] if inside else -1)
    return found
