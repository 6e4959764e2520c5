"""What an edit moved, in a player's words: "Bars 12–14 moved to fourth position"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from partwright.fingering import FingeringPlan, Placement, finger_words
from partwright.instrument import Instrument
from partwright.score import Note, Part, beat_text
from partwright.studio.plan_state import PlanState

__all__ = ["Changed", "bars_words", "compare_states", "plan_differences"]

_MOST_LINES = 12


@dataclass(frozen=True, slots=True)
class Changed:
    """Notes with another finger, string or place, notes with another bow, the bars of both, and all of it in words."""

    notes: tuple[int, ...]
    bow_notes: tuple[int, ...]
    bars: tuple[str, ...]
    words: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        return {
            "words": list(self.words),
            "n": list(self.notes),
            "bars": list(self.bars),
            "bow_n": list(self.bow_notes),
        }


def compare_states(before: PlanState, after: PlanState) -> Changed:
    """What differs from one plan of a tune to another."""
    part, instrument = after.part, after.job.instrument
    moved = plan_differences(part, before.plan, after.plan)
    bowed = [
        note
        for note in part.notes
        if (a := before.bowing.by_note.get(note.id)) is not (b := after.bowing.by_note.get(note.id))
        and (None if a is None else (a.direction, a.retake, a.note_ids[0]))
        != (None if b is None else (b.direction, b.retake, b.note_ids[0]))
    ]
    words = [*_hand_lines(part, moved, before.plan, after.plan, instrument), *_bow_lines(part, bowed)]
    if len(words) > _MOST_LINES:
        words = [*words[: _MOST_LINES - 1], f"and {len(words) - _MOST_LINES + 1} more places"]
    touched = {note.bar_index for note in (*moved, *bowed)}
    return Changed(
        notes=tuple(note.index for note in moved),
        bow_notes=tuple(note.index for note in bowed),
        bars=tuple(part.bars[index].number for index in sorted(touched)),
        words=tuple(words),
    )


def plan_differences(part: Part, before: FingeringPlan, after: FingeringPlan) -> list[Note]:
    """Notes whose finger, string or place on the string is another."""
    found = []
    for note in part.notes:
        one, two = before.by_id.get(note.id), after.by_id.get(note.id)
        if one is None or two is None:
            if one is not two:
                found.append(note)
        elif one.placement is not two.placement and _hand(one.placement) != _hand(two.placement):
            found.append(note)
    return found


def _hand(place: Placement) -> tuple[object, ...]:
    frame = None if place.finger == 0 else place.frame
    return place.string, place.semitones, place.finger, place.substitute, place.harmonic, frame


def bars_words(part: Part, indices: Iterable[int]) -> str:
    """Bars in words: "bar 12", "bars 12–14"."""
    ordered = sorted(set(indices))
    first, last = part.bars[ordered[0]].number, part.bars[ordered[-1]].number
    return f"bar {first}" if first == last else f"bars {first}–{last}"


def _hand_lines(
    part: Part, moved: Sequence[Note], before: FingeringPlan, after: FingeringPlan, instrument: Instrument
) -> list[str]:
    lines = []
    for run in _runs(moved):
        where = bars_words(part, (note.bar_index for note in run))
        pairs = [
            (before.by_id[note.id].placement, after.by_id[note.id].placement)
            for note in run
            if note.id in before.by_id and note.id in after.by_id
        ]
        lines.append(f"{where[:1].upper()}{where[1:]} {_run_words(run, pairs, instrument)}")
    return lines


def _run_words(run: Sequence[Note], pairs: Sequence[tuple[Placement, Placement]], instrument: Instrument) -> str:
    if not pairs:
        return "can be played otherwise"
    stopped = [(one, two) for one, two in pairs if two.finger]
    places = {instrument.position(two.frame, two.zone).spoken for _, two in stopped}
    shifted = [one.finger == 0 or (one.frame, one.zone) != (two.frame, two.zone) for one, two in stopped]
    strings = {instrument.strings[two.string].letter for _, two in pairs}
    other_string = [one.string != two.string for one, two in pairs]
    if len(places) == 1 and stopped and sum(shifted) * 2 > len(stopped):
        words = f"moved to {places.pop()}"
        return f"{words} on the {strings.pop()} string" if all(other_string) and len(strings) == 1 else words
    if all(other_string) and len(strings) == 1:
        return f"moved to the {strings.pop()} string"
    if len(run) == 1:
        one, two = pairs[0]
        beat = f", beat {beat_text(run[0].beat)}"
        if finger_words(one) != finger_words(two):
            return f"{beat.lstrip(', ')}: {finger_words(two)} instead of {finger_words(one)}"
    if len(places) > 1 and any(shifted):
        ordered = list(dict.fromkeys(instrument.position(two.frame, two.zone).spoken for _, two in stopped))
        if len(ordered) <= 3:
            return f"moved to {', then '.join(ordered)}"
        return "moved to other positions"
    return "has other fingers" if len({note.bar_index for note in run}) == 1 else "have other fingers"


def _bow_lines(part: Part, bowed: Sequence[Note]) -> list[str]:
    lines = []
    for run in _runs(bowed):
        where = bars_words(part, (note.bar_index for note in run))
        verb = "is" if where.startswith("bar ") else "are"
        lines.append(f"{where[:1].upper()}{where[1:]} {verb} bowed the other way")
    return lines


def _runs(notes: Sequence[Note]) -> list[list[Note]]:
    """Notes in neighbouring bars together."""
    runs: list[list[Note]] = []
    for _, bar in groupby(notes, key=lambda note: note.bar_index):
        inside = list(bar)
        if runs and inside[0].bar_index - runs[-1][-1].bar_index <= 1:
            runs[-1] += inside
        else:
            runs.append(inside)
    return runs
