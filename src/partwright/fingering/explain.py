"""Why a note has its finger, and what the others would cost.

Every alternative is priced exactly: the whole part is solved again with it, so its price counts what would follow
from it too, and the difference of the two plans says what that is.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from partwright.errors import InputError, Place
from partwright.fingering.account import Entry, difference, move_entries, note_entries
from partwright.fingering.lattice import LIMIT_PRICE, Transition
from partwright.fingering.plan import CostItem, Placement
from partwright.fingering.planning import Mask, Planning
from partwright.fingering.report import plan_of, state_placement
from partwright.fingering.search import Solution, repin, solve, state_prices
from partwright.fingering.words import (
    difference_words,
    entry_words,
    hand_words,
    number_words,
    placement_words,
)
from partwright.score import Note, beat_text

__all__ = ["Alternative", "Explanation", "explain_note", "note_reasons", "notes_at"]

_MOST_ALTERNATIVES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Another way to play the note: what it costs more in all, and why."""

    placement: Placement
    extra_cost: float
    words: str
    why: tuple[CostItem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One note's finger, its reasons, and the alternatives from the cheapest on."""

    note_id: str
    bar: str
    beat: Fraction
    pitch: str
    chosen: Placement
    pinned: bool
    words: str
    why: tuple[CostItem, ...]
    alternatives: tuple[Alternative, ...]


def notes_at(planning: Planning, bar: str, beat: Fraction | None = None) -> tuple[Note, ...]:
    """The notes that begin in this bar (at this beat). Raises InputError if there is no such place."""
    part = planning.part
    numbers = [b.number for b in part.bars]
    if bar not in numbers:
        raise InputError(f"there is no bar {bar}", f"The tune has bars {numbers[0]} to {numbers[-1]}.")
    found = tuple(
        note
        for note in part.notes
        if note.bar == bar and note.tied_from is None and (beat is None or note.beat == beat)
    )
    if not found:
        what = "no note begins there" if beat is not None else "the bar is a rest"
        beats = ", ".join(dict.fromkeys(beat_text(n.beat) for n in part.notes if n.bar == bar)) or "none"
        place = Place(bar=bar, beat=beat_text(beat) if beat is not None else None)
        raise InputError(what, f"Notes of this bar begin at beat {beats}.", place=place)
    return found


def explain_note(planning: Planning, note_id: str) -> Explanation:
    """Why the note has its finger. Raises InputError for a note that nothing can be played for."""
    note = planning.part.by_id[note_id]
    event = planning.walk.event_of[note_id]
    if event not in planning.variable_of:
        place = Place(bar=note.bar, beat=beat_text(note.beat))
        raise InputError(f"{note.pitch.name} cannot be played", "partwright check score says why.", place=place)
    fingered = plan_of(planning).by_id[note_id]
    variable = planning.variable_of[event]
    ids = planning.walk.events[event].note_ids
    slot = ids.index(note_id) if note_id in ids else 0
    alternatives = _alternatives(planning, variable, slot, fingered.placement)
    return Explanation(
        note_id=note_id,
        bar=note.bar,
        beat=note.beat,
        pitch=note.pitch.name,
        chosen=fingered.placement,
        pinned=fingered.pinned,
        words=_sentence(planning, variable, fingered.placement, fingered.pinned, alternatives),
        why=_why(planning, variable),
        alternatives=alternatives,
    )


def note_reasons(planning: Planning, note_id: str) -> tuple[CostItem, ...]:
    """The terms of the note as chosen, and of the move to it the first time *it* is played, dearest first.

    Quick: nothing else is priced. Empty for a note that nothing can be played for.
    """
    event = planning.walk.event_of[note_id]
    if event not in planning.variable_of:
        return ()
    variable = planning.variable_of[event]
    walked = next((s for s in planning.walk.steps if s.b == event and s.a in planning.variable_of), None)
    if walked is None:
        return _why(planning, variable)
    before = planning.variable_of[walked.a]
    return _why(
        planning,
        variable,
        Transition(
            a=planning.substitute_of.get(before, before), b=variable, hurry=walked.hurry, slurred=walked.slurred,
            seconds=walked.seconds, held=walked.held, off_beat=walked.off_beat,
        ),
    )  # fmt: skip


def _why(planning: Planning, variable: int, step: Transition | None = None) -> tuple[CostItem, ...]:
    """The terms of the note as chosen, and of the move to it: this step, or the first one that leads to it."""
    choice = planning.solution.choice
    items = [
        CostItem(term=e.term, words=entry_words(e, slurred=False, shift_semitones=0, seconds=1.0), value=e.price)
        for e in note_entries(planning, variable, choice[variable])
    ]
    step = step or next((s for s in planning.transitions if s.b == variable), None)
    if step is not None:
        columns = planning.lattice.columns
        one = columns[step.a].keep(np.array([choice[step.a]]))
        two = columns[step.b].keep(np.array([choice[step.b]]))
        semitones = int(planning.prices.model.shift_semitones(one, two)[0, 0])
        items += [
            CostItem(
                term=e.term,
                words=entry_words(e, slurred=step.slurred, shift_semitones=semitones, seconds=step.seconds),
                value=e.price,
            )
            for e in move_entries(planning, step, choice[step.a], choice[step.b])
        ]
    return tuple(sorted(items, key=lambda item: -abs(item.value)))


def _alternatives(planning: Planning, variable: int, slot: int, chosen: Placement) -> tuple[Alternative, ...]:
    """Other strings, fingers and positions for the note, each the cheapest of its kind."""
    column = planning.lattice.columns[variable]
    free = _with_pin_lifted(planning, variable)
    prices = (planning.state_prices if free is None else free[1])[variable]
    hands = planning.maker.hands
    kinds: dict[tuple[int, int, int, int], list[int]] = {}
    mine = (chosen.string, chosen.finger, chosen.harmonic, planning.solution.choice[variable])
    own_frame = int(hands.frame[column.hand[mine[3]]])
    for state in range(len(column)):
        finger = int(column.finger[state, slot])
        frame = int(hands.frame[column.hand[state]]) if finger else -1
        kind = (int(column.string[state, slot]), finger, int(column.harmonic[state, slot]), frame)
        if kind[:3] == mine[:3] and (not finger or frame == own_frame):
            continue
        kinds.setdefault(kind, []).append(state)
    ranked = sorted(kinds.values(), key=lambda states: float(prices[states].min()))
    found = []
    for states in ranked[: 2 * _MOST_ALTERNATIVES]:
        mask = np.zeros(len(column), bool)
        mask[states] = True
        other = _solved_with(planning, variable, mask, free)
        if other is None:
            continue
        choice, cost = other
        entries = difference(planning, choice)
        found.append(
            Alternative(
                placement=state_placement(planning, variable, choice[variable], slot),
                extra_cost=cost - planning.solution.cost,
                words=difference_words(entries),
                why=tuple(_item(entry) for entry in entries if abs(entry.price) > 0.005),
            )
        )
    return tuple(sorted(found, key=lambda a: a.extra_cost)[:_MOST_ALTERNATIVES])


def _with_pin_lifted(planning: Planning, variable: int) -> tuple[Solution, tuple[NDArray[np.float64], ...]] | None:
    """The plan as it would be without the pins of this one note, and the prices of its states; None where it has none.

    From it every other way to play the note is a small step, as it is for a note that isn't pinned.
    """
    if variable not in planning.allowed or planning.lattice.joins:
        return None
    allowed = {other: mask for other, mask in planning.allowed.items() if other != variable}
    solution = solve(planning.lattice, allowed=allowed)
    return solution, state_prices(planning.lattice, solution)


def _solved_with(
    planning: Planning,
    variable: int,
    mask: Mask,
    free: tuple[Solution, tuple[NDArray[np.float64], ...]] | None,
) -> tuple[tuple[int, ...], float] | None:
    """The plan with the column narrowed on top of all other pins; None where it would break a limit or a pin."""
    if planning.lattice.joins:
        solution = solve(planning.lattice, allowed={**planning.allowed, variable: mask})
    else:
        start, prices = (planning.solution, planning.state_prices) if free is None else free
        solution = repin(planning.lattice, start, prices, variable, mask)
    if solution.cost - planning.solution.cost >= LIMIT_PRICE / 2:
        return None
    return solution.choice, solution.cost


def _item(entry: Entry) -> CostItem:
    return CostItem(term=entry.term, words=difference_words([entry]) or entry.term.replace("_", " "), value=entry.price)


def _sentence(
    planning: Planning, variable: int, chosen: Placement, pinned: bool, alternatives: tuple[Alternative, ...]
) -> str:
    """The reason in one sentence a teacher would say."""
    instrument = planning.instrument
    what = placement_words(chosen, instrument)
    what = what[0].upper() + what[1:]
    if pinned:
        dearer = [a for a in alternatives if a.extra_cost < 0]
        plain = f"{what}: you asked for it."
        if dearer:
            return f"{plain} Left to itself the plan would take {placement_words(dearer[0].placement, instrument)}."
        return plain
    if not alternatives:
        return f"{what}: there is no other way at this level."
    reasons = []
    ahead = _under_the_hand(planning, variable)
    if ahead >= 2 and chosen.finger:
        reasons.append(f"the next {number_words(ahead)} notes lie under the hand")
    other = next(
        (a for a in alternatives if (a.placement.string, a.placement.frame) != (chosen.string, chosen.frame)),
        alternatives[0],
    )
    where = (
        f"open {instrument.strings[other.placement.string].letter}"
        if other.placement.finger == 0
        else placement_words(other.placement, instrument)
        if other.placement.string != chosen.string
        else hand_words(other.placement, instrument)
    )
    if other.words:
        reasons.append(f"{where} would cost {other.words}")
    else:
        reasons.append(f"{where} would cost a little more ({other.extra_cost:.2f})")
    return f"{what}, because " + "; ".join(reasons) + "."


def _under_the_hand(planning: Planning, variable: int) -> int:
    """How many notes follow, as played, before the hand moves."""
    choice, columns, hands = planning.solution.choice, planning.lattice.columns, planning.maker.hands
    body = int(hands.body_semitones[columns[variable].hand[choice[variable]]])
    zone = int(hands.zone[columns[variable].hand[choice[variable]]])
    order = [planning.variable_of[e] for e in planning.walk.order if e in planning.variable_of]
    start = order.index(variable) + 1
    count = 0
    for v in order[start:]:
        hand = columns[v].hand[choice[v]]
        if int(hands.body_semitones[hand]) != body or int(hands.zone[hand]) != zone:
            break
        count += 1
    return count
