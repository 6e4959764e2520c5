"""A part laid out and solved: what re-planning, pricing and explaining work on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.columns import ColumnMaker
from partwright.fingering.events import Walk
from partwright.fingering.lattice import Lattice, MovePrices, Transition
from partwright.fingering.phrases import LikeRun
from partwright.fingering.plan import Pin, UnlikePhrase
from partwright.fingering.search import Solution, solve, state_prices
from partwright.fingering.terms import Weights
from partwright.instrument import Instrument, Level
from partwright.score import Part

__all__ = ["Mask", "Planning"]

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class Planning:
    """A part laid out and solved. Variables are events, shared by equal phrases, plus one for each possible change of
    finger on a held note."""

    part: Part
    instrument: Instrument
    level: Level
    weights: Weights
    pins: tuple[Pin, ...]
    walk: Walk
    runs: tuple[LikeRun, ...]
    maker: ColumnMaker
    prices: MovePrices
    lattice: Lattice
    transitions: tuple[Transition, ...]
    variable_of: Mapping[int, int]  # event -> variable
    substitute_of: Mapping[int, int]  # variable -> the variable of its second finger
    allowed: Mapping[int, Mask]
    solution: Solution
    repinned: bool = False  # the solution's stores are those from before the last pin
    impossible: tuple[int, ...] = ()  # events nothing exists for
    unlike: tuple[UnlikePhrase, ...] = ()
    found_runs: tuple[LikeRun, ...] = ()  # all equal phrases of the part, before pins and joins told some apart

    @cached_property
    def state_prices(self) -> tuple[NDArray[np.float64], ...]:
        """Price of the whole for every state of every variable (min-marginals)."""
        solution = solve(self.lattice, allowed=self.allowed) if self.repinned else self.solution
        return state_prices(self.lattice, solution)
