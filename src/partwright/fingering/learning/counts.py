"""What a plan has of each cost term, apart from any weights, so that its price under every taste is a product.

A weight multiplies the amount of its term; some moves are multiplied by factors too (a shift under a slur). What is
counted is therefore a *kind*: a term together with the factors that stand before it. The price of a plan is

    sum over kinds of  count × weight of the term × product of its factors

which is linear in the weights of the terms and in each factor alone. Terms, factors and amounts come from the table
and from `features`; nothing here knows a term by name.

Units: counts in each term's own unit, multiplied by hurry where the term's scale is time; prices without unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.columns import Column, ColumnMaker
from partwright.fingering.features import CostModel, NoteContext
from partwright.fingering.lattice import Transition, slur_factor, time_factor
from partwright.fingering.planning import Planning
from partwright.fingering.terms import FACTORS, Weights, default_weights, term_table

__all__ = ["CountBook", "Counts", "Kind"]

Counts = dict[int, float]
"""How much there is of each kind, by the kind's number in its book."""

Kind = tuple[str, tuple[str, ...]]
"""A term, and the factors that multiply it."""

_Part = tuple[tuple[int, float], ...]


class CountBook:
    """Counts kinds in plans, each distinct state and move once. Kinds are numbered as they are first met."""

    def __init__(self) -> None:
        self.kinds: list[Kind] = []
        self._number: dict[Kind, int] = {}
        plain = default_weights().changed(dict.fromkeys(FACTORS, 1.0))
        self._plain = plain
        self._doubled = {name: plain.changed({name: 2.0}) for name in FACTORS}
        of_steps = {*self._factors(_ANY_STEP, time_factor), *self._factors(_ANY_STEP, slur_factor)}
        self._of_states = tuple(name for name in FACTORS if name not in of_steps)
        self._models: dict[int, tuple[CostModel, dict[str, CostModel]]] = {}
        self._makers: list[ColumnMaker] = []  # told apart by identity, as columns are
        self._scale = {term.name: term.scale for term in term_table()}
        self._notes: dict[tuple[int, int, NoteContext], _Part] = {}
        self._moves: dict[tuple[int, int, int, int, Transition], tuple[_Part, _Part]] = {}
        self._steps: dict[Transition, tuple[tuple[str, ...], tuple[str, ...]]] = {}
        self._bare: dict[Transition, Transition] = {}  # what its price depends on, beside its hurry
        self._alive: dict[int, Column] = {}  # columns are told apart by identity, so they must not be collected

    def counts(
        self, planning: Planning, choice: Sequence[int], variables: Iterable[int], steps: Iterable[Transition]
    ) -> Counts:
        """What these variables and the moves of these steps have of each kind when the states are `choice`."""
        found: Counts = {}
        columns, lattice = planning.lattice.columns, planning.lattice
        models = self._models_for(planning)
        for v in variables:
            for kind, amount in self._note(models[0], columns[v], choice[v], lattice.contexts[v]):
                found[kind] = found.get(kind, 0.0) + lattice.plays[v] * amount
        for step in steps:
            in_time, in_slur = self._move(
                models, columns[step.a], choice[step.a], columns[step.b], choice[step.b], step
            )
            for kind, amount in in_time:
                found[kind] = found.get(kind, 0.0) + step.hurry * amount
            for kind, amount in in_slur:
                found[kind] = found.get(kind, 0.0) + amount
        return found

    def of_plan(self, planning: Planning, choice: Sequence[int] | None = None) -> Counts:
        """What a whole plan has of each kind; the planning's own choice of states if none is given."""
        chosen = planning.solution.choice if choice is None else choice
        return self.counts(planning, chosen, range(len(planning.lattice.columns)), planning.transitions)

    def price(self, counts: Mapping[int, float], weights: Weights) -> float:
        """What these counts cost under these weights."""
        total = 0.0
        for number, amount in counts.items():
            term, factors = self.kinds[number]
            total += amount * weights[term] * float(np.prod([weights[name] for name in factors]))
        return total

    def layout(self) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """For each kind the row of its term in the table, (kinds,), and which factors multiply it, (kinds, factors)."""
        row = {term.name: index for index, term in enumerate(term_table())}
        term = np.array([row[name] for name, _ in self.kinds], dtype=np.int64)
        factor = np.array([[name in factors for name in FACTORS] for _, factors in self.kinds], dtype=bool)
        return term, factor.reshape(len(self.kinds), len(FACTORS))

    def _models_for(self, planning: Planning) -> tuple[CostModel, dict[str, CostModel]]:
        """The plain model of the planning's hands, and one for each factor of states, doubled."""
        maker = planning.maker
        if id(maker) not in self._models:
            self._makers.append(maker)
            instrument, hands = planning.instrument, maker.hands
            doubled = {name: CostModel(instrument, hands, self._doubled[name]) for name in self._of_states}
            self._models[id(maker)] = (CostModel(instrument, hands, self._plain), doubled)
        return self._models[id(maker)]

    def _kind(self, term: str, factors: tuple[str, ...]) -> int:
        kind = (term, factors)
        if kind not in self._number:
            self._number[kind] = len(self.kinds)
            self.kinds.append(kind)
        return self._number[kind]

    def _note(self, model: CostModel, column: Column, state: int, context: NoteContext) -> _Part:
        key = (id(column), state, context)
        if key not in self._notes:
            self._alive[id(column)] = column
            one = column.keep(np.array([state]))
            self._notes[key] = tuple(
                (self._kind(name, ()), float(amount[0]))
                for name, amount in model.note_amounts(one, context)
                if amount[0]
            )
        return self._notes[key]

    def _move(
        self,
        models: tuple[CostModel, dict[str, CostModel]],
        a: Column,
        state_a: int,
        b: Column,
        state_b: int,
        step: Transition,
    ) -> tuple[_Part, _Part]:
        """Of one move, what is counted in time (to be multiplied by hurry) and what is not."""
        bare = self._bare.get(step)
        if bare is None:
            bare = self._bare[step] = replace(step, a=0, b=0, hurry=1.0, seconds=1.0)
        key = (id(a), state_a, id(b), state_b, bare)
        if key not in self._moves:
            self._alive[id(a)], self._alive[id(b)] = a, b
            one, two = a.keep(np.array([state_a])), b.keep(np.array([state_b]))
            amounts = _amounts(models[0], one, two, step.held)
            eased = {name: _amounts(model, one, two, step.held) for name, model in models[1].items()}
            if bare not in self._steps:
                self._steps[bare] = (self._factors(bare, time_factor), self._factors(bare, slur_factor))
            of_time, of_slur = self._steps[bare]
            parts: tuple[list[tuple[int, float]], list[tuple[int, float]]] = ([], [])
            for name, amount in amounts.items():
                easing = tuple(factor for factor, other in eased.items() if abs(other[name] - amount) > 1e-9)
                in_time = self._scale[name] == "time"
                kind = self._kind(name, (*(of_time if in_time else of_slur), *easing))
                parts[0 if in_time else 1].append((kind, amount))
            self._moves[key] = (tuple(parts[0]), tuple(parts[1]))
        return self._moves[key]

    def _factors(self, step: Transition, multiplied: object) -> tuple[str, ...]:
        """The factors that a step multiplies its prices by: those whose doubling shows."""
        assert callable(multiplied)
        plain = multiplied(step, self._plain)
        return tuple(name for name, doubled in self._doubled.items() if multiplied(step, doubled) != plain)


_ANY_STEP = Transition(a=0, b=0, hurry=1.0, slurred=True, off_beat=True)
"""A step with everything about it that a factor can depend on."""


def _amounts(model: CostModel, one: Column, two: Column, held: bool) -> dict[str, float]:
    return {
        name: float(amount[0, 0]) for name, amount in model.move_amounts(one, two, held=held) if float(amount[0, 0])
    }
