"""The mean of all weights that the comparisons leave open: what is taken where decisions are few.

A few decisions are explained by many tastes. The one that explains them with the least change (`margin`) puts the whole
change on the term that does it most cheaply; a teacher differs a little in many. So tastes are drawn as they are likely
to be - each x normal about the default with WIDTH, and every comparison held with a chance that falls where the other
way costs less - and their mean is taken, the Bayes point (Herbrich, Graepel & Campbell 2001, *Bayes point machines*).
With many decisions the two agree, and drawing takes too long.

Method: elliptical slice sampling (Murray, Adams & MacKay 2010), which needs no step size; drawn with a seed. Terms that
no comparison shows stay as usual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.learning.margin import WIDTH, Fitted, Told

__all__ = ["Averaged", "average"]

_DOUBT = 0.03
"""How much a price may be off (a plain shift costs about 1): where the other way costs as much, the odds are even."""
_DROPPED = 0.2  # of the draws, the first: they still remember where they began


@dataclass(frozen=True, eq=False)
class Averaged:
    """The mean, and some of the tastes it is the mean of, evenly spread over the draws."""

    mean: Fitted
    some: tuple[Fitted, ...]


def average(told: Told, start: NDArray[np.float64], *, draws: int, some: int, seed: int) -> Averaged:
    """Mean of `draws` tastes that suit these comparisons, begun at `start`, (terms,), where a likely one is."""
    random = np.random.default_rng(seed)
    prices = _Prices(told)
    shown = prices.shown

    def likely(x: NDArray[np.float64]) -> float:
        """Logarithm of how likely what was decided is under x, but for a constant."""
        if np.abs(x / told.farthest).max() > 1.0:
            return -np.inf
        return -float(told.weight @ np.logaddexp(0.0, -prices.extra(x) / _DOUBT))

    x = np.where(shown, np.clip(start, -told.farthest, told.farthest), 0.0)
    now = likely(x)
    first = int(_DROPPED * draws)
    kept = {int(k) for k in np.linspace(first, draws - 1, some)} if some else set()
    total, drawn = np.zeros(len(x)), []
    for number in range(draws):
        aside = np.where(shown, random.normal(0.0, WIDTH, len(x)), 0.0)
        least = now + float(np.log(1.0 - random.random()))
        angle = random.uniform(0.0, 2.0 * np.pi)
        low, high = angle - 2.0 * np.pi, angle
        while True:
            other = x * np.cos(angle) + aside * np.sin(angle)
            then = likely(other)
            if then > least or high - low < 1e-9:  # at an angle of 0 all is as it was
                break
            low, high = (angle, high) if angle < 0 else (low, angle)
            angle = random.uniform(low, high)
        if then > least:
            x, now = other, then
        if number >= first:
            total += x
        if number in kept:
            drawn.append(told.fitted(x, -now))
    mean = total / (draws - first)
    return Averaged(told.fitted(mean, -likely(mean)), tuple(drawn))


class _Prices:
    """What the other ways cost more, again and again: only kinds and terms that some comparison shows."""

    def __init__(self, told: Told) -> None:
        kinds = np.flatnonzero(np.abs(told.more).sum(axis=0) > 0)
        self._told = told
        self._term = told.term[kinds]
        self._more = [(own, rows, np.ascontiguousarray(told.more[np.ix_(rows, kinds)])) for own, rows in told.shares]
        by_factor = ((row, np.flatnonzero(told.multiplied[kinds, f])) for f, row in enumerate(told.factor_rows))
        self._factors = [(row, places) for row, places in by_factor if len(places)]
        self.shown = np.zeros(len(told.plain), dtype=bool)
        self.shown[self._term] = True
        self.shown[[row for row, _ in self._factors]] = True

    def extra(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """How much more the other way costs in each comparison, (comparisons,)."""
        times, added = self._told.moved(x)
        found = np.empty(len(self._told.more))
        for own, rows, more in self._more:
            values = own * times + added
            price = values[self._term]
            for row, places in self._factors:
                price[places] *= values[row]
            found[rows] = more @ price
        return found
