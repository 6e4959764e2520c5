"""A fingering plan as the plain document that JSON carries: the fields others may lean on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from partwright.score import beat_text

if TYPE_CHECKING:
    from partwright.fingering import CostItem, Explanation, FingeringPlan, Placement, Relaxation
    from partwright.instrument import Instrument
    from partwright.score import Part

__all__ = ["explanation_document", "placement_fields", "plan_changes", "plan_document"]


def plan_document(part: Part, plan: FingeringPlan, instrument: Instrument) -> dict[str, object]:
    """The plan as `{"notes": [...], "relaxed": [...], "total_cost"}` and more; costs have no unit."""
    return {
        "instrument": instrument.name,
        "level": plan.level,
        "notes": [
            {
                "id": fingered.note_id,
                "bar": (note := part.by_id[fingered.note_id]).bar,
                "beat": beat_text(note.beat),
                "pitch": note.pitch.name,
                "midi": note.midi,
                **placement_fields(fingered.placement, instrument),
                "pinned": fingered.pinned,
                "cost": round(fingered.cost, 6),
            }
            for fingered in plan.notes
        ],
        "relaxed": [_relaxation(item) for item in plan.relaxed],
        "unplayable": [_relaxation(item) for item in plan.unplayable],
        "unlike": [{"bars": list(item.bars), "like": list(item.like_bars), "why": item.why} for item in plan.unlike],
        "remarks": list(plan.remarks),
        "total_cost": round(plan.total_cost, 6),
    }


def placement_fields(placement: Placement, instrument: Instrument) -> dict[str, object]:
    """String by letter, place in semitones above it, finger, position and shape of the hand."""
    return {
        "string": instrument.strings[placement.string].letter,
        "semitones": placement.semitones,
        "finger": placement.finger_text,
        "position": instrument.position(placement.frame, placement.zone).label,
        "frame": placement.frame,
        "shape": placement.shape,
        "harmonic": placement.harmonic > 0,
    }


def explanation_document(explanation: Explanation, instrument: Instrument) -> dict[str, object]:
    """Why a note has its finger, and what others would cost; an alternative's `extra_cost` is for the whole part."""
    return {
        "id": explanation.note_id,
        "bar": explanation.bar,
        "beat": beat_text(explanation.beat),
        "pitch": explanation.pitch,
        "chosen": {**placement_fields(explanation.chosen, instrument), "pinned": explanation.pinned},
        "words": explanation.words,
        "why": [_cost_item(item) for item in explanation.why],
        "alternatives": [
            {
                **placement_fields(alternative.placement, instrument),
                "extra_cost": round(alternative.extra_cost, 6),
                "words": alternative.words,
                "why": [_cost_item(item) for item in alternative.why],
            }
            for alternative in explanation.alternatives
        ],
    }


def _cost_item(item: CostItem) -> dict[str, object]:
    return {"term": item.term, "words": item.words, "value": round(item.value, 6)}


def plan_changes(before: object, after: object) -> tuple[str, ...]:
    """Bars, as printed and in order, in which two plan documents differ in finger, string or place."""
    old, new = _by_id(before), _by_id(after)
    changed: dict[str, None] = {}
    for note_id, (bar, placed) in new.items():
        if note_id not in old or old[note_id][1] != placed:
            changed[bar] = None
    for note_id, (bar, _) in old.items():
        if note_id not in new:
            changed[bar] = None
    return tuple(changed)


def _by_id(document: object) -> dict[str, tuple[str, tuple[object, ...]]]:
    notes = document.get("notes", []) if isinstance(document, dict) else []
    return {
        str(note["id"]): (str(note["bar"]), (note.get("string"), note.get("semitones"), note.get("finger")))
        for note in notes
        if isinstance(note, dict) and "id" in note and "bar" in note
    }


def _relaxation(item: Relaxation) -> dict[str, object]:
    return {"bar": item.bar, "beat": beat_text(item.beat), "limit": item.limit, "why": item.why}
