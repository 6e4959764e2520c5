"""Fingers, strings, positions: placements, cost terms, exact search, alternatives, explanation."""

from partwright.fingering.plan import (
    CostItem,
    FingeredNote,
    FingeringPlan,
    Pin,
    Placement,
    Relaxation,
    UnlikePhrase,
)

__all__ = [
    "CostItem",
    "FingeredNote",
    "FingeringPlan",
    "Pin",
    "Placement",
    "Relaxation",
    "UnlikePhrase",
]
