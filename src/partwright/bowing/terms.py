"""What a bowing costs: the table of terms and their weights, and what each level does with the bow.

Units: each term counts in its own unit (`data/terms.toml`); a weight turns it into cost. A retake with time for it
costs about 1. Speeds in mm/s, lengths in mm, times in seconds.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

from partwright.errors import InputError

__all__ = ["BowLevel", "BowTerm", "bow_level", "bow_levels", "bow_terms", "bow_weights"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BowTerm:
    """One row of the table of costs. `kind` says whether it is counted in a stroke or on the way to it."""

    name: str
    kind: Literal["stroke", "move"]
    unit: str
    weight: float
    counts: str
    words: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BowLevel:
    """How a player of this level uses the bow. `weights` multiplies terms of the table."""

    name: str
    slowest_mm_s: float  # slower than this the tone breaks
    speed_pp_mm_s: float  # wanted speed at the softest and at the loudest dynamic
    speed_ff_mm_s: float
    lift_mm_s: float  # how fast the lifted bow travels
    lift_seconds: float  # to leave the string and come back to it
    phrase_breath_seconds: float  # what a player takes between phrases without being told
    hair_low: float  # the part of the hair in use, 0 frog … 1 tip
    hair_high: float
    weights: Mapping[str, float]
    source: str


@cache
def bow_terms() -> tuple[BowTerm, ...]:
    """The terms in the order of the table."""
    text = (resources.files("partwright.bowing") / "data" / "terms.toml").read_text(encoding="utf-8")
    return tuple(BowTerm(name=name, **row) for name, row in tomllib.loads(text).items())


@cache
def bow_levels() -> tuple[BowLevel, ...]:
    """The levels in the order of the table, the easiest first."""
    text = (resources.files("partwright.bowing") / "data" / "levels.toml").read_text(encoding="utf-8")
    levels = tuple(BowLevel(name=name, **row) for name, row in tomllib.loads(text).items())
    for level in levels:
        unknown = set(level.weights) - {term.name for term in bow_terms()}
        if unknown:
            raise InputError(f'level "{level.name}" weighs an unknown term, {min(unknown)}', "Compare data/terms.toml.")
    return levels


def bow_level(name: str) -> BowLevel:
    """The level of this name. Raises InputError naming the nearest known one."""
    known = {level.name: level for level in bow_levels()}
    if name not in known:
        near = difflib.get_close_matches(name.casefold(), known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}."
        raise InputError(f'there is no bowing level "{name}"', hint)
    return known[name]


def bow_weights(level: BowLevel, changes: Mapping[str, float] | None = None) -> dict[str, float]:
    """Weights by term: those of the table, with `changes` put in their place, times the level's factors.

    Raises InputError for an unknown term, naming the nearest.
    """
    weights = {term.name: term.weight for term in bow_terms()}
    for name, value in (changes or {}).items():
        if name not in weights:
            near = difflib.get_close_matches(name, weights, n=1)
            hint = f"did you mean {near[0]}?" if near else "docs/bow.md lists the terms."
            raise InputError(f'there is no bowing term "{name}"', hint)
        weights[name] = float(value)
    return {name: weight * level.weights.get(name, 1.0) for name, weight in weights.items()}
