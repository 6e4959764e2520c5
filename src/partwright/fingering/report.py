"""A solved lattice told in the part's own terms: placements, prices, what of the level had to give way."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from partwright.fingering.columns import LIMITS, Column
from partwright.fingering.labels import hand_labels
from partwright.fingering.lattice import LIMIT_PRICE
from partwright.fingering.plan import FingeredNote, FingeringPlan, Placement, Relaxation
from partwright.fingering.planning import Planning
from partwright.score import Note, beat_text

__all__ = ["costs_of", "plan_of", "state_placement"]


def plan_of(planning: Planning) -> FingeringPlan:
    """The plan that a solved lattice stands for, note by note in written order."""
    placements = _placements(planning)
    paid = _paid(planning)
    costs = _costs(planning, paid)
    pinned = {pin.note_id for pin in planning.pins if not pin.banned}
    notes = []
    for note in planning.part.notes:
        event = planning.walk.event_of[note.id]
        if event not in planning.variable_of:
            continue
        place = placements[event][_slot(planning, event, note)]
        own = note.id in planning.walk.events[event].note_ids
        notes.append(
            FingeredNote(
                note_id=note.id,
                placement=place,
                pinned=note.id in pinned,
                cost=costs.get(planning.variable_of[event], 0.0) if own else 0.0,
            )
        )
    relaxed, remarks = _relaxed(planning, paid)
    return FingeringPlan(
        notes=tuple(notes),
        total_cost=_total(planning, paid),
        level=planning.level.name,
        relaxed=relaxed,
        unlike=planning.unlike,
        unplayable=_unplayable(planning),
        remarks=remarks,
    )


def _slot(planning: Planning, event: int, note: Note) -> int:
    ids, midi = planning.walk.events[event].note_ids, planning.walk.events[event].midi
    if note.id in ids:
        return ids.index(note.id)
    return midi.index(note.midi) if note.midi in midi else 0


def _placements(planning: Planning) -> dict[int, tuple[Placement, ...]]:
    labels = hand_labels(planning)
    choice = planning.solution.choice
    found: dict[int, tuple[Placement, ...]] = {}
    for event, variable in planning.variable_of.items():
        second = planning.substitute_of.get(variable)
        places = []
        for note in range(len(planning.lattice.columns[variable].midi)):
            place = state_placement(planning, variable, choice[variable], note)
            if variable in labels:
                frame, shape = labels[variable]
                place = dataclasses.replace(place, frame=frame, shape=shape)
            if second is not None:
                after = int(planning.lattice.columns[second].finger[choice[second], note])
                if after != place.finger:
                    place = dataclasses.replace(place, substitute=after)
            places.append(place)
        found[event] = tuple(places)
    return found


def state_placement(planning: Planning, variable: int, state: int, note: int) -> Placement:
    """One state of a variable for one note of its event, the hand named as the search knows it."""
    column, hands = planning.lattice.columns[variable], planning.maker.hands
    hand = int(column.hand[state])
    shape = hands.shapes[hand]
    return Placement(
        string=int(column.string[state, note]),
        semitones=int(column.stop[state, note]),
        finger=int(column.finger[state, note]),
        frame=int(hands.frame[hand]),
        shape=shape.name,
        zone=shape.zone,
        harmonic=int(column.harmonic[state, note]),
    )


def costs_of(planning: Planning) -> dict[int, float]:
    """What each variable adds to the plan the first time it is played: itself and the move to it."""
    return _costs(planning, _paid(planning))


def _paid(planning: Planning) -> tuple[float, ...]:
    """The price of every transition as it is taken."""
    columns, choice, price = planning.lattice.columns, planning.solution.choice, planning.prices.price
    return tuple(
        float(price(columns[step.a], columns[step.b], (step,))[choice[step.a], choice[step.b]])
        for step in planning.transitions
    )


def _costs(planning: Planning, paid: Sequence[float]) -> dict[int, float]:
    lattice, choice = planning.lattice, planning.solution.choice
    costs: dict[int, float] = {}
    note_cost = planning.prices.note
    for variable, column in enumerate(lattice.columns):
        costs[variable] = float(note_cost(column, 1, lattice.contexts[variable])[choice[variable]])
    seen: set[int] = set()
    for step, price in zip(planning.transitions, paid, strict=True):
        if step.b in seen:
            continue
        seen.add(step.b)
        costs[step.b] += price - LIMIT_PRICE * round(price / LIMIT_PRICE)  # the terms alone, limits left out
    return costs


def _total(planning: Planning, paid: Sequence[float]) -> float:
    """The plan's cost in terms alone, limits left out."""
    over = sum(price >= LIMIT_PRICE for price in paid)
    return planning.solution.cost - over * LIMIT_PRICE


def _relaxed(planning: Planning, paid: Sequence[float]) -> tuple[tuple[Relaxation, ...], tuple[str, ...]]:
    """Limits of the level that gave way, and remarks on pins that go beyond the level and on what is not proven."""
    found: list[Relaxation] = []
    remarks: list[str] = []
    lattice, choice = planning.lattice, planning.solution.choice
    pinned_events = {planning.walk.event_of[pin.note_id] for pin in planning.pins if not pin.banned}
    for event, variable in sorted(planning.variable_of.items()):
        column, state = lattice.columns[variable], choice[variable]
        beyond = float(column.beyond[state])
        if beyond <= 0:
            continue
        note = planning.part.by_id[planning.walk.events[event].note_ids[0]]
        if event in pinned_events:
            remarks.append(
                f"bar {note.bar}, beat {beat_text(note.beat)}: the pin goes beyond what the {planning.level.name} "
                f"level allows ({_limit(beyond)[1]})."
            )
            continue
        found.append(_relaxation(planning, note, event, beyond, column, state))
    noted: set[int] = set()
    for step, price in zip(planning.transitions, paid, strict=True):
        if price < LIMIT_PRICE or step.b in noted:
            continue
        noted.add(step.b)
        owner = {second: first for first, second in planning.substitute_of.items()}.get(step.b, step.b)
        event = next(e for e, v in planning.variable_of.items() if v == owner)
        note = planning.part.by_id[planning.walk.events[event].note_ids[0]]
        semitones = planning.prices.model.shift_semitones(lattice.columns[step.a], lattice.columns[step.b])
        far = int(semitones[choice[step.a], choice[step.b]])
        found.append(
            Relaxation(
                note_id=note.id,
                bar=note.bar,
                beat=note.beat,
                limit="shift",
                why=f"{note.pitch.name} takes a shift of {far} semitones in {step.seconds:.2f} s; the "
                f"{planning.level.name} level allows {planning.level.shift_semitones_max} semitones and at least "
                f"{planning.level.shift_seconds_min:g} s. A slower tempo or a rest before it would help.",
            )
        )
    if planning.solution.gap > 1e-6:
        remarks.append(
            f"The plan is proven to within {planning.solution.gap:.2f} of the cheapest; the repeats join in too many "
            f"ways to prove more in the time allowed."
        )
    return tuple(found), tuple(remarks)


def _limit(beyond: float) -> tuple[str, str]:
    """Name and words of the dearest limit within a rank."""
    name, words = LIMITS[0][0], LIMITS[0][2]
    for limit, rank, text in LIMITS:
        if beyond >= rank:
            name, words = limit, text
    return name, words


def _relaxation(planning: Planning, note: Note, event: int, beyond: float, column: Column, state: int) -> Relaxation:
    limit, words = _limit(beyond)
    hands, instrument, level = planning.maker.hands, planning.instrument, planning.level
    hand = int(column.hand[state])
    zone = hands.shapes[hand].zone
    where = instrument.position(int(hands.frame[hand]), zone).spoken
    why = f"{note.pitch.name} needs {words}"
    if limit in ("position", "low position", "thumb position"):
        highest = instrument.position(level.frame_max).spoken
        why = f"{note.pitch.name} needs {where}; the {level.name} level goes up to {highest}"
    elif limit == "double stops":
        why = f"{len(column.midi)} notes sound at once; the {level.name} level allows {level.largest_chord}"
    return Relaxation(
        note_id=note.id, bar=note.bar, beat=note.beat, limit=limit, why=f"{why}. {_nearest(planning, note, zone)}"
    )


def _nearest(planning: Planning, note: Note, zone: str) -> str:
    """What else would bring the note within the level: an octave lower or higher, or a harmonic."""
    ways = []
    for semitones, words in ((-12, "an octave lower"), (12, "an octave higher")):
        column = planning.maker.within((note.midi + semitones,))
        if len(column) and column.beyond.min() <= 0:
            ways.append(words)
    everything = planning.maker.everything((note.midi,))
    harmonic = everything.harmonic.max(axis=1) == 2 if len(everything) else np.zeros(0, bool)
    if harmonic.any() and zone != "neck":
        ways.append("the harmonic at the middle of the string")
    return f"Nearest within the level: {' or '.join(ways)}." if ways else "Nothing near lies within the level."


def _unplayable(planning: Planning) -> tuple[Relaxation, ...]:
    found = []
    strings = planning.instrument.strings
    for event_index in planning.impossible:
        event = planning.walk.events[event_index]
        note = planning.part.by_id[event.note_ids[0]]
        if len(event.midi) == 1:
            side = "below the lowest string" if note.midi < strings[0].midi else "beyond the end of the fingerboard"
            why = f"{note.pitch.name} lies {side} of the {planning.instrument.name}. Choose another octave."
            limit = "range"
        else:
            names = ", ".join(planning.part.by_id[i].pitch.name for i in event.note_ids)
            why = f"the chord {names} cannot be stopped by one hand on neighbouring strings. Split it or thin it."
            limit = "chord"
        found.append(Relaxation(note_id=note.id, bar=note.bar, beat=note.beat, limit=limit, why=why))
    return tuple(found)
