"""Bars compared note for note, and which earlier bar a bar is the return of.

Units: bars are indexed from 0; onsets and durations in quarter notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from partwright.score import Part

__all__ = ["Content", "bar_contents", "counterparts", "differing_bars"]

Content = list[tuple[Fraction, int, Fraction]]

_AROUND = 5  # bars on either side that are compared
_LEAST_ALIKE = 2
_SHARE_ALIKE = 0.6


def bar_contents(part: Part) -> tuple[Content, ...]:
    """Of every bar: onset within the bar, MIDI pitch and duration of each note, but grace notes."""
    found: list[Content] = [[] for _ in part.bars]
    for note in part.notes:
        if not note.grace:
            start = part.bars[note.bar_index].start_quarters
            found[note.bar_index].append((note.onset_quarters - start, note.midi, note.duration_quarters))
    return tuple(found)


def differing_bars(contents: Sequence[Content], target: tuple[int, int], model: tuple[int, int]) -> list[int]:
    """Bars, counted from 0 within the stretch, in which the two differ; those beyond the shorter one differ."""
    length = target[1] - target[0] + 1
    other = model[1] - model[0] + 1
    return [
        k for k in range(length) if k >= other or contents[target[0] + k] != contents[model[0] + k]
    ] or ([length - 1] if other > length else [])  # fmt: skip


def counterparts(contents: Sequence[Content], bar_index: int) -> tuple[int, ...]:
    """How many bars earlier the passage around a bar is found once more, the best likeness first; () for nowhere.

    The bar itself is not looked at: it may be the one that is different.
    """
    around = range(max(0, bar_index - _AROUND), min(len(contents), bar_index + _AROUND + 1))

    def alike(bar: int, back: int) -> bool:
        return back <= bar < len(contents) and contents[bar] == contents[bar - back] != []

    found = []
    for back in range(2, bar_index + 1):
        compared = [bar for bar in around if bar >= back and bar != bar_index]
        count = sum(alike(bar, back) for bar in compared)
        beside = any(alike(bar_index + away, back) for away in (-2, -1, 1, 2))
        if beside and count >= max(_LEAST_ALIKE, _SHARE_ALIKE * min(len(compared), _AROUND)):
            found.append((count, back))
    return tuple(back for _, back in sorted(found, key=lambda item: (-item[0], item[1])))
