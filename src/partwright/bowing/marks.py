"""Which bow signs to print: on every stroke, only where a player needs them, or none."""

from __future__ import annotations

from typing import Literal

from partwright.bowing.stroke import BowingPlan
from partwright.score import Mark, Note, Part, TechnicalMark

__all__ = ["bowing_marks", "sign_note"]


def bowing_marks(
    part: Part, plan: BowingPlan, *, marks: Literal["every", "needed", "none"] = "needed"
) -> tuple[Mark, ...]:
    """Down-bow and up-bow signs for `score.annotate`, in written order.

    "needed": the first stroke, the first after a rest, at the start of a section, and every stroke that does not simply
    alternate with each stroke that may be played before it. (`annotate` leaves out what the source already prints.)
    """
    if marks == "none":
        return ()
    found: list[Mark] = []
    for stroke in plan.strokes:
        if marks == "needed" and not stroke.sign_needed:
            continue
        note = sign_note(part, stroke.note_ids)
        element: Literal["up-bow", "down-bow"] = "down-bow" if stroke.direction == "down" else "up-bow"
        found.append(TechnicalMark(note_id=note.id, element=element))
    return tuple(found)


def sign_note(part: Part, note_ids: tuple[str, ...]) -> Note:
    """The note that carries a stroke's sign: its first that is not a grace note, the one that heads its chord."""
    notes = [part.by_id[note_id] for note_id in note_ids]
    return next((note for note in notes if not note.grace and not note.chord), notes[0])
