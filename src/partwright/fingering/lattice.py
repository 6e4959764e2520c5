"""The lattice of a part: one variable per event, prices of their states and of the moves between them.

Written notes have one fingering each, whatever the number of times they are played, so the variables are written
events and the walk through them as played decides which pairs of variables are joined, how often and how hurried.
Equal phrases share their variables (`phrases`). The first time a variable is reached, the step that reached it is a
branch of a tree; all other joins close a ring (a repeat, a return) and are kept apart for the search.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.columns import Column
from partwright.fingering.features import FORBIDDEN, PLAIN, CostModel, NoteContext
from partwright.fingering.hands import HandTable
from partwright.fingering.terms import Weights
from partwright.instrument import Level

__all__ = ["Join", "Lattice", "MovePrices", "Transition", "build_lattice", "slur_factor", "time_factor"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """One step between two variables, as played."""

    a: int
    b: int
    hurry: float
    slurred: bool = False
    seconds: float = 1.0
    held: bool = False
    off_beat: bool = False  # the note it leads to begins between two beats


def time_factor(step: Transition, weights: Weights) -> float:
    """What a step makes of the price of moving the hand: hurry, slur, beat."""
    factor = step.hurry
    if step.slurred:
        factor *= weights["shift_under_slur"]
    if step.off_beat:
        factor *= weights["shift_off_beat"]
    return factor


def slur_factor(step: Transition, weights: Weights) -> float:
    """What a step makes of the price of crossing strings."""
    return weights["crossing_under_slur"] if step.slurred else 1.0


@dataclass(frozen=True, eq=False)
class Join:
    """A move between two variables that closes a ring; `price` has shape (Ka, Kb)."""

    a: int
    b: int
    price: Floats


@dataclass(frozen=True, eq=False)
class Lattice:
    """A tree of variables with prices, and the joins that close rings over it.

    Variables are numbered so that a parent comes before its children; `parent[0]` is -1. `branch[v]` is the price of
    the move between the parent's states and the variable's, (K_parent, K_v).
    """

    columns: tuple[Column, ...]
    note_price: tuple[Floats, ...]
    parent: tuple[int, ...]
    branch: tuple[Floats, ...]
    joins: tuple[Join, ...] = ()
    plays: tuple[int, ...] = field(default=())
    contexts: tuple[NoteContext, ...] = field(default=())


_GRID = 2.0**36


def _on_grid(price: Floats) -> Floats:
    """Prices as multiples of 2^-36: their sums are exact in floating point, whatever the order of adding.

    Without this, two plans of equal cost would be told apart by rounding, and a plan found the quick way after a pin
    could differ from the one found afresh.
    """
    exact: Floats = np.round(price * _GRID) / _GRID
    return exact


def _tie_break(column: Column, hands: HandTable) -> Floats:
    """Too small to matter (below 1e-7), different for every state: of equally cheap plans the same always wins.

    The plainer the better: behind the neck before beside it, closed before opened, low before high, the higher string,
    the lower finger.
    """
    hand = column.hand
    keys = (column.finger[:, 0], -column.string[:, 0], hands.frame[hand], hands.opened[hand], hands.zone[hand])
    rank = np.empty(len(column))
    rank[np.lexsort(keys)] = np.arange(len(column))
    return np.asarray((16 * rank + np.arange(len(column)) * 7 % 16) / _GRID)


class MovePrices:
    """Prices of moves between columns in their context, each distinct one worked out once."""

    def __init__(self, model: CostModel, level: Level) -> None:
        self.model = model
        self.level = level
        self._pairs: dict[tuple[int, int, bool], tuple[Floats, Floats]] = {}
        self._limits: dict[tuple[int, int, bool], Floats | None] = {}
        self._priced: dict[tuple[int, int, bool, float, float, bool, int], Floats] = {}
        self._notes: dict[tuple[int, int, NoteContext], Floats] = {}
        self._alive: list[Column] = []  # columns are told apart by identity, so they must not be collected

    def price(self, a: Column, b: Column, steps: Sequence[Transition]) -> Floats:
        """Price of the moves between two columns over all the steps that join them, (KA, KB)."""
        weights = self.model.weights
        time = sum(time_factor(s, weights) for s in steps)
        slur = sum(slur_factor(s, weights) for s in steps)
        held = any(s.held for s in steps)
        hasty = any(s.seconds < self.level.shift_seconds_min for s in steps)
        key = (id(a), id(b), held, round(time, 6), round(slur, 6), hasty, len(steps))
        found = self._priced.get(key)
        if found is None:
            moving, crossing = self._pair(a, b, held)
            found = time * moving + slur * crossing
            limit = self._limit(a, b, hasty)
            if limit is not None:
                found = found + limit * len(steps)
            found = _on_grid(found)
            self._priced[key] = found
        return found

    def note(self, column: Column, times: int, context: NoteContext = PLAIN) -> Floats:
        """Price of each state of a column that is played this many times, (K,)."""
        key = (id(column), times, context)
        if key not in self._notes:
            self._notes[key] = _on_grid(self.model.note_cost(column, context) * times) + _tie_break(
                column, self.model.hands
            )
            self._alive.append(column)
        return self._notes[key]

    def _pair(self, a: Column, b: Column, held: bool) -> tuple[Floats, Floats]:
        key = (id(a), id(b), held)
        if key not in self._pairs:
            self._pairs[key] = self.model.move_cost(a, b, held=held)
            self._alive += [a, b]
        return self._pairs[key]

    def _limit(self, a: Column, b: Column, hasty: bool) -> Floats | None:
        """What a shift costs that the level does not allow: dear enough to be taken only where nothing else exists."""
        key = (id(a), id(b), hasty)
        if key not in self._limits:
            semitones = self.model.shift_semitones(a, b)
            over = semitones > (0 if hasty else self.level.shift_semitones_max)
            self._limits[key] = LIMIT_PRICE * over.astype(np.float64) if over.any() else None
        return self._limits[key]


LIMIT_PRICE = FORBIDDEN / 1e4
"""Price of going beyond a limit of the level in a move: above anything the terms add up to in a phrase."""


def build_lattice(
    columns: Sequence[Column],
    transitions: Sequence[Transition],
    prices: MovePrices,
    *,
    plays: Sequence[int],
    contexts: Sequence[NoteContext] = (),
) -> Lattice:
    """The lattice over these columns.

    `columns` are numbered as the transitions name them, in the order in which they are first played; `plays` says how
    often each is played, `contexts` what its price depends on besides the hand (all plain if left out). Every column
    needs at least one state.
    """
    contexts = tuple(contexts) or (PLAIN,) * len(columns)
    pairs: dict[tuple[int, int], list[Transition]] = {}
    for step in transitions:
        pairs.setdefault((step.a, step.b), []).append(step)
    note_price = [
        prices.note(column, times, context) for column, times, context in zip(columns, plays, contexts, strict=True)
    ]
    parent = [-1] * len(columns)
    branch: list[Floats] = [np.zeros((0, 0))] * len(columns)
    joins: dict[tuple[int, int], Floats] = {}
    for (a, b), steps in pairs.items():
        price = prices.price(columns[a], columns[b], steps)
        if a == b:
            note_price[a] = note_price[a] + np.diagonal(price)
        elif b > a and parent[b] < 0:
            parent[b], branch[b] = a, price
        elif parent[b] == a:
            branch[b] = branch[b] + price
        elif parent[a] == b:
            branch[a] = branch[a] + price.T
        elif (b, a) in joins:
            joins[b, a] = joins[b, a] + price.T
        else:
            joins[a, b] = joins.get((a, b), 0.0) + price
    for index in range(1, len(columns)):
        if parent[index] < 0:  # nothing leads here: a new beginning, free of the one before
            parent[index] = index - 1
            branch[index] = np.zeros((len(columns[index - 1]), len(columns[index])))
    return Lattice(
        columns=tuple(columns),
        note_price=tuple(note_price),
        parent=tuple(parent),
        branch=tuple(branch),
        joins=tuple(Join(a, b, price) for (a, b), price in joins.items()),
        plays=tuple(plays),
        contexts=tuple(contexts),
    )
