"""Why a stroke goes the way it goes, and what the other direction would cost, in a player's words.

The other direction is priced exactly: the whole part is planned again with it, and the two plans are compared term by
term. Units: values are costs without unit, amounts in the unit of their term.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from partwright.bowing.features import crossing_amount, hook_down_amount, move_terms, stroke_terms, way_taken
from partwright.bowing.plan import Problem, repinned
from partwright.bowing.search import BowSearch
from partwright.bowing.stroke import BowingPlan, BowPin, Direction, Stroke
from partwright.bowing.terms import bow_terms
from partwright.errors import InputError, Place
from partwright.fingering import CostItem
from partwright.score import beat_text

__all__ = ["OtherDirection", "StrokeExplanation", "explain_stroke", "strokes_at"]

_SMALL = 0.005
"""Terms that count less than this are not worth a line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherDirection:
    """The other direction: what it costs more in all, why, and the bars where strokes would change."""

    direction: Direction
    extra_cost: float
    why: tuple[CostItem, ...]
    bars: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeExplanation:
    """One stroke, what it costs by term, and the other direction."""

    stroke: Stroke
    words: str
    why: tuple[CostItem, ...]
    other: OtherDirection


def strokes_at(plan: BowingPlan, bar: str, beat: Fraction | None = None) -> tuple[Stroke, ...]:
    """The strokes over the notes of this bar (at this beat). Raises InputError if there is no such place."""
    assert plan.problem is not None
    part = plan.problem.part
    if bar not in {b.number for b in part.bars}:
        raise InputError(
            f"there is no bar {bar}", f"The tune has bars {part.bars[0].number} to {part.bars[-1].number}."
        )
    notes = [note for note in part.notes if note.bar == bar and (beat is None or note.beat == beat)]
    found = {plan.by_note[note.id].id: plan.by_note[note.id] for note in notes if note.id in plan.by_note}
    if not found:
        place = Place(bar=bar, beat=None if beat is None else beat_text(beat))
        raise InputError("nothing is bowed there", "Name a beat on which a bowed note begins.", place=place)
    return tuple(found.values())


def explain_stroke(plan: BowingPlan, note_id: str) -> StrokeExplanation:
    """Why the stroke that holds this note goes the way it goes. Raises InputError for a note without a stroke."""
    problem, search = plan.problem, plan.search
    assert problem is not None
    assert search is not None
    if note_id not in plan.by_note:
        raise InputError(f"the note {note_id} has no stroke", "Only bowed notes of the part can be explained.")
    s = problem.stroke_of[note_id]
    stroke = plan.strokes[s]
    return StrokeExplanation(
        stroke=stroke,
        words=_stroke_words(stroke),
        why=_items(stroke_account(problem, search, s)),
        other=_other(plan, s),
    )


def stroke_account(problem: Problem, search: BowSearch, s: int) -> dict[str, float]:
    """What stroke `s` and the moves to it cost, by term."""
    solution, grid, level = search.solution, problem.grid, problem.level
    way, start, end = int(solution.direction[s]), int(solution.start[s]), int(solution.end[s])
    shape = (2, grid.count, grid.count)
    account: dict[str, float] = {}
    for name, amounts in stroke_terms(problem.kinds[s], grid, level).items():
        amount = _at(amounts, shape, (way, start, end))
        _add(account, name, problem.weights[name] * amount)
    arrivals = [(s - 1, problem.moves[s])] if s and problem.strokes.linked[s] else []
    arrivals += [
        (join.before, move)
        for join, move in zip(problem.strokes.joins, problem.join_moves, strict=True)
        if join.after == s
    ]
    for before, move in arrivals:
        came, left = _left(search, before, way), int(solution.end[before])
        hook_down = 0.0 if move.free else float(hook_down_amount()[came, way])
        taken = way_taken(move, grid, level, problem.weights, (came, left), (way, start))
        if taken == "hook":
            _add(account, "hook_down", problem.weights["hook_down"] * hook_down)
        for name, amounts in move_terms(move, grid, level)[taken].items():
            _add(account, name, problem.weights[name] * float(amounts[left, start]))
        crossing = "fast_crossing_against_arm"
        _add(account, crossing, problem.weights[crossing] * float(crossing_amount(move)[came, way]))
    return account


def _left(search: BowSearch, s: int, following: int) -> int:
    """The direction in which stroke `s` is left: after an unmeasured tremolo, whichever suits what follows."""
    way = int(search.solution.direction[s])
    leaves = search.chain.tables[s].leaves
    return 1 - following if leaves == "free" else 1 - way if leaves == "flip" else way


def _at(amounts: object, shape: tuple[int, ...], place: tuple[int, ...]) -> float:
    import numpy as np

    return float(np.broadcast_to(np.asarray(amounts), shape)[place])


def _add(account: dict[str, float], name: str, value: float) -> None:
    if value:
        account[name] = account.get(name, 0.0) + value


def _items(account: Mapping[str, float]) -> tuple[CostItem, ...]:
    words = {term.name: term.words for term in bow_terms()}
    items = [
        CostItem(term=name, words=words[name], value=value) for name, value in account.items() if abs(value) > _SMALL
    ]
    return tuple(sorted(items, key=lambda item: -abs(item.value)))


def _other(plan: BowingPlan, s: int) -> OtherDirection:
    problem = plan.problem
    assert problem is not None
    stroke = plan.strokes[s]
    direction: Direction = "up" if stroke.direction == "down" else "down"
    here = set(stroke.note_ids)
    source = tuple(pin for pin in problem.source_pins if pin.note_id not in here)
    pins = tuple(pin for pin in problem.pins if pin.note_id not in here)
    other = repinned(plan, source, (*pins, BowPin(note_id=stroke.id, direction=direction)))
    changed = [k for k, (a, b) in enumerate(zip(plan.strokes, other.strokes, strict=True)) if a != b]
    neighbours = sorted({*changed, *(k + 1 for k in changed if k + 1 < len(plan.strokes))})
    neighbours = sorted({*neighbours, *(join.after for join in problem.strokes.joins if join.before in set(changed))})
    before, after = _sum(plan, neighbours), _sum(other, neighbours)
    difference = {name: after.get(name, 0.0) - before.get(name, 0.0) for name in {**before, **after}}
    turned = [k for k in changed if plan.strokes[k].direction != other.strokes[k].direction]
    bars = tuple(dict.fromkeys(plan.strokes[k].bar for k in turned))
    extra = other.total_cost - plan.total_cost
    why = _items(difference)
    reasons = "; ".join(item.words for item in why if item.value > 0) or "nothing else changes"
    relief = " (the pin costs that much)" if extra < 0 else ""
    return OtherDirection(
        direction=direction,
        extra_cost=extra,
        why=why,
        bars=bars,
        words=f"{direction}-bow: {reasons}{relief}",
    )


def _sum(plan: BowingPlan, indices: Iterable[int]) -> dict[str, float]:
    assert plan.problem is not None
    assert plan.search is not None
    total: dict[str, float] = {}
    for s in indices:
        for name, value in stroke_account(plan.problem, plan.search, s).items():
            _add(total, name, value)
    return total


def _stroke_words(stroke: Stroke) -> str:
    parts = [f"{stroke.direction}-bow"]
    if stroke.retake:
        parts.append("after a retake")
    elif stroke.hook:
        parts.append("hooked to the stroke before")
    elif stroke.reset:
        parts.append("set elsewhere on the bow")
    parts.append(f"{place_words(stroke.start)} to {place_words(stroke.end)}")
    parts.append(f"{stroke.speed_mm_s:.0f} mm/s")
    if stroke.kind != "detached":
        parts.append(stroke.kind)
    if stroke.pinned:
        parts.append("pinned")
    return ", ".join(parts)


def place_words(fraction: float) -> str:
    """A place on the bow in a player's words.

    >>> place_words(0.0), place_words(0.5), place_words(0.8)
    ('frog', 'middle', 'upper half')
    """
    names = ((0.08, "frog"), (0.4, "lower half"), (0.6, "middle"), (0.92, "upper half"), (2.0, "tip"))
    return next(name for limit, name in names if fraction < limit)
