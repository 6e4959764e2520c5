"""One note's sound, measured: its pitch and vibrato, its level, what else was heard. Numbers only, no verdicts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partwright.checking.take.pitch import Track, track_near
from partwright.checking.take.read_recording import RATE_HZ, Samples

__all__ = ["Measured", "Vibrato", "measure_note"]

_HOP_S = 256 / RATE_HZ


@dataclass(frozen=True, slots=True, kw_only=True)
class Vibrato:
    """Rate in Hz, and how far the pitch swings to either side of its centre, in cents."""

    rate_hz: float
    half_width_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """`cents` is the centre of the pitch above (+) or below the expected one, `uncertainty_cents` its standard error;
    both None where no steady pitch was heard. `clear` is the share of the note's middle with a pitch at all, `near`
    the share in which the expected pitch itself is one that the sound repeats at, `steady` how many frames agree.
    """

    cents: float | None
    uncertainty_cents: float | None
    clear: float
    near: float
    frames: int
    vibrato: Vibrato | None = None
    octave_up: bool = False
    drift_cents: float = 0.0  # second half against first half
    second_cents: float | None = None  # a further steady pitch inside the note, and when it starts
    second_s: float | None = None
    second_share: float = 0.0


def measure_note(
    samples: Samples, start_s: float, end_s: float, expected_hz: float, *, limit: float, lead_s: float = 0.055
) -> Measured:
    """The note from `start_s` to `end_s`. `limit`: aperiodicity above which a frame has no clear pitch.

    The first moments, in which the bow bites and the finger slides, are left out, and so are the last.
    """
    length = end_s - start_s
    begin = start_s + min(lead_s, 0.25 * length)
    finish = end_s - min(0.03, 0.15 * length)
    track = track_near(samples, round(begin * RATE_HZ), round(finish * RATE_HZ), expected_hz)
    if len(track.hz) == 0:
        return Measured(cents=None, uncertainty_cents=None, clear=0.0, near=0.0, frames=0)
    good = (track.aperiodicity < limit) & np.isfinite(track.hz) & (track.hz > 0)
    clear = float(good.mean())
    near = float((track.near < limit).mean())
    if good.sum() < 3:
        return Measured(cents=None, uncertainty_cents=None, clear=clear, near=near, frames=int(good.sum()))
    cents = 1200 * np.log2(track.hz / expected_hz)
    group = _largest_group(cents, good)
    chosen = cents[group]
    centre, error, vibrato = _centre(chosen)
    octave = bool(np.median(track.above[group]) < np.median(track.aperiodicity[group]) + 0.06)
    second = _second(track, cents, good, group)
    half = len(chosen) // 2
    drift = float(np.median(chosen[half:]) - np.median(chosen[:half])) if half >= 4 else 0.0
    return Measured(
        cents=centre,
        uncertainty_cents=error,
        clear=clear,
        near=near,
        frames=int(group.sum()),
        vibrato=vibrato,
        octave_up=octave,
        drift_cents=drift,
        second_cents=second[0],
        second_s=second[1],
        second_share=second[2],
    )


def _largest_group(cents: npt.NDArray[np.float64], good: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Frames within 60 cents of the pitch most frames are near."""
    values = cents[good]
    near = np.abs(values[:, None] - values[None, :]) < 60
    centre = float(np.median(values[near[int(np.argmax(near.sum(axis=1)))]]))
    result: npt.NDArray[np.bool_] = good & (np.abs(cents - centre) < 60)
    return result


def _centre(cents: npt.NDArray[np.float64]) -> tuple[float, float, Vibrato | None]:
    """Centre, standard error, and vibrato where the pitch swings evenly 3.5 to 9 times a second."""
    count = len(cents)
    middle = float(np.median(cents))
    spread = 1.4826 * float(np.median(np.abs(cents - middle)))
    vibrato = _vibrato(cents)
    if vibrato is not None:
        period = 1 / (vibrato.rate_hz * _HOP_S)
        whole = max(1, int(count / period))
        span = min(count, round(whole * period))
        at = (count - span) // 2
        swing = cents[at : at + span]
        swing = np.clip(
            swing, middle - 2.5 * vibrato.half_width_cents - 10, middle + 2.5 * vibrato.half_width_cents + 10
        )
        return float(np.mean(swing)), max(0.5, vibrato.half_width_cents / math.sqrt(max(1, span)) * 0.8), vibrato
    return middle, max(0.3, 1.25 * spread / math.sqrt(max(1.0, count / 4))), None


def _vibrato(cents: npt.NDArray[np.float64]) -> Vibrato | None:
    count = len(cents)
    if count * _HOP_S < 0.3:
        return None
    time = np.arange(count) * _HOP_S
    line = cents - np.polyval(np.polyfit(time, cents, 1), time)
    line = np.clip(line, -90, 90)
    total = float(np.mean(line * line))
    if total < 2.0**2 / 2:
        return None
    rates = np.arange(3.5, 9.01, 0.1)
    phase = 2 * math.pi * rates[:, None] * time[None, :]
    power = (np.cos(phase) @ line) ** 2 + (np.sin(phase) @ line) ** 2
    best = int(np.argmax(power))
    if best in (0, len(rates) - 1):
        return None
    amplitude = 2 * math.sqrt(float(power[best])) / count
    if amplitude**2 / 2 < 0.5 * total or amplitude < 3:
        return None
    return Vibrato(rate_hz=float(rates[best]), half_width_cents=amplitude)


def _second(
    track: Track, cents: npt.NDArray[np.float64], good: npt.NDArray[np.bool_], group: npt.NDArray[np.bool_]
) -> tuple[float | None, float | None, float]:
    """Another steady pitch inside the note: at least 0.09 s in a row, over 70 cents away."""
    rest = good & (np.abs(cents - np.median(cents[group])) > 70)
    best = (0, 0)
    at = 0
    while at < len(rest):
        if not rest[at]:
            at += 1
            continue
        end = at + 1
        while end < len(rest) and rest[end] and abs(cents[end] - cents[end - 1]) < 35:
            end += 1
        if end - at > best[1] - best[0]:
            best = (at, end)
        at = end
    count = best[1] - best[0]
    if count * _HOP_S < 0.09:
        return None, None, 0.0
    # The steady part alone: a slide passes through many pitches.
    values = cents[best[0] : best[1]]
    if np.percentile(values, 80) - np.percentile(values, 20) > 60:
        return None, None, 0.0
    return float(np.median(values)), float(track.time_s[best[0]]), count / len(cents)
