"""The exact search over a whole part: direction and place of every stroke, and the price of the other direction.

Method: the strokes fall into blocks wherever a repeat, an ending or a jump joins. Within a block: dynamic programming
(`lattice`); between blocks: elimination (`joins`). A written stroke has one direction and one place on the bow, which
must work at every join. Forward and backward costs together give the least cost of every state of every stroke. After
a pin only what it changes is computed again: forward until the costs are what they were, backward likewise.

Shapes: states are direction × place (0 down, 1 up). Costs are whole numbers of 1/`features.UNIT`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partwright.bowing.features import FORBIDDEN
from partwright.bowing.joins import Factor, outside_costs
from partwright.bowing.lattice import Rows, Tables, back_through, backward, forward, merged, rows_of, through

__all__ = ["Block", "BowSearch", "Chain", "Solution", "solve", "solve_again"]

_KEPT = 65_536
"""Longest part whose costs are all kept; longer ones are gone through in stretches of `_STRETCH`."""
_STRETCH = 4096
_NEVER = 1 << 50
"""Dearer than any way through a piece, small enough to be added up."""
_MERGING = 8
"""Rows that have become equal are looked for at every so many strokes."""
_ANCHORS = 7
"""Places on the bow at which a stroke that follows a join may start: about every 100 mm of a cello's bow."""


@dataclass(frozen=True)
class Chain:
    """The strokes as tables, and how they follow each other.

    `linked[s]`: stroke s is played after the one written before it. `joins` are (before, after, move table).
    """

    tables: tuple[Tables, ...]
    linked: tuple[bool, ...]
    joins: tuple[tuple[int, int, np.ndarray], ...]

    @property
    def states(self) -> int:
        """Directions times places."""
        return int(self.tables[0].move.shape[0])


@dataclass(frozen=True)
class Solution:
    """The cheapest plan. Arrays are (strokes,); places are indices.

    `cost` is each stroke with the moves that lead to it; they add up to the total. `extra` is (strokes, 2): how much
    dearer the whole becomes with each direction, 0 for the chosen one.
    """

    direction: np.ndarray
    start: np.ndarray
    end: np.ndarray
    cost: np.ndarray
    extra: np.ndarray

    @property
    def total(self) -> int:
        """The price of the plan."""
        return int(self.cost.sum())


@dataclass(frozen=True)
class Block:
    """Strokes `first` to `last`: costs before and after each stroke from the block's entry, and costs onward from
    before each stroke to the end of everything. `outside` is what the rest costs for every entry and last state, and
    `chosen` the entry and last state of the solution."""

    first: int
    last: int
    before: list[Rows] = field(default_factory=list)
    after: list[Rows] = field(default_factory=list)
    onward: list[Rows] = field(default_factory=list)
    outside: np.ndarray | None = None
    chosen: tuple[int, int] | None = None

    @property
    def single(self) -> bool:
        """Whether there is but one way of entering."""
        return self.before[0].row.size == 1


@dataclass(frozen=True)
class BowSearch:
    """A chain with its solution, and what a change of a few strokes can start from (no blocks: everything anew)."""

    chain: Chain
    blocks: tuple[Block, ...]
    solution: Solution


def solve(chain: Chain) -> BowSearch:
    """Search the whole chain. Exact; ties are broken towards the frog and towards down."""
    n = len(chain.tables)
    solution = _empty_solution(n)
    if n == 0:
        return BowSearch(chain, (), solution)
    blocks = [Block(a, b) for a, b in _bounds(chain)]
    if len(blocks) > 1 or chain.joins:
        blocks = [_forward_all(chain, block, _entries(chain)) for block in blocks]
        total, outside = _outside(chain, blocks)
        chosen = _agreed(chain, blocks, total, outside)
        blocks = [
            replace(_backward_all(chain, block, rest), chosen=ends)
            for block, rest, ends in zip(blocks, outside, chosen, strict=True)
        ]
        for block in blocks:
            _read_extras(block, solution, block.first, block.last)
            _trace_block(chain, block, solution)
    elif n <= _KEPT:
        block = _forward_all(chain, blocks[0], _free_start(chain))
        rest = np.zeros((1, chain.states), dtype=np.int64)
        block = replace(_backward_all(chain, block, rest), chosen=_first_least(block, rest))
        _read_extras(block, solution, block.first, block.last)
        _trace_block(chain, block, solution)
        blocks = [block]
    else:
        _in_stretches(chain, solution)
        blocks = []
    _price(chain, solution, range(n))
    return BowSearch(chain, tuple(blocks), solution)


def solve_again(search: BowSearch, chain: Chain, changed: Collection[int]) -> BowSearch:
    """The solution of `chain`, which differs from the solved one only in the tables of the strokes `changed`.

    The result is the one `solve` gives; only what the change reaches is computed.
    """
    if not changed:
        return search
    if not search.blocks:
        return solve(chain)
    solution = Solution(*(array.copy() for array in _arrays(search.solution)))
    if len(search.blocks) > 1 or chain.joins:
        blocks = _blocks_again(search, chain, changed, solution)
    else:
        blocks = (_block_again(search.blocks[0], chain, min(changed), max(changed), solution),)
    return BowSearch(chain, blocks, solution)


def _arrays(solution: Solution) -> tuple[np.ndarray, ...]:
    return solution.direction, solution.start, solution.end, solution.cost, solution.extra


def _empty_solution(n: int) -> Solution:
    return Solution(
        direction=np.zeros(n, dtype=np.int8),
        start=np.zeros(n, dtype=np.int16),
        end=np.zeros(n, dtype=np.int16),
        cost=np.zeros(n, dtype=np.int64),
        extra=np.zeros((n, 2), dtype=np.int64),
    )


def _bounds(chain: Chain) -> list[tuple[int, int]]:
    n = len(chain.tables)
    heads = {0} | {s for s in range(1, n) if not chain.linked[s]}
    for before, after, _ in chain.joins:
        heads.add(after)
        if before + 1 < n:
            heads.add(before + 1)
    ordered = sorted(heads)
    return [(a, b - 1) for a, b in zip(ordered, [*ordered[1:], n], strict=True)]


def _free_start(chain: Chain) -> Rows:
    one = np.zeros(1, dtype=np.int64)
    return Rows(np.zeros((1, chain.states), dtype=np.int32), one, one)


def _anchors(chain: Chain) -> np.ndarray:
    """The states in which a block may be entered: both directions at `_ANCHORS` places from frog to tip."""
    places = chain.states // 2
    at = np.unique(np.rint(np.linspace(0, places - 1, _ANCHORS)).astype(np.int64))
    return np.concatenate([at, at + places])


def _entries(chain: Chain) -> Rows:
    anchors = _anchors(chain)
    values = np.full((anchors.size, chain.states), FORBIDDEN, dtype=np.int32)
    values[np.arange(anchors.size), anchors] = 0
    return Rows(values, np.arange(anchors.size), np.zeros(anchors.size, dtype=np.int64))


def _forward_all(chain: Chain, block: Block, entry: Rows) -> Block:
    before, after = [entry], [through(entry, chain.tables[block.first])]
    for s in range(block.first + 1, block.last + 1):
        tables = chain.tables[s]
        rows = forward(after[-1], tables)
        before.append(merged(rows) if s % _MERGING == 0 else rows)
        after.append(through(before[-1], tables))
    return Block(block.first, block.last, before, after)


def _backward_all(chain: Chain, block: Block, outside: np.ndarray) -> Block:
    rows = back_through(rows_of(outside), chain.tables[block.last])
    onward = [rows]
    for s in range(block.last, block.first, -1):
        rows = back_through(backward(rows, chain.tables[s]), chain.tables[s - 1])
        rows = merged(rows) if s % _MERGING == 0 else rows
        onward.append(rows)
    onward.reverse()
    return Block(block.first, block.last, block.before, block.after, onward, outside)


def _outside(
    chain: Chain, blocks: Sequence[Block], held: Mapping[int, tuple[int, int]] | None = None
) -> tuple[int, list[np.ndarray]]:
    """The least total, and for every block what the rest costs; with the blocks in `held` kept to these ends."""
    sizes = {v: chain.states if v % 2 else _anchors(chain).size for v in range(2 * len(blocks))}
    wanted = {k: (2 * k, 2 * k + 1) for k in range(len(blocks))}
    total, outside = outside_costs(_factors(chain, blocks, held or {}), wanted, sizes)
    return total, [outside[k] for k in range(len(blocks))]


def _factors(chain: Chain, blocks: Sequence[Block], held: Mapping[int, tuple[int, int]] | None = None) -> list[Factor]:
    """The costs of all blocks, in their order, and then of the moves between them. Variables: 2k where block k is
    entered, 2k + 1 where it is left."""
    anchors = _anchors(chain)
    factors = []
    for k, block in enumerate(blocks):
        table = block.after[-1].full()
        if held and k in held:
            kept = table[held[k]]
            table = table + _NEVER
            table[held[k]] = kept
        factors.append(Factor((2 * k, 2 * k + 1), table))
    entry_of = {block.first: 2 * k for k, block in enumerate(blocks)}
    exit_of = {block.last: 2 * k + 1 for k, block in enumerate(blocks)}
    moves = [
        (block.first - 1, block.first, chain.tables[block.first].move)
        for block in blocks[1:]
        if chain.linked[block.first]
    ]
    factors += [
        Factor((exit_of[a], entry_of[b]), move[:, anchors].astype(np.int64)) for a, b, move in [*moves, *chain.joins]
    ]
    return factors


def _read_extras(block: Block, solution: Solution, first: int, last: int) -> None:
    """What each direction costs more than the cheaper one, for strokes `first` to `last` of the block."""
    before = block.before[first - block.first : last + 1 - block.first]
    onward = block.onward[first - block.first : last + 1 - block.first]
    if not before:
        return
    if block.single:
        sums = np.concatenate([rows.values for rows in before]) + np.concatenate([rows.values for rows in onward])
    else:
        sums = np.stack([_over_entries(one, two) for one, two in zip(before, onward, strict=True)])
    best = np.minimum.reduce(sums.reshape(len(before), 2, -1), axis=2)
    solution.extra[first : last + 1] = best - best.min(axis=1, keepdims=True)


def _over_entries(before: Rows, onward: Rows) -> np.ndarray:
    """The least of sums over all ways of entering, up to a constant. Shape (states,)."""
    shift = before.shift + onward.shift
    sums = before.values[before.row] + onward.values[onward.row] + (shift - shift.min())[:, None]
    return np.asarray(np.minimum.reduce(sums, axis=0))


def _first_least(block: Block, outside: np.ndarray) -> tuple[int, int]:
    """The first of the cheapest pairs of entry and last state."""
    ends = block.after[-1].full() + outside
    entry, state = divmod(int(ends.argmin()), int(ends.shape[1]))
    return entry, state


def _agreed(chain: Chain, blocks: Sequence[Block], total: int, outside: Sequence[np.ndarray]) -> list[tuple[int, int]]:
    """Entry and last state of every block in one way through all of them that costs `total`, the least.

    Where several ways cost that, each block's own first choice may belong to another of them. Then every block that
    has a choice is held to its first, one after the other, and the rest is searched again.
    """
    chosen = [_first_least(block, rest) for block, rest in zip(blocks, outside, strict=True)]
    values = [value for ends in chosen for value in ends]
    if sum(int(f.table[tuple(values[v] for v in f.variables)]) for f in _factors(chain, blocks)) == total:
        return chosen
    held: dict[int, tuple[int, int]] = {}
    for k, block in enumerate(blocks):
        chosen[k] = _first_least(block, outside[k])
        ends = block.after[-1].full() + outside[k]
        if np.count_nonzero(ends == ends.min()) > 1:
            held[k] = chosen[k]
            _, outside = _outside(chain, blocks, held)
    return chosen


def _trace_block(chain: Chain, block: Block, solution: Solution) -> None:
    """Fill in the block's strokes between its chosen ends."""
    assert block.chosen is not None
    _trace(chain, block, *block.chosen, block.last, solution)


def _trace(
    chain: Chain, block: Block, entry: int, state: int, from_stroke: int, solution: Solution, unchanged_below: int = -1
) -> int:
    """Follow the cheapest way back from `state` after `from_stroke`, to the block's start or, below
    `unchanged_below`, to where it meets the way that is there. Returns the first stroke that was gone through."""
    places = chain.tables[0].stroke.shape[1]
    for s in range(from_stroke, block.first - 1, -1):
        before = block.before[s - block.first]
        way, began, ended = _stroke_into(before.values[before.row[entry]], state, chain.tables[s])
        if s < unchanged_below and (way, began, ended) == (solution.direction[s], solution.start[s], solution.end[s]):
            return s + 1
        solution.direction[s], solution.start[s], solution.end[s] = way, began, ended
        if s > block.first:
            after = block.after[s - 1 - block.first]
            costs = after.values[after.row[entry]] + chain.tables[s].move_back[way * places + began]
            state = int(costs.argmin())
    return block.first


def _stroke_into(before: np.ndarray, state: int, tables: Tables) -> tuple[int, int, int]:
    """Direction, start and end of the cheapest stroke that leaves in `state`, from costs before it."""
    places = tables.stroke.shape[1]
    leaving, ended = divmod(state, places)
    if tables.leaves == "free":
        costs = before.reshape(2, places) + tables.stroke[:, :, ended]
        way, began = divmod(int(costs.argmin()), places)
        return way, began, ended
    way = 1 - leaving if tables.leaves == "flip" else leaving
    costs = before[way * places : (way + 1) * places] + tables.stroke_back[way, ended]
    return way, int(costs.argmin()), ended


def _left_states(chain: Chain, solution: Solution, s: int) -> list[int]:
    """The states in which a stroke may be left: one, or two after an unmeasured tremolo."""
    places = chain.tables[0].stroke.shape[1]
    way, end = int(solution.direction[s]), int(solution.end[s])
    leaves = chain.tables[s].leaves
    ways = (0, 1) if leaves == "free" else (1 - way,) if leaves == "flip" else (way,)
    return [w * places + end for w in ways]


def _price(chain: Chain, solution: Solution, strokes: Sequence[int]) -> None:
    """Write down what each of these strokes costs, with the moves to it."""
    places = chain.tables[0].stroke.shape[1]
    joins: dict[int, list[tuple[int, np.ndarray]]] = {}
    for before, after, move in chain.joins:
        joins.setdefault(after, []).append((before, move))
    direction, start, end = solution.direction.tolist(), solution.start.tolist(), solution.end.tolist()
    cost = []
    for s in strokes:
        tables = chain.tables[s]
        price = int(tables.stroke[direction[s], start[s], end[s]])
        state = direction[s] * places + start[s]
        if s and chain.linked[s]:
            leaves = chain.tables[s - 1].leaves
            if leaves == "same":
                price += int(tables.move[direction[s - 1] * places + end[s - 1], state])
            else:
                price += min(int(tables.move[left, state]) for left in _left_states(chain, solution, s - 1))
        for before, move in joins.get(s, ()):
            price += min(int(move[left, state]) for left in _left_states(chain, solution, before))
        cost.append(price)
    solution.cost[strokes[0] : strokes[-1] + 1] = cost


def _in_stretches(chain: Chain, solution: Solution) -> None:
    """One long block with memory for one stretch at a time: forward once keeping a row at every stretch, then
    backward, each stretch's forward costs computed again."""
    n = len(chain.tables)
    entries: list[Rows] = []  # costs before the first stroke of each stretch
    rows = _free_start(chain)
    for s in range(n):
        if s:
            rows = forward(rows, chain.tables[s])
        if s % _STRETCH == 0:
            entries.append(rows)
        rows = through(rows, chain.tables[s])
    places = chain.tables[0].stroke.shape[1]
    onward: Rows | None = None
    for k in reversed(range(len(entries))):
        first, last = k * _STRETCH, min((k + 1) * _STRETCH, n) - 1
        block = _forward_all(chain, Block(first, last), entries[k])
        ends = block.after[-1].values[0]
        outside = np.zeros((1, chain.states), dtype=np.int64)
        if onward is not None:
            following = chain.tables[last + 1]
            outside = backward(onward, following).full()
            ends = ends + following.move_back[solution.direction[last + 1] * places + solution.start[last + 1]]
        block = _backward_all(chain, block, outside)
        onward = block.onward[0]
        _read_extras(block, solution, first, last)
        _trace(chain, block, 0, int(ends.argmin()), last, solution)


def _block_again(block: Block, chain: Chain, low: int, high: int, solution: Solution) -> Block:
    """A block of its own after strokes from `low` to `high` have changed."""
    before, after, onward = list(block.before), list(block.after), list(block.onward)
    n = len(before)
    reached = low
    while reached < n:
        rows = forward(after[reached - 1], chain.tables[reached]) if reached else before[0]
        if reached > high and np.array_equal(rows.values, before[reached].values):
            break
        before[reached] = rows
        after[reached] = through(rows, chain.tables[reached])
        reached += 1
    assert block.outside is not None
    back = high
    while back >= 0:
        rows = backward(onward[back + 1], chain.tables[back + 1]) if back + 1 < n else rows_of(block.outside)
        rows = back_through(rows, chain.tables[back])
        if back < low and np.array_equal(rows.values, onward[back].values):
            break
        onward[back] = rows
        back -= 1
    changed = Block(block.first, block.last, before, after, onward, block.outside)
    _read_extras(changed, solution, back + 1, reached - 1)
    ends = after[reached - 1].values[0]
    if reached < n:
        places = chain.tables[0].stroke.shape[1]
        ends = ends + chain.tables[reached].move_back[solution.direction[reached] * places + solution.start[reached]]
    first = _trace(chain, changed, 0, int(ends.argmin()), reached - 1, solution, low)
    _price(chain, solution, range(first, min(reached + 1, n)))
    return changed


def _blocks_again(search: BowSearch, chain: Chain, changed: Collection[int], solution: Solution) -> tuple[Block, ...]:
    """Joined blocks: those with a changed stroke anew, the others only where what is asked of their ends changed."""
    blocks = list(search.blocks)
    anew: set[int] = set()
    for k, block in enumerate(blocks):
        touched = any(block.first <= s <= block.last for s in changed)
        if touched:
            blocks[k] = _forward_all(chain, block, _entries(chain))
            anew.add(k)
    total, outside = _outside(chain, blocks)
    chosen = _agreed(chain, blocks, total, outside)
    for k, block in enumerate(blocks):
        old = search.blocks[k].outside
        assert old is not None
        difference = outside[k] - old
        if k in anew or (difference != difference.flat[0]).any():
            blocks[k] = replace(_backward_all(chain, block, outside[k]), chosen=chosen[k])
            _read_extras(blocks[k], solution, block.first, block.last)
        elif chosen[k] == block.chosen:
            continue
        else:
            blocks[k] = replace(block, chosen=chosen[k])
        _trace_block(chain, blocks[k], solution)
    _price(chain, solution, range(len(chain.tables)))
    return tuple(blocks)
