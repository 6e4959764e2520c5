"""Which notes share a stroke, and which strokes follow each other when the part is played.

A stroke holds the notes under one slur, the notes tied to them, grace notes before them, and whatever starts while
another voice still holds its note. Plucked notes have no stroke. A slur or tie is cut where the played order leaves
the written order inside it: the note after a repeat bar is struck again.

Units: onsets in quarter notes and seconds (float). Shapes: arrays are `(strokes,)`.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from partwright.score import Bar, Note, Part, beat_text

__all__ = ["Move", "StrokeGroup", "Strokes", "group_strokes", "metric_place"]

_CLOSE = 1e-6
_BREATH_SECONDS = 0.25  # time a breath mark takes from no note; common practice, no source
_FERMATA_SECONDS = 0.3  # likewise after a fermata


@dataclass(frozen=True, slots=True)
class StrokeGroup:
    """The notes of one stroke as indices into `part.notes`: all of them, and one per struck or slurred event."""

    notes: tuple[int, ...]
    heads: tuple[int, ...]  # the first note of each event that is not a grace note; of the grace notes if only those
    slur: str | None


@dataclass(frozen=True, slots=True)
class Move:
    """Stroke `after` follows stroke `before` at some place of the played order, `gap_seconds` after its end."""

    before: int
    after: int
    gap_seconds: float


@dataclass(frozen=True)
class Strokes:
    """The written strokes of a part, and how they follow each other."""

    groups: tuple[StrokeGroup, ...]
    onset_seconds: np.ndarray  # as written, tempo marks followed from the start
    duration_seconds: np.ndarray
    gap_seconds: np.ndarray  # between the end of the stroke before, as written, and this one
    linked: np.ndarray  # bool: the written stroke before it is played just before it, somewhere
    joins: tuple[Move, ...]  # every other way in which two strokes follow each other
    remarks: tuple[str, ...]


@dataclass(slots=True)
class _Event:
    notes: list[int]
    head: int
    onset: float
    end: float
    bar_index: int
    grace: bool
    joined: bool  # played in the stroke of the event before


def group_strokes(part: Part, *, split_before: Collection[str] = (), join_to_next: Collection[str] = ()) -> Strokes:
    """The strokes of `part`. `split_before` and `join_to_next` are ids of notes at which a slur is cut or added."""
    remarks: list[str] = []
    events = _events(part, frozenset(split_before), frozenset(join_to_next), remarks)
    jumps, simple, linked = _played_moves(part, events)
    for k in range(1, len(events)):
        event = events[k]
        if event.joined and not simple[k] and not events[k - 1].grace:
            event.joined = False
            note = part.notes[event.head]
            remarks.append(
                f"bar {note.bar}, beat {beat_text(note.beat)}: a slur or tie crosses a repeat or a jump; "
                "the bow starts anew here. Draw the slur inside the repeat if that is not meant."
            )
    starts = [k for k, event in enumerate(events) if not event.joined]
    groups = []
    stroke_of = np.zeros(len(events), dtype=np.int64)
    bounds = [*starts, len(events)]
    for s in range(len(starts)):
        members = events[bounds[s] : bounds[s + 1]]
        stroke_of[bounds[s] : bounds[s + 1]] = s
        heads = tuple(event.head for event in members if not event.grace) or tuple(event.head for event in members)
        slur = None
        if len(members) > 1:
            slur = next((name for e in members for i in e.notes for name in part.notes[i].slur_starts), None)
        groups.append(StrokeGroup(tuple(i for event in members for i in event.notes), heads, slur))
    return _timed(part, events, bounds, groups, stroke_of, jumps, linked, remarks)


def metric_place(note: Note, bar: Bar, before: Bar | None) -> tuple[float, float]:
    """How many quarters into its full bar a note stands, and how long the bar's metre is.

    A short bar is counted from its end where it is an upbeat: at the start of the piece, after a repeat or double
    bar, or after another short bar that it fills up.
    """
    place = float(note.onset_quarters - bar.start_quarters)
    nominal = float(bar.nominal_quarters)
    missing = nominal - float(bar.length_quarters)
    if missing > _CLOSE and not bar.repeat_end:
        upbeat = bar.pickup or before is None or bar.repeat_start or before.repeat_end or before.double_bar
        fills = before is not None and before.length_quarters < before.nominal_quarters
        if upbeat or fills:
            place += missing
    elif (
        missing > _CLOSE
        and before is not None
        and before.length_quarters + bar.length_quarters == (bar.nominal_quarters)
    ):
        place += missing
    return place, nominal


def _events(part: Part, split_before: frozenset[str], join_to_next: frozenset[str], remarks: list[str]) -> list[_Event]:
    notes = part.notes
    unending = _unending_slurs(part, remarks)
    covered = _covered(part, unending) if unending else None
    order: Sequence[int] = range(len(notes))
    onsets = [float(note.onset_quarters) for note in notes]
    if any(b < a - _CLOSE for a, b in itertools.pairwise(onsets)):
        order = sorted(order, key=lambda i: (onsets[i], i))
    events: list[_Event] = []
    slurred: dict[str, bool] = {}  # by voice: its last event is slurred to the next
    held = 0.0
    plucked = False
    for i in order:
        note = notes[i]
        if note.pizzicato:
            slurred[note.voice] = False
            plucked = True
            continue
        onset = onsets[i]
        end = onset + float(note.duration_quarters)
        grace = bool(note.grace)
        joins = note.slurred_to_next if covered is None else covered[i]
        joins = joins or note.id in join_to_next
        last = events[-1] if events else None
        if last is not None and not plucked and abs(onset - last.onset) < _CLOSE and grace == last.grace:
            same = note.chord or notes[last.head].voice != note.voice
            if same and not (grace and not note.chord):
                last.notes.append(i)
                last.end = max(last.end, end)
                held = max(held, end)
                slurred[note.voice] = slurred.get(note.voice, False) or joins if note.chord else joins
                continue
        joined = False
        if last is not None and not plucked:
            joined = (
                last.grace
                or slurred.get(note.voice, False)
                or (note.tied_from is not None and abs(onset - held) < _CLOSE)
                or (onset < held - _CLOSE)
            ) and note.id not in split_before
        events.append(_Event([i], i, onset, end, note.bar_index, grace, joined))
        slurred[note.voice] = joins
        held = max(held, end)
        plucked = False
    return events


def _unending_slurs(part: Part, remarks: list[str]) -> frozenset[str]:
    stops = {name for note in part.notes for name in note.slur_stops}
    starts: dict[str, Note] = {name: note for note in part.notes for name in note.slur_starts}
    for name, note in starts.items():
        if name not in stops:
            remarks.append(
                f"bar {note.bar}, beat {beat_text(note.beat)}: the slur that starts here never ends; it is bowed as "
                "if it were not there. Give it an end."
            )
    return frozenset(starts) - stops


def _covered(part: Part, unending: frozenset[str]) -> list[bool]:
    """Whether a slur that does end joins each note to the next, by voice."""
    open_slurs: dict[str, set[str]] = {}
    result = []
    for note in part.notes:
        voice = open_slurs.setdefault(note.voice, set())
        voice |= set(note.slur_starts) - unending
        for slurs in open_slurs.values():
            slurs -= set(note.slur_stops)
        result.append(note.slurred_to_next and bool(voice))
    return result


def _played_moves(part: Part, events: list[_Event]) -> tuple[dict[tuple[int, int], float], np.ndarray, np.ndarray]:
    """Moves between events that are not neighbours as written, with the gap in quarters; for each event, whether it
    is reached from the event before it only, and that one leads nowhere else; and whether it is reached from it."""
    n = len(events)
    simple = np.ones(n, dtype=bool)
    linked = np.ones(n, dtype=bool)
    jumps: dict[tuple[int, int], float] = {}
    played = part.played_bars
    if [bar.bar_index for bar in played] == list(range(len(part.bars))):
        return jumps, simple, linked
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    for k, event in enumerate(events):
        first.setdefault(event.bar_index, k)
        last[event.bar_index] = k
    reached: dict[int, set[int]] = {}
    leads: dict[int, set[int]] = {}
    previous: int | None = None
    previous_end = 0.0
    for bar in played:
        if bar.bar_index not in first:
            continue
        offset = float(bar.start_quarters - part.bars[bar.bar_index].start_quarters)
        k = first[bar.bar_index]
        if previous is not None:
            reached.setdefault(k, set()).add(previous)
            leads.setdefault(previous, set()).add(k)
            if k != previous + 1:
                gap = max(0.0, events[k].onset + offset - previous_end)
                jumps[previous, k] = min(gap, jumps.get((previous, k), gap))
        previous = last[bar.bar_index]
        previous_end = events[previous].end + offset
    for k in first.values():
        if k > 0:
            simple[k] = reached.get(k, set()) == {k - 1} and leads.get(k - 1, set()) == {k}
            linked[k] = k - 1 in reached.get(k, set())
    return jumps, simple, linked


def _timed(
    part: Part,
    events: list[_Event],
    bounds: list[int],
    groups: list[StrokeGroup],
    stroke_of: np.ndarray,
    jumps: dict[tuple[int, int], float],
    linked_events: np.ndarray,
    remarks: list[str],
) -> Strokes:
    marks = sorted((float(mark.onset_quarters), mark.tempo_qpm) for mark in part.tempo_marks) or [(0.0, 120.0)]
    mark_onsets = np.array([onset for onset, _ in marks])
    mark_onsets[0] = min(mark_onsets[0], 0.0)
    per_quarter = np.array([60.0 / tempo for _, tempo in marks])
    mark_seconds = np.concatenate([[0.0], np.cumsum(np.diff(mark_onsets) * per_quarter[:-1])])

    def seconds(quarters: np.ndarray) -> np.ndarray:
        at = np.clip(np.searchsorted(mark_onsets, quarters + _CLOSE, side="right") - 1, 0, None)
        return np.asarray(mark_seconds[at] + (quarters - mark_onsets[at]) * per_quarter[at])

    first = [events[k] for k in bounds[:-1]]
    onset = np.array([event.onset for event in first])
    end = np.array([max(event.end for event in events[a:b]) for a, b in itertools.pairwise(bounds)], dtype=float)
    onset_seconds, end_seconds = seconds(onset), seconds(end)
    held_still = np.array([_pause(part, events[b - 1]) for b in bounds[1:]], dtype=float)
    n = len(groups)
    gap = np.zeros(n)
    gap[1:] = np.maximum(onset_seconds[1:] - end_seconds[:-1], 0.0) + held_still[:-1]
    linked = np.zeros(n, dtype=bool)
    linked[1:] = linked_events[np.array(bounds[1:-1], dtype=np.int64)]
    joins = []
    for (a, b), quarters in jumps.items():
        s, t = int(stroke_of[a]), int(stroke_of[b])
        at = int(np.searchsorted(mark_onsets, events[b].onset + _CLOSE, side="right")) - 1
        joins.append(Move(s, t, quarters * float(per_quarter[max(at, 0)]) + float(held_still[s])))
    return Strokes(
        groups=tuple(groups),
        onset_seconds=onset_seconds,
        duration_seconds=np.maximum(end_seconds - onset_seconds, 0.02),
        gap_seconds=gap,
        linked=linked,
        joins=tuple(joins),
        remarks=tuple(remarks),
    )


def _pause(part: Part, event: _Event) -> float:
    notes = [part.notes[i] for i in event.notes]
    pause = _BREATH_SECONDS if any(note.breath_after for note in notes) else 0.0
    return pause + (_FERMATA_SECONDS if any(note.fermata for note in notes) else 0.0)
