"""Why a note has its finger and bow, what the others would cost, and how each looks on the fingerboard and the bow."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from partwright.bowing import explain_stroke
from partwright.engraving import ChartHand, ChartStop, fingerboard_chart_svg, note_name
from partwright.fingering import CostItem, Placement, explain_note, placement_words
from partwright.lesson import placement_fields
from partwright.score import Note
from partwright.studio.documents import place_of
from partwright.studio.edits import equal_notes
from partwright.studio.note_facts import NoteFacts
from partwright.studio.pin_rows import placement_value
from partwright.studio.plan_state import PlanState
from partwright.studio.svg_texts import bow_svg, glyph_definitions, inline_svg, signs_used

__all__ = ["fingerboard_svg", "note_document", "placement_document"]


def note_document(state: PlanState, facts: NoteFacts, note: Note, *, pictures: bool) -> dict[str, Any]:
    """All there is to say of one note."""
    head = state.head_of(note)
    known = facts.of(head.index)
    pin = next((row for row in state.pins if row.kind == "finger" and row.note == head), None)
    source = any(p.note_id == head.id and p.origin == "source" for p in state.job.pins)
    document: dict[str, Any] = {
        "version": state.version,
        **place_of(head),
        "id": head.id,
        "pitch": head.written_pitch.name,
        "label": known["label"],
        "playable": head.id in state.plan.by_id,
        "pin_place": state.finger_places[head.index],
        "pin": None if pin is None else {"place": pin.place, "value": pin.value, "words": pin.words},
        "source_pin": source,
        "equal": [place_of(other) for other in equal_notes(state, head)],
        "bow": _bow(state, head, pictures=pictures),
        "words": "",
        "chosen": None,
        "why": [],
        "alternatives": [],
        "glyphs": {},
    }
    if head.id not in state.plan.by_id:
        document["words"] = next(
            (item.why for item in state.plan.unplayable if item.note_id == head.id), "This note cannot be played."
        )
        return document
    found = explain_note(state.planning, head.id)
    kinds = Counter((a.placement.string, a.placement.finger) for a in found.alternatives)
    kinds[found.chosen.string, found.chosen.finger] += 1
    document["words"] = found.words
    document["chosen"] = {
        **placement_document(state, head, found.chosen, pictures=pictures),
        "value": placement_value(found.chosen, state.job.instrument),
    }
    document["why"] = _costs(found.why)
    document["alternatives"] = [
        {
            **placement_document(state, head, a.placement, pictures=pictures),
            "value": placement_value(
                a.placement, state.job.instrument, whole=kinds[a.placement.string, a.placement.finger] > 1
            ),
            "extra_cost": round(a.extra_cost, 3),
            "price": _price(a.extra_cost, a.words),
            "reason": a.words,
            "why": _costs(a.why),
        }
        for a in found.alternatives
    ]
    drawings = [document["chosen"]["svg"], *(a["svg"] for a in document["alternatives"])]
    document["glyphs"] = glyph_definitions(signs_used(drawings))
    return document


def placement_document(state: PlanState, note: Note, place: Placement, *, pictures: bool) -> dict[str, Any]:
    """A placement with its words and its drawing."""
    instrument = state.job.instrument
    return {
        **placement_fields(place, instrument),
        "words": placement_words(place, instrument),
        "svg": fingerboard_svg(state, note, place) if pictures else "",
    }


def fingerboard_svg(state: PlanState, note: Note, place: Placement) -> str:
    """The fingerboard with the hand where this placement has it, and the stopped place filled."""
    instrument = state.job.instrument
    fifths = state.part.bars[note.bar_index].fifths
    stop = ChartStop(
        string=place.string,
        semitones=place.semitones,
        finger=place.finger,
        name=note_name(note.midi, fifths),
        harmonic=place.harmonic > 0,
        now=True,
    )
    hand = ChartHand(frame=place.frame, zone=place.zone, shape=place.shape, stops=(stop,))
    return inline_svg(fingerboard_chart_svg(instrument, hand, fifths=fifths, caption=False, screen=False))


def _price(extra: float, words: str) -> str:
    """What an alternative costs, in words."""
    if extra < -0.005:
        return f"{-extra:.2f} less, in all"
    if extra < 0.005:
        return "as good"
    return f"{extra:.2f} more: {words}" if words else f"{extra:.2f} more"


def _costs(items: Sequence[CostItem]) -> list[dict[str, Any]]:
    return [{"term": item.term, "words": item.words, "value": round(item.value, 3)} for item in items]


def _bow(state: PlanState, note: Note, *, pictures: bool) -> dict[str, Any] | None:
    stroke = state.bowing.by_note.get(note.id)
    if stroke is None:
        return None
    found = explain_stroke(state.bowing, note.id)
    under = set(stroke.note_ids)
    pin = next((r for r in state.pins if r.kind == "bow" and r.note is not None and r.note.id in under), None)
    other = found.other
    return {
        "direction": stroke.direction,
        "words": found.words,
        "from": round(stroke.start, 3),
        "to": round(stroke.end, 3),
        "first": place_of(state.part.by_id[stroke.note_ids[0]]),
        "pinned": stroke.pinned,
        "pin": None if pin is None else {"place": pin.place, "value": pin.value, "words": pin.words},
        "why": _costs(found.why),
        "alternatives": [
            {
                "direction": other.direction,
                "value": other.direction,
                "extra_cost": None if other.extra_cost == float("inf") else round(other.extra_cost, 3),
                "words": other.words,
                "bars": list(other.bars),
            }
        ],
        "svg": bow_svg(stroke.direction, stroke.start, stroke.end, retake=stroke.retake) if pictures else "",
    }
