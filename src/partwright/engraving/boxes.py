"""Boxes, and the first free height beside others: the arithmetic under all placing.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["Box", "Shapes", "overlap", "settle_down", "settle_up", "union"]


class Box(NamedTuple):
    """Left, top, right, bottom; y downwards."""

    left: float
    top: float
    right: float
    bottom: float


def overlap(a: Box, b: Box, gap: float = 0.0) -> bool:
    """Whether two boxes come closer than `gap`."""
    return a.left < b.right + gap and b.left < a.right + gap and a.top < b.bottom + gap and b.top < a.bottom + gap


def union(boxes: list[Box]) -> Box | None:
    """The box around all of them; None for none."""
    if not boxes:
        return None
    return Box(
        min(b.left for b in boxes), min(b.top for b in boxes), max(b.right for b in boxes), max(b.bottom for b in boxes)
    )


class Shapes:
    """Boxes to keep clear of, found by column."""

    _COLUMN = 400.0

    def __init__(self) -> None:
        self._columns: dict[int, list[Box]] = {}

    def add(self, box: Box) -> None:
        """One more box to keep clear of."""
        for column in range(int(box.left // self._COLUMN), int(box.right // self._COLUMN) + 1):
            self._columns.setdefault(column, []).append(box)

    def between(self, left: float, right: float) -> list[Box]:
        """Boxes that reach into this stretch; one that spans several columns may come more than once."""
        found: list[Box] = []
        for column in range(int(left // self._COLUMN), int(right // self._COLUMN) + 1):
            found += [b for b in self._columns.get(column, ()) if b.left < right and left < b.right]
        return found


def _pass_up(spans: list[tuple[float, float]], bottom: float, height: float, gap: float) -> float:
    for top, low in sorted(spans, key=lambda span: -span[1]):
        if low + gap > bottom - height and top - gap < bottom:
            bottom = top - gap
    return bottom


def settle_up(spans: list[tuple[float, float]], bottom: float, height: float, gap: float) -> float:
    """The nearest y at or above `bottom` where a box of this height stands `gap` clear of all spans (top, bottom).

    >>> settle_up([(0.0, 50.0)], 60.0, 20.0, 5.0), settle_up([(0.0, 50.0)], 80.0, 20.0, 5.0)
    (-5.0, 80.0)
    """
    while True:
        moved = _pass_up(spans, bottom, height, gap)
        if moved == bottom:
            return bottom
        bottom = moved


def settle_down(spans: list[tuple[float, float]], top: float, height: float, gap: float) -> float:
    """The nearest y at or below `top` where a box of this height, hanging from it, stands `gap` clear of all spans.

    >>> settle_down([(0.0, 50.0)], 40.0, 20.0, 5.0)
    55.0
    """
    return -settle_up([(-low, -high) for high, low in spans], -top, height, gap)
