"""The weights under which the teacher's way costs less than every other way met so far, held near the defaults.

Each weight is the default times a factor: e^x for what the table prices, so that a cost stays a cost; 1 + a step times
x for what the table likes, so that liking may turn into avoiding. A term without a price gets a step times x added. The
x that is taken makes

    sum of pull(x / WIDTH)  +  sum over comparisons of  weight · soft hinge(margin · worth - extra cost of the other)

least, where pull(u) = √(1 + u²) - 1 is half the square near the default and grows in proportion far from it (a
teacher differs a little in most things and may differ much in one): large-margin structured learning (Tsochantaridis
et al. 2005) with the hinge rounded so that it has a slope everywhere. The other ways come from the exact search
(`evidence`), a round at a time, until none is new. Lessons of different levels may have different defaults; x is one
for all.

Method: truncated Newton from scipy on the comparisons of a round; counts are linear in each weight and in each factor
alone, so the slope is exact. (Its L-BFGS-B finds the same, but calls threaded linear algebra for fifty numbers, which
on a busy machine takes thirty times as long.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.learning.counts import CountBook
from partwright.fingering.learning.evidence import Comparison
from partwright.fingering.terms import FACTORS, Weights, term_table

__all__ = ["MARGIN", "Fitted", "fit"]

Floats = NDArray[np.float64]

WIDTH = 0.5
"""How far from the defaults a teacher's weights are thought to lie: two in three within e^±0.5 of them."""
MARGIN = 0.03
"""By how much the teacher's way should cost less, for one decision; a plain shift costs about 1."""
_SOFTNESS = 0.03
_MOST_DECISIONS = 3.0  # of one stretch that are counted
_STRENGTH = 0.5  # of one decision, beside the pull to the defaults
_STEP = 0.2  # what x = 1 does at least to the price of one comparison through a term that is liked or has no price
_FARTHEST = 2.3  # of x: weights stay between a tenth of the default and ten times it
_FARTHEST_STEPS = 6.0  # of x for what is liked or has no price


@dataclass(frozen=True, eq=False)
class Fitted:
    """The x of every term, in the order of the table; what it does to weights; and what was made least."""

    x: Floats
    value: float
    times: Floats  # of each weight
    added: Floats  # to weights of nothing

    def weights(self, defaults: Weights) -> Weights:
        """These defaults as the teacher has them."""
        rows = zip(defaults.values, self.times, self.added, strict=True)
        return Weights(tuple((name, float(value * times + added)) for (name, value), times, added in rows))


def fit(
    comparisons: Sequence[Comparison],
    book: CountBook,
    defaults: Sequence[Weights],
    base: Weights,
    *,
    start: Floats | None = None,
) -> Fitted:
    """The point that suits these comparisons best.

    `defaults` are those of each lesson the comparisons name; `base` those of the instrument, which say what is liked,
    priced, or neither. `start`: where to begin, from an earlier round.
    """
    from scipy.optimize import minimize

    names = [name for name, _ in base.values]
    assert names == [term.name for term in term_table()]
    plain = _array(base)
    term, multiplied = book.layout()
    more = np.zeros((len(comparisons), len(book.kinds)))
    for row, comparison in enumerate(comparisons):
        for kind, amount in comparison.more:
            more[row, kind] = amount
    wanted = MARGIN * np.minimum(_MOST_DECISIONS, np.array([c.worth for c in comparisons]))
    weight = np.array([c.weight for c in comparisons]) * _STRENGTH / MARGIN
    steps = _steps(plain, more, term)
    factor_rows = np.array([names.index(name) for name in FACTORS], dtype=np.int64)
    groups: dict[Weights, list[int]] = {}
    for row, comparison in enumerate(comparisons):
        groups.setdefault(defaults[comparison.lesson], []).append(row)
    shares = [(_array(own), np.array(rows)) for own, rows in groups.items()]

    def slope_and_value(x: Floats) -> tuple[float, Floats]:
        times, added = _moved(x, plain, steps)
        root = np.sqrt(1.0 + (x / WIDTH) ** 2)
        value, slope = float((root - 1.0).sum()), x / WIDTH**2 / root
        for own, rows in shares:
            values = own * times + added
            factors = np.where(multiplied, values[factor_rows][None, :], 1.0).prod(axis=1)
            price = values[term] * factors
            short = (wanted[rows] - more[rows] @ price) / _SOFTNESS
            value += float(weight[rows] @ np.logaddexp(0.0, short)) * _SOFTNESS
            chance = weight[rows] / (1.0 + np.exp(-np.clip(short, -60.0, 60.0)))
            by_kind = -(chance @ more[rows])
            by_weight = np.bincount(term, by_kind * factors, len(plain))
            for column, row in enumerate(factor_rows):
                by_weight[row] += float((by_kind * price)[multiplied[:, column]].sum()) / values[row]
            by_x = np.where(plain > 0, own * times, np.where(plain < 0, own * steps, steps))
            slope = slope + by_weight * by_x
        return value, slope

    found = minimize(
        slope_and_value,
        np.zeros(len(plain)) if start is None else start,
        jac=True,
        method="TNC",
        bounds=[(-far, far) for far in np.where(plain > 0, _FARTHEST, _FARTHEST_STEPS)],
        options={"maxfun": 1000},
    )
    x = np.asarray(found.x, dtype=np.float64)
    times, added = _moved(x, plain, steps)
    return Fitted(x=x, value=float(found.fun), times=times, added=added)


def _array(weights: Weights) -> Floats:
    return np.array([value for _, value in weights.values])


def _moved(x: Floats, plain: Floats, steps: Floats) -> tuple[Floats, Floats]:
    """What x does to weights: by what they are multiplied, and what is added."""
    times = np.where(plain > 0, np.exp(x), np.where(plain < 0, 1.0 + steps * x, 1.0))
    return times, np.where(plain == 0, steps * x, 0.0)


def _steps(plain: Floats, more: Floats, term: NDArray[np.int64]) -> Floats:
    """What x = 1 does to a term that may change its sign: as much as shows, and at least as much as it weighs.

    For a term that is liked it is a share of its weight, for one without a price an amount.
    """
    size = np.abs(more)
    total = np.bincount(term, size.sum(axis=0), len(plain))
    met = np.bincount(term, (size > 0).sum(axis=0), len(plain))
    shows = _STEP * met / np.maximum(total, 1e-9)
    shows = np.where(met > 0, shows, 0.0)
    return np.where(plain < 0, np.maximum(1.0, shows / np.maximum(np.abs(plain), 1e-9)), shows)
