"""Which line of music goes on which page, and how far apart.

Units: hundredths of a millimetre. Method: the fewest pages that hold everything; among those, dynamic programming
over the possible breaks, dear where a turn would leave the player no hand free, cheap where a rest stands at either
side of it, and pages evenly filled otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["LineBox", "Spot", "paginate", "space_out"]

LEAST_GAP = 330.0  # between the lowest sign of one system and the highest of the next
NATURAL_GAP = 560.0
WIDEST_GAP = 1150.0
TURN_PENALTY = 0.6
"""What a turn without a rest costs, as the square of the share of a page left empty."""


@dataclass(frozen=True, slots=True)
class LineBox:
    """A system's height, and whether the player has a rest before or after it."""

    height: float
    rest_at_start: bool = False
    rest_at_end: bool = False


@dataclass(frozen=True, slots=True)
class Spot:
    """One system on its page: index of the page from 0, y of its top."""

    page: int
    top: float


def paginate(lines: Sequence[LineBox], first_height: float, height: float) -> tuple[tuple[int, int], ...]:
    """Ranges of lines per page, (first, end). A line taller than a page stands alone on one."""
    count = len(lines)
    if count == 0:
        return ()
    fewest = [0] + [10**9] * count  # pages needed for the first n lines
    best = [0.0] + [float("inf")] * count
    came = [0] * (count + 1)
    for end in range(1, count + 1):
        used = 0.0
        for start in range(end - 1, -1, -1):
            used += lines[start].height + (LEAST_GAP if start < end - 1 else 0.0)
            if fewest[start] >= 10**9:
                continue
            room = first_height if start == 0 else height
            if used > room and start < end - 1:
                if start == 0 or used > max(first_height, height):
                    break
                continue
            pages = fewest[start] + 1
            cost = best[start]
            if end < count:
                cost += ((room - used) / room) ** 2 if used <= room else 0.0
                if not (lines[end - 1].rest_at_end or lines[end].rest_at_start):
                    cost += TURN_PENALTY
            if (pages, cost) < (fewest[end], best[end]):
                fewest[end], best[end], came[end] = pages, cost, start
    ranges: list[tuple[int, int]] = []
    end = count
    while end > 0:
        ranges.append((came[end], end))
        end = came[end]
    return tuple(reversed(ranges))


def space_out(heights: Sequence[float], room: float, *, widest: float = WIDEST_GAP) -> tuple[float, ...]:
    """Tops of the lines of one page from 0, spread evenly up to the widest gap.

    For the last page `widest` is the gap of the page before it, so that the two look alike.

    >>> space_out([1000.0, 1000.0], 9000.0, widest=500.0)
    (0.0, 1500.0)
    """
    gaps = len(heights) - 1
    if gaps <= 0:
        return (0.0,) * len(heights)
    spare = (room - sum(heights)) / gaps
    gap = min(spare, widest)
    tops = []
    top = 0.0
    for height in heights:
        tops.append(top)
        top += height + gap
    return tuple(tops)
