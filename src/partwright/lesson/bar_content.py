"""A part as bars of events, and how two bars compare: the ground on which repeats and differences are told.

An event is what is struck together: pitches, the time they last (ties counted in), grace notes before them. Units:
quarter notes, semitones (MIDI).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from partwright.score import Note, Part

__all__ = ["BarEvent", "BarPair", "Bars", "compare_bars"]


@dataclass(frozen=True, slots=True)
class BarEvent:
    """What is struck at one moment. `offset_quarters` counts from where the metre of its bar begins."""

    note_ids: tuple[str, ...]
    bar_index: int
    beat: Fraction
    offset_quarters: Fraction
    onset_quarters: Fraction
    duration_quarters: Fraction
    midi: tuple[int, ...]  # low to high
    grace_midi: tuple[int, ...] = ()  # in the order played


@dataclass(frozen=True, slots=True)
class BarPair:
    """How much of a bar is in another: the places that agree, those that do not, and the share that does (0 to 1)."""

    same: int
    changed: tuple[tuple[BarEvent | None, BarEvent | None], ...]  # as it was, as it is; None: not there
    share: float


class Bars:
    """The events of a part, in order and by bar."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.events = _events(part)
        by_bar: list[list[BarEvent]] = [[] for _ in part.bars]
        for event in self.events:
            by_bar[event.bar_index].append(event)
        self.by_bar: tuple[tuple[BarEvent, ...], ...] = tuple(tuple(events) for events in by_bar)

    @cached_property
    def event_of(self) -> dict[str, int]:
        """Index of the event that begins or holds each note, by note id."""
        index = {note_id: k for k, event in enumerate(self.events) for note_id in event.note_ids}
        for note in self.part.notes:
            if note.id not in index and note.tied_from in index:
                index[note.id] = index[note.tied_from]
        return index


def _events(part: Part) -> tuple[BarEvent, ...]:
    lasting = _lasting(part)
    groups: list[list[Note]] = []
    graces: list[Note] = []
    taken: list[tuple[Note, ...]] = []
    for note in sorted(part.notes, key=lambda n: (n.onset_quarters, n.grace == "", n.index)):
        if note.grace:
            graces.append(note)
            continue
        if note.tied_from is not None and note.tied_from in part.by_id:
            continue
        if groups and groups[-1][0].onset_quarters == note.onset_quarters:
            groups[-1].append(note)
        else:
            groups.append([note])
            taken.append(tuple(graces))
            graces = []
    events = []
    for group, before in zip(groups, taken, strict=True):
        bar = part.bars[group[0].bar_index]
        events.append(
            BarEvent(
                note_ids=tuple(n.id for n in (*before, *group)),
                bar_index=bar.index,
                beat=group[0].beat,
                offset_quarters=group[0].onset_quarters - bar.start_quarters + bar.beat_offset_quarters,
                onset_quarters=group[0].onset_quarters,
                duration_quarters=max(lasting[n.id] for n in group),
                midi=tuple(sorted({n.midi for n in group})),
                grace_midi=tuple(n.midi for n in before),
            )
        )
    return tuple(events)


def _lasting(part: Part) -> dict[str, Fraction]:
    """How long each struck note sounds, what it is tied to counted in."""
    total: dict[str, Fraction] = {}
    origin: dict[str, str] = {}
    for note in part.notes:
        first = origin.get(note.tied_from, note.tied_from) if note.tied_from else None
        if first is not None and first in total:
            origin[note.id] = first
            total[first] += note.duration_quarters
            total[note.id] = note.duration_quarters
        else:
            total[note.id] = note.duration_quarters
    return total


def compare_bars(was: tuple[BarEvent, ...], now: tuple[BarEvent, ...], *, semitones: int = 0) -> BarPair:
    """Two bars, event by event at the same places in the bar; `semitones` is how much higher the second should lie.

    In `share` an event that agrees in pitch only counts half, in length only a quarter: equal rhythm alone is no
    likeness.
    """
    before = {event.offset_quarters: event for event in was}
    after = {event.offset_quarters: event for event in now}
    same, partly = 0, 0.0
    changed: list[tuple[BarEvent | None, BarEvent | None]] = []
    for offset in sorted(before.keys() | after.keys()):
        one, two = before.get(offset), after.get(offset)
        if one is None or two is None:
            changed.append((one, two))
            continue
        pitch = _moved(one.midi, semitones) == two.midi and _moved(one.grace_midi, semitones) == two.grace_midi
        length = one.duration_quarters == two.duration_quarters
        if pitch and length:
            same += 1
        else:
            partly += 0.5 if pitch else 0.25 if length else 0.0
            changed.append((one, two))
    places = same + len(changed)
    return BarPair(same, tuple(changed), (same + partly) / places if places else 1.0)


def _moved(midi: tuple[int, ...], semitones: int) -> tuple[int, ...]:
    return tuple(pitch + semitones for pitch in midi)
