"""The places of a part as a speaker finds them: bars, sections, ends, and where the played order leaps.

Shape: weights over places are arrays (places,) with sum 1.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.mentions import Mention, PlaceCue
from partwright.checking.narration.places import Section
from partwright.checking.narration.truth import Truth

__all__ = ["ANNOUNCED", "Landmarks"]

Floats = NDArray[np.float64]

# How surely the speaker is at a place announced so ("section B", "bar twelve", "from the top"); guesses, no source.
ANNOUNCED = {"section": 0.97, "bar": 0.97, "bars": 0.9, "restart": 0.6, "recap": 0.35, "passage": 0.25, "bar_of": 0.5}
# What is said between "bar twelve" and "bar thirteen" is of bar twelve: how much likelier outside than inside; guesses.
_OUTSIDE, _BESIDE = 0.03, 0.3
_BEFORE = 0.25  # of what comes before the bar, where no next bar is announced
_NEXT_BARS = 2  # so many bars on at most, and the next announcement ends the stretch
_HELD = 12  # mentions


class Landmarks:
    """Where an announced place is. `runs`: (places,) whether a place is of several equal notes."""

    def __init__(self, truth: Truth, sections: Sequence[Section]) -> None:
        self.size = len(truth)
        self.sections = sections
        self.section_of = np.array([place.section for place in truth.places])
        self.bar_of = np.array([place.first.bar_index for place in truth.places])
        self.last_bar_of = np.array([place.attacks[-1].notes[0].bar_index for place in truth.places])
        self.runs = np.array([place.count > 1 for place in truth.places])
        bar_starts = np.r_[True, self.bar_of[1:] != self.bar_of[:-1]]
        section_starts = np.r_[True, self.section_of[1:] != self.section_of[:-1]]
        self.anywhere = _normal(0.55 * _normal(section_starts) + 0.25 * _normal(bar_starts) + 0.2 / self.size)
        self.ends = _ends(truth, section_starts)
        self.leaps = _leaps(truth)
        numbers = [bar.number for bar in truth.part.bars]
        self.bars_by_number = {number: index for index, number in reversed(list(enumerate(numbers)))}

    def target(self, cue: PlaceCue) -> Floats | None:
        """The places an announcement may mean; None where the part has none of that name."""
        if cue.kind == "section":
            names = [s.name.casefold() for s in self.sections]
            wanted = str(cue.value[0]).casefold()
            if wanted in names:
                return self._inside(self.section_of == names.index(wanted))
            return None
        if cue.kind == "bar_of":
            starts = {int(self.bar_of[self.section_of == s].min()) for s in set(self.section_of.tolist())}
            inside = [self.bar_of == first + int(cue.value[0]) - 1 for first in sorted(starts)]
            found = [self._inside(row) for row in inside if row.any()]
            return _normal(np.sum(found, axis=0)) if found else None
        if cue.kind in ("bar", "bars"):
            index = self.bars_by_number.get(str(cue.value[0]))
            if index is None:
                return None
            inside = self.bar_of == index
            return self._inside(inside) if inside.any() else None
        if cue.kind == "passage":
            if cue.value == (-1,):
                return _normal(self._inside(self.section_of == self.section_of.max()) + self.anywhere)
            if cue.value and int(cue.value[0]) <= len(self.sections):
                return _normal(self._inside(self.section_of == int(cue.value[0]) - 1) + self.anywhere)
            return self.anywhere
        if cue.kind == "restart":
            return _normal(self._inside(self.section_of == self.section_of[0]) + self.anywhere)
        return self.anywhere

    def stretches(self, mentions: Sequence[Mention]) -> list[Floats | None]:
        """For each mention how likely it is at each place by the bars announced around it, 1 where it may well be.

        None where no bar was announced.
        """
        announced = [(k, self._announced(mention)) for k, mention in enumerate(mentions) if mention.cues]
        found: list[Floats | None] = [None] * len(mentions)
        for number, (k, bar) in enumerate(announced):
            if bar is None:
                continue
            until, after = announced[number + 1] if number + 1 < len(announced) else (len(mentions), None)
            closed = after is not None and 0 < after - bar <= _NEXT_BARS
            likely = self._between(bar, after) if closed and after is not None else self._from(bar)
            found[k:until] = [likely] * (until - k if closed else min(_HELD, until - k))
        return found[: len(mentions)] + [None] * (len(mentions) - len(found))

    def _announced(self, mention: Mention) -> int | None:
        """The index of the bar that was announced last before a mention, where it was a bar."""
        cue = mention.cues[-1]
        return self.bars_by_number.get(str(cue.value[0])) if cue.kind in ("bar", "bars") else None

    def _between(self, bar: int, after: int) -> Floats:
        inside = (self.bar_of < after) & (self.last_bar_of >= bar)
        beside = np.zeros(self.size, bool)
        beside[:-1] |= inside[1:]
        beside[1:] |= inside[:-1]
        return np.where(inside, 1.0, np.where(beside, _BESIDE, _OUTSIDE))

    def _from(self, bar: int) -> Floats:
        return np.where(self.last_bar_of >= bar, 1.0, _BEFORE)

    def _inside(self, inside: NDArray[np.bool_]) -> Floats:
        """Most likely the first place of a stretch, then the second, then any."""
        found = np.zeros(self.size)
        indices = np.flatnonzero(inside)
        if not len(indices):
            return self.anywhere
        found[indices] = 0.15 / len(indices)
        found[indices[0]] += 0.7
        found[indices[min(1, len(indices) - 1)]] += 0.15
        return found


def _normal(weights: NDArray[np.generic] | Floats) -> Floats:
    values = np.asarray(weights, dtype=np.float64)
    return np.asarray(values / max(1e-300, float(values.sum())))


def _ends(truth: Truth, section_starts: NDArray[np.bool_]) -> tuple[NDArray[np.int64], ...]:
    """For every place: the end of its section (or repeat), the end after that one, the end of all."""
    size = len(truth)
    bars = truth.part.bars
    last = size - 1
    ends = [
        k for k in range(size)
        if k == last
        or section_starts[k + 1]
        or any(
            bars[b].repeat_end or bars[b].double_bar
            for b in range(truth.places[k].first.bar_index, truth.places[k + 1].first.bar_index)
        )
    ]  # fmt: skip
    at = np.searchsorted(ends, np.arange(size))
    known = np.array(ends, dtype=np.int64)
    return known[at], known[np.minimum(at + 1, len(ends) - 1)], np.full(size, last, dtype=np.int64)


def _leaps(truth: Truth) -> tuple[tuple[int, int], ...]:
    """Where the played order goes from one place to another that does not follow it on the page."""
    place_of: dict[int, int] = {}
    for place in truth.places:
        for attack in place.attacks:
            for note in attack.notes:
                place_of[note.index] = place.index
    last: int | None = None
    found: set[tuple[int, int]] = set()
    for index in truth.part.played_order():
        here = place_of.get(index)
        if here is None:
            continue
        if last is not None and here not in (last, last + 1):
            found.add((last, here))
        last = here
    return tuple(sorted(found))
