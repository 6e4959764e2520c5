"""What the page knows of each note: its place, its hand, its bow, and a label that says all of it."""

from __future__ import annotations

from typing import Any

from partwright.bowing import Stroke, sign_note
from partwright.fingering import placement_words
from partwright.instrument import Instrument
from partwright.score import Note, beat_text
from partwright.studio.pictures import SystemPicture
from partwright.studio.plan_state import PlanState

__all__ = ["NoteFacts", "spoken_pitch"]

_ACCIDENTALS = {"b": " flat", "bb": " double flat", "#": " sharp", "##": " double sharp", "": ""}


def spoken_pitch(name: str) -> str:
    """A pitch as it is said.

    >>> spoken_pitch("F#3"), spoken_pitch("B2")
    ('F sharp', 'B')
    """
    return name[0] + _ACCIDENTALS.get(name[1:].rstrip("-0123456789"), "")


class NoteFacts:
    """Facts on the notes of one planned lesson, made when asked for.

    `like`: those of an earlier plan of the same tune; what is the same stays the same object.
    """

    def __init__(self, state: PlanState, like: NoteFacts | None = None) -> None:
        self.state = state
        same = like is not None and like.state.part is state.part and like.state.job.instrument is state.job.instrument
        self._before = like._known if like is not None and same else {}
        self._known: dict[int, tuple[tuple[object, ...], dict[str, Any]]] = {}

    def of(self, n: int) -> dict[str, Any]:
        """The facts on note `n`, without where it is drawn."""
        if n not in self._known:
            note = self.state.part.notes[n]
            grounds = self._grounds(note)
            before = self._before.get(n)
            kept = before is not None and before[0] == grounds
            self._known[n] = before if kept and before is not None else (grounds, self._make(note))
        return self._known[n][1]

    def _grounds(self, note: Note) -> tuple[object, ...]:
        """All that the facts on a note depend on, besides the tune."""
        state = self.state
        fingered = state.plan.by_id.get(note.id)
        stroke = state.bowing.by_note.get(note.id)
        bow = None if stroke is None else (stroke.direction, stroke.note_ids, self._bow_pinned(stroke))
        pinned = state.head_of(note).index in state.pinned_n["finger"]
        return None if fingered is None else fingered.placement, bow, pinned

    def _bow_pinned(self, stroke: Stroke) -> bool:
        pinned = self.state.pinned_n["bow"]
        return bool(pinned) and any(self.state.part.by_id[i].index in pinned for i in stroke.note_ids)

    def on(self, picture: SystemPicture) -> list[dict[str, Any]]:
        """The notes of a drawn system, with where each stands."""
        return [{**self.of(n), "x_mm": x, "y_mm": y} for n, x, y in picture.notes]

    def _make(self, note: Note) -> dict[str, Any]:
        state = self.state
        head = state.head_of(note)
        fingered = state.plan.by_id.get(note.id)
        stroke = state.bowing.by_note.get(note.id)
        place = None if fingered is None else fingered.placement
        pinned = head.index in state.pinned_n["finger"]
        bow_pinned = stroke is not None and self._bow_pinned(stroke)
        first_of_stroke = stroke is not None and sign_note(state.part, stroke.note_ids).id == note.id
        instrument: Instrument = state.job.instrument
        words = "cannot be played" if place is None else placement_words(place, instrument)
        bow = "" if stroke is None or not first_of_stroke else f", {stroke.direction}-bow"
        held = ", held on" if note.tied_from is not None else ""
        pins = ", pinned" if pinned else ""
        pitch = spoken_pitch(note.written_pitch.name)
        label = f"Bar {note.bar}, beat {beat_text(note.beat)}, {pitch}{held}: {words}{bow}{pins}"
        return {
            "n": note.index,
            "id": note.id,
            "bar": note.bar,
            "bar_index": note.bar_index,
            "beat": beat_text(note.beat),
            "pitch": note.written_pitch.name,
            "string": None if place is None else instrument.strings[place.string].letter,
            "finger": None if place is None else place.finger_text,
            "position": None if place is None else instrument.position(place.frame, place.zone).label,
            "shape": None if place is None else place.shape,
            "harmonic": place is not None and place.harmonic > 0,
            "pinned": pinned,
            "pin_place": state.finger_places[head.index],
            "grace": bool(note.grace),
            "bow": None if stroke is None else stroke.direction,
            "bow_starts": first_of_stroke,
            "bow_pinned": bow_pinned,
            "starts_tie_from": None if note.tied_from is None else state.part.by_id[note.tied_from].index,
            "duration_quarters": float(note.duration_quarters),
            "label": label,
        }
