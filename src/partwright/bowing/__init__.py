"""Bow strokes: direction, place on the bow, retakes, hooks; planned exactly, priced, explained, drawn.

>>> from partwright.bowing import bow_levels
>>> [level.name for level in bow_levels()]
['beginner', 'intermediate', 'advanced']
"""

from partwright.bowing.plan import plan_bowing, replan_bowing
from partwright.bowing.stroke import BowingPlan, BowPin, SlurSuggestion, Stroke
from partwright.bowing.terms import BowLevel, BowTerm, bow_level, bow_levels, bow_terms, bow_weights

__all__ = [
    "BowLevel",
    "BowPin",
    "BowTerm",
    "BowingPlan",
    "SlurSuggestion",
    "Stroke",
    "bow_level",
    "bow_levels",
    "bow_terms",
    "bow_weights",
    "plan_bowing",
    "replan_bowing",
]
