"""How likely a doubted claim is really said wrongly: what two judges think of it.

One judge is a logistic sum over the evidence (`data/verdicts.toml`), the other the sum of small trees
(`data/verdict_trees.json`). The sum knows little of how one thing depends on another, the trees believe too readily
what only the teachers do they were fitted on; the belief is halfway between their logits. Both were fitted on made
lessons and on free talks (bench/fit_narration.py), never on those they are measured with.

A tree asks one column of the evidence after the other whether it is greater than a threshold (its questions in the
order of a heap) and ends at a leaf.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from partwright.checking.narration.evidence import NAMES

__all__ = ["VerdictModel", "belief", "load_model"]


@dataclass(frozen=True, slots=True)
class _Tree:
    questions: tuple[tuple[int, float], ...]  # column, threshold
    leaves: tuple[float, ...]

    def value(self, row: Sequence[float]) -> float:
        at, inner = 0, len(self.questions)
        while at < inner:
            column, threshold = self.questions[at]
            at = 2 * at + (2 if row[column] > threshold else 1)
        return self.leaves[at - inner]


@dataclass(frozen=True, slots=True)
class VerdictModel:
    """Weights of the evidence in the order of `NAMES`; the logit the trees start from, and the trees."""

    weights: tuple[float, ...]
    start: float
    trees: tuple[_Tree, ...]

    def logit(self, row: Sequence[float]) -> float:
        """The logit of the belief; `row` is one row of `evidence`."""
        plain = sum(w * x for w, x in zip(self.weights, row, strict=True))
        return (plain + self.start + sum(tree.value(row) for tree in self.trees)) / 2


@cache
def load_model() -> VerdictModel:
    """The model carried in the package. Raises KeyError where it asks for what the evidence does not have."""
    folder = resources.files("partwright.checking.narration") / "data"
    column = {name: k for k, name in enumerate(NAMES)}
    weights = [0.0] * len(NAMES)
    for name, weight in tomllib.loads((folder / "verdicts.toml").read_text(encoding="utf-8"))["weights"].items():
        weights[column[name]] = float(weight)
    data = json.loads((folder / "verdict_trees.json").read_text(encoding="utf-8"))
    trees = tuple(
        _Tree(tuple((column[name], float(least)) for name, least in tree["asks"]), tuple(map(float, tree["leaves"])))
        for tree in data["trees"]
    )
    return VerdictModel(weights=tuple(weights), start=float(data["start"]), trees=trees)


def belief(row: Sequence[float]) -> float:
    """How likely a claim with this evidence is really said wrongly, 0 to 1."""
    return 1.0 / (1.0 + math.exp(-load_model().logit(row)))
