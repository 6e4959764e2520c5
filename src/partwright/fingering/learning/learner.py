"""Learning a teacher's taste: comparisons from the search and weights from the comparisons, in turn, until none is new.

A guard stands before the result: the decisions are held back a share at a time, taste is learned from the others, and
the plan under it is set beside the plan under the old taste. Only if more of the held-back decisions come out as the
teacher wants, and not at the cost of as much that was let stand, is the new taste worth having. What the old taste was
itself learned from is left out of the comparison: it would flatter it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from partwright.fingering.learning.counts import CountBook
from partwright.fingering.learning.evidence import LET_STAND, Judged, Met, Pricing, without
from partwright.fingering.learning.margin import MARGIN, Fitted, fit
from partwright.fingering.search import solve
from partwright.fingering.terms import Weights, default_weights
from partwright.instrument import Instrument

__all__ = ["FOLDS", "Agreement", "Learned", "Said", "learn_weights"]

FOLDS = 5
_FOLDS_OF_FEW = 10
_FEW_PINS = 60
_MOST_ROUNDS = 12
_MOST_ROUNDS_HELD_BACK = 2
_LEAST_NEWS = 0.01  # of the comparisons known; fewer new ones than this and the rounds end
_STRETCH_BARS = 8

Said = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Of decisions held back, how many come out as the teacher wants under the old taste and under the new."""

    pins: int
    pins_old: int
    pins_new: int
    stood: int
    stood_old: int
    stood_new: int

    @property
    def rises(self) -> bool:
        """More pins are met, and not at the cost of as much that was let stand, counted as in learning."""
        gained = self.pins_new - self.pins_old
        return gained > 0 and gained + LET_STAND * (self.stood_new - self.stood_old) > 0


@dataclass(frozen=True, eq=False, kw_only=True)
class Learned:
    """What came of learning: the taste (None where the guard held: the old taste stays), and what they rest on."""

    fitted: Fitted | None
    agreement: Agreement
    pins: int
    corrections: int  # pins that ask for something else than the old taste would
    stood: int
    rounds: int
    comparisons: int
    values: tuple[float, ...]  # of what is made least, round by round
    settled: bool  # no other way was new in the last round


def learn_weights(
    lessons: Sequence[Judged], instrument: Instrument, *, seed: int = 0, said: Said | None = None
) -> Learned:
    """Taste learned from lessons of one instrument, held near its defaults. The old taste of a lesson is the weights
    its planning was made with.

    `instrument`: without any taste; its levels are those of the lessons.

    `seed` decides which decisions are held back together. `said` is told what is being done, and how many of how many
    steps. Deterministic: the same lessons and seed give the same weights. Raises ValueError for no lessons.
    """
    if not lessons:
        raise ValueError("nothing to learn from")
    base = default_weights(instrument)
    defaults = [default_weights(instrument, instrument.levels[lesson.planning.level.name]) for lesson in lessons]
    book = CountBook()
    met = [Met(lesson, index, book) for index, lesson in enumerate(lessons)]

    def tell(number: int) -> None:
        if said:
            said("comparing your fingers with others", number, _MOST_ROUNDS + FOLDS)

    course = _rounds(met, book, defaults, base, _MOST_ROUNDS, tell)
    fitted = course.fitted
    agreement = Agreement(pins=0, pins_old=0, pins_new=0, stood=0, stood_old=0, stood_new=0)
    if fitted is not None:
        agreement = _held_back(lessons, met, book, defaults, base, seed, said)
    accepted = fitted is not None and agreement.rises
    return Learned(
        fitted=fitted if accepted else None,
        agreement=agreement,
        pins=sum(len(lesson.pinned) for lesson in lessons),
        corrections=sum(_corrections(lesson) for lesson in lessons),
        stood=sum(len(lesson.stood) for lesson in lessons),
        rounds=course.rounds,
        comparisons=sum(len(one.comparisons) for one in met),
        values=course.values,
        settled=course.settled,
    )


@dataclass(frozen=True, eq=False)
class _Course:
    """How the rounds went: the last fit (None where nothing had to be compared), and what was made least in each."""

    fitted: Fitted | None
    rounds: int
    values: tuple[float, ...]
    settled: bool


def _rounds(
    met: Sequence[Met],
    book: CountBook,
    defaults: Sequence[Weights],
    base: Weights,
    most: int,
    tell: Callable[[int], None],
) -> _Course:
    """Search and fit in turn, until hardly anything new is found. What is found is kept in `met`; the first fit is to
    what it already has."""
    known = [comparison for one in met for comparison in one.comparisons]
    fitted = fit(known, book, defaults, base) if known else None
    values: list[float] = []
    settled = False
    number = 0
    while number < most:
        number += 1
        tell(number)
        pricing = Pricing(defaults if fitted is None else [fitted.weights(own) for own in defaults])
        news = sum(one.search(pricing, margin=MARGIN) for one in met)
        found = [comparison for one in met for comparison in one.comparisons]
        settled = not news
        if news <= _LEAST_NEWS * len(found):
            break
        fitted = fit(found, book, defaults, base, start=None if fitted is None else fitted.x)
        values.append(fitted.value)
    return _Course(fitted, number, tuple(values), settled)


def _corrections(lesson: Judged) -> int:
    """Pins that ask for something else than the plan without any would have."""
    if not lesson.pinned:
        return 0
    choice = solve(lesson.planning.lattice, allowed=lesson.free).choice
    return sum(not lesson.asked[v][choice[v]] for v in lesson.pinned)


# Held-back decisions -------------------------------------------------------------------------------------------------


def _held_back(
    lessons: Sequence[Judged],
    met: Sequence[Met],
    book: CountBook,
    defaults: Sequence[Weights],
    base: Weights,
    seed: int,
    said: Said | None,
) -> Agreement:
    """How the decisions of each fold come out under the old taste, and under one learned from the other folds."""
    pins = sum(len(lesson.pinned) for lesson in lessons)
    folds = FOLDS if pins > _FEW_PINS else _FOLDS_OF_FEW
    fold_of = _folds(lessons, folds, seed)
    count = {"pins": 0, "pins_old": 0, "pins_new": 0, "stood": 0, "stood_old": 0, "stood_new": 0}
    for fold in range(folds):
        if said:
            said("trying it on decisions held back", _MOST_ROUNDS + fold + 1, _MOST_ROUNDS + folds)
        held = [frozenset(v for v, number in numbers.items() if number == fold) for numbers in fold_of]
        if not any(lesson.fresh & out for lesson, out in zip(lessons, held, strict=True)):
            continue
        left = [one.but(without(lesson, out)) for one, lesson, out in zip(met, lessons, held, strict=True)]
        fitted = _rounds(left, book, defaults, base, _MOST_ROUNDS_HELD_BACK, lambda _: None).fitted
        pricing = Pricing(defaults if fitted is None else [fitted.weights(own) for own in defaults])
        for index, (lesson, out) in enumerate(zip(lessons, held, strict=True)):
            if not lesson.fresh & out:
                continue
            masks = {**lesson.free, **{v: lesson.asked[v] for v in lesson.pinned if v not in out}}
            old = solve(lesson.planning.lattice, allowed=masks).choice
            new = solve(pricing.lattice(index, lesson.planning), allowed=masks).choice
            for kind, variables in (("pins", lesson.pinned), ("stood", lesson.stood)):
                judged = [v for v in variables if v in out and v in lesson.fresh]
                count[kind] += len(judged)
                count[f"{kind}_old"] += sum(bool(lesson.agrees[v][old[v]]) for v in judged)
                count[f"{kind}_new"] += sum(bool(lesson.agrees[v][new[v]]) for v in judged)
    return Agreement(**count)


def _folds(lessons: Sequence[Judged], folds: int, seed: int) -> list[dict[int, int]]:
    """The fold of every decided variable: whole lessons where there are enough of them, else stretches of bars."""
    by_bars = sum(bool(lesson.pinned) for lesson in lessons) < folds
    units: dict[tuple[int, int], list[int]] = {}
    for index, lesson in enumerate(lessons):
        bar = _bars(lesson)
        for v in lesson.decided:
            units.setdefault((index, bar.get(v, 0) // _STRETCH_BARS if by_bars else 0), []).append(v)
    pins = {unit: sum(v in set(lessons[unit[0]].pinned) for v in found) for unit, found in units.items()}
    listed = list(units)
    order = [listed[k] for k in np.random.default_rng(seed).permutation(len(listed))]
    load = [0] * folds
    fold_of: list[dict[int, int]] = [{} for _ in lessons]
    for unit in sorted(order, key=lambda one: -pins[one]):  # the largest first, each where least lies
        fold = load.index(min(load))
        load[fold] += max(1, 100 * pins[unit])
        fold_of[unit[0]].update(dict.fromkeys(units[unit], fold))
    return fold_of


def _bars(lesson: Judged) -> dict[int, int]:
    """The bar (its index) in which each variable is first written."""
    planning = lesson.planning
    bar: dict[int, int] = {}
    for event, variable in sorted(planning.variable_of.items()):
        bar.setdefault(variable, planning.walk.events[event].bar_index)
        second = planning.substitute_of.get(variable)
        if second is not None:
            bar.setdefault(second, planning.walk.events[event].bar_index)
    return bar
