"""The cheapest choice where a lattice has rings (repeats, shared phrases), exactly, by eliminating variables.

Method: bucket elimination (Bertelè & Brioschi 1972; Dechter 1999). A variable is removed by writing down, for every
combination of its neighbours' states, the best it can do; the next to go is always the one that leaves the smallest
table. Along a line that table is a vector, inside a ring a matrix; phrases that return within phrases make it larger.

Shapes: a table over variables (u, v, …) has one axis for each, in that order.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["eliminate"]

Floats = NDArray[np.float64]
Table = tuple[tuple[int, ...], Floats]

_AT_ONCE = 2_000_000  # cells of an intermediate table that are worked on in one piece


def eliminate(
    note_price: Sequence[Floats], pair_price: Mapping[tuple[int, int], Floats], *, most_cells: int = 8_000_000
) -> tuple[tuple[int, ...], float] | None:
    """The cheapest choice and its cost, for prices of states (K,) and of pairs of states (Ka, Kb).

    None where a table would need more than `most_cells` cells.
    """
    sizes = [len(price) for price in note_price]
    left = {v for v, size in enumerate(sizes) if size > 1}
    own, cost = _without_the_settled(note_price, pair_price, left)
    tables: dict[int, Table] = {v: ((v,), own[v]) for v in sorted(left)}
    of: list[set[int]] = [{v} if v in left else set() for v in range(len(sizes))]
    for (a, b), price in pair_price.items():
        if a in left and b in left:
            _add(tables, of, (a, b), price)
    queue = [(_cells(_scope(v, tables, of), sizes), v) for v in left]
    heapq.heapify(queue)
    gone: list[tuple[int, tuple[int, ...], NDArray[np.int64]]] = []
    while queue:
        cells, v = heapq.heappop(queue)
        if v not in left:
            continue
        scope = _scope(v, tables, of)
        now = _cells(scope, sizes)
        if now > cells:  # it has grown since it was put in the queue
            heapq.heappush(queue, (now, v))
            continue
        if now > most_cells:
            return None
        best, least = _best(v, scope, [tables[t] for t in of[v]], sizes)
        gone.append((v, scope, best))
        left.discard(v)
        for t in tuple(of[v]):
            for u in tables[t][0]:
                of[u].discard(t)
            del tables[t]
        if scope:
            _add(tables, of, scope, least)
            for u in scope:
                heapq.heappush(queue, (_cells(_scope(u, tables, of), sizes), u))
        else:
            cost += float(least)
    choice = [0] * len(sizes)
    for v, scope, best in reversed(gone):
        choice[v] = int(best[tuple(choice[u] for u in scope)])
    return tuple(choice), cost


def _without_the_settled(
    note_price: Sequence[Floats], pair_price: Mapping[tuple[int, int], Floats], left: set[int]
) -> tuple[list[Floats], float]:
    """Prices of states with the moves to variables of a single state in them, and what those cost among themselves."""
    own = list(note_price)
    cost = sum(float(price[0]) for v, price in enumerate(note_price) if v not in left)
    for (a, b), price in pair_price.items():
        if a in left and b not in left:
            own[a] = own[a] + price[:, 0]
        elif b in left and a not in left:
            own[b] = own[b] + price[0]
        elif a not in left:
            cost += float(price[0, 0])
    return own, cost


def _add(tables: dict[int, Table], of: list[set[int]], scope: tuple[int, ...], price: Floats) -> None:
    number = next(reversed(tables), -1) + 1  # numbers only grow, so the latest is the highest
    tables[number] = (scope, price)
    for u in scope:
        of[u].add(number)


def _scope(v: int, tables: Mapping[int, Table], of: Sequence[set[int]]) -> tuple[int, ...]:
    """The variables v is joined to, in ascending order."""
    return tuple(sorted({u for t in of[v] for u in tables[t][0]} - {v}))


def _cells(scope: Sequence[int], sizes: Sequence[int]) -> int:
    cells = 1
    for u in scope:
        cells *= sizes[u]
    return cells


def _best(
    v: int, scope: tuple[int, ...], tables: Sequence[Table], sizes: Sequence[int]
) -> tuple[NDArray[np.int64], Floats]:
    """For every combination of the scope's states, the best state of v and what it costs."""
    order = (*scope, v)
    laid = [_aligned(table, order) for table in tables]
    if _cells(order, sizes) <= _AT_ONCE:
        total = laid[0]
        for part in laid[1:]:
            total = total + part
        total = np.broadcast_to(total, [sizes[u] for u in order])
        best = total.argmin(axis=-1)
        return best, np.take_along_axis(total, best[..., None], axis=-1)[..., 0]
    shape = [sizes[u] for u in scope]
    least = np.full(shape, np.inf)
    best = np.zeros(shape, np.int64)
    for state in range(sizes[v]):
        total = np.zeros(())
        for part in laid:
            total = total + part[..., state if part.shape[-1] > 1 else 0]
        better = total < least
        best[better] = state
        np.minimum(least, total, out=least)
    return best, least


def _aligned(table: Table, order: Sequence[int]) -> Floats:
    """The table with an axis for every variable of `order`, of length 1 where it does not have that variable."""
    scope, price = table
    place = {u: axis for axis, u in enumerate(scope)}
    moved = price.transpose([place[u] for u in order if u in place])
    return moved.reshape([price.shape[place[u]] if u in place else 1 for u in order])
