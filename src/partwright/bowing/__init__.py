"""Bow strokes: direction, place on the bow, retakes, hooks; planned exactly, priced, explained, drawn.

>>> from partwright.bowing import bow_levels
>>> [level.name for level in bow_levels()]
['beginner', 'intermediate', 'advanced']
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.bowing.documents import bow_explanation_document, bowing_document
    from partwright.bowing.explain import OtherDirection, StrokeExplanation, explain_stroke, strokes_at
    from partwright.bowing.marks import bowing_marks, sign_note
    from partwright.bowing.picture import bow_picture_svg
    from partwright.bowing.pins import is_bow_pin, parse_bow_pin
    from partwright.bowing.plan import plan_bowing, replan_bowing
    from partwright.bowing.stroke import BowingPlan, BowPin, SlurSuggestion, Stroke
    from partwright.bowing.terms import BowLevel, BowTerm, bow_level, bow_levels, bow_terms, bow_weights
    from partwright.bowing.together import PlannedTogether, plan_together

__getattr__ = lazy_names(
    __name__,
    {
        "documents": ("bow_explanation_document", "bowing_document"),
        "explain": ("OtherDirection", "StrokeExplanation", "explain_stroke", "strokes_at"),
        "marks": ("bowing_marks", "sign_note"),
        "picture": ("bow_picture_svg",),
        "pins": ("is_bow_pin", "parse_bow_pin"),
        "plan": ("plan_bowing", "replan_bowing"),
        "stroke": ("BowPin", "BowingPlan", "SlurSuggestion", "Stroke"),
        "terms": ("BowLevel", "BowTerm", "bow_level", "bow_levels", "bow_terms", "bow_weights"),
        "together": ("PlannedTogether", "plan_together"),
    },
)

__all__ = [
    "BowLevel",
    "BowPin",
    "BowTerm",
    "BowingPlan",
    "OtherDirection",
    "PlannedTogether",
    "SlurSuggestion",
    "Stroke",
    "StrokeExplanation",
    "bow_explanation_document",
    "bow_level",
    "bow_levels",
    "bow_picture_svg",
    "bow_terms",
    "bow_weights",
    "bowing_document",
    "bowing_marks",
    "explain_stroke",
    "is_bow_pin",
    "parse_bow_pin",
    "plan_bowing",
    "plan_together",
    "replan_bowing",
    "sign_note",
    "strokes_at",
]
