"""Which of the plan's fingers, strings and positions go on the page.

`every`: all of them. `needed`: what a player cannot tell from the page: where the hand moves, opens or comes up on
the thumb, which of two ways a pitch is played (open or fourth finger, harmonic or stopped), an unusual string, and the
first note of the part and of each section. `none`: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from partwright.fingering.plan import FingeringPlan, Placement
from partwright.instrument import THUMB, Instrument, finger_text
from partwright.score import BracketLine, FingeringMark, Mark, Note, Part, StringMark, TechnicalMark, WordsMark

__all__ = ["MarksWanted", "fingering_marks"]

MarksWanted = Literal["every", "needed", "none"]

_FIRST_POSITION = 2
_REST_QUARTERS = 2


@dataclass(frozen=True, slots=True)
class _Shown:
    """What the page shows at one note."""

    finger: bool
    string: bool
    position: bool


def fingering_marks(
    part: Part, plan: FingeringPlan, instrument: Instrument, *, marks: MarksWanted = "needed"
) -> tuple[Mark, ...]:
    """The marks of a plan, in written order; tied continuations carry none."""
    if marks == "none":
        return ()
    found: list[Mark] = []
    before: tuple[Note, Placement] | None = None
    for note in part.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is None or note.tied_from is not None:
            continue
        place = fingered.placement
        shown = _shown(part, note, place, before, instrument)
        if marks == "every" or fingered.pinned:
            shown = _Shown(True, shown.string, shown.position)
        found += _note_marks(note, place, shown, instrument)
        if not note.chord or before is None:
            before = (note, place)
    found += _extension_lines(part, plan, instrument)
    found += _guide_lines(part, plan)
    return tuple(found)


def _shown(
    part: Part, note: Note, place: Placement, before: tuple[Note, Placement] | None, instrument: Instrument
) -> _Shown:
    usual = _usual_string(note, instrument)
    if before is None:
        return _Shown(True, place.string != usual, _has_position(place) and place.frame != _FIRST_POSITION)
    last_note, last = before
    if note.chord:
        return _Shown(True, False, False)
    moved = _has_position(place) and (place.frame, place.zone) != (last.frame, last.zone)
    opened = place.shape != last.shape and _has_position(place) and _is_told(place, last, instrument)
    fresh = part.bars[note.bar_index].rehearsal and note.bar_index != last_note.bar_index
    rested = note.onset_quarters - last_note.end_quarters >= _REST_QUARTERS
    either = place.finger in (0, 4) and any(note.midi == s.midi for s in instrument.strings[1:])
    odd_string = place.string != usual
    string = place.string != last.string and (odd_string or last.string != _usual_string(last_note, instrument))
    finger = bool(
        moved or opened or fresh or rested or either or string or place.harmonic or place.finger == THUMB
        or place.substitute is not None or (note.midi == last_note.midi and place.finger != last.finger)
    )  # fmt: skip
    return _Shown(finger, bool(string or (odd_string and (fresh or rested))), bool(moved))


def _is_told(place: Placement, last: Placement, instrument: Instrument) -> bool:
    """Whether a change of shape is one a player is told of: an extension, or any in the upper and thumb positions.

    On the neck a violin's or viola's fingers follow the key; the page says nothing of it.
    """
    told = {shape.name for shape in instrument.shapes if shape.extension or shape.zone != "neck"}
    return place.shape in told or last.shape in told


def _has_position(place: Placement) -> bool:
    return place.finger > 0


def _usual_string(note: Note, instrument: Instrument) -> int:
    """The highest string whose open note is not above this one: where a player looks first."""
    return max((i for i, s in enumerate(instrument.strings) if s.midi <= note.midi), default=0)


def _note_marks(note: Note, place: Placement, shown: _Shown, instrument: Instrument) -> list[Mark]:
    found: list[Mark] = []
    if shown.finger:
        if place.finger == THUMB:
            found.append(TechnicalMark(note_id=note.id, element="thumb-position"))
            if place.substitute is not None:
                found.append(FingeringMark(note_id=note.id, finger="T", substitute=finger_text(place.substitute)))
        else:
            substitute = finger_text(place.substitute) if place.substitute is not None else None
            found.append(FingeringMark(note_id=note.id, finger=finger_text(place.finger), substitute=substitute))
    if place.harmonic:
        found.append(TechnicalMark(note_id=note.id, element="harmonic"))
    if shown.string:
        string = instrument.strings[place.string]
        found.append(StringMark(note_id=note.id, number=string.number, letter=string.letter))
    if shown.position:
        label = instrument.position(place.frame, place.zone).label
        found.append(WordsMark(note_id=note.id, text=label, role="position"))
    return found


def _extension_lines(part: Part, plan: FingeringPlan, instrument: Instrument) -> list[Mark]:
    """A line for as long as the hand stays opened."""
    opening = {shape.name for shape in instrument.shapes if shape.extension}
    found: list[Mark] = []
    run: list[Note] = []
    opened = ""

    def close() -> None:
        if run:
            found.append(BracketLine(first_note_id=run[0].id, last_note_id=run[-1].id, text="ext.", line="bracket"))
        run.clear()

    for note in part.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is None:
            continue
        shape = fingered.placement.shape if fingered.placement.shape in opening else ""
        if shape != opened:
            close()
            opened = shape
        if shape and fingered.placement.finger > 0:
            run.append(note)
    close()
    return found


def _guide_lines(part: Part, plan: FingeringPlan) -> list[Mark]:
    """Where a finger stays on its string through a shift, a dash leads from the old place to the new."""
    found: list[Mark] = []
    before: tuple[Note, Placement] | None = None
    for note in part.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is None or note.tied_from is not None or note.chord:
            continue
        place = fingered.placement
        if before is not None:
            last_note, last = before
            finger = last.substitute if last.substitute is not None else last.finger
            slides = (
                finger == place.finger
                and place.finger > 0
                and last.string == place.string
                and last.semitones != place.semitones
                and note.bar_index - last_note.bar_index <= 1
                and not (last.harmonic or place.harmonic)
            )
            if slides:
                found.append(BracketLine(first_note_id=last_note.id, last_note_id=note.id, role="guide", line="dashes"))
        before = (note, place)
    return found
