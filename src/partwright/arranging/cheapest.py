"""The cheapest row of choices, one from each column, where neighbours cost something together: found exactly.

Method: dynamic programming (Viterbi 1967). Of equally cheap choices the one named first is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

__all__ = ["cheapest_row"]


def cheapest_row(own: Sequence[Sequence[float]], join: Callable[[int, int, int], float]) -> list[int]:
    """For each column the index of the choice taken.

    `own[k][a]` is the price of choice a of column k in itself; `join(k, a, b)` that of going from choice a of column k
    to choice b of the next. No column may be empty.

    >>> cheapest_row([[0, 1], [5, 0], [0, 1]], lambda k, a, b: 2 * (a != b))
    [1, 1, 1]
    """
    if not own:
        return []
    best = list(own[0])
    came: list[list[int]] = []
    for k, prices in enumerate(own[1:]):
        step, totals = [], []
        for b, price in enumerate(prices):
            costs = [total + join(k, a, b) for a, total in enumerate(best)]
            a = min(range(len(costs)), key=costs.__getitem__)
            step.append(a)
            totals.append(costs[a] + price)
        came.append(step)
        best = totals
    index = min(range(len(best)), key=best.__getitem__)
    row = [index]
    for step in reversed(came):
        index = step[index]
        row.append(index)
    return row[::-1]
