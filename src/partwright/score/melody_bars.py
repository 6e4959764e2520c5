"""A quantised melody laid out in bars: rests filled in, notes tied over bar lines, triplets grouped by the beat.

Times are in quarters, as `Fraction`, counted from the same zero throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from partwright.score.part import Pitch
from partwright.score.written import (
    Tuplet,
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenTempo,
    WrittenWords,
)

__all__ = ["BarFrame", "LineEvent", "Placed", "bar_frames", "beat_of", "lay_out"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEvent:
    """One note or chord of the line, printed times."""

    onset: Fraction
    end: Fraction
    pitches: tuple[Pitch, ...]
    lyrics: tuple[WrittenLyric, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BarFrame:
    """Where a bar lies and what stands at its start; `metre` is the one valid, `changes` whether it is new."""

    start: Fraction
    end: Fraction
    metre: WrittenMetre
    changes: bool
    implicit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """What stands before the first event at or after a time."""

    at: Fraction
    tempo: WrittenTempo | None = None
    words: WrittenWords | None = None
    key: WrittenKey | None = None


def beat_of(metre: WrittenMetre) -> Fraction:
    """The beat notes are grouped in: dotted in compound metres, never longer than a quarter otherwise."""
    if metre.beat_type >= 8 and len(metre.beats) == 1 and metre.beats[0] % 3 == 0:
        return Fraction(12, metre.beat_type)
    return min(Fraction(4, metre.beat_type), Fraction(1))


def bar_frames(
    metres: Sequence[tuple[Fraction, WrittenMetre]], *, start: Fraction, end: Fraction, pickup: Fraction = Fraction(0)
) -> tuple[BarFrame, ...]:
    """Bars from `start` to the first bar line at or after `end`. `metres` begin at `start`; a change cuts the bar.

    `pickup` is the length of a first, incomplete bar.
    """
    frames: list[BarFrame] = []
    at = start
    if pickup:
        frames.append(BarFrame(start=at, end=at + pickup, metre=metres[0][1], changes=True, implicit=True))
        at += pickup
    k = 0
    while at < end or not frames:
        changes = not frames
        while k + 1 < len(metres) and metres[k + 1][0] <= at:
            changes = changes or metres[k + 1][1] != metres[k][1]
            k += 1
        metre = metres[k][1]
        stop = at + metre.length_quarters
        if k + 1 < len(metres) and at < metres[k + 1][0] < stop:
            stop = metres[k + 1][0]
        frames.append(BarFrame(start=at, end=stop, metre=metre, changes=changes))
        at = stop
    return tuple(frames)


@dataclass(frozen=True, slots=True)
class _Span:
    start: Fraction
    end: Fraction
    event: LineEvent | None  # None: a rest

    @property
    def held(self) -> bool:
        return self.event is not None and self.end < self.event.end


def lay_out(
    events: Sequence[LineEvent],
    frames: Sequence[BarFrame],
    *,
    key: WrittenKey,
    clef: str,
    placed: Sequence[Placed] = (),
) -> tuple[WrittenBar, ...]:
    """The bars. Events must be in order, not overlap, and lie inside the frames."""
    bars: list[WrittenBar] = []
    waiting = sorted(placed, key=lambda item: item.at)
    position = 0
    number = 0
    for index, frame in enumerate(frames):
        while position < len(events) and events[position].end <= frame.start:
            position += 1
        spans = _fill(events, position, frame)
        pieces: list[WrittenEvent] = []
        for span, tuplet in _by_beats(spans, frame):
            due = [item for item in waiting if item.at <= span.start]
            waiting = waiting[len(due) :]
            pieces.append(_event(span, tuplet, due))
        if not frame.implicit:
            number += 1
        bars.append(
            WrittenBar(
                number="0" if frame.implicit else str(number),
                voices=(tuple(pieces),),
                metre=frame.metre if frame.changes else None,
                key=key if index == 0 else None,
                clef=clef if index == 0 else "",
                implicit=frame.implicit,
                aligned="end" if frame.implicit else "start",
                right_line="light-heavy" if index == len(frames) - 1 else "",
            )
        )
    return tuple(bars)


def _fill(events: Sequence[LineEvent], position: int, frame: BarFrame) -> list[_Span]:
    spans: list[_Span] = []
    at = frame.start
    while position < len(events) and events[position].onset < frame.end:
        event = events[position]
        begin, stop = max(event.onset, frame.start), min(event.end, frame.end)
        if begin > at:
            spans.append(_Span(at, begin, None))
        spans.append(_Span(begin, stop, event))
        at = stop
        position += 1
    if at < frame.end:
        spans.append(_Span(at, frame.end, None))
    return spans


@dataclass(frozen=True, slots=True)
class _Group:
    """A stretch of a bar that is written as a tuplet."""

    low: Fraction
    high: Fraction
    actual: int
    normal: int


def _groups(spans: list[_Span], frame: BarFrame) -> list[_Group]:
    """Where tuplets are needed: the whole beat, or half of it, wherever an edge lies off the halving places."""
    beat = beat_of(frame.metre)
    unit = beat / 3 if beat.numerator % 3 == 0 else beat
    origin = frame.end if frame.implicit else frame.start
    by_unit: dict[int, set[Fraction]] = {}
    for span in spans:
        for point in (span.start, span.end):
            number, within = divmod((point - origin) / unit, 1)
            by_unit.setdefault(int(number), set()).add(within)
    groups: list[_Group] = []
    for number, points in by_unit.items():
        odd = {point for point in points if point.denominator % 3 == 0}
        if not odd:
            continue
        low, half = origin + number * unit, Fraction(1, 2)
        inner = points - {Fraction(0)}
        if inner <= {Fraction(1, 3), Fraction(2, 3)}:
            groups.append(_Group(low, low + unit, 3, 2))
        elif half not in points and inner <= {Fraction(k, 6) for k in range(1, 6)}:
            groups.append(_Group(low, low + unit, 6, 4))
        else:
            if any(point < half for point in odd):
                groups.append(_Group(low, low + unit / 2, 3, 2))
            if any(point > half for point in odd):
                groups.append(_Group(low + unit / 2, low + unit, 3, 2))
    return groups


def _by_beats(spans: list[_Span], frame: BarFrame) -> list[tuple[_Span, Tuplet | None]]:
    """Spans with those in tuplets cut at their edges and marked as members."""
    groups = _groups(spans, frame)
    edges = sorted({edge for group in groups for edge in (group.low, group.high)})
    made: list[tuple[_Span, Tuplet | None]] = []
    for span in spans:
        points = [span.start, *(edge for edge in edges if span.start < edge < span.end), span.end]
        for start, end in pairwise(points):
            group = next((g for g in groups if g.low <= start and end <= g.high), None)
            tuplet = None
            if group is not None:
                tuplet = Tuplet(
                    actual=group.actual,
                    normal=group.normal,
                    start=start == max(group.low, frame.start),
                    stop=end == min(group.high, frame.end),
                )
            made.append((_Span(start, end, span.event), tuplet))
    return made


def _event(span: _Span, tuplet: Tuplet | None, due: Sequence[Placed]) -> WrittenEvent:
    event = span.event
    first = event is not None and span.start == event.onset
    key = next((item.key for item in reversed(due) if item.key is not None), None)
    return WrittenEvent(
        duration_quarters=span.end - span.start,
        pitches=event.pitches if event is not None else (),
        ties=(span.held,) if event is not None else (),
        tuplet=tuplet,
        lyrics=event.lyrics if event is not None and first else (),
        tempo=next((item.tempo for item in reversed(due) if item.tempo is not None), None),
        words=tuple(item.words for item in due if item.words is not None),
        key=key,
    )
