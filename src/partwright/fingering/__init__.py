"""Fingers, strings, positions: placements, cost terms, exact search, alternatives, explanation.

>>> from partwright.fingering import default_weights
>>> default_weights()["shift"]
1.0
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.fingering.elsewhere import (
        PlanFigures,
        dearest_place,
        figures_of,
        plan_elsewhere,
        playable_midi,
        strings_of,
    )
    from partwright.fingering.explain import Alternative, Explanation, explain_note, note_reasons, notes_at
    from partwright.fingering.marks import MarksWanted, fingering_marks
    from partwright.fingering.pins import parse_pin, pins_from_source
    from partwright.fingering.plan import (
        CostItem,
        FingeredNote,
        FingeringPlan,
        Pin,
        Placement,
        Relaxation,
        UnlikePhrase,
    )
    from partwright.fingering.planner import plan_fingering, prepare, replan
    from partwright.fingering.planning import Planning
    from partwright.fingering.read_tastes import parse_taste, read_taste
    from partwright.fingering.report import plan_of
    from partwright.fingering.taste import (
        HandTaste,
        Taste,
        hand_taste,
        table_mark,
        taste_lines,
        taste_text,
        term_label,
        with_taste,
    )
    from partwright.fingering.terms import Term, Weights, default_weights, term_table
    from partwright.fingering.words import finger_words, hand_words, placement_words

__getattr__ = lazy_names(
    __name__,
    {
        "elsewhere": (
            "PlanFigures",
            "dearest_place",
            "figures_of",
            "plan_elsewhere",
            "playable_midi",
            "strings_of",
        ),
        "explain": (
            "Alternative",
            "Explanation",
            "explain_note",
            "note_reasons",
            "notes_at",
        ),
        "marks": (
            "MarksWanted",
            "fingering_marks",
        ),
        "pins": (
            "parse_pin",
            "pins_from_source",
        ),
        "plan": (
            "CostItem",
            "FingeredNote",
            "FingeringPlan",
            "Pin",
            "Placement",
            "Relaxation",
            "UnlikePhrase",
        ),
        "planner": (
            "plan_fingering",
            "prepare",
            "replan",
        ),
        "planning": ("Planning",),
        "read_tastes": ("parse_taste", "read_taste"),
        "report": ("plan_of",),
        "taste": (
            "HandTaste",
            "Taste",
            "hand_taste",
            "table_mark",
            "taste_lines",
            "taste_text",
            "term_label",
            "with_taste",
        ),
        "terms": (
            "Term",
            "Weights",
            "default_weights",
            "term_table",
        ),
        "words": (
            "finger_words",
            "hand_words",
            "placement_words",
        ),
    },
)

__all__ = [
    "Alternative",
    "CostItem",
    "Explanation",
    "FingeredNote",
    "FingeringPlan",
    "HandTaste",
    "MarksWanted",
    "Pin",
    "Placement",
    "PlanFigures",
    "Planning",
    "Relaxation",
    "Taste",
    "Term",
    "UnlikePhrase",
    "Weights",
    "dearest_place",
    "default_weights",
    "explain_note",
    "figures_of",
    "finger_words",
    "fingering_marks",
    "hand_taste",
    "hand_words",
    "note_reasons",
    "notes_at",
    "parse_pin",
    "parse_taste",
    "pins_from_source",
    "placement_words",
    "plan_elsewhere",
    "plan_fingering",
    "plan_of",
    "playable_midi",
    "prepare",
    "read_taste",
    "replan",
    "strings_of",
    "table_mark",
    "taste_lines",
    "taste_text",
    "term_label",
    "term_table",
    "with_taste",
]
