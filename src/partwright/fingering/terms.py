"""What a fingering costs: the table of terms and a player's weights for them.

Units: each term counts in its own unit (`data/terms.toml`); a weight turns it into cost. A plain shift costs about 1.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from partwright.errors import InputError
from partwright.instrument import Instrument, Level
from partwright.nearest import nearest

__all__ = ["FACTORS", "MOVE_TERMS", "NOTE_TERMS", "Term", "Weights", "default_weights", "term_table"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One row of the table of costs."""

    name: str
    kind: Literal["note", "move", "factor"]
    unit: str
    weight: float
    counts: str
    words: str
    source: str
    scale: Literal["", "time", "slur"] = ""


@dataclass(frozen=True)
class Weights:
    """A weight for every term, hashable so that what was computed with it can be kept."""

    values: tuple[tuple[str, float], ...]

    def __getitem__(self, name: str) -> float:
        return _as_dict(self)[name]

    def changed(self, changes: Mapping[str, float]) -> Weights:
        """These weights with some of them replaced. Raises InputError for an unknown term, naming the nearest."""
        known = dict(self.values)
        for name in changes:
            if name not in known:
                near = nearest(name, known)
                hint = f"Did you mean {near}?" if near else "docs/fingering.md lists the terms."
                raise InputError(f'there is no cost term "{name}"', hint)
        return Weights(tuple((known | dict(changes)).items()))


@cache
def _as_dict(weights: Weights) -> dict[str, float]:
    return dict(weights.values)


@cache
def term_table() -> tuple[Term, ...]:
    """The terms in the order of the table."""
    text = (Path(__file__).parent / "data" / "terms.toml").read_text(encoding="utf-8")
    return tuple(Term(name=name, **row) for name, row in tomllib.loads(text).items())


def default_weights(instrument: Instrument | None = None, level: Level | None = None) -> Weights:
    """The weights of the table, with those that the instrument's own table and the level change.

    Raises InputError where one of them names an unknown term.
    """
    changes = {**(instrument.weights if instrument else {}), **(level.weights if level else {})}
    return _table_weights().changed(changes) if changes else _table_weights()


@cache
def _table_weights() -> Weights:
    return Weights(tuple((term.name, term.weight) for term in term_table()))


NOTE_TERMS: tuple[str, ...] = tuple(term.name for term in term_table() if term.kind == "note")
"""Terms counted at a note, in the order in which `features.note_features` gives them."""
MOVE_TERMS: tuple[str, ...] = tuple(term.name for term in term_table() if term.kind == "move")
"""Terms counted between two notes, in the order in which `features.move_features` gives them."""
FACTORS: tuple[str, ...] = tuple(term.name for term in term_table() if term.kind == "factor")
