"""The mean of the tastes that comparisons leave open, against closed forms of the normal distribution."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest

from partwright.fingering.learning.average import average
from partwright.fingering.learning.margin import WIDTH, Told

NOTHING = np.zeros(3)


def told(*more: tuple[float, float, float], weight: float = 1.0) -> Told:
    """Three terms of equal price and comparisons between them; no factors."""
    rows = np.array(more, dtype=float)
    return Told(
        plain=np.ones(3),
        steps=np.zeros(3),
        farthest=np.full(3, 2.3),
        more=rows,
        worth=np.ones(len(rows)),
        weight=np.full(len(rows), weight),
        term=np.arange(3),
        multiplied=np.zeros((3, 0), dtype=bool),
        factor_rows=np.zeros(0, dtype=np.int64),
        shares=((np.ones(3), np.arange(len(rows))),),
    )


def test_of_two_terms_the_dearer_lies_above_the_usual_as_far_as_the_other_below() -> None:
    """Two normal deviates of which one is known to be the larger: its mean is the spread / √π (the expected largest of
    two, David & Nagaraja 2003, *Order statistics*). Prices are compared a little loosely, so hardly more than that."""
    mean = average(told((-1.0, 1.0, 0.0), weight=5.0), NOTHING, draws=5000, some=0, seed=1).mean.x
    assert mean[1] == pytest.approx(WIDTH / sqrt(pi), abs=0.05)
    assert mean[0] == pytest.approx(-WIDTH / sqrt(pi), abs=0.05)


def test_a_term_that_no_comparison_shows_stays_as_usual() -> None:
    found = average(told((-1.0, 1.0, 0.0)), np.array([0.0, 0.0, 1.0]), draws=300, some=3, seed=1)
    assert found.mean.x[2] == 0
    assert all(one.x[2] == 0 for one in found.some)
    assert found.mean.times[2] == 1


def test_terms_that_always_come_together_share_what_is_learned() -> None:
    """What costs less by itself than two together may be either's doing: both move alike."""
    mean = average(told((-3.0, 1.0, 1.0), weight=5.0), NOTHING, draws=5000, some=0, seed=2).mean.x
    assert mean[0] < -0.2
    assert mean[1] > 0.1
    assert mean[1] == pytest.approx(mean[2], abs=0.05)


def test_the_same_seed_draws_the_same() -> None:
    one, two = (average(told((-1.0, 1.0, 0.0)), NOTHING, draws=200, some=2, seed=3) for _ in range(2))
    other = average(told((-1.0, 1.0, 0.0)), NOTHING, draws=200, some=2, seed=4)
    assert (one.mean.x == two.mean.x).all()
    assert not (one.mean.x == other.mean.x).all()
    assert len(one.some) == 2


def test_no_draw_goes_farther_than_a_weight_may() -> None:
    near = replace(told((-1.0, 1.0, 0.0)), farthest=np.full(3, 0.3))
    found = average(near, np.array([-2.0, 2.0, 0.0]), draws=200, some=50, seed=5)
    assert max(float(np.abs(one.x).max()) for one in found.some) <= 0.3


def test_comparisons_that_contradict_each_other_favour_neither() -> None:
    mean = average(told((-1.0, 1.0, 0.0), (1.0, -1.0, 0.0)), NOTHING, draws=5000, some=0, seed=6).mean.x
    assert mean[0] == pytest.approx(mean[1], abs=0.03)
