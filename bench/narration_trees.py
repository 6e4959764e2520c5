"""Small trees that add up to a logit: gradient boosting with full binary trees of one depth.

Shape: a tree of depth d is 2^d - 1 questions (column, threshold; a row goes right where its value is greater) in the
order of a heap, and 2^d leaves in logits. After J. H. Friedman, Greedy function approximation (2001), with Newton
leaves and a ridge on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DEPTH, TREES, RATE = 4, 150, 0.06
LEAST_ROWS = 15  # of a leaf
RIDGE = 4.0
BINS = 24
_NEVER = 1e9  # the threshold of a question that is not worth asking: all rows go left
SHARE = 0.7  # of the rows that each tree sees


@dataclass(frozen=True)
class Tree:
    columns: tuple[int, ...]
    thresholds: tuple[float, ...]
    leaves: tuple[float, ...]

    def values(self, x: Floats) -> Floats:
        at = np.zeros(len(x), dtype=int)
        columns, thresholds = np.array(self.columns), np.array(self.thresholds)
        for _ in range(DEPTH):
            at = 2 * at + 1 + (x[np.arange(len(x)), columns[at]] > thresholds[at])
        return np.asarray(np.array(self.leaves)[at - (2**DEPTH - 1)])


@dataclass(frozen=True)
class Model:
    """The logit to start from, and the trees whose values are added to it."""

    start: float
    trees: tuple[Tree, ...]

    def beliefs(self, x: Floats) -> Floats:
        """How likely each row is a planted mistake."""
        logits = self.start + sum((tree.values(x) for tree in self.trees), np.zeros(len(x)))
        return np.asarray(1 / (1 + np.exp(-logits)))


def boost(x: Floats, y: Floats, *, seed: int = 1) -> Model:
    """The model that tells rows with `y` 1 from those with `y` 0."""
    rng = np.random.default_rng(seed)
    cuts = [np.unique(np.quantile(column, np.linspace(0, 1, BINS + 1)[1:-1])) for column in x.T]
    binned = np.stack([np.searchsorted(c, column, side="left") for c, column in zip(cuts, x.T, strict=True)], axis=1)
    start = float(np.log(y.mean() / (1 - y.mean())))
    logits = np.full(len(y), start)
    trees = []
    for _ in range(TREES):
        p = 1 / (1 + np.exp(-logits))
        gradient, hessian = y - p, p * (1 - p)
        seen = rng.random(len(y)) < SHARE
        tree = _grow(binned, cuts, gradient, hessian, seen)
        trees.append(tree)
        logits += tree.values(x)
    return Model(start, tuple(trees))


def _grow(
    binned: NDArray[np.int64], cuts: list[Floats], gradient: Floats, hessian: Floats, seen: NDArray[np.bool_]
) -> Tree:
    inner = 2**DEPTH - 1
    columns, thresholds, leaves = [0] * inner, [_NEVER] * inner, [0.0] * (inner + 1)
    members = [np.flatnonzero(seen), *[np.empty(0, dtype=int)] * (2 * inner)]
    for node in range(inner):
        rows = members[node]
        best = _best_cut(binned[rows], gradient[rows], hessian[rows])
        if best is None:
            members[2 * node + 1] = rows
            continue
        column, cut = best
        columns[node], thresholds[node] = column, float(cuts[column][cut])
        right = binned[rows, column] > cut
        members[2 * node + 1], members[2 * node + 2] = rows[~right], rows[right]
    for leaf in range(inner + 1):
        rows = members[inner + leaf]
        leaves[leaf] = RATE * float(gradient[rows].sum() / (hessian[rows].sum() + RIDGE))
    return Tree(tuple(columns), tuple(thresholds), tuple(leaves))


def _best_cut(binned: NDArray[np.int64], gradient: Floats, hessian: Floats) -> tuple[int, int] | None:
    """The column, and the last of its bins that goes left, with the greatest gain; None where none gains."""
    best: tuple[int, int] | None = None
    best_gain = 1e-6
    total, weight, count = gradient.sum(), hessian.sum(), len(gradient)
    for column in range(binned.shape[1]):
        bins = binned[:, column]
        size = np.cumsum(np.bincount(bins, minlength=BINS))
        g = np.cumsum(np.bincount(bins, weights=gradient, minlength=BINS))
        h = np.cumsum(np.bincount(bins, weights=hessian, minlength=BINS))
        gain = g**2 / (h + RIDGE) + (total - g) ** 2 / (weight - h + RIDGE) - total**2 / (weight + RIDGE)
        gain[(size < LEAST_ROWS) | (count - size < LEAST_ROWS)] = -1.0
        cut = int(gain.argmax())
        if gain[cut] > best_gain:
            best, best_gain = (column, cut), float(gain[cut])
    return best
