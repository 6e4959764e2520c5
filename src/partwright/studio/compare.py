"""Two plans of one tune side by side."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from partwright.score import beat_text
from partwright.studio.changes import compare_states, plan_differences
from partwright.studio.note_view import placement_document
from partwright.studio.plan_state import PlanState

__all__ = ["compare_document"]

_MOST_NOTES = 400


def compare_document(a: str, one: PlanState, b: str, two: PlanState) -> dict[str, Any]:
    """What differs from plan `a` to plan `b`, in words and note by note; their costs and shifts."""
    part = one.part
    changed = compare_states(one, two)
    notes = []
    for note in plan_differences(part, one.plan, two.plan)[:_MOST_NOTES]:
        first, second = one.plan.by_id.get(note.id), two.plan.by_id.get(note.id)
        notes.append(
            {
                "n": note.index,
                "bar": note.bar,
                "beat": beat_text(note.beat),
                "a": None if first is None else placement_document(one, note, first.placement, pictures=False),
                "b": None if second is None else placement_document(two, note, second.placement, pictures=False),
            }
        )
    return {
        "a": a,
        "b": b,
        "version": one.version,
        "words": list(changed.words),
        "bars": list(changed.bars),
        "n": list(changed.notes),
        "bow_n": list(changed.bow_notes),
        "cost": {"a": _cost(one), "b": _cost(two)},
        "shifts": {"a": _shifts(one), "b": _shifts(two)},
        "pins": {"a": len(one.pins), "b": len(two.pins)},
        "notes": notes,
    }


def _cost(state: PlanState) -> float:
    return round(state.plan.total_cost + state.bowing.total_cost, 3)


def _shifts(state: PlanState) -> int:
    """How often the hand moves, in written order."""
    hands = [
        (fingered.placement.zone, fingered.placement.frame)
        for note in state.part.notes
        if (fingered := state.plan.by_id.get(note.id)) is not None and fingered.placement.finger != 0
    ]
    return sum(one != two for one, two in pairwise(hands))
