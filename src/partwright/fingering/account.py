"""What a plan is made of: the amount and price of each term, for one move, or for the difference of two plans.

Units: amounts in each term's own unit, prices without unit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from partwright.fingering.lattice import Transition, slur_factor, time_factor
from partwright.fingering.planning import Planning
from partwright.fingering.terms import term_table

__all__ = ["Entry", "difference", "move_entries", "note_entries", "plan_amounts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One term: how much of it, and what that costs."""

    term: str
    amount: float
    price: float


def note_entries(planning: Planning, variable: int, state: int) -> tuple[Entry, ...]:
    """The terms counted at one state of a variable, played once."""
    column = planning.lattice.columns[variable].keep(np.array([state]))
    weights = planning.weights
    return tuple(
        Entry(term=name, amount=float(amount[0]), price=float(amount[0]) * weights[name])
        for name, amount in planning.prices.model.note_amounts(column, planning.lattice.contexts[variable])
        if amount[0]
    )


def move_entries(planning: Planning, step: Transition, a: int, b: int) -> tuple[Entry, ...]:
    """The terms of one step between state `a` of its first variable and state `b` of its second."""
    columns, weights = planning.lattice.columns, planning.weights
    one, two = columns[step.a].keep(np.array([a])), columns[step.b].keep(np.array([b]))
    scale = _scales()
    time, slur = time_factor(step, weights), slur_factor(step, weights)
    entries = []
    for name, amount in planning.prices.model.move_amounts(one, two, held=step.held):
        value = float(amount[0, 0])
        if value:
            price = value * weights[name] * (time if scale[name] == "time" else slur)
            entries.append(Entry(term=name, amount=value, price=price))
    return tuple(entries)


def plan_amounts(planning: Planning, choice: Sequence[int] | None = None) -> dict[str, float]:
    """How much of each term a choice of states has, as played, each scaled by its context: the vector whose product
    with the weights is the price of the whole (limits left out). The planning's own choice if none is given.
    """
    chosen = planning.solution.choice if choice is None else choice
    columns = [c.keep(np.array([k])) for c, k in zip(planning.lattice.columns, chosen, strict=True)]
    model, weights, scale = planning.prices.model, planning.weights, _scales()
    amounts = {term.name: 0.0 for term in term_table() if term.kind != "factor"}
    for column, context, plays in zip(columns, planning.lattice.contexts, planning.lattice.plays, strict=True):
        for name, amount in model.note_amounts(column, context):
            amounts[name] += plays * float(amount[0])
    for step in planning.transitions:
        time, slur = time_factor(step, weights), slur_factor(step, weights)
        for name, amount in model.move_amounts(columns[step.a], columns[step.b], held=step.held):
            value = float(amount[0, 0])
            if value:
                amounts[name] += value * (time if scale[name] == "time" else slur)
    return amounts


def difference(planning: Planning, other: Sequence[int]) -> tuple[Entry, ...]:
    """What another choice of states has more (or less) of than the plan, dearest difference first."""
    chosen = planning.solution.choice
    changed = {v for v, (x, y) in enumerate(zip(chosen, other, strict=True)) if x != y}
    amounts: dict[str, float] = {}
    prices: dict[str, float] = {}

    def add(entries: Sequence[Entry], sign: float, times: float = 1.0) -> None:
        for entry in entries:
            amounts[entry.term] = amounts.get(entry.term, 0.0) + sign * times * entry.amount
            prices[entry.term] = prices.get(entry.term, 0.0) + sign * times * entry.price

    for variable in changed:
        plays = planning.lattice.plays[variable]
        add(note_entries(planning, variable, other[variable]), 1.0, plays)
        add(note_entries(planning, variable, chosen[variable]), -1.0, plays)
    for step in planning.transitions:
        if step.a in changed or step.b in changed:
            add(move_entries(planning, step, other[step.a], other[step.b]), 1.0)
            add(move_entries(planning, step, chosen[step.a], chosen[step.b]), -1.0)
    found = [Entry(term=name, amount=amounts[name], price=price) for name, price in prices.items()]
    return tuple(sorted((e for e in found if abs(e.price) > 1e-9), key=lambda entry: -abs(entry.price)))


def _scales() -> Mapping[str, str]:
    return {term.name: term.scale for term in term_table()}
