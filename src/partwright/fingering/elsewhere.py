"""The same part at other pitches: what a plan of it would cost, without laying everything out anew.

What depends on pitch (columns and the prices between them) is shared through the part's own `ColumnMaker` and
`MovePrices`, as most pairs of pitches return in most keys; what does not (how hurried each move is, what is slurred,
how the repeats run) is taken over as it stands. Pins are for the pitches they were set at, so none are kept.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partwright.fingering.columns import LIMITS, ColumnMaker
from partwright.fingering.explain import note_reasons
from partwright.fingering.lattice import LIMIT_PRICE
from partwright.fingering.plan import CostItem
from partwright.fingering.planner import lay_out
from partwright.fingering.planning import Planning
from partwright.fingering.report import costs_of, state_placement
from partwright.instrument import THUMB, Instrument, Level

__all__ = ["PlanFigures", "dearest_place", "figures_of", "plan_elsewhere", "playable_midi", "strings_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFigures:
    """What a solved plan amounts to. Costs without unit; counts are of events as written, moves as played."""

    cost: float
    events: int
    beyond_level: int  # events and moves for which a limit of the level gives way
    open_events: int
    harmonic_events: int
    extended_events: int
    thumb_events: int
    highest_frame: int
    shifts: int
    shifts_under_slurs: int


def plan_elsewhere(planning: Planning, semitones: int | Sequence[int], *, quick: bool = False) -> Planning | None:
    """The plan of the same part with every event moved by so many semitones (one number, or one for each event of
    `planning.walk.events`). None where something then lies outside the instrument.

    The notes of equal phrases are left free to differ, which makes a plan cheaper by at most a shift or so. `quick`
    does not prove the plan where repeats make rings; the solution's gap says how much cheaper one could still be.
    """
    events = planning.walk.events
    moves = [semitones] * len(events) if isinstance(semitones, int) else list(semitones)
    lowest = planning.instrument.strings[0].midi
    if any(min(event.midi) + move < lowest for event, move in zip(events, moves, strict=True)):
        return None
    moved = tuple(
        dataclasses.replace(event, midi=tuple(midi + move for midi in event.midi))
        for event, move in zip(events, moves, strict=True)
    )
    if any(not len(planning.maker.everything(event.midi)) for event in moved):
        return None
    walk = dataclasses.replace(planning.walk, events=moved)
    return lay_out(
        planning.part, planning.instrument, planning.level, planning.weights, (), {}, walk, (),
        planning.maker, planning.prices, (), quick=quick,
    )  # fmt: skip


def figures_of(planning: Planning) -> PlanFigures:
    """What the plan amounts to. Limits of the level that give way are counted, not priced."""
    lattice, choice, hands = planning.lattice, planning.solution.choice, planning.maker.hands
    beyond = opened = extended = thumb = harmonic = highest = 0
    seconds = set(planning.substitute_of.values())
    for variable, column in enumerate(lattice.columns):
        if variable in seconds:
            continue
        state = choice[variable]
        fingers = column.finger[state]
        hand = int(column.hand[state])
        beyond += bool(column.beyond[state] > 0)
        harmonic += bool(column.harmonic[state].any())
        if not fingers.any():
            opened += 1
            continue
        extended += bool(hands.opened[hand])
        thumb += bool((fingers == THUMB).any())
        highest = max(highest, int(hands.frame[hand]))
    over = shifts = slurred = 0
    within = planning.solution.cost < LIMIT_PRICE  # then no move can have paid for going beyond the level
    for step in planning.transitions:
        a, b = lattice.columns[step.a], lattice.columns[step.b]
        if not within:
            price = planning.prices.price(a, b, [step])[choice[step.a], choice[step.b]]
            over += bool(price >= LIMIT_PRICE)
        if planning.prices.model.shifts(int(a.hand[choice[step.a]]), int(b.hand[choice[step.b]])):
            shifts += 1
            slurred += step.slurred
    return PlanFigures(
        cost=planning.solution.cost - over * LIMIT_PRICE,
        events=len(lattice.columns) - len(seconds),
        beyond_level=beyond + over,
        open_events=opened,
        harmonic_events=harmonic,
        extended_events=extended,
        thumb_events=thumb,
        highest_frame=highest,
        shifts=shifts,
        shifts_under_slurs=slurred,
    )


def dearest_place(planning: Planning) -> tuple[int, tuple[CostItem, ...]]:
    """The bar (its index) that adds most to the plan, and what its dearest note costs, dearest first.

    A note for which a limit of the level gives way comes before any price.
    """
    costs = costs_of(planning)
    of_bar: dict[int, float] = {}
    dearest: dict[int, tuple[float, int]] = {}
    for index, event in enumerate(planning.walk.events):
        variable = planning.variable_of.get(index)
        if variable is None:
            continue
        column, state = planning.lattice.columns[variable], planning.solution.choice[variable]
        cost = costs[variable] + (LIMIT_PRICE if column.beyond[state] > 0 else 0.0)
        of_bar[event.bar_index] = of_bar.get(event.bar_index, 0.0) + cost
        dearest[event.bar_index] = max(dearest.get(event.bar_index, (-1.0, 0)), (cost, -index))
    bar = max(of_bar, key=lambda key: (of_bar[key], -key))
    index = -dearest[bar][1]
    beyond = _beyond(planning, index)
    reasons = note_reasons(planning, planning.walk.events[index].note_ids[0])
    return bar, (beyond, *reasons) if beyond is not None else reasons


def _beyond(planning: Planning, event: int) -> CostItem | None:
    """Which limit of the level gives way at an event, in words; None where none does."""
    variable = planning.variable_of[event]
    column, state = planning.lattice.columns[variable], planning.solution.choice[variable]
    rank = float(column.beyond[state])
    if rank <= 0:
        return None
    hand = int(column.hand[state])
    words = next(text for _, least, text in reversed(LIMITS) if rank >= least) if rank >= LIMITS[0][1] else ""
    if "position" in words:
        words = planning.instrument.position(
            int(planning.maker.hands.frame[hand]), planning.maker.hands.shapes[hand].zone
        ).spoken
    return CostItem(term="level", words=f"{words}, outside the {planning.level.name} level", value=LIMIT_PRICE)


def strings_of(planning: Planning) -> Mapping[str, int]:
    """The string (0 = lowest) each note is played on, by note id, for the bow."""
    found: dict[str, int] = {}
    for note in planning.part.notes:
        event = planning.walk.event_of[note.id]
        variable = planning.variable_of.get(event)
        if variable is None:
            continue
        ids = planning.walk.events[event].note_ids
        slot = ids.index(note.id) if note.id in ids else 0
        found[note.id] = state_placement(planning, variable, planning.solution.choice[variable], slot).string
    return found


def playable_midi(instrument: Instrument, level: Level) -> frozenset[int]:
    """Every pitch (MIDI) that a hand within this level's limits stops, or that an open string or harmonic gives."""
    maker = ColumnMaker(instrument, level)
    lowest = instrument.strings[0].midi
    low, high = level.range_semitones
    found = []
    for midi in range(lowest + low, lowest + high + 1):
        column = maker.within((midi,))
        if len(column) and float(column.beyond.min()) <= 0:
            found.append(midi)
    return frozenset(found)
