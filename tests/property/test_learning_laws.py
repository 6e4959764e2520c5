"""Laws of learning a taste, over drawn teachers: the same again, the guard, and no more than the bounds allow."""

from __future__ import annotations

import pytest

from made_teachers import corrected, hidden_taste, invented_tune, placed
from partwright.fingering import default_weights, prepare
from partwright.fingering.learning import Judged, judge, learn_weights
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")


def lessons(teacher: int, tunes: range) -> list[Judged]:
    wanted = hidden_taste(teacher, CELLO)
    found = []
    for seed in tunes:
        part = invented_tune(seed)
        pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=wanted)))
        found.append(judge(prepare(part, CELLO, pins=pins), reviewed=True))
    return found


@pytest.mark.parametrize("teacher", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_learning_twice_is_learning_the_same(teacher: int) -> None:
    one, two = (learn_weights(lessons(teacher, range(2)), CELLO, seed=5) for _ in range(2))
    assert one.values == two.values
    assert one.agreement == two.agreement
    assert (one.fitted is None) == (two.fitted is None)
    if one.fitted is not None and two.fitted is not None:
        assert (one.fitted.x == two.fitted.x).all()


@pytest.mark.parametrize("teacher", [2, *(pytest.param(other, marks=pytest.mark.slow) for other in (0, 3, 4))])
def test_what_is_learned_keeps_costs_costs_and_rises_on_what_was_held_back(teacher: int) -> None:
    learned = learn_weights(lessons(teacher, range(4)), CELLO)
    tried = learned.agreement
    if learned.fitted is None:
        assert not tried.rises
        return
    assert tried.pins_new > tried.pins_old
    assert tried.pins_new + tried.stood_new > tried.pins_old + tried.stood_old
    defaults = default_weights(CELLO)
    for (name, usual), (_, own) in zip(defaults.values, learned.fitted.weights(defaults).values, strict=True):
        if usual > 0:
            assert usual / 11 < own < usual * 11, name


def test_rounds_come_to_an_end() -> None:
    """Each round adds other ways to those before. What is compared with may change, so the value may fall too."""
    learned = learn_weights(lessons(1, range(3)), CELLO)
    assert len(learned.values) in (learned.rounds, learned.rounds - 1)
    assert learned.rounds < 12
    assert learned.comparisons >= learned.corrections
