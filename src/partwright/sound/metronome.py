"""The click: a bar accent, beats, subdivisions; the count-in is the beats before the music."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from partwright.errors import InputError
from partwright.score import Part
from partwright.sound.timing import TimedBeat, TimingMap, beat_step

__all__ = ["Click", "clicks", "render_click"]

Click = tuple[float, float]
"""Seconds, and strength: 1 a bar's first beat, about 0.7 another beat, less a subdivision."""

_BEAT, _SUBDIVISION = 0.7, 0.3
_HIGH_HZ, _LOW_HZ = 1568.0, 1175.0


def clicks(part: Part, timing: TimingMap, *, subdivide: int = 1, only_count_in: bool = False) -> tuple[Click, ...]:
    """Every click of a product. `subdivide` divides each beat evenly (1: beats only, at most 4).

    Subdivisions follow the tempo within the beat. Raises InputError for a subdivision that is none.
    """
    if not 1 <= subdivide <= 4:
        raise InputError(f"a beat cannot be divided by {subdivide} here", "Choose 1, 2, 3 or 4.")
    found: list[Click] = []
    ends = [beat.seconds for beat in timing.beats[1:]] + [timing.seconds]
    for beat, following in zip(timing.beats, ends, strict=True):
        if only_count_in and not beat.count_in:
            continue
        found.append((beat.seconds, 1.0 if beat.strong else _BEAT))
        if not beat.count_in and subdivide > 1:
            found += [(at, _SUBDIVISION) for at in _between(part, timing, beat, following, subdivide)]
    return tuple(found)


def _between(part: Part, timing: TimingMap, beat: TimedBeat, following: float, subdivide: int) -> list[float]:
    played = timing.bar_at(beat.seconds)
    if played is None:
        return []
    bar = part.bars[played.bar_index]
    width = beat_step(bar) * Fraction(4, bar.beat_type)
    start = timing.quarters_at(beat.seconds)
    places = (timing.seconds_at(start + float(width) * k / subdivide) for k in range(1, subdivide))
    return [at for at in places if at < following - 1e-6]


def render_click(found: tuple[Click, ...], *, seconds: float, sample_rate_hz: int) -> npt.NDArray[np.float32]:
    """The clicks as mono samples: short wooden strokes that start on their sample."""
    sound = np.zeros(round(seconds * sample_rate_hz), dtype=np.float32)
    for at, strength in found:
        stroke = _stroke(strength, sample_rate_hz)
        first = round(at * sample_rate_hz)
        end = min(len(sound), first + len(stroke))
        if first < end:
            sound[first:end] += stroke[: end - first]
    return sound


def _stroke(strength: float, rate: int) -> npt.NDArray[np.float32]:
    t = np.arange(round(0.05 * rate)) / rate
    hz = _HIGH_HZ if strength >= 1.0 else _LOW_HZ
    tone = np.sin(2 * math.pi * hz * t) + 0.4 * np.sin(2 * math.pi * 2.71 * hz * t) * np.exp(-t / 0.004)
    fade = np.exp(-t / 0.011) * np.minimum(1.0, t / 0.0006) * np.clip((0.05 - t) / 0.01, 0, 1)
    stroke: npt.NDArray[np.float32] = (0.35 * strength * tone * fade).astype(np.float32)
    return stroke
