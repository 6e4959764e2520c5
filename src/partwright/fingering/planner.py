"""From a part to a fingering plan: the cheapest fingers around what the teacher insists on.

Method: docs/fingering.md. `prepare` lays out the lattice and solves it; `replan` adds a pin to what it returns;
`plan_of` tells the plan in the part's own terms; `plan_fingering` is all of it in one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from partwright.errors import InputError, NoPlan, PinConflict, Place
from partwright.fingering.columns import Column, ColumnMaker
from partwright.fingering.events import Event, Step, Walk, read_events
from partwright.fingering.features import PLAIN, CostModel, NoteContext
from partwright.fingering.lattice import MovePrices, Transition, build_lattice
from partwright.fingering.phrases import LikeRun, like_runs
from partwright.fingering.pins import merge_pins, pin_mask, pin_words
from partwright.fingering.plan import FingeringPlan, Pin, UnlikePhrase
from partwright.fingering.planning import Mask, Planning
from partwright.fingering.report import plan_of
from partwright.fingering.search import repin, solve
from partwright.fingering.terms import Weights, default_weights
from partwright.instrument import Instrument, Level
from partwright.score import Note, Part, beat_text

__all__ = ["lay_out", "plan_fingering", "prepare", "replan"]

_SUBSTITUTION_SECONDS = 1.2  # a note at least this long may be handed from one finger to another
_SUSTAINED_SECONDS = (0.4, 1.2)  # from a note too short for vibrato to one that needs it
_LIKE_TOLERANCE = 1.5  # what an equal phrase may cost more to keep its fingers: about one comfortable shift


def plan_fingering(
    part: Part,
    instrument: Instrument,
    *,
    level: str = "advanced",
    pins: Iterable[Pin] = (),
    weights: Weights | None = None,
) -> FingeringPlan:
    """The cheapest fingering of a part for a player of this level, with every pin kept.

    Raises PinConflict where pins contradict each other or the hand, InputError for an unknown level, NoPlan where not a
    single note can be played.
    """
    return plan_of(prepare(part, instrument, level=level, pins=pins, weights=weights))


def prepare(
    part: Part,
    instrument: Instrument,
    *,
    level: str = "advanced",
    pins: Iterable[Pin] = (),
    weights: Weights | None = None,
    like: Planning | None = None,
) -> Planning:
    """As `plan_fingering`, with everything needed to re-plan, price alternatives and explain.

    `like`: a planning of much the same music; what it knows of the same instrument, level and weights is used again.
    """
    chosen_level = _level(instrument, level)
    weights = weights or default_weights(instrument, chosen_level)
    if like is not None and (like.instrument, like.level, like.weights) == (instrument, chosen_level, weights):
        maker, prices = like.maker, like.prices
    else:
        maker = ColumnMaker(instrument, chosen_level)
        prices = MovePrices(CostModel(instrument, maker.hands, weights), chosen_level)
    known = like is not None and like.part is part
    walk = like.walk if like is not None and known else read_events(part)
    pins = tuple(pins)
    by_note = merge_pins(pins, part)
    impossible = tuple(i for i, event in enumerate(walk.events) if not len(maker.everything(event.midi)))
    if len(impossible) == len(walk.events):
        raise NoPlan(
            f"no note of this part can be played on the {instrument.name}",
            "Choose another octave, instrument or part.",
            place=Place(bar=part.bars[0].number if part.bars else None),
        )
    found = like.found_runs if like is not None and known else like_runs(part)
    runs = _agreeing_runs(found, part, walk, by_note)

    def solved(shared: Sequence[LikeRun]) -> Planning:
        return lay_out(part, instrument, chosen_level, weights, pins, by_note, walk, shared, maker, prices, impossible)

    planning = solved(runs)
    return dataclasses.replace(_part_ways(planning, solved) if runs else planning, found_runs=found)


def replan(planning: Planning, pin: Pin) -> Planning:
    """The plan with one more pin, from what is already known; the same as planning afresh with it.

    Where the pin asks for something beyond the level, the columns themselves change and everything is planned anew.
    """
    part, pins = planning.part, (*planning.pins, pin)
    by_note = merge_pins(pins, part)
    event = planning.walk.event_of.get(pin.note_id)
    if event is not None and event not in planning.impossible and not planning.found_runs and pin.substitute is None:
        variable = planning.variable_of[event]
        fresh = variable not in planning.allowed and variable not in planning.substitute_of
        if fresh:
            column = planning.lattice.columns[variable]
            mask = _mask(column, planning.walk.events[event], by_note, planning.maker)
            if mask.any():
                allowed = {**planning.allowed, variable: mask}
                quick = not planning.repinned and not planning.lattice.joins
                if quick:
                    solution = repin(planning.lattice, planning.solution, planning.state_prices, variable, mask)
                else:
                    solution = solve(planning.lattice, allowed=allowed)
                return dataclasses.replace(planning, pins=pins, allowed=allowed, solution=solution, repinned=quick)
    return prepare(
        part, planning.instrument, level=planning.level.name, pins=pins, weights=planning.weights, like=planning
    )


def _level(instrument: Instrument, level: str) -> Level:
    if level not in instrument.levels:
        raise InputError(f'there is no level "{level}"', f"Known are {', '.join(instrument.levels)}.")
    return instrument.levels[level]


def _agreeing_runs(
    runs: Sequence[LikeRun], part: Part, walk: Walk, by_note: Mapping[str, tuple[Pin, ...]]
) -> tuple[LikeRun, ...]:
    """Runs whose notes the teacher has not pinned differently from the bars they are like."""
    by_bar = _notes_by_bar(part)
    kept = []
    root: dict[str, str] = {}  # by note, the note whose fingers it shares
    said: dict[str, tuple[Pin, ...]] = {}  # by such a note, the pins of all that share its fingers
    for run in runs:
        pairs = [
            (one, two)
            for k in range(run.length)
            for one, two in zip(by_bar.get(run.first + k, ()), by_bar.get(run.like + k, ()), strict=True)
        ]
        roots = {one.id: root.get(two.id, two.id) for one, two in pairs}
        agree = all(
            _compatible(by_note.get(one.id, ()), said.get(roots[one.id], by_note.get(roots[one.id], ())))
            for one, _ in pairs
        )
        events = all(
            (walk.event_of[one.id] in _own(walk, one)) == (walk.event_of[two.id] in _own(walk, two))
            for one, two in pairs
        )
        if agree and events:
            kept.append(run)
            root |= roots
            for one, _ in pairs:
                first = roots[one.id]
                said[first] = (*said.get(first, by_note.get(first, ())), *by_note.get(one.id, ()))
    return tuple(kept)


def _own(walk: Walk, note: Note) -> tuple[int, ...]:
    """The event a note begins, if it begins one."""
    event = walk.event_of[note.id]
    return (event,) if note.id in walk.events[event].note_ids else ()


def _compatible(one: Sequence[Pin], two: Sequence[Pin]) -> bool:
    for a in one:
        for b in two:
            if a.banned or b.banned:
                continue
            for name in ("finger", "string", "frame", "shape", "harmonic", "substitute"):
                x, y = getattr(a, name), getattr(b, name)
                if x is not None and y is not None and x != y:
                    return False
    return True


def _notes_by_bar(part: Part) -> dict[int, list[Note]]:
    by_bar: dict[int, list[Note]] = {}
    for note in part.notes:
        by_bar.setdefault(note.bar_index, []).append(note)
    return by_bar


def lay_out(
    part: Part,
    instrument: Instrument,
    level: Level,
    weights: Weights,
    pins: tuple[Pin, ...],
    by_note: Mapping[str, tuple[Pin, ...]],
    walk: Walk,
    runs: Sequence[LikeRun],
    maker: ColumnMaker,
    prices: MovePrices,
    impossible: tuple[int, ...],
    *,
    quick: bool = False,
) -> Planning:
    """The walk as a lattice, solved. `runs` are equal phrases that share their fingers; `impossible` events are left
    out; columns and prices come from `maker` and `prices`, which may serve many plans. `quick`: where repeats make
    rings, the first good plan is taken; the solution's gap says how far it may be from the best."""
    shared = _shared_events(part, walk, runs)
    pinned = _pins_by_event(walk, by_note, shared)
    gone = set(impossible)
    variable_of: dict[int, int] = {}
    substitute_of: dict[int, int] = {}
    columns: list[Column] = []
    plays: list[int] = []
    contexts: list[NoteContext] = []
    allowed: dict[int, Mask] = {}
    transitions: list[Transition] = []
    last: int | None = None
    for position, event_index in enumerate(walk.order):
        if event_index in gone:
            last = None
            continue
        root = shared.get(event_index, event_index)
        event = walk.events[root]
        if root not in variable_of:
            variable_of[root] = len(columns)
            column, mask = _column(event, pinned.get(root, {}), maker, part)
            if mask is not None:
                allowed[len(columns)] = mask
            columns.append(column)
            plays.append(0)
            contexts.append(_context(event))
            if _may_substitute(event, pinned.get(root, {})):
                substitute_of[variable_of[root]] = len(columns)
                second = _second_mask(event, pinned.get(root, {}), column)
                if second is not None:
                    allowed[len(columns)] = second
                columns.append(column)
                plays.append(0)
                contexts.append(PLAIN)
        variable = variable_of[root]
        variable_of[event_index] = variable
        plays[variable] += 1
        if last is not None:
            transitions.append(_transition(last, variable, walk.steps[position - 1]))
        second_variable = substitute_of.get(variable)
        if second_variable is not None:
            seconds = event.long_seconds / 2
            transitions.append(
                Transition(a=variable, b=second_variable, hurry=1.0, held=True, seconds=seconds, slurred=False)
            )
        last = variable if second_variable is None else second_variable
    lattice = build_lattice(columns, transitions, prices, plays=plays, contexts=contexts)
    solution = solve(lattice, allowed=allowed, most_splits=1) if quick else solve(lattice, allowed=allowed)
    return Planning(
        part=part, instrument=instrument, level=level, weights=weights, pins=pins, walk=walk, runs=tuple(runs),
        maker=maker, prices=prices, lattice=lattice, transitions=tuple(transitions), variable_of=variable_of,
        substitute_of=substitute_of, allowed=allowed, solution=solution, impossible=impossible,
    )  # fmt: skip


def _transition(a: int, b: int, step: Step) -> Transition:
    return Transition(
        a=a,
        b=b,
        hurry=step.hurry,
        slurred=step.slurred,
        seconds=step.seconds,
        held=step.held,
        off_beat=step.off_beat,
    )


def _context(event: Event) -> NoteContext:
    """What the event's price depends on besides the hand, in steps of a quarter so that prices can be kept."""
    low, high = _SUSTAINED_SECONDS
    share = (event.long_seconds - low) / (high - low)
    return NoteContext(sustained=round(4 * min(1.0, max(0.0, share))) / 4)


def _shared_events(part: Part, walk: Walk, runs: Sequence[LikeRun]) -> dict[int, int]:
    """For each event of a repeated phrase, the event whose fingers it shares."""
    by_bar = _notes_by_bar(part)
    root: dict[int, int] = {}
    for run in runs:
        for k in range(run.length):
            for note, like in zip(by_bar.get(run.first + k, ()), by_bar.get(run.like + k, ()), strict=True):
                if _own(walk, note):
                    source = walk.event_of[like.id]
                    root[walk.event_of[note.id]] = root.get(source, source)
    return root


def _pins_by_event(
    walk: Walk, by_note: Mapping[str, tuple[Pin, ...]], shared: Mapping[int, int]
) -> dict[int, dict[int, tuple[Pin, ...]]]:
    """Pins by event and note within it; a pin in one of several equal phrases holds for all."""
    found: dict[int, dict[int, tuple[Pin, ...]]] = {}
    for note_id, pins in by_note.items():
        event = walk.event_of[note_id]
        ids = walk.events[event].note_ids
        if note_id not in ids:
            continue  # a tied continuation: what is printed there is the finger of the note it continues
        slot = found.setdefault(shared.get(event, event), {})
        slot[ids.index(note_id)] = (*slot.get(ids.index(note_id), ()), *pins)
    return found


def _column(
    event: Event, pins: Mapping[int, Sequence[Pin]], maker: ColumnMaker, part: Part
) -> tuple[Column, Mask | None]:
    """The column of an event and what its pins leave of it; a pin may go beyond the level."""
    column = maker.within(event.midi)
    if not pins:
        return column, None
    mask = _all_pins(column, pins, maker)
    if mask.any():
        return column, mask
    column = maker.everything(event.midi)
    mask = _all_pins(column, pins, maker)
    if mask.any():
        least = column.beyond[mask].min()
        return column, mask & (column.beyond == least)
    raise _pin_conflict(event, pins, maker, part)


def _all_pins(column: Column, pins: Mapping[int, Sequence[Pin]], maker: ColumnMaker) -> Mask:
    mask = np.ones(len(column), bool)
    for note, of_note in pins.items():
        mask &= pin_mask(column, note, of_note, maker.hands)
    return mask


def _mask(column: Column, event: Event, by_note: Mapping[str, tuple[Pin, ...]], maker: ColumnMaker) -> Mask:
    pins = {i: by_note[note_id] for i, note_id in enumerate(event.note_ids) if note_id in by_note}
    return _all_pins(column, pins, maker)


def _pin_conflict(event: Event, pins: Mapping[int, Sequence[Pin]], maker: ColumnMaker, part: Part) -> PinConflict:
    note_index = next(iter(pins))
    note = part.by_id[event.note_ids[note_index]]
    words = "; ".join(pin_words(pin) for of_note in pins.values() for pin in of_note)
    origins = {pin.origin for of_note in pins.values() for pin in of_note}
    what = f"{words}: pinned on {note.pitch.name}, where no hand on the {maker.instrument.name} can play it so"
    strings = [pin.string for of_note in pins.values() for pin in of_note if pin.string is not None]
    if strings and note.midi < maker.instrument.strings[strings[0]].midi:
        letter = maker.instrument.strings[strings[0]].letter
        what = f"{note.pitch.name} is pinned on the {letter} string, but this note lies below it"
    todo = "Remove the pin or choose another finger or string."
    if "source" in origins:
        todo = "Mend the mark in the source, or leave source marks out with --ignore-source-marks."
    return PinConflict(what, todo, place=Place(bar=note.bar, beat=beat_text(note.beat), note_id=note.id))


def _may_substitute(event: Event, pins: Mapping[int, Sequence[Pin]]) -> bool:
    of_all = [pin for of_note in pins.values() for pin in of_note]
    if any(pin.substitute is not None for pin in of_all):
        return True
    return len(event.midi) == 1 and event.long_seconds >= _SUBSTITUTION_SECONDS and not of_all


def _second_mask(event: Event, pins: Mapping[int, Sequence[Pin]], column: Column) -> Mask | None:
    mask: Mask | None = None
    for note, of_note in pins.items():
        for pin in of_note:
            if pin.substitute is not None:
                fits = column.finger[:, note] == pin.substitute
                mask = fits if mask is None else mask & fits
    return mask if mask is not None and mask.any() else None


def _part_ways(planning: Planning, solved: object) -> Planning:
    """Lets an equal phrase have its own fingers where keeping them the same costs more than it is worth."""
    assert callable(solved)
    free: Planning = solved(())
    if planning.solution.cost - free.solution.cost <= _LIKE_TOLERANCE:
        return planning
    kept = list(planning.runs)
    unlike: list[UnlikePhrase] = []
    for run in planning.runs:
        if _same_anyway(free, run):
            continue
        trial: Planning = solved([other for other in kept if other is not run])
        saved = planning.solution.cost - trial.solution.cost
        if saved > _LIKE_TOLERANCE:
            kept.remove(run)
            planning = trial
            unlike.append(_unlike(planning.part, run, saved))
    return dataclasses.replace(planning, unlike=tuple(unlike))


def _same_anyway(free: Planning, run: LikeRun) -> bool:
    """Whether the bars of a run get the same fingers even where nothing makes them: then there is nothing to let go."""
    by_bar = _notes_by_bar(free.part)
    for k in range(run.length):
        for note, like in zip(by_bar.get(run.first + k, ()), by_bar.get(run.like + k, ()), strict=True):
            one, two = (free.variable_of.get(free.walk.event_of[n.id]) for n in (note, like))
            if one is None or two is None:
                continue
            a, b = (free.lattice.columns[v] for v in (one, two))
            i, j = (free.solution.choice[v] for v in (one, two))
            if not (np.array_equal(a.string[i], b.string[j]) and np.array_equal(a.finger[i], b.finger[j])):
                return False
    return True


def _unlike(part: Part, run: LikeRun, saved: float) -> UnlikePhrase:
    bars = part.bars
    return UnlikePhrase(
        bars=(bars[run.first].number, bars[run.first + run.length - 1].number),
        like_bars=(bars[run.like].number, bars[run.like + run.length - 1].number),
        why=f"the way in or out differs; the same fingers would cost {saved:.1f} more",
    )
