"""Loudness carried along a part: from dynamic marks and hairpins to a number for every note.

Scale: 0 = ppp … 1 = fff in equal steps, mf = 0.55 (MusicXML gives no scale; common practice, no source).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

__all__ = ["MEZZO_FORTE", "DynamicLine", "dynamic_level"]

MEZZO_FORTE = 0.55
_HAIRPIN_STEP = 0.14  # a hairpin with no mark at its end moves by one step
_LEVELS = {
    "pppppp": 0.0,
    "ppppp": 0.0,
    "pppp": 0.0,
    "ppp": 0.0,
    "pp": 0.14,
    "p": 0.28,
    "mp": 0.42,
    "mf": MEZZO_FORTE,
    "f": 0.7,
    "ff": 0.85,
    "fff": 1.0,
    "ffff": 1.0,
    "fffff": 1.0,
    "ffffff": 1.0,
    "n": 0.0,
    "fp": 0.28,  # loud at once, then soft: what follows is soft
    "sfp": 0.28,
    "sfpp": 0.14,
    "pf": 0.7,
}


def dynamic_level(name: str) -> float | None:
    """Level of a dynamic mark; None for one that only stresses a note (sf, sfz, rf, fz) or is unknown."""
    return _LEVELS.get(name.strip())


def percent_level(percent: float) -> float:
    """Level of MusicXML's playback dynamics: per cent of a MIDI velocity of 90; velocity 16 = ppp, 127 = fff."""
    return min(1.0, max(0.0, (0.9 * percent - 16) / 111))


class DynamicLine:
    """Level as a function of time: steps at marks, straight lines under hairpins. Times in ticks."""

    def __init__(self, marks: Sequence[tuple[int, float]], hairpins: Sequence[tuple[int, int, int]]) -> None:
        """`marks`: (tick, level); `hairpins`: (first tick, last tick, +1 louder or -1 softer)."""
        points = dict(marks)
        self._steps = sorted(points.items())
        self._ticks = [tick for tick, _ in self._steps]
        self._ramps: list[tuple[int, int, float, float]] = []
        for first, last, way in sorted(hairpins):
            if last <= first:
                continue
            start = self._step_at(first)
            at = bisect_right(self._ticks, first)
            inside = self._steps[at] if at < len(self._steps) else None
            if inside is not None and inside[0] <= last:
                end, last = inside[1], inside[0]
            else:
                end = min(1.0, max(0.0, start + way * _HAIRPIN_STEP))
                self._steps.insert(at, (last, end))
                self._ticks.insert(at, last)
            self._ramps.append((first, last, start, end))
        self._ramp_starts = [ramp[0] for ramp in self._ramps]

    def at(self, tick: int) -> float:
        """The level in force at a tick."""
        index = bisect_right(self._ramp_starts, tick) - 1
        if index >= 0:
            first, last, start, end = self._ramps[index]
            if tick < last:
                return round(start + (end - start) * (tick - first) / (last - first), 4)
        return self._step_at(tick)

    def _step_at(self, tick: int) -> float:
        at = bisect_right(self._ticks, tick)
        return self._steps[at - 1][1] if at else MEZZO_FORTE
