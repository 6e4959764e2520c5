"""Slurs to add or to split, priced exactly against the plan and shown as suggestions, never applied.

Method: the strokes before and after a candidate keep their costs from the search; only the changed strokes and the
moves around them are computed, so the price is that of the whole part planned with the slur.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from partwright.bowing.features import MoveKind, StrokeKind, stroke_kinds
from partwright.bowing.grouping import StrokeGroup, Strokes
from partwright.bowing.lattice import Rows, backward, through
from partwright.bowing.plan import Problem, arm_sign, tables_for
from partwright.bowing.search import Block
from partwright.bowing.stroke import BowingPlan, SlurSuggestion
from partwright.bowing.terms import BowLevel
from partwright.score import beat_text

__all__ = ["suggest_slurs"]

_WORTH = 0.25
"""What a suggestion must save at least: the price of a hook. Set by hand."""
_NEAR = 6
"""How many strokes around an awkward one are looked at."""
_WIDEST_SEMITONES = 5
_LONGEST_SECONDS = 1.0


def suggest_slurs(plan: BowingPlan) -> tuple[SlurSuggestion, ...]:
    """Suggestions in the order of the part, at most one near any place. `plan` must be fresh from the search."""
    problem, search = plan.problem, plan.search
    assert problem is not None
    assert search is not None
    found: list[tuple[float, int, SlurSuggestion]] = []
    for block in search.blocks:
        awkward = [s for s in range(block.first, block.last + 1) if _is_awkward(plan, s)]
        near = sorted({k for s in awkward for k in range(s - _NEAR, s + 2)})
        for s in near:
            if block.first <= s and s + 2 <= block.last and _may_join(problem, s):
                found += _joined(plan, problem, block, s)
        for s in range(block.first, block.last):
            if len(problem.strokes.groups[s].heads) > 1:
                found += _split(plan, problem, block, s)
    found.sort(key=lambda item: (-item[0], item[1]))
    chosen: list[tuple[int, SlurSuggestion]] = []
    for _, s, suggestion in found:
        if all(abs(s - other) > _NEAR for other, _ in chosen):
            chosen.append((s, suggestion))
    return tuple(suggestion for _, suggestion in sorted(chosen, key=lambda item: item[0]))


def _is_awkward(plan: BowingPlan, s: int) -> bool:
    problem = plan.problem
    assert problem is not None
    stroke = plan.strokes[s]
    against = stroke.direction == "up" and problem.kinds[s].metre == 3
    return against or stroke.hook or (stroke.retake and not stroke.after_rest and not stroke.section_start)


def _may_join(problem: Problem, s: int) -> bool:
    """Whether two strokes are single plain notes that a player would slur."""
    strokes, part = problem.strokes, problem.part
    groups = strokes.groups[s], strokes.groups[s + 1]
    if any(len(group.notes) != 1 for group in groups):
        return False
    first, second = (part.notes[group.heads[0]] for group in groups)
    kinds = problem.kinds[s], problem.kinds[s + 1]
    strings = problem.strings or {}
    apart = abs(strings.get(first.id, 0) - strings.get(second.id, 0)) if strings else 0
    return (
        not first.articulations
        and not second.articulations
        and not first.tremolo
        and not second.tremolo
        and first.bar_index == second.bar_index
        and first.midi != second.midi
        and abs(first.midi - second.midi) <= _WIDEST_SEMITONES
        and apart <= 1
        and strokes.gap_seconds[s + 1] < 0.02
        and strokes.duration_seconds[s : s + 2].max() <= _LONGEST_SECONDS
        and first.duration_quarters >= second.duration_quarters
        and (not kinds[0].pin or not kinds[1].pin or kinds[0].pin == kinds[1].pin)
    )


def _joined(plan: BowingPlan, problem: Problem, block: Block, s: int) -> Iterator[tuple[float, int, SlurSuggestion]]:
    first, second = problem.strokes.groups[s], problem.strokes.groups[s + 1]
    group = StrokeGroup((*first.notes, *second.notes), (*first.heads, *second.heads), "suggested")
    saves = _saved(problem, block, s, s + 1, [group])
    if saves < _WORTH:
        return
    a, b = problem.part.notes[first.heads[0]], problem.part.notes[second.heads[0]]
    yield (
        saves,
        s,
        SlurSuggestion(
            kind="add",
            first_note_id=a.id,
            last_note_id=b.id,
            bar=a.bar,
            beat=a.beat,
            saves=saves,
            words=f"bar {a.bar}, beat {beat_text(a.beat)}: slur {a.pitch.name} to {b.pitch.name} and the bow comes out "
            f"better ({_trouble(plan, s)}).",
        ),
    )


def _split(plan: BowingPlan, problem: Problem, block: Block, s: int) -> Iterator[tuple[float, int, SlurSuggestion]]:
    group = problem.strokes.groups[s]
    part = problem.part
    best: tuple[float, int] | None = None
    for at in range(1, len(group.heads)):
        head = group.heads[at]
        if part.notes[head].tied_from is not None:
            continue
        cut = group.notes.index(head)
        parts = [
            StrokeGroup(group.notes[:cut], group.heads[:at], group.slur),
            StrokeGroup(group.notes[cut:], group.heads[at:], group.slur),
        ]
        saves = _saved(problem, block, s, s, parts)
        if best is None or saves > best[0]:
            best = (saves, head)
    if best is None or best[0] < _WORTH:
        return
    first, note = part.notes[group.heads[0]], part.notes[best[1]]
    yield (
        best[0],
        s,
        SlurSuggestion(
            kind="split",
            first_note_id=first.id,
            last_note_id=note.id,
            bar=note.bar,
            beat=note.beat,
            saves=best[0],
            words=f"bar {note.bar}, beat {beat_text(note.beat)}: split the slur before {note.pitch.name} "
            f"({_trouble(plan, s)}).",
        ),
    )


def _trouble(plan: BowingPlan, s: int) -> str:
    """What is wrong near a place, in a player's words."""
    problem = plan.problem
    assert problem is not None
    for k in range(s, min(s + _NEAR + 2, len(plan.strokes))):
        stroke = plan.strokes[k]
        if not _is_awkward(plan, k):
            continue
        what = "a hook" if stroke.hook else "a hurried retake" if stroke.retake else "an up-bow on the first beat"
        return f"without it bar {stroke.bar} has {what}"
    return "with more bow for each note"


def _saved(problem: Problem, block: Block, first: int, last: int, groups: list[StrokeGroup]) -> float:
    """How much cheaper the part becomes when strokes `first` to `last` are bowed as `groups`."""
    from partwright.bowing.features import UNIT

    kinds, moves = _window(problem, first, last, groups)
    k = first - block.first
    rows = block.before[k]
    if first > block.first:
        tables = tables_for(problem, kinds[0], moves[0])
        rows = _forward(block.after[k - 1], tables.move)
    for at, kind in enumerate(kinds[: len(groups)]):
        tables = tables_for(problem, kind, moves[at])
        if at:
            rows = _forward(rows, tables.move)
        rows = through(rows, tables)
    following = tables_for(problem, problem.kinds[last + 1], moves[len(groups)])
    onward = block.onward[last + 1 - block.first]
    after = backward(onward, following)
    new = _least(rows, after)
    old = _least(block.before[last + 1 - block.first], onward)
    return float(old - new) / UNIT


def _forward(rows: Rows, move: np.ndarray) -> Rows:
    values = np.minimum.reduce(rows.values[:, :, None] + move, axis=1)
    return Rows(values, rows.row, rows.shift)


def _least(before: Rows, onward: Rows) -> int:
    sums = before.values[before.row].astype(np.int64) + onward.values[onward.row]
    return int((sums.min(axis=1) + before.shift + onward.shift).min())


def _window(
    problem: Problem, first: int, last: int, groups: list[StrokeGroup]
) -> tuple[list[StrokeKind], list[MoveKind]]:
    """Kinds of the changed strokes, and of the moves to each of them and to the stroke that follows."""
    strokes = problem.strokes
    low = max(first - 1, 0)
    high = last + 2
    onsets = strokes.onset_seconds
    ends = onsets + strokes.duration_seconds
    starts: list[float] = []
    for group in groups:
        source = int(problem.stroke_of[problem.part.notes[group.heads[0]].id])
        share = _share(problem, source, group.heads[0])
        starts.append(float(onsets[source] + share * strokes.duration_seconds[source]))
    durations = np.diff([*starts, float(ends[last])])
    window = Strokes(
        groups=(*strokes.groups[low:first], *groups, strokes.groups[last + 1]),
        onset_seconds=np.array([*onsets[low:first], *starts, onsets[last + 1]]),
        duration_seconds=np.array(
            [*strokes.duration_seconds[low:first], *durations, strokes.duration_seconds[last + 1]]
        ),
        gap_seconds=np.array(
            [
                *strokes.gap_seconds[low:first],
                strokes.gap_seconds[first],
                *[0.0] * (len(groups) - 1),
                strokes.gap_seconds[last + 1],
            ]
        ),
        linked=np.ones(high - low + len(groups), dtype=bool),
        joins=(),
        remarks=(),
    )
    before = first - low
    pins = {before: next((problem.kinds[s].pin for s in range(first, last + 1) if problem.kinds[s].pin), 0)}
    level: BowLevel = problem.level
    kinds, moves, _, _ = stroke_kinds(
        problem.part,
        window,
        strings=problem.strings,
        arm_sign=arm_sign(problem.instrument),
        level=level,
        hair_mm=problem.grid.hair_mm,
        phrase_starts=problem.phrase_starts,
        pins=pins,
        retakes={},
    )
    inner = slice(before, before + len(groups))
    arrivals = moves[before : before + len(groups) + 1]
    arrivals[-1] = arrivals[-1]._replace(retake=problem.moves[last + 1].retake)
    arrivals[0] = arrivals[0]._replace(retake=problem.moves[first].retake, phrase=problem.moves[first].phrase)
    return kinds[inner], arrivals


def _share(problem: Problem, s: int, head: int) -> float:
    """How far into stroke `s` the note with index `head` begins, as a share of its time."""
    notes = [problem.part.notes[i] for i in problem.strokes.groups[s].heads]
    begin = notes[0].onset_quarters
    length = max(note.end_quarters for note in notes) - begin
    return float((problem.part.notes[head].onset_quarters - begin) / length) if length else 0.0
