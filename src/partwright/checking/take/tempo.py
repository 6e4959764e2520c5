"""The take's own tempo curve, and how far each onset lies from it.

Around each onset a straight line of onset time over score time is fitted to its neighbours, the onset itself left out,
far ones weighing less; what strays from a first fit weighs less in the second. A slow bend of the tempo is thus no
error, a single note out of its row is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Placed", "against_own_tempo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """`late_s`: after (+) or before (-) where the neighbours lead to expect it; `seconds_per_quarter` there."""

    late_s: float
    seconds_per_quarter: float


def against_own_tempo(
    quarters: Sequence[float], onsets_s: Sequence[float], usable: Sequence[bool], *, window: int
) -> tuple[Placed | None, ...]:
    """For each onset its place against the curve of the usable ones around it; None where too few are."""
    at = np.array(quarters)
    time = np.array(onsets_s)
    good = np.array(usable)
    return tuple(_one(at, time, good, place, window) for place in range(len(at)))


def _one(
    at: npt.NDArray[np.float64], time: npt.NDArray[np.float64], good: npt.NDArray[np.bool_], place: int, window: int
) -> Placed | None:
    low, high = max(0, place - window), min(len(at), place + window + 1)
    rows = [i for i in range(low, high) if i != place and good[i]]
    if len(rows) < 4 or not (any(i < place for i in rows) or any(i > place for i in rows)):
        return None
    x, y = at[rows] - at[place], time[rows] - time[place]
    weights = 1.0 / (1.0 + (np.abs(x) / 3.0) ** 2)
    degree = 2 if sum(i < place for i in rows) >= 3 and sum(i > place for i in rows) >= 3 else 1
    curve = np.zeros(degree + 1)
    for _ in range(3):
        curve = np.polyfit(x, y, degree, w=np.sqrt(weights))
        rest = np.abs(y - np.polyval(curve, x))
        scale = max(0.01, 1.5 * float(np.median(rest)))
        weights = (1.0 / (1.0 + (np.abs(x) / 3.0) ** 2)) / (1.0 + (rest / scale) ** 2)
    return Placed(late_s=float(-curve[-1]), seconds_per_quarter=float(curve[-2]))
