"""Where a part is cut into leaves: stretches of bars that are drawn by themselves.

A cut is made where nothing crosses it: no tie, no slur, no ending; if possible where a section, a repeat or a double
bar begins.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise

from partwright.score import Part

__all__ = ["cut_leaves"]

LEAST_BARS, USUAL_BARS, MOST_BARS = 20, 32, 48


def cut_leaves(part: Part, section_starts: Collection[int] = ()) -> tuple[tuple[int, int], ...]:
    """First and last bar index of every leaf, in order."""
    crossed = _crossed(part)
    last = len(part.bars) - 1
    leaves: list[tuple[int, int]] = []
    first = 0
    while first <= last:
        if last - first + 1 <= MOST_BARS:
            leaves.append((first, last))
            break
        best, price = first + USUAL_BARS, float("inf")
        for start in range(first + LEAST_BARS, min(first + MOST_BARS, last) + 1):
            bar, before = part.bars[start], part.bars[start - 1]
            cost = abs(start - first - USUAL_BARS) / USUAL_BARS
            cost += 10.0 if start in crossed else 0.0
            if start in section_starts or bar.rehearsal or bar.repeat_start or before.repeat_end or before.double_bar:
                cost -= 0.4
            if cost < price:
                best, price = start, cost
        leaves.append((first, best - 1))
        first = best
    return tuple(leaves)


def _crossed(part: Part) -> frozenset[int]:
    """Bars before which nothing should be cut."""
    found: set[int] = set()
    open_slurs: dict[str, int] = {}
    for note in part.notes:
        if note.tied_to is not None and note.tied_to in part.by_id:
            found.update(range(note.bar_index + 1, part.by_id[note.tied_to].bar_index + 1))
        for name in note.slur_stops:
            if name in open_slurs:
                found.update(range(open_slurs.pop(name) + 1, note.bar_index + 1))
        for name in note.slur_starts:
            open_slurs[name] = note.bar_index
    for before, bar in pairwise(part.bars):
        if bar.endings and before.endings and not bar.ending_starts:
            found.add(bar.index)
        if bar.endings and bar.ending_starts:  # the endings of one repeat stand together
            found.add(bar.index)
    return frozenset(found)
