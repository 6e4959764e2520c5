"""When every moment of the played order sounds: tempo marks, ritardandi and held notes as a row of even pieces.

A ritardando is a stair of half-quarter steps and a held note a slower piece, so that a Standard MIDI File's tempo map
says exactly the same as the sound. Units: quarter notes (`Fraction`) counted from the passage's start; seconds.
"""

from __future__ import annotations

import itertools
import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from partwright.errors import InputError
from partwright.score import Bar, Part

__all__ = ["MAX_QPM", "MIN_QPM", "Clock", "TempoPiece", "make_clock", "whole_passage"]

MIN_QPM, MAX_QPM = 10.0, 400.0
"""Tempi that can be played to; a metronome ends at 40 and 208, slow practice and stray files reach further."""

# What the words ask for, as the tempo at the end of the change over the tempo before it; common practice, no source.
_SLOWER = re.compile(r"\b(rit|ritard|ritardando|ritenuto|rall|rallentando|allargando|allarg|slargando|smorz)\b", re.I)
_FASTER = re.compile(r"\b(accel|accelerando|stringendo|string|affrettando)\b", re.I)
_MUCH = re.compile(r"\b(molto|much)\b", re.I)
_LITTLE = re.compile(r"\b(poco|un poco|slightly)\b", re.I)
_HOLD = 1.75  # a fermata lasts this many times its note; common practice, no source
_STEP = Fraction(1, 2)
_MOST_BARS = 4  # a change that nothing ends is over by then


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoPiece:
    """From here on one tempo holds, until the next piece."""

    start_quarters: Fraction
    start_seconds: float
    tempo_qpm: float


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Seconds of a passage: played quarters from its first bar ↔ seconds from its first note."""

    pieces: tuple[TempoPiece, ...]
    length_quarters: Fraction
    seconds: float

    @cached_property
    def _starts(self) -> tuple[Fraction, ...]:
        return tuple(piece.start_quarters for piece in self.pieces)

    @cached_property
    def _start_seconds(self) -> tuple[float, ...]:
        return tuple(piece.start_seconds for piece in self.pieces)

    def seconds_at(self, quarters: Fraction | float) -> float:
        """Seconds from the start at a played quarter; before the start and after the end the tempo there goes on."""
        piece = self.pieces[max(0, bisect_right(self._starts, quarters) - 1)]
        return piece.start_seconds + float(quarters - piece.start_quarters) * 60.0 / piece.tempo_qpm

    def quarters_at(self, seconds: float) -> float:
        """The played quarter that sounds at a time; the inverse of `seconds_at`."""
        piece = self.pieces[max(0, bisect_right(self._start_seconds, seconds) - 1)]
        return float(piece.start_quarters) + (seconds - piece.start_seconds) * piece.tempo_qpm / 60.0


def whole_passage(part: Part) -> tuple[int, int]:
    """All played bars, as indices into `part.played_bars` (first, one past the last)."""
    return 0, len(part.played_bars)


def make_clock(
    part: Part, *, speed: float = 1.0, tempo_qpm: float | None = None, passage: tuple[int, int] | None = None
) -> Clock:
    """The clock of a passage of the played order.

    `tempo_qpm` sets the piece's first tempo, and all its other tempi in proportion; `speed` scales once more. Raises
    InputError where a tempo comes out below 10 or above 400 quarter notes a minute.
    """
    first, last = passage or whole_passage(part)
    factor = speed * (tempo_qpm / part.tempo_marks[0].tempo_qpm if tempo_qpm is not None else 1.0)
    changes = _changes(part)
    shapes = _shapes(part)
    pieces: list[TempoPiece] = []
    at, seconds = Fraction(0), 0.0
    tempo = part.tempo_marks[0].tempo_qpm
    for number, played in enumerate(part.played_bars[:last]):
        bar = part.bars[played.bar_index]
        sounding = number >= first
        for start, end, local in _bar_pieces(bar, changes[bar.index], shapes, tempo):
            if sounding:
                qpm = _checked(local * factor, bar)
                if not pieces or pieces[-1].tempo_qpm != qpm:
                    pieces.append(TempoPiece(start_quarters=at, start_seconds=seconds, tempo_qpm=qpm))
                at += end - start
                seconds += float(end - start) * 60.0 / qpm
        if changes[bar.index]:
            tempo = changes[bar.index][-1][1]
    if not pieces:
        raise InputError("the passage has no bars", "Choose bars that are played.")
    return Clock(pieces=tuple(pieces), length_quarters=at, seconds=seconds)


def _checked(qpm: float, bar: Bar) -> float:
    if not MIN_QPM <= qpm <= MAX_QPM:
        raise InputError(
            f"bar {bar.number}: a tempo of {qpm:.4g} quarter notes a minute cannot be played to",
            f"Choose --tempo or --speed so that it lies between {MIN_QPM:g} and {MAX_QPM:g}.",
        )
    return qpm


@dataclass(frozen=True, slots=True)
class _Shape:
    """A stretch of written time in which the tempo is multiplied by `factor`."""

    start: Fraction
    end: Fraction
    factor: float


def _bar_pieces(
    bar: Bar, changes: Sequence[tuple[Fraction, float]], shapes: Sequence[_Shape], tempo: float
) -> list[tuple[Fraction, Fraction, float]]:
    """The bar cut where its tempo changes: (start, end, tempo) in written quarters."""
    inside = [s for s in shapes if s.start < bar.end_quarters and s.end > bar.start_quarters]
    cuts = {bar.start_quarters, bar.end_quarters}
    cuts.update(onset for onset, _ in changes)
    for shape in inside:
        cuts.update(cut for cut in (shape.start, shape.end) if bar.start_quarters < cut < bar.end_quarters)
    edges = sorted(cut for cut in cuts if bar.start_quarters <= cut <= bar.end_quarters)
    pieces = []
    for start, end in itertools.pairwise(edges):
        for onset, qpm in changes:
            if onset <= start:
                tempo = qpm
        local = tempo
        for shape in inside:
            if shape.start <= start < shape.end:
                local *= shape.factor
        pieces.append((start, end, local))
    return pieces


def _changes(part: Part) -> list[list[tuple[Fraction, float]]]:
    """For each bar the tempo marks in it: (written onset, quarters a minute)."""
    found: list[list[tuple[Fraction, float]]] = [[] for _ in part.bars]
    at = 0
    for mark in part.tempo_marks:
        while at + 1 < len(part.bars) and part.bars[at + 1].start_quarters <= mark.onset_quarters:
            at += 1
        found[at].append((mark.onset_quarters, mark.tempo_qpm))
    return found


def _shapes(part: Part) -> tuple[_Shape, ...]:
    """Ritardandi and accelerandi as stairs, and held notes, in written time."""
    shapes: list[_Shape] = []
    for direction in part.directions:
        if direction.kind == "words" and (goal := _goal(direction.text)) is not None:
            shapes += _stairs(direction.onset_quarters, _end_of_change(part, direction.onset_quarters), goal)
    held = {(n.onset_quarters, n.end_quarters) for n in part.notes if n.fermata and n.duration_quarters > 0}
    ends: Fraction = Fraction(-1)
    for start, end in sorted(held):
        if start >= ends:  # two voices held at once are one hold
            shapes.append(_Shape(start, end, 1 / _HOLD))
            ends = end
    return tuple(shapes)


def _goal(text: str) -> float | None:
    """What a change of tempo leads to, as a factor; None for words that ask for none.

    >>> _goal("molto rit."), _goal("poco accel."), _goal("dolce")
    (0.6, 1.12, None)
    """
    slower, faster = _SLOWER.search(text), _FASTER.search(text)
    if slower is None and faster is None:
        return None
    much, little = _MUCH.search(text) is not None, _LITTLE.search(text) is not None
    if slower is not None:
        return 0.6 if much else 0.87 if little else 0.75
    return 1.4 if much else 1.12 if little else 1.25


def _end_of_change(part: Part, start: Fraction) -> Fraction:
    """Where a change of tempo is over: at the next tempo mark, section or repeat, or after four bars."""
    ends = [mark.onset_quarters for mark in part.tempo_marks if mark.onset_quarters > start][:1]
    ends += [
        d.onset_quarters for d in part.directions
        if d.onset_quarters > start and d.kind == "words" and _goal(d.text) is not None
    ][:1]  # fmt: skip
    here = part.bar_at(start).index
    over = part.bars[here].end_quarters
    for bar in part.bars[here : here + _MOST_BARS]:
        over = bar.end_quarters
        following = part.bars[bar.index + 1] if bar.index + 1 < len(part.bars) else None
        closes = bar.repeat_end or bar.ending_stops or bar.double_bar or bar.fine or bar.da_capo or bar.dal_segno
        if following is None or closes or following.rehearsal or following.repeat_start or following.key_changes:
            break
    return min([*ends, over])


def _stairs(start: Fraction, end: Fraction, goal: float) -> list[_Shape]:
    """From the old tempo to `goal` times it, evenly in steps of half a quarter."""
    count = max(1, int((end - start) / _STEP))
    width = (end - start) / count
    return [
        _Shape(start + i * width, start + (i + 1) * width, 1.0 + (goal - 1.0) * (i + 1) / count) for i in range(count)
    ]
