"""A bowing plan and its explanations as plain documents, ready for JSON. The fields are a contract; more may come."""

from __future__ import annotations

import math

from partwright.bowing.explain import StrokeExplanation
from partwright.bowing.stroke import BowingPlan, Stroke
from partwright.fingering import CostItem
from partwright.score import beat_text

__all__ = ["bow_explanation_document", "bowing_document"]


def bowing_document(plan: BowingPlan) -> dict[str, object]:
    """Strokes in written order, suggestions, remarks, total. Places on the bow 0 frog … 1 tip, speeds in mm/s."""
    return {
        "strokes": [_stroke(stroke) for stroke in plan.strokes],
        "suggestions": [
            {
                "kind": suggestion.kind,
                "from": suggestion.first_note_id,
                "to": suggestion.last_note_id,
                "bar": suggestion.bar,
                "beat": beat_text(suggestion.beat),
                "saves": round(suggestion.saves, 3),
                "words": suggestion.words,
            }
            for suggestion in plan.suggestions
        ],
        "remarks": list(plan.remarks),
        "level": plan.level,
        "total_cost": round(plan.total_cost, 3),
    }


def bow_explanation_document(item: StrokeExplanation) -> dict[str, object]:
    """The stroke, its costs by term, and the other direction."""
    other = item.other
    return {
        "bar": item.stroke.bar,
        "beat": beat_text(item.stroke.beat),
        "chosen": _stroke(item.stroke),
        "words": item.words,
        "why": [_cost(cost) for cost in item.why],
        "alternatives": [
            {
                "direction": other.direction,
                "extra_cost": round(other.extra_cost, 3),
                "words": other.words,
                "bars": list(other.bars),
                "why": [_cost(cost) for cost in other.why],
            }
        ],
    }


def _stroke(stroke: Stroke) -> dict[str, object]:
    return {
        "id": stroke.id,
        "notes": list(stroke.note_ids),
        "bar": stroke.bar,
        "beat": beat_text(stroke.beat),
        "direction": stroke.direction,
        "from": round(stroke.start, 3),
        "to": round(stroke.end, 3),
        "speed_mm_s": round(stroke.speed_mm_s, 1),
        "retake": stroke.retake,
        "hook": stroke.hook,
        "reset": stroke.reset,
        "kind": stroke.kind,
        "slur": stroke.slur,
        "pinned": stroke.pinned,
        "sign": stroke.sign_needed,
        "cost": round(stroke.cost, 3),
        "other_extra": None if math.isinf(stroke.other_extra) else round(stroke.other_extra, 3),
    }


def _cost(item: CostItem) -> dict[str, object]:
    return {"term": item.term, "words": item.words, "value": round(item.value, 3)}
