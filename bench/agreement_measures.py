"""How far plans agree with fingers that professionals print, and what each cost term has to do with it.

Units: shares of notes. Method: every piece is laid out once; for other weights only the prices are worked out anew.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from fingered_corpora import FingeredPiece, accepted_slots, accepted_states
from numpy.typing import NDArray

from partwright.fingering import Planning, Weights, prepare
from partwright.fingering.columns import Column
from partwright.fingering.features import CostModel
from partwright.fingering.hands import THUMB_ZONE
from partwright.fingering.lattice import MovePrices, build_lattice
from partwright.fingering.search import solve, state_prices
from partwright.instrument import Instrument

__all__ = ["Corpus", "Tally", "naive_hand"]

Mask = NDArray[np.bool_]
Ways = Collection[tuple[int | None, int]]


@dataclass
class Tally:
    """Counts over the notes that have an accept set, and the moves of the hand over whole pieces."""

    notes: int = 0
    string: int = 0
    finger: int = 0
    both: int = 0
    within_three: int = 0
    moves: int = 0  # shifts of the plan
    expert_moves: int = 0  # shifts of the cheapest plan that keeps every printed finger
    extra: float = 0.0  # what the printed fingers cost more than the plan, each piece counted up to 3

    def row(self) -> dict[str, Any]:
        """Shares, rounded to a tenth of a per cent."""
        share = {name: round(getattr(self, name) / max(1, self.notes), 3) for name in ("string", "finger", "both")}
        return {
            "notes": self.notes,
            **share,
            "within_three": round(self.within_three / max(1, self.notes), 3),
            "moves": self.moves,
            "expert_moves": self.expert_moves,
            "moves_ratio": round(self.moves / max(1, self.expert_moves), 2),
        }


class Corpus:
    """Fingered pieces of one instrument, laid out once."""

    def __init__(self, pieces: Iterable[FingeredPiece], instrument: Instrument) -> None:
        self.instrument = instrument
        self.pieces = tuple(pieces)
        self.plans: list[Planning] = []
        like: Planning | None = None
        for piece in self.pieces:
            like = prepare(piece.part, instrument, like=like)
            self.plans.append(like)
        self.accepted = [accepted_states(plan, piece) for plan, piece in zip(self.plans, self.pieces, strict=True)]

    def tally(self, weights: Weights, *, full: bool = True) -> dict[str, Tally]:
        """By corpus, and "all". `full` also ranks the alternatives and counts moves, which takes longer."""
        found: dict[str, Tally] = {"all": Tally()}
        if not self.plans:
            return found
        prices = MovePrices(CostModel(self.instrument, self.plans[0].maker.hands, weights), self.plans[0].level)
        for piece, plan, accepted in zip(self.pieces, self.plans, self.accepted, strict=True):
            old = plan.lattice
            lattice = build_lattice(old.columns, plan.transitions, prices, plays=old.plays, contexts=old.contexts)
            priced = dataclasses.replace(plan, lattice=lattice, prices=prices, weights=weights)
            priced = dataclasses.replace(priced, solution=solve(lattice, most_splits=1))
            for tally in (found["all"], found.setdefault(piece.corpus, Tally())):
                _count(priced, piece, accepted, tally, full)
        return found


def _count(plan: Planning, piece: FingeredPiece, accepted: Mapping[int, Mask], tally: Tally, full: bool) -> None:
    choice, columns = plan.solution.choice, plan.lattice.columns
    slots = accepted_slots(plan, piece)
    prices = state_prices(plan.lattice, plan.solution) if full else ()
    for variable in accepted:
        column, state = columns[variable], choice[variable]
        for slot, ways in slots[variable].items():
            _mark(tally, ways, int(column.string[state, slot]), int(column.finger[state, slot]))
            if full:
                kinds = _kinds_by_price(column, slot, prices[variable])[:3]
                tally.within_three += any(_right(ways, string, finger) for string, finger in kinds)
    expert = solve(plan.lattice, allowed=accepted, most_splits=1)
    tally.extra += min(3.0, expert.cost - plan.solution.cost)
    if full:
        tally.moves += _moves(plan, choice)
        tally.expert_moves += _moves(plan, expert.choice)


def _mark(tally: Tally, ways: Ways, string: int, finger: int) -> None:
    tally.notes += 1
    tally.string += any(way[0] in (None, string) for way in ways)
    tally.finger += any(way[1] == finger for way in ways)
    tally.both += _right(ways, string, finger)


def _right(ways: Ways, string: int, finger: int) -> bool:
    return any(way[0] in (None, string) and way[1] == finger for way in ways)


def _kinds_by_price(column: Column, slot: int, prices: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Each string and finger a note can have, by the price of the cheapest plan that has it."""
    found: dict[tuple[int, int], float] = {}
    for string, finger, price in zip(column.string[:, slot], column.finger[:, slot], prices, strict=True):
        key = (int(string), int(finger))
        found[key] = min(found.get(key, np.inf), float(price))
    return sorted(found, key=lambda kind: (found[kind], kind))


def _moves(plan: Planning, choice: Sequence[int]) -> int:
    model, columns = plan.prices.model, plan.lattice.columns
    return sum(
        model.shifts(int(columns[s.a].hand[choice[s.a]]), int(columns[s.b].hand[choice[s.b]])) for s in plan.transitions
    )


def naive_hand(corpus: Corpus) -> dict[str, Tally]:
    """The baseline: open strings wherever there is one, else the finger of the nearest place; the hand stays put where
    it can, and of equal ways takes the higher string. Closed hands only where they have the note."""
    found: dict[str, Tally] = {"all": Tally()}
    for piece, plan, accepted in zip(corpus.pieces, corpus.plans, corpus.accepted, strict=True):
        played, moves = _naive(plan)
        slots = accepted_slots(plan, piece)
        for tally in (found["all"], found.setdefault(piece.corpus, Tally())):
            tally.moves += moves
            for variable in accepted:
                for slot, ways in slots[variable].items():
                    column, state = plan.lattice.columns[variable], played[variable]
                    _mark(tally, ways, int(column.string[state, slot]), int(column.finger[state, slot]))
    return found


def _naive(plan: Planning) -> tuple[list[int], int]:
    """The state of every variable, and the number of moves."""
    hands = plan.maker.hands
    here, moves = 2, 0
    played: list[int] = []
    for column in plan.lattice.columns:
        opened = (column.finger == 0).all(axis=1)
        if opened.any():
            played.append(int(np.flatnonzero(opened)[0]))
            continue
        frame, top = hands.frame[column.hand], column.string.max(axis=1)
        effort = (
            np.abs(frame - here) + 40.0 * hands.opened[column.hand] + 20.0 * (hands.zone[column.hand] == THUMB_ZONE)
        )
        effort = effort + 99.0 * column.harmonic.any(axis=1) - 0.01 * top + 0.001 * column.finger.min(axis=1)
        state = int(effort.argmin())
        if int(frame[state]) != here:
            here = int(frame[state])
            moves += 1
        played.append(state)
    return played, moves
