"""Printable note values: which durations one note can show, and how to cut the others at the metre's strong points.

A base value (a power of two of a quarter), or one with one to three dots. Source for the values: MusicXML 4.0,
note-type-value (maxima to 1024th).
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm

__all__ = ["BASE_VALUES", "note_value", "split_duration"]

_NAMES = (
    "maxima", "long", "breve", "whole", "half", "quarter", "eighth",
    "16th", "32nd", "64th", "128th", "256th", "512th", "1024th",
)  # fmt: skip
BASE_VALUES: dict[str, Fraction] = {name: Fraction(32) / 2**k for k, name in enumerate(_NAMES)}
"""Note type to its length in quarter notes."""

_PRINTABLE: dict[Fraction, tuple[str, int]] = {
    value * (2 - Fraction(1, 2**dots)): (name, dots) for dots in (3, 2, 1, 0) for name, value in BASE_VALUES.items()
}
_SMALLEST = BASE_VALUES["1024th"]


def note_value(quarters: Fraction, *, most_dots: int = 3) -> tuple[str, int] | None:
    """The note type and dots that print `quarters`, or None if no single note can.

    >>> note_value(Fraction(3, 2)), note_value(Fraction(5, 2))
    (('quarter', 1), None)
    """
    found = _PRINTABLE.get(quarters)
    return found if found is not None and found[1] <= most_dots else None


def split_duration(
    quarters: Fraction, *, offset_quarters: Fraction, strong_points: tuple[Fraction, ...], most_dots: int = 3
) -> tuple[Fraction, ...]:
    """`quarters` as a sequence of printable values, cut where the metre is strongest.

    `offset_quarters` is where the note starts in its bar; `strong_points` are step lengths from the strongest level
    (half a bar) to the weakest (a beat), in quarters. An empty tuple means no sum of printable values gives it.
    """
    if note_value(quarters, most_dots=most_dots):
        return (quarters,)
    if quarters <= 0 or (quarters / _SMALLEST).denominator != 1:
        return ()
    end = offset_quarters + quarters
    fineness = lcm(offset_quarters.denominator, quarters.denominator)  # cuts never need more divisions than that
    for step in strong_points:
        point = (offset_quarters // step + 1) * step
        cuts: list[tuple[Fraction, Fraction]] = []
        while point < end and len(cuts) < 64:
            first = point - offset_quarters
            if fineness % first.denominator == 0 and (first / _SMALLEST).denominator == 1:
                cuts.append((first, end - point))
            point += step
        whole = [cut for cut in cuts if all(note_value(piece, most_dots=most_dots) for piece in cut)]
        if whole:
            return whole[0]
        if cuts:
            head = split_duration(cuts[0][0], offset_quarters=offset_quarters, strong_points=(), most_dots=most_dots)
            tail = split_duration(
                cuts[0][1],
                offset_quarters=offset_quarters + cuts[0][0],
                strong_points=strong_points,
                most_dots=most_dots,
            )
            return head + tail
    pieces: list[Fraction] = []
    left = quarters
    for value in BASE_VALUES.values():  # largest first: every multiple of the smallest value is a sum of these
        while value <= left:
            pieces.append(value)
            left -= value
    return tuple(pieces)
