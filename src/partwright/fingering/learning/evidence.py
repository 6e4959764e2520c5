"""What a teacher's decisions say: which states of each event agree with them, and which plans contradict them.

A lesson that the teacher has gone through says two things: the pins, and that the rest of the plan was let stand as it
was then (`standing`). A source's printed fingers are decisions about the notes they stand on and no others. The plan
that agrees is not fully known (a pin may name a finger and no string; the hand over an open string is never seen): the
cheapest one that agrees is taken for it, under the weights of the moment, and taken anew whenever the weights change
(a latent structural model: Yu & Joachims 2009, *Learning structural SVMs with latent variables*).

Method: the search is asked for the cheapest plan when every note that disagrees is made cheaper by a margin (loss-
augmented inference, Tsochantaridis et al. 2005). Where it differs from the plan that agrees, the two fall apart into
stretches that have nothing to do with each other; each stretch is one comparison: *this*, the teacher's way, should
cost less than *that*.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.features import CostModel
from partwright.fingering.lattice import Lattice, MovePrices, build_lattice
from partwright.fingering.learning.counts import CountBook
from partwright.fingering.learning.standing import Standing, standing
from partwright.fingering.planning import Mask, Planning
from partwright.fingering.search import solve
from partwright.fingering.terms import Weights

__all__ = ["LET_STAND", "Comparison", "Judged", "Met", "Pricing", "judge", "without"]

LET_STAND = 0.5
"""How much a note counts that the teacher saw and let stand, beside 1 for a pin."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Judged:
    """A part with what its teacher decided. All by variable of the planning's lattice.

    `asked`: the states a pin asks for; `agrees`: the states that are as the teacher wants; `worth`: how much each state
    is in disagreement, 0 where it agrees; `free`: the states a plan without the pins may take. `pinned` and `stood` are
    the variables with a pin and those let stand; `fresh` are those that the taste in force was not learned from.
    """

    planning: Planning
    asked: Mapping[int, Mask]
    agrees: Mapping[int, Mask]
    worth: tuple[NDArray[np.float64], ...]
    free: Mapping[int, Mask]
    pinned: tuple[int, ...]
    stood: tuple[int, ...]
    fresh: frozenset[int]
    neighbours: Mapping[int, tuple[int, ...]]  # variable -> numbers of the steps that touch it

    @property
    def decided(self) -> tuple[int, ...]:
        return tuple(sorted((*self.pinned, *self.stood)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One stretch: what the other way has more of each kind than the teacher's, and how much of it disagrees."""

    lesson: int
    variables: tuple[int, ...]
    more: tuple[tuple[int, float], ...]
    worth: float
    weight: float


class Pricing:
    """Prices of moves under the weights of each lesson, shared by those of one instrument, level and taste."""

    def __init__(self, weights: Sequence[Weights]) -> None:
        self._weights = weights
        self._prices: dict[tuple[int, Weights], MovePrices] = {}

    def lattice(self, number: int, planning: Planning) -> Lattice:
        """The lattice of lesson `number` under its weights."""
        maker, weights = planning.maker, self._weights[number]
        key = (id(maker), weights)
        if key not in self._prices:
            self._prices[key] = MovePrices(CostModel(planning.instrument, maker.hands, weights), planning.level)
        old = planning.lattice
        return build_lattice(
            old.columns, planning.transitions, self._prices[key], plays=old.plays, contexts=old.contexts
        )


def judge(
    planning: Planning,
    *,
    reviewed: bool,
    let_stand: float = LET_STAND,
    seen: Collection[str] | None = None,
    stands: Mapping[str, Standing] | None = None,
) -> Judged:
    """What the pins of a planning say. `reviewed`: the teacher went through the plan and let the rest stand.

    `let_stand`: how much such a note counts beside a pin, 0 for not at all. `seen`: ids of the pinned notes that the
    taste in force was learned from, where it was learned from this lesson too; None where it was not. `stands`: what
    was let stand, by note, where that is not what is planned now.
    """
    columns = planning.lattice.columns
    stand = _stand(planning, standing(planning) if stands is None else stands) if reviewed and let_stand > 0 else {}
    pinned = _pinned(planning)
    agrees: dict[int, Mask] = {}
    worth: list[NDArray[np.float64]] = []
    free: dict[int, Mask] = {}
    stood = []
    for v, column in enumerate(columns):
        asked = planning.allowed.get(v) if v in pinned else None
        share = np.zeros(len(column))
        if asked is not None:
            share = np.where(asked, 0.0, 1.0)
            agrees[v] = asked
            within = column.beyond == column.beyond.min()
            if not within.all():  # the pin asks for more than the level allows: a plan without it would not go there
                free[v] = within | asked
        same = stand.get(v)
        if same is not None and (asked is None or (same & asked).any()):
            share = np.maximum(share, np.where(same, 0.0, let_stand))
            agrees[v] = same if asked is None else same & asked
            if asked is None:
                stood.append(v)
        worth.append(share)
    neighbours: dict[int, list[int]] = {}
    for number, step in enumerate(planning.transitions):
        neighbours.setdefault(step.a, []).append(number)
        neighbours.setdefault(step.b, []).append(number)
    fresh = frozenset((*pinned, *stood))
    if seen is not None:
        fresh = frozenset(pinned) - _pinned(planning, seen)
    return Judged(
        planning=planning,
        asked={v: planning.allowed[v] for v in pinned},
        agrees=agrees,
        worth=tuple(worth),
        free=free,
        pinned=tuple(sorted(pinned)),
        stood=tuple(stood),
        fresh=fresh,
        neighbours={v: tuple(dict.fromkeys(numbers)) for v, numbers in neighbours.items()},
    )


def without(judged: Judged, variables: Collection[int]) -> Judged:
    """The same with the decisions about these variables left out."""
    if not variables:
        return judged
    return replace(
        judged,
        agrees={v: mask for v, mask in judged.agrees.items() if v not in variables},
        worth=tuple(np.zeros(len(w)) if v in variables else w for v, w in enumerate(judged.worth)),
        pinned=tuple(v for v in judged.pinned if v not in variables),
        stood=tuple(v for v in judged.stood if v not in variables),
    )


def _pinned(planning: Planning, notes: Collection[str] | None = None) -> set[int]:
    """Variables with a pin (on one of these notes, if any are named)."""
    found = set()
    for pin in planning.pins:
        if notes is not None and pin.note_id not in notes:
            continue
        variable = planning.variable_of.get(planning.walk.event_of[pin.note_id])
        if variable is None or variable not in planning.allowed:
            continue
        found.add(variable)
        second = planning.substitute_of.get(variable)
        if pin.substitute is not None and second is not None:
            found.add(second)
    return found


class Met:
    """What one lesson says: the teacher's way as far as the search can tell, the other ways met, and the comparisons.

    `number` is the lesson's own, kept in each comparison.
    """

    def __init__(self, judged: Judged, number: int, book: CountBook) -> None:
        self._judged = judged
        self._number = number
        self._book = book
        self._ours: tuple[int, ...] | None = None
        self._others: dict[tuple[int, ...], None] = {}  # in the order in which they were met
        self._found: dict[tuple[tuple[int, float], ...], Comparison] = {}

    @property
    def comparisons(self) -> tuple[Comparison, ...]:
        return tuple(self._found.values())

    def search(self, pricing: Pricing, *, margin: float) -> int:
        """Look for the teacher's way and for a plan within `margin` of it that contradicts it, under these prices.

        Returns how many comparisons are new.
        """
        judged = self._judged
        if not judged.decided:
            return 0
        lattice = pricing.lattice(self._number, judged.planning)
        ours = solve(lattice, allowed={**judged.free, **judged.agrees}).choice
        tempted = replace(
            lattice,
            note_price=tuple(
                price - margin * worth if worth.any() else price
                for price, worth in zip(lattice.note_price, judged.worth, strict=True)
            ),
        )
        theirs = solve(tempted, allowed=judged.free).choice
        before = set(self._found)
        if ours != self._ours:  # what is compared with a way that is no longer thought the teacher's would mislead
            self._ours, self._found = ours, {}
            for other in self._others:
                self._compare(other)
        if theirs not in self._others:
            self._others[theirs] = None
            self._compare(theirs)
        return len(self._found.keys() - before)

    def but(self, judged: Judged) -> Met:
        """A beginning for the same lesson with some decisions left out: the other ways it knows, nothing compared yet;
        all of it where nothing is left out."""
        copy = Met(judged, self._number, self._book)
        copy._others = dict(self._others)
        if judged is self._judged:
            copy._ours, copy._found = self._ours, dict(self._found)
        return copy

    def _compare(self, theirs: Sequence[int]) -> None:
        """A comparison for each stretch in which this way contradicts the teacher."""
        assert self._ours is not None
        judged, book = self._judged, self._book
        for stretch, steps in _stretches(judged, self._ours, theirs):
            shares = [float(judged.worth[v][theirs[v]]) for v in stretch]
            if sum(shares) <= 0:
                continue
            moves = [judged.planning.transitions[step] for step in steps]
            counted = book.counts(judged.planning, theirs, stretch, moves)
            for kind, amount in book.counts(judged.planning, self._ours, stretch, moves).items():
                counted[kind] = counted.get(kind, 0.0) - amount
            more = tuple(sorted((kind, round(amount, 9)) for kind, amount in counted.items() if abs(amount) > 1e-9))
            found = Comparison(
                lesson=self._number, variables=tuple(stretch), more=more, worth=sum(shares), weight=max(shares)
            )
            self._found.setdefault(more, found)


def _stand(planning: Planning, stands: Mapping[str, Standing]) -> dict[int, Mask]:
    """The states of each variable that look as it was let stand. A variable whose places stood differently (phrases
    that are now alike), or as no state does, is left out."""
    found: dict[int, Mask] = {}
    out: set[int] = set()
    for index, variable in planning.variable_of.items():
        ids = planning.walk.events[index].note_ids
        notes = [stands.get(note_id) for note_id in ids]
        second = planning.substitute_of.get(variable)
        for v, later in ((variable, False), (second, True)):
            if v is None:
                continue
            column = planning.lattice.columns[v]
            mask = np.ones(len(column), bool)
            for place, note in enumerate(notes):
                if note is None:
                    out.add(v)
                    continue
                finger = note.substitute if later and note.substitute is not None else note.finger
                mask &= (column.string[:, place] == note.string) & (column.finger[:, place] == finger)
                mask &= (column.harmonic[:, place] > 0) == note.harmonic
            found[v] = found[v] & mask if v in found else mask
    return {v: mask for v, mask in found.items() if v not in out and mask.any()}


def _stretches(judged: Judged, ours: Sequence[int], theirs: Sequence[int]) -> Iterator[tuple[list[int], list[int]]]:
    """The variables in which two plans differ, as groups that no step joins, each with the steps that touch it."""
    transitions = judged.planning.transitions
    different = {v for v, (a, b) in enumerate(zip(ours, theirs, strict=True)) if a != b}
    seen: set[int] = set()
    for first in sorted(different):
        if first in seen:
            continue
        group, steps, todo = {first}, set(), [first]
        while todo:
            for number in judged.neighbours.get(todo.pop(), ()):
                steps.add(number)
                for v in (transitions[number].a, transitions[number].b):
                    if v in different and v not in group:
                        group.add(v)
                        todo.append(v)
        seen |= group
        yield sorted(group), sorted(steps)
