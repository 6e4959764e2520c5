"""Planning the bow of a part: strokes, pins, the search, and the plan that comes out of it.

Units: places on the bow 0 frog … 1 tip, speeds in mm/s, times in seconds.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from partwright.bowing.features import (
    UNIT,
    BowGrid,
    MoveKind,
    StrokeKind,
    move_costs,
    stroke_costs,
    stroke_kinds,
    way_taken,
)
from partwright.bowing.grouping import Strokes, group_strokes
from partwright.bowing.lattice import Tables
from partwright.bowing.search import BowSearch, Chain, solve, solve_again
from partwright.bowing.stroke import DIRECTIONS, BowingPlan, BowPin, SlurSuggestion, Stroke, StrokeWord
from partwright.bowing.terms import BowLevel, bow_level, bow_weights
from partwright.errors import PinConflict, Place
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.score import Note, Part, beat_text

__all__ = ["Problem", "arm_sign", "plan_bowing", "repinned", "replan_bowing", "tables_for"]

_REST_SECONDS = 0.12
CELLS = 24
"""Cells from frog to tip; halving the cell changes no decision in the test pieces."""


@dataclass(frozen=True)
class Problem:
    """All that a plan was made from, kept with it for explanations, pictures and further pins."""

    part: Part
    instrument: Instrument
    level: BowLevel
    weights: Mapping[str, float]
    grid: BowGrid
    strokes: Strokes
    kinds: tuple[StrokeKind, ...]
    moves: tuple[MoveKind, ...]
    join_moves: tuple[MoveKind, ...]
    sections: tuple[bool, ...]
    strings: Mapping[str, int] | None
    phrase_starts: frozenset[str]
    source_pins: tuple[BowPin, ...]
    pins: tuple[BowPin, ...]
    tables: dict[StrokeKind | MoveKind, tuple[np.ndarray, np.ndarray]] = field(repr=False)
    stroke_of: Mapping[str, int] = field(repr=False)


def plan_bowing(
    part: Part,
    instrument: Instrument,
    fingering: FingeringPlan | None = None,
    *,
    level: str,
    pins: Iterable[BowPin] = (),
    may_slur: bool = False,
    weights: Mapping[str, float] | None = None,
    keep_source_marks: bool = True,
    strings: Mapping[str, int] | None = None,
    phrase_starts: Iterable[str] = (),
    with_slurs: Iterable[SlurSuggestion] = (),
    cells: int = CELLS,
) -> BowingPlan:
    """The cheapest bowing of `part`: direction and place on the bow of every stroke, exact over the whole part.

    `level` names a row of the bow levels (`bow_levels()`). `fingering` tells the strings; without it (or `strings`,
    note id to string index from 0 = lowest) crossings are not counted. Bow marks in the source are pins unless
    `keep_source_marks` is false.
    `may_slur` also looks for slurs to add or to split; they are suggestions only;
    `with_slurs` plans as if these were taken. `weights` replaces weights of the table. `phrase_starts` are ids of
    notes with which a phrase begins.

    Raises PinConflict, naming both places, where pins contradict each other; InputError for an unknown level or term.
    """
    bow = bow_level(level)
    if strings is None and fingering is not None:
        strings = {note.note_id: note.placement.string for note in fingering.notes}
    problem = _problem(
        part,
        instrument,
        bow,
        weights=bow_weights(bow, weights),
        strings=strings,
        phrase_starts=frozenset(phrase_starts),
        pins=tuple(pins),
        keep_source_marks=keep_source_marks,
        cells=cells,
        strokes=_grouped(part, tuple(with_slurs)),
        tables={},
    )
    search = solve(_chain(problem))
    plan = _plan(problem, search, previous=None)
    if may_slur:
        from partwright.bowing.suggest import suggest_slurs

        plan = dataclasses.replace(plan, suggestions=suggest_slurs(plan))
    return plan


def replan_bowing(plan: BowingPlan, pins: Iterable[BowPin], *, strings: Mapping[str, int] | None = None) -> BowingPlan:
    """The plan of the same part with `pins` instead of those it was made with; source marks stay.

    `strings` (note id to string index from 0 = lowest) take the place of those it was made with, where given.
    Identical to a fresh plan with those, but only what they reach is computed again.
    """
    assert plan.problem is not None
    if strings is not None and strings != plan.problem.strings:
        plan = _restrung(plan, strings)
    assert plan.problem is not None
    return repinned(plan, plan.problem.source_pins, tuple(pins))


def _restrung(plan: BowingPlan, strings: Mapping[str, int]) -> BowingPlan:
    """The same with the notes on other strings."""
    old, search = plan.problem, plan.search
    assert old is not None
    assert search is not None
    directions, retakes = _pinned(old.part, old.strokes, old.stroke_of, (*old.source_pins, *old.pins))
    kinds, moves, join_moves, sections = stroke_kinds(
        old.part,
        old.strokes,
        strings=strings,
        arm_sign=arm_sign(old.instrument),
        level=old.level,
        hair_mm=old.grid.hair_mm,
        phrase_starts=old.phrase_starts,
        pins=directions,
        retakes=retakes,
    )
    changed = {
        s
        for s, (kind, move) in enumerate(zip(kinds, moves, strict=True))
        if kind != old.kinds[s] or move != old.moves[s]
    }
    problem = dataclasses.replace(
        old,
        # What is the same stays the same object: by that `_plan` knows which strokes to tell again.
        kinds=tuple(kind._replace() if s in changed else old.kinds[s] for s, kind in enumerate(kinds)),
        moves=tuple(moves),
        join_moves=tuple(join_moves),
        sections=tuple(sections),
        strings=strings,
    )
    tables = list(search.chain.tables)
    for s in changed:
        tables[s] = tables_for(problem, problem.kinds[s], problem.moves[s])
    chain = dataclasses.replace(search.chain, tables=tuple(tables), joins=_join_tables(problem))
    joined_alike = tuple(join_moves) == old.join_moves
    found = solve_again(search, chain, changed) if joined_alike else solve(chain)
    from partwright.bowing.remarks import bowing_remarks

    return dataclasses.replace(_plan(problem, found, previous=plan), remarks=bowing_remarks(problem))


def repinned(plan: BowingPlan, source_pins: tuple[BowPin, ...], pins: tuple[BowPin, ...]) -> BowingPlan:
    """The same with other source marks too."""
    problem, search = plan.problem, plan.search
    assert problem is not None
    assert search is not None
    part, strokes, stroke_of = problem.part, problem.strokes, problem.stroke_of
    directions, retakes = _pinned(part, strokes, stroke_of, (*source_pins, *pins))
    kinds, moves = list(problem.kinds), list(problem.moves)
    changed: set[int] = set()
    old_directions, old_retakes = _pinned(part, strokes, stroke_of, (*problem.source_pins, *problem.pins))
    for s in {*directions, *old_directions}:
        if directions.get(s, 0) != old_directions.get(s, 0):
            kinds[s] = kinds[s]._replace(pin=directions.get(s, 0))
            changed.add(s)
    for s in {*retakes, *old_retakes}:
        if retakes.get(s, 0) != old_retakes.get(s, 0):
            moves[s] = moves[s]._replace(retake=retakes.get(s, 0))
            changed.add(s)
    join_moves = tuple(
        move._replace(retake=retakes.get(join.after, 0))
        for move, join in zip(problem.join_moves, strokes.joins, strict=True)
    )
    problem = dataclasses.replace(
        problem,
        kinds=tuple(kinds),
        moves=tuple(moves),
        join_moves=join_moves,
        source_pins=source_pins,
        pins=pins,
    )
    tables = list(search.chain.tables)
    for s in changed:
        tables[s] = tables_for(problem, kinds[s], moves[s])
    chain = dataclasses.replace(search.chain, tables=tuple(tables), joins=_join_tables(problem))
    return _plan(problem, solve_again(search, chain, changed), previous=plan)


def _problem(
    part: Part,
    instrument: Instrument,
    level: BowLevel,
    *,
    weights: Mapping[str, float],
    strings: Mapping[str, int] | None,
    phrase_starts: frozenset[str],
    pins: tuple[BowPin, ...],
    keep_source_marks: bool,
    cells: int,
    strokes: Strokes,
    tables: dict[StrokeKind | MoveKind, tuple[np.ndarray, np.ndarray]],
) -> Problem:
    source_pins = _source_pins(part) if keep_source_marks else ()
    stroke_of = {part.notes[i].id: s for s, group in enumerate(strokes.groups) for i in group.notes}
    directions, retakes = _pinned(part, strokes, stroke_of, (*source_pins, *pins))
    grid = BowGrid(cells, instrument.bow_hair_mm)
    kinds, moves, join_moves, sections = stroke_kinds(
        part,
        strokes,
        strings=strings,
        arm_sign=arm_sign(instrument),
        level=level,
        hair_mm=grid.hair_mm,
        phrase_starts=phrase_starts,
        pins=directions,
        retakes=retakes,
    )
    return Problem(
        part=part,
        instrument=instrument,
        level=level,
        weights=weights,
        grid=grid,
        strokes=strokes,
        kinds=tuple(kinds),
        moves=tuple(moves),
        join_moves=tuple(join_moves),
        sections=tuple(sections),
        strings=strings,
        phrase_starts=phrase_starts,
        source_pins=source_pins,
        pins=pins,
        tables=tables,
        stroke_of=stroke_of,
    )


def _grouped(part: Part, slurs: Sequence[SlurSuggestion]) -> Strokes:
    return group_strokes(
        part,
        join_to_next=[slur.first_note_id for slur in slurs if slur.kind == "add"],
        split_before=[slur.last_note_id for slur in slurs if slur.kind == "split"],
    )


def _source_pins(part: Part) -> tuple[BowPin, ...]:
    return tuple(
        BowPin(note_id=note.id, direction=note.bow, origin="source")
        for note in part.notes
        if note.bow and not note.pizzicato
    )


def _pinned(
    part: Part, strokes: Strokes, stroke_of: Mapping[str, int], pins: Sequence[BowPin]
) -> tuple[dict[int, int], dict[int, int]]:
    """Pinned direction (1 down, 2 up) and retake (1 yes, 2 no) by stroke."""
    directions: dict[int, tuple[int, BowPin]] = {}
    retakes: dict[int, tuple[int, BowPin]] = {}
    for pin in pins:
        if pin.note_id not in stroke_of:
            note = part.by_id.get(pin.note_id)
            if note is None:
                raise PinConflict(
                    f"a bow is pinned on a note that is not in the part ({pin.note_id})", "Remove the pin."
                )
            raise PinConflict("a bow is pinned on a plucked note", "Remove the pin.", place=_place(note))
        s = stroke_of[pin.note_id]
        if pin.direction is not None:
            _agree(part, directions, s, 1 + DIRECTIONS.index(pin.direction), pin, f"{pin.direction}-bow")
        if pin.retake is not None:
            _agree(part, retakes, s, 1 if pin.retake else 2, pin, "a retake" if pin.retake else "no retake")
    for s, (wanted, pin) in retakes.items():
        here, before = directions.get(s), directions.get(s - 1)
        if wanted == 1 and s and strokes.linked[s] and here and before and here[0] != before[0]:
            raise PinConflict(
                f"a retake repeats the direction of the stroke before, but {_where(part, before[1])} is pinned "
                f"{DIRECTIONS[before[0] - 1]} and this note {DIRECTIONS[here[0] - 1]}",
                "Remove one of the pins.",
                place=_place(part.by_id[pin.note_id]),
            )
    return {s: value for s, (value, _) in directions.items()}, {s: value for s, (value, _) in retakes.items()}


def _agree(part: Part, known: dict[int, tuple[int, BowPin]], s: int, value: int, pin: BowPin, words: str) -> None:
    if s not in known:
        known[s] = (value, pin)
        return
    if known[s][0] == value:
        return
    other = known[s][1]
    note = part.by_id[pin.note_id]
    origin = {"source": "by a mark in the source", "lesson": "in lesson.toml", "studio": "on the page"}
    theirs = origin.get(other.origin, "in the call")
    reason = (
        f"is pinned the other way {theirs}"
        if other.note_id == pin.note_id
        else f"lies under the same bow and is pinned the other way {theirs}"
    )
    subject = "the same note" if other.note_id == pin.note_id else _where(part, other)
    raise PinConflict(
        f"{words} is pinned here {origin.get(pin.origin, 'in the call')}, but {subject} {reason}",
        "Remove one of the two pins"
        + (", or ignore the source's marks." if "source" in {pin.origin, other.origin} else "."),
        place=_place(note),
    )


def _where(part: Part, pin: BowPin) -> str:
    note = part.by_id[pin.note_id]
    return f"bar {note.bar}, beat {beat_text(note.beat)}"


def _place(note: Note) -> Place:
    return Place(bar=note.bar, beat=beat_text(note.beat), note_id=note.id)


def arm_sign(instrument: Instrument) -> int:
    """+1 where the lower string is naturally taken up-bow (held downwards: cello, bass), -1 for violin and viola.

    Source: Davidoff 1888, tr. Wilson 2022 I.8 for the cello; the mirror for violin and viola is from memory.
    """
    return -1 if instrument.name in {"violin", "viola"} else 1


def tables_for(problem: Problem, kind: StrokeKind, move: MoveKind) -> Tables:
    """The tables of a stroke of this kind and of the move to it, computed once for every kind."""
    known = problem.tables
    strokes, moves = known.get(kind), known.get(move)
    if strokes is None:
        costs = stroke_costs(kind, problem.grid, problem.level, problem.weights)
        strokes = known[kind] = (costs, np.ascontiguousarray(costs.transpose(0, 2, 1)))
    if moves is None:
        costs = move_costs(move, problem.grid, problem.level, problem.weights)
        moves = known[move] = (costs, np.ascontiguousarray(costs.T))
    return Tables(*strokes, *moves, kind.leaves)


def _join_tables(problem: Problem) -> tuple[tuple[int, int, np.ndarray], ...]:
    return tuple(
        (join.before, join.after, move_costs(move, problem.grid, problem.level, problem.weights))
        for join, move in zip(problem.strokes.joins, problem.join_moves, strict=True)
    )


def _chain(problem: Problem) -> Chain:
    return Chain(
        tables=tuple(tables_for(problem, kind, move) for kind, move in zip(problem.kinds, problem.moves, strict=True)),
        linked=tuple(problem.strokes.linked.tolist()),
        joins=_join_tables(problem),
    )


def _plan(problem: Problem, search: BowSearch, previous: BowingPlan | None) -> BowingPlan:
    from partwright.bowing.remarks import bowing_remarks

    solution = search.solution
    indices: Iterable[int] = range(len(problem.kinds))
    strokes: list[Stroke] = []
    if previous is not None and previous.search is not None and previous.problem is not None:
        old = previous.search.solution
        same = (
            (solution.direction == old.direction)
            & (solution.start == old.start)
            & (solution.end == old.end)
            & (solution.cost == old.cost)
            & (solution.extra == old.extra).all(axis=1)
        )
        changed = set(np.flatnonzero(~same).tolist())
        changed |= {s + 1 for s in changed if s + 1 < len(problem.kinds)}
        changed |= {join.after for join in problem.strokes.joins if join.before in changed}
        changed |= {s for s in range(len(problem.kinds)) if problem.kinds[s] is not previous.problem.kinds[s]}
        strokes = list(previous.strokes)
        indices = sorted(changed)
    else:
        strokes = [None] * len(problem.kinds)  # type: ignore[list-item]
    made = _strokes(problem, search, indices)
    for s, stroke in made:
        strokes[s] = stroke
    return BowingPlan(
        strokes=tuple(strokes),
        total_cost=solution.total / UNIT,
        level=problem.level.name,
        instrument=problem.instrument.name,
        remarks=bowing_remarks(problem) if previous is None else previous.remarks,
        search=search,
        problem=problem,
    )


def _strokes(problem: Problem, search: BowSearch, indices: Iterable[int]) -> Iterable[tuple[int, Stroke]]:
    solution = search.solution
    part, strokes, grid = problem.part, problem.strokes, problem.grid
    direction, start, end = solution.direction.tolist(), solution.start.tolist(), solution.end.tolist()
    durations, gaps, linked = strokes.duration_seconds.tolist(), strokes.gap_seconds.tolist(), strokes.linked.tolist()
    extra, cost = solution.extra, solution.cost
    places = grid.places.tolist()
    notes = part.notes
    joined: dict[int, list[int]] = {}
    for join in strokes.joins:
        joined.setdefault(join.after, []).append(join.before)
    for s in indices:
        group, kind = strokes.groups[s], problem.kinds[s]
        note = notes[group.heads[0]]
        way = direction[s]
        taken = "turn"
        if s and linked[s] and problem.kinds[s - 1].leaves == "same":
            taken = move_way(problem, search, s)
        sign = (
            s == 0
            or taken != "turn"
            or problem.sections[s]
            or gaps[s] >= _REST_SECONDS
            or problem.kinds[s - 1].leaves != "same"
            or direction[s - 1] == way
            or any(direction[before] == way for before in joined.get(s, ()))
        )
        other = int(extra[s, 1 - way])
        used = abs(places[end[s]] - places[start[s]])
        yield (
            s,
            Stroke(
                note_ids=tuple(notes[i].id for i in group.notes),
                bar=note.bar,
                beat=note.beat,
                direction=DIRECTIONS[way],
                start=places[start[s]],
                end=places[end[s]],
                speed_mm_s=used * grid.hair_mm / durations[s],
                duration_seconds=durations[s],
                retake=taken == "retake",
                hook=taken == "hook",
                reset=taken == "reset",
                after_rest=bool(s) and gaps[s] >= _REST_SECONDS,
                sign_needed=sign,
                kind=_stroke_word(part, group.heads, note),
                slur=group.slur,
                section_start=problem.sections[s],
                pinned=kind.pin > 0,
                cost=int(cost[s]) / UNIT,
                other_extra=float("inf") if kind.pin else other / UNIT,
            ),
        )


def move_way(problem: Problem, search: BowSearch, s: int) -> str:
    """How the move to stroke `s` from the one written before it is made: turn, hook, retake or reset."""
    solution, grid = search.solution, problem.grid
    came = (int(solution.direction[s - 1]), int(solution.end[s - 1]))
    goes = (int(solution.direction[s]), int(solution.start[s]))
    if came[0] != goes[0]:
        return "turn" if came[1] == goes[1] else "reset"
    if came[1] != goes[1]:
        return "retake"
    return way_taken(problem.moves[s], grid, problem.level, problem.weights, came, goes)


_DOTS = frozenset({"staccato", "staccatissimo", "spiccato"})
_PORTATO = _DOTS | {"tenuto", "detached-legato"}


def _stroke_word(part: Part, heads: Sequence[int], note: Note) -> StrokeWord:
    if note.tremolo:
        return "tremolo" if note.tremolo >= 3 else "measured tremolo"
    if len(heads) > 1:
        signed = sum(not _PORTATO.isdisjoint(part.notes[i].articulations) for i in heads)
        return "portato" if 2 * signed > len(heads) else "slur"
    if not note.articulations:
        return "detached"
    if not _DOTS.isdisjoint(note.articulations):
        return "staccato"
    return "marcato" if "strong-accent" in note.articulations else "detached"
