"""Blocks of strokes joined by repeats: what the rest of the piece asks of every block's two ends, exactly.

Each block has two variables, the state in which it is entered and the state in which it is left. The block itself
and every join is a table over two of them. The least cost of everything outside a block, for every pair of its end
states, comes from eliminating variables one by one (the one with the fewest neighbours first) and sending the
messages back. A closed circle of repeats costs no exactness.

Shapes: tables are int64 with one axis per variable. Source of the method: bucket elimination, R. Dechter,
Artificial Intelligence 113 (1999), 41-85.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

__all__ = ["Factor", "outside_costs"]

_LARGEST = 30_000_000  # entries in one table; beyond it a variable is tried value by value instead


@dataclass(frozen=True)
class Factor:
    """A table of costs over some variables; `table` has one axis for each, in that order."""

    variables: tuple[int, ...]
    table: np.ndarray


def outside_costs(
    factors: Sequence[Factor], wanted: Mapping[int, tuple[int, int]], sizes: Mapping[int, int]
) -> tuple[int, dict[int, np.ndarray]]:
    """The least total, and for each factor index in `wanted` the least cost of all other factors for every pair of
    values of the two variables given with it. `sizes` is how many values each variable has."""
    order, largest = _order(factors, sizes)
    if largest > _LARGEST:
        return _by_value(factors, wanted, sizes)
    position = {variable: k for k, variable in enumerate(order)}
    buckets: list[list[int]] = [[] for _ in order]
    for index, factor in enumerate(factors):
        buckets[min(position[v] for v in factor.variables)].append(index)
    children: list[list[int]] = [[] for _ in order]
    messages: list[Factor | None] = [None] * len(order)
    parent = [-1] * len(order)
    total = 0
    for k, variable in enumerate(order):
        parts = [factors[i] for i in buckets[k]] + [_sent(messages[c]) for c in children[k]]
        joined = _sum(parts, sizes, (variable,))
        least = joined.table.min(axis=joined.variables.index(variable))
        rest = tuple(v for v in joined.variables if v != variable)
        floor = int(least.min())
        total += floor
        messages[k] = Factor(rest, least - floor)
        if rest:
            parent[k] = min(position[v] for v in rest)
            children[parent[k]].append(k)
    down: list[Factor | None] = [None] * len(order)
    outside: dict[int, np.ndarray] = {}
    for k in reversed(range(len(order))):
        own = [factors[i] for i in buckets[k]]
        from_parent = [down[k]] if parent[k] >= 0 else []
        sent = [messages[c] for c in children[k]]
        for at, c in enumerate(children[k]):
            others = [_sent(f) for f in [*own, *from_parent, *sent[:at], *sent[at + 1 :]]]
            keep = _sent(messages[c]).variables
            down[c] = _project(_sum(others, sizes, keep), keep)
        for at, i in enumerate(buckets[k]):
            if i in wanted:
                others = [_sent(f) for f in [*own[:at], *own[at + 1 :], *from_parent, *sent]]
                outside[i] = _project(_sum(others, sizes, wanted[i]), wanted[i]).table
    return total, outside


def _by_value(
    factors: Sequence[Factor], wanted: Mapping[int, tuple[int, int]], sizes: Mapping[int, int]
) -> tuple[int, dict[int, np.ndarray]]:
    """The same by fixing the most entangled variable to each of its values in turn."""
    degree: dict[int, int] = {}
    for factor in factors:
        for v in factor.variables:
            degree[v] = degree.get(v, 0) + len(factor.variables) - 1
    chosen = max(degree, key=lambda v: (degree[v] if sizes[v] > 1 else -1, -v))
    best: int | None = None
    result: dict[int, np.ndarray] = {
        i: np.full((sizes[a], sizes[b]), np.iinfo(np.int64).max // 4) for i, (a, b) in wanted.items()
    }
    for value in range(sizes[chosen]):
        fixed = [
            Factor(f.variables, np.take(f.table, [value], axis=f.variables.index(chosen)))
            if chosen in f.variables
            else f
            for f in factors
        ]
        total, part = outside_costs(fixed, wanted, {**sizes, chosen: 1})
        # What is outside is known only up to each run's own constant: bring all runs to one scale by their totals.
        for i, pair in wanted.items():
            own = fixed[i]
            part_total = int((part[i] + _project(own, pair).table).min())
            scaled = part[i] + (total - part_total)
            where: list[slice] = [slice(value, value + 1) if v == chosen else slice(None) for v in pair]
            np.minimum(result[i][tuple(where)], scaled, out=result[i][tuple(where)])
        best = total if best is None else min(best, total)
    assert best is not None
    return best, result


def _sent(factor: Factor | None) -> Factor:
    assert factor is not None
    return factor


def _sum(parts: Sequence[Factor], sizes: Mapping[int, int], more: Sequence[int]) -> Factor:
    """The sum of tables over all their variables, and over `more`."""
    variables = tuple(sorted({v for part in parts for v in part.variables} | set(more)))
    if not parts:
        return Factor(variables, np.zeros([sizes[v] for v in variables], dtype=np.int64))
    tables = []
    for part in parts:
        ranked = sorted(part.variables)
        table = np.transpose(part.table, [part.variables.index(v) for v in ranked])
        tables.append(table.reshape([sizes[v] if v in part.variables else 1 for v in variables]))
    total = reduce(np.add, tables)
    return Factor(variables, np.broadcast_to(total, [sizes[v] for v in variables]))


def _project(factor: Factor, keep: Sequence[int]) -> Factor:
    """The least over all variables but `keep`, with the axes in the order of `keep`."""
    axes = tuple(k for k, v in enumerate(factor.variables) if v not in keep)
    table = factor.table.min(axis=axes) if axes else factor.table
    rest = [v for v in factor.variables if v in keep]
    return Factor(tuple(keep), np.transpose(table, [rest.index(v) for v in keep]))


def _order(factors: Sequence[Factor], sizes: Mapping[int, int]) -> tuple[list[int], int]:
    """Variables by fewest neighbours at the time of elimination, and the size of the largest table on the way."""
    near: dict[int, set[int]] = {}
    for factor in factors:
        for v in factor.variables:
            near.setdefault(v, set()).update(factor.variables)
    for v, others in near.items():
        others.discard(v)
    heap = [(len(others), v) for v, others in near.items()]
    heapq.heapify(heap)
    order: list[int] = []
    done: set[int] = set()
    largest = 0
    while heap:
        count, v = heapq.heappop(heap)
        if v in done or count != len(near[v]):
            continue
        done.add(v)
        order.append(v)
        others = near.pop(v)
        size = sizes[v]
        for other in others:
            size *= sizes[other]
        largest = max(largest, size)
        for other in others:
            near[other] |= others
            near[other] -= {v, other}
            heapq.heappush(heap, (len(near[other]), other))
    return order, largest
