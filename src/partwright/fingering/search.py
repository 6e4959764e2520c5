"""The cheapest way through a lattice, exactly, and the price of every alternative.

Method: dynamic programming over the tree (Bellman 1957): each variable tells its parent what the best rest costs for
each of the parent's states; the choice is then read off from the root. A second pass from the root outwards gives the
min-marginals: for every state of every variable, the price of the best whole that uses it. Joins that close rings
(repeats, returns) are met by branch and bound: what a join costs at least for each state is moved into the tree, which
gives a lower bound; where the tree's choice pays more than that at a join, the states of one end are split. If a few
splits do not settle it, every state whose bound is above the best plan so far is dropped and the rest is solved by
eliminating variables (`rings`).

Units: costs without unit. Shapes: K states of a variable.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.lattice import Join, Lattice
from partwright.fingering.rings import eliminate

__all__ = ["Solution", "repin", "solve", "state_prices"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_BARRED = 1e9
_SAME = 1e-9
_SPLITS_FIRST = 4  # trees tried before variables are eliminated


@dataclass(frozen=True, eq=False)
class Solution:
    """The chosen state of every variable, the cost of the whole, and how far it may be from the optimum (0: proven).

    `rest[v]` is the tree's message store: the price of everything beyond v, for each state of v.
    """

    choice: tuple[int, ...]
    cost: float
    gap: float
    note_price: tuple[Floats, ...]  # with what the joins cost at least moved in
    rest: tuple[Floats, ...]


def solve(lattice: Lattice, *, allowed: Mapping[int, Mask] | None = None, most_splits: int = 400) -> Solution:
    """The cheapest choice. `allowed` narrows columns (pins); each mask must leave at least one state.

    With rings in the lattice at most `most_splits` trees are solved; if that is not enough, `gap` says how much
    cheaper a plan could still be.
    """
    if not lattice.joins:
        prices = [_barred(price, (allowed or {}).get(v)) for v, price in enumerate(lattice.note_price)]
        rest = _inward(lattice, prices)
        choice = _read_off(lattice, rest)
        return Solution(choice, float(rest[0][choice[0]]), 0.0, tuple(prices), tuple(rest))
    return _branch_and_bound(lattice, dict(allowed or {}), most_splits)


def state_prices(lattice: Lattice, solution: Solution) -> tuple[Floats, ...]:
    """For every state of every variable, the price of the cheapest whole that uses it (min-marginals).

    Exact where the lattice has no rings. With rings, what a join costs is taken as the least it can be, so a price may
    be too low by at most what the joins then cost more; `fingering.explain` solves again for the note asked about.
    """
    parent, branch, rest = lattice.parent, lattice.branch, solution.rest
    children = [0] * len(parent)
    for p in parent[1:]:
        children[p] += 1
    total: list[Floats] = [rest[0]]
    for v in range(1, len(parent)):
        p = parent[v]
        if children[p] == 1:  # the parent's own price and this child's message are all that `rest` holds
            beyond = total[p] - rest[p] + solution.note_price[p]
        else:
            beyond = total[p] - (branch[v] + rest[v]).min(axis=1)
        total.append(rest[v] + (branch[v] + beyond[:, None]).min(axis=0))
    return tuple(total)


def repin(lattice: Lattice, solution: Solution, prices: Sequence[Floats], variable: int, mask: Mask) -> Solution:
    """The plan with one more column narrowed, from what is already known; the same as solving afresh.

    `prices` are the min-marginals of `solution`. Only the way out from the pinned variable is read off again.
    The new solution's stores are those of the old one: for further pins, solve with all of them.
    """
    barred = np.where(mask, prices[variable], np.inf)
    first = int(barred.argmin())
    if not np.isfinite(barred[first]) or lattice.joins:
        return solve(lattice, allowed={variable: mask})
    choice = list(solution.choice)
    if choice[variable] == first:
        return solution
    old = list(choice)
    choice[variable] = first
    changed = {variable}
    v = variable
    while lattice.parent[v] >= 0:  # towards the root: the parent's best given this child's state
        p = lattice.parent[v]
        message = (lattice.branch[v] + solution.rest[v]).min(axis=1)
        best = int((prices[p] - message + lattice.branch[v][:, choice[v]]).argmin())
        if best == old[p]:
            break
        choice[p] = best
        changed.add(p)
        v = p
    for v in range(min(changed) + 1, len(lattice.parent)):  # outwards, only where a parent has changed
        p = lattice.parent[v]
        if v in changed or p not in changed:
            continue
        best = int((lattice.branch[v][choice[p]] + solution.rest[v]).argmin())
        if best != old[v]:
            choice[v] = best
            changed.add(v)
    return Solution(tuple(choice), float(barred[first]), 0.0, solution.note_price, solution.rest)


def _inward(lattice: Lattice, prices: Sequence[Floats]) -> list[Floats]:
    """For each variable and state, the price of it and everything beyond it (away from the root)."""
    rest = list(prices)
    parent, branch = lattice.parent, lattice.branch
    for v in range(len(parent) - 1, 0, -1):
        p = parent[v]
        rest[p] = rest[p] + (branch[v] + rest[v]).min(axis=1)
    return rest


def _read_off(lattice: Lattice, rest: Sequence[Floats]) -> tuple[int, ...]:
    choice = [int(rest[0].argmin())]
    parent, branch = lattice.parent, lattice.branch
    for v in range(1, len(parent)):
        choice.append(int((branch[v][choice[parent[v]]] + rest[v]).argmin()))
    return tuple(choice)


def _barred(price: Floats, mask: Mask | None) -> Floats:
    return price if mask is None else np.where(mask, price, price + _BARRED)


@dataclass(frozen=True, eq=False)
class _Node:
    bound: float
    choice: tuple[int, ...]
    cost: float
    worst: Join | None
    note_price: tuple[Floats, ...]
    rest: tuple[Floats, ...]


def _branch_and_bound(lattice: Lattice, allowed: dict[int, Mask], most_splits: int) -> Solution:
    ticket = count()
    first = _relaxed(lattice, allowed)
    best, queue = first, [(first.bound, next(ticket), first, allowed)]
    tried, eliminated = 1, False
    while queue and tried < most_splits:
        bound, _, node, masks = heapq.heappop(queue)
        if bound >= best.cost - _SAME:
            queue = []
            break
        assert node.worst is not None
        for narrower in _split(lattice, node, masks):
            child = _relaxed(lattice, narrower)
            tried += 1
            if child.cost < best.cost - _SAME:
                best = child
            if child.bound < best.cost - _SAME and child.worst is not None:
                heapq.heappush(queue, (child.bound, next(ticket), child, narrower))
        if tried >= _SPLITS_FIRST and most_splits > _SPLITS_FIRST and not eliminated:
            eliminated = True
            found = _by_elimination(lattice, allowed, first, best.cost)
            if found is not None:
                return Solution(found[0], found[1], 0.0, first.note_price, first.rest)
    low = min((entry[0] for entry in queue), default=best.cost)
    return Solution(best.choice, best.cost, max(0.0, best.cost - low), first.note_price, first.rest)


def _by_elimination(
    lattice: Lattice, allowed: Mapping[int, Mask], first: _Node, known: float
) -> tuple[tuple[int, ...], float] | None:
    """The optimum over the states that could still beat a plan of this cost; None if phrases are too knotted."""
    bounds = state_prices(lattice, Solution(first.choice, first.bound, 0.0, first.note_price, first.rest))
    kept = [np.flatnonzero(bound <= known + _SAME) for bound in bounds]
    prices = [price[states] for price, states in zip(lattice.note_price, kept, strict=True)]
    pairs: dict[tuple[int, int], Floats] = {}
    for v in range(1, len(kept)):
        p = lattice.parent[v]
        pairs[p, v] = lattice.branch[v][np.ix_(kept[p], kept[v])]
    for join in lattice.joins:
        price = join.price[np.ix_(kept[join.a], kept[join.b])]
        if (join.b, join.a) in pairs:
            pairs[join.b, join.a] = pairs[join.b, join.a] + price.T
        else:
            pairs[join.a, join.b] = pairs.get((join.a, join.b), 0.0) + price
    found = eliminate(prices, pairs)
    if found is None:
        return None
    return tuple(int(states[k]) for states, k in zip(kept, found[0], strict=True)), found[1]


def _relaxed(lattice: Lattice, masks: Mapping[int, Mask]) -> _Node:
    """The tree's optimum when each join is charged the least it can cost for each state of its ends."""
    prices = [_barred(price, masks.get(v)) for v, price in enumerate(lattice.note_price)]
    left_over: list[tuple[Join, Floats]] = []
    for join in lattice.joins:
        price = join.price
        if join.a in masks:
            price = np.where(masks[join.a][:, None], price, price + _BARRED)
        if join.b in masks:
            price = np.where(masks[join.b][None, :], price, price + _BARRED)
        of_a = price.min(axis=1)
        price = price - of_a[:, None]
        of_b = price.min(axis=0)
        prices[join.a] = prices[join.a] + of_a
        prices[join.b] = prices[join.b] + of_b
        left_over.append((join, price - of_b[None, :]))
    rest = _inward(lattice, prices)
    choice = _read_off(lattice, rest)
    bound = float(rest[0][choice[0]])
    extra, worst, worst_extra = 0.0, None, _SAME
    for join, price in left_over:
        more = float(price[choice[join.a], choice[join.b]])
        extra += more
        if more > worst_extra:
            worst, worst_extra = join, more
    return _Node(bound, choice, bound + extra, worst, tuple(prices), tuple(rest))


def _split(lattice: Lattice, node: _Node, masks: Mapping[int, Mask]) -> list[dict[int, Mask]]:
    """Two halves of the problem: the worst join's far end as chosen (and all states that join alike), or not."""
    join = node.worst
    assert join is not None
    halves = []
    for variable, price in ((join.b, join.price.T), (join.a, join.price)):
        before = masks.get(variable, np.ones(len(price), bool))
        alike = np.all(np.abs(price - price[node.choice[variable]]) < _SAME, axis=1)
        halves = [before & alike, before & ~alike]
        if all(half.any() for half in halves):
            return [{**masks, variable: half} for half in halves]
    # Both ends are down to states that join alike: nothing is left to split, the bound is the cost.
    return []
