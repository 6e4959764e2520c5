"""Played times to printed times: which grid each beat is on, and where in it the notes fall.

Method: description length. In every beat the grid is chosen that makes the sum smallest of the squared deviations in
units of the player's spread (half of them: the negative logarithm of a normal density) and of the logarithm of the
number of places a note can take, per note, plus a fixed price for a grid that is not a plain one. Triplets are
therefore only written where the notes ask for them, and a finer grid only where it explains more than it costs.

Times are in quarter notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

__all__ = ["GRIDS", "SPREAD_QUARTERS", "BeatGrid", "Quantised", "quantise"]

SPREAD_QUARTERS = 0.02
"""How far a played note lies from its printed place, one standard deviation, in quarters."""

GRIDS = ("auto", "eighths", "eighths+triplets", "16ths", "16ths+triplets", "32nds", "32nds+triplets")
"""Names of the grids that can be asked for: the finest values allowed, with or without triplets."""

# Prices in natural units: exp(-2.5) is one beat in twelve. Set on open folk tunes (docs/reading_abc_midi.md).
_TRIPLETS = 2.5
_FINE_TRIPLETS = 3.5  # triplets of 16ths
_MIXED = 4.0  # half of the beat in triplets
_THIRTYSECONDS = 2.5
_COLLIDE = 12.0  # two notes that were played apart must not fall on one place, unless they are a chord
_CHORD_QUARTERS = 0.07  # onsets closer than this may be one chord: over three spreads apart is rare


@dataclass(frozen=True, slots=True)
class BeatGrid:
    """The places of one beat, as fractions of it from 0 up to but not including 1, and what the grid costs."""

    places: tuple[Fraction, ...]
    price: float
    triplets: bool

    def nearest(self, position: float) -> Fraction:
        """The place nearest to `position` (in beats); 1 is the next beat's first place."""
        return min((*self.places, Fraction(1)), key=lambda place: abs(float(place) - position))


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantised:
    """Printed onsets, the grid of every beat that has notes, and how far the notes lay from it."""

    onsets: tuple[Fraction, ...]
    beat_grids: dict[int, BeatGrid]
    deviation_quarters: float  # root mean square over the onsets
    collided: int  # notes that fell on the place of another that was played clearly apart


def quantise(onsets: Sequence[float], *, beat_quarters: Fraction, grid: str = "auto") -> Quantised:
    """Onsets (in quarters, ascending) on the best grid. `beat_quarters` is 1 in 4/4, 3/2 in 6/8.

    `grid` is one of GRIDS; "auto" allows 32nds and triplets. Time grows with the number of onsets.
    """
    choices = _choices(beat_quarters, grid)
    beat = float(beat_quarters)
    by_beat: dict[int, list[int]] = {}
    for index, onset in enumerate(onsets):
        by_beat.setdefault(math.floor(onset / beat + 1e-9), []).append(index)
    printed: list[Fraction] = [Fraction(0)] * len(onsets)
    beat_grids: dict[int, BeatGrid] = {}
    squares = 0.0
    collided = 0
    for number, members in by_beat.items():
        within = [onsets[index] / beat - number for index in members]
        chosen = min(choices, key=lambda choice: _cost(within, choice, beat))
        beat_grids[number] = chosen
        taken: dict[Fraction, float] = {}
        for index, position in zip(members, within, strict=True):
            place = chosen.nearest(position)
            printed[index] = (number + place) * beat_quarters
            squares += ((position - float(place)) * beat) ** 2
            if place in taken and (position - taken[place]) * beat > _CHORD_QUARTERS:
                collided += 1
            taken.setdefault(place, position)
    deviation = math.sqrt(squares / len(onsets)) if onsets else 0.0
    return Quantised(onsets=tuple(printed), beat_grids=beat_grids, deviation_quarters=deviation, collided=collided)


def _even(count: int) -> list[Fraction]:
    return [Fraction(k, count) for k in range(count)]


def _of_parts(*counts: int) -> tuple[Fraction, ...]:
    """A beat in equal parts, each divided on its own: (3, 2) is half a beat in triplets, then two 16ths."""
    return tuple(Fraction(part + place, len(counts)) for part, count in enumerate(counts) for place in _even(count))


@cache
def _choices(beat_quarters: Fraction, grid: str) -> tuple[BeatGrid, ...]:
    """The grids a beat may have."""
    finest = {"eighths": 2, "16ths": 4, "32nds": 8, "auto": 8}[grid.split("+")[0]]
    most = finest * beat_quarters  # places in a beat
    dotted = beat_quarters == Fraction(3, 2)
    plain = (1, 3, 6, 12) if dotted else (1, 2, 4, 8, 16, 32)
    grids = [
        BeatGrid(_of_parts(count), _THIRTYSECONDS if count / beat_quarters > 4 else 0.0, triplets=False)
        for count in plain
        if count <= max(most, Fraction(1))
    ]
    if grid != "auto" and not grid.endswith("+triplets"):
        return tuple(grids)
    if dotted:  # duplets, and one of the three eighths as a triplet of 16ths
        grids += [BeatGrid(_of_parts(2), _TRIPLETS, False), BeatGrid(_of_parts(4), _FINE_TRIPLETS, False)]
        if finest > 2:
            grids += [BeatGrid(_of_parts(*p), _MIXED, True) for p in ((3, 2, 2), (2, 3, 2), (2, 2, 3), (3, 3, 3))]
        return tuple(grids)
    grids.append(BeatGrid(_of_parts(3), _TRIPLETS, True))
    if finest * beat_quarters > 2:
        grids.append(BeatGrid(_of_parts(6), _FINE_TRIPLETS, True))
        grids += [BeatGrid(_of_parts(*parts), _MIXED, True) for parts in ((3, 2), (2, 3))]
    return tuple(grids)


def _cost(within: list[float], grid: BeatGrid, beat: float) -> float:
    total = grid.price
    per_note = math.log(len(grid.places))
    at = Fraction(-1)
    played = 0.0
    for position in within:
        place = grid.nearest(position)
        deviation = (position - float(place)) * beat / SPREAD_QUARTERS
        if place < 1:  # one that belongs to the next beat's first place says nothing about this beat
            total += per_note
        total += deviation * deviation / 2
        if place == at and (position - played) * beat > _CHORD_QUARTERS:
            total += _COLLIDE
        at, played = place, position
    return total
