"""The pitch inside a note to a fraction of a cent: YIN by FFT, near where the score says it should be.

After de Cheveigné and Kawahara, "YIN, a fundamental frequency estimator" (J. Acoust. Soc. Am. 111, 2002): the
difference function, its cumulative mean, the first dip. The lag is then read at the highest multiple of the period
that the window holds, where a given error of the lag is a smaller error of the pitch. Octaves are the score's: a weak
low fundamental cannot mislead, and a dip at half or a third of the expected period is looked at apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, rfft

from partwright.checking.take.read_recording import RATE_HZ, Samples

__all__ = ["Track", "pitch_track", "track_near"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Pitch frame by frame: centre time in seconds, frequency in Hz, and how far from periodic (0 = wholly periodic).

    Shapes (frames,). `near` is the aperiodicity at the expected pitch itself, `above` the least at a half or a third
    of its period.
    """

    time_s: Floats
    hz: Floats
    aperiodicity: Floats
    near: Floats
    above: Floats


def pitch_track(
    samples: Samples, *, rate_hz: int = RATE_HZ, low_hz: float = 55.0, high_hz: float = 1760.0, hop: int = 256
) -> Track:
    """The whole signal without a score: the first dip under 0.1, or the deepest one."""
    return _track(samples, 0, len(samples), rate_hz, None, low_hz, high_hz, hop, window=1024)


def track_near(
    samples: Samples, begin: int, end: int, expected_hz: float, *, hop: int = 256, reach_cents: float = 1350.0
) -> Track:
    """Samples `begin` … `end`, around an expected pitch: the dip nearest to it where it is nearly as deep as any."""
    ratio = 2 ** (reach_cents / 1200)
    window = int(min(1400, max(700, 4.5 * RATE_HZ / expected_hz)))
    return _track(
        samples, begin, end, RATE_HZ, expected_hz, expected_hz / ratio, expected_hz * ratio, hop, window=window
    )


def _track(
    samples: Samples,
    begin: int,
    end: int,
    rate: int,
    expected_hz: float | None,
    low_hz: float,
    high_hz: float,
    hop: int,
    *,
    window: int,
) -> Track:
    longest = int(rate / low_hz) + 3
    if expected_hz is not None:
        longest = max(longest, int(2.2 * rate / expected_hz))
    longest = max(longest, 420 if expected_hz is None else min(420, 4 * longest))
    span = window + longest
    starts = np.arange(begin, max(begin + 1, end - span + 1), hop)
    pieces = [
        _frames(samples, starts[first : first + 512], rate, window, longest, expected_hz, low_hz, high_hz)
        for first in range(0, len(starts), 512)
    ]
    hz, apart, near, above = (np.concatenate([piece[i] for piece in pieces]) for i in range(4))
    return Track(time_s=(starts + span / 2) / rate, hz=hz, aperiodicity=apart, near=near, above=above)


def _frames(
    samples: Samples,
    starts: npt.NDArray[np.intp],
    rate: int,
    window: int,
    longest: int,
    expected_hz: float | None,
    low_hz: float,
    high_hz: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    span = window + longest
    first, last = int(starts[0]), int(starts[-1]) + span
    piece = np.zeros(last - first, dtype=np.float32)
    have = np.asarray(samples[max(0, first) : min(len(samples), last)])
    piece[max(0, -first) : max(0, -first) + len(have)] = have
    rows = np.lib.stride_tricks.sliding_window_view(piece, span)[starts - first]
    rows = rows - rows.mean(axis=1, keepdims=True)
    size = 1 << (span - 1).bit_length()
    whole = rfft(rows, size, axis=1)
    head = rfft(rows[:, :window], size, axis=1)
    cross = irfft(whole * np.conj(head), size, axis=1)[:, : longest + 1]
    energy = np.cumsum(np.square(rows, dtype=np.float64), axis=1)
    energy = np.pad(energy, ((0, 0), (1, 0)))
    lags = np.arange(longest + 1)
    moved = energy[:, lags + window] - energy[:, lags]
    difference = np.maximum(moved[:, :1] + moved - 2 * cross, 0.0)
    running = np.cumsum(difference[:, 1:], axis=1)
    normal = np.ones_like(difference)
    normal[:, 1:] = difference[:, 1:] * lags[1:] / np.maximum(running, 1e-12)
    shortest = max(2, int(rate / high_hz))
    farthest = min(longest - 1, int(rate / low_hz) + 1)
    inner = normal[:, 1:-1]
    dip = (inner <= normal[:, :-2]) & (inner < normal[:, 2:])
    dip = np.pad(dip, ((0, 0), (1, 1)))
    dip[:, :shortest] = dip[:, farthest + 1 :] = False
    index = np.arange(len(starts))
    values = np.where(dip, normal, 2.0)
    near = np.ones(len(starts))
    above = np.ones(len(starts))
    if expected_hz is None:
        good = values < 0.1
        lag = np.where(good.any(axis=1), np.argmax(good, axis=1), np.argmin(values, axis=1))
    else:
        period = rate / expected_hz
        # Both a multiple and a fraction of a period can be as deep: an octave away is the same note to this measure.
        lag = np.argmin(values, axis=1)
        deepest = values[index, lag]
        low, high = math.floor(period * 2 ** (-65 / 1200)), math.ceil(period * 2 ** (65 / 1200))
        close = np.argmin(values[:, low : high + 1], axis=1) + low
        near = values[index, close]
        lag = np.where(near <= deepest + 0.08, close, lag)
        # At its own place no dip may be wider than the note: a neighbour a semitone away is not near.
        near = np.where(np.abs(1200 * np.log2(close / period)) < 75, near, 1.0)
        for part in (2, 3):
            place = period / part
            a, b = math.floor(place * 0.97), math.ceil(place * 1.03)
            if a > 3:
                above = np.minimum(above, normal[:, a : b + 1].min(axis=1))
    depth = values[index, lag]
    return _refined(difference, lag, longest, rate), depth, near, above


def _refined(difference: Floats, lag: npt.NDArray[np.intp], longest: int, rate: int) -> Floats:
    """The period read by a parabola at its dip, then at the largest multiple inside the window."""
    period = _parabola(difference, lag)
    for multiple in (2, 4, 8, 16):
        target = period * multiple
        reach = target + 0.25 * period < longest - 1
        if not reach.any():
            break
        rows = np.flatnonzero(reach)
        centre = np.rint(target[rows]).astype(np.intp)
        width = np.maximum(1, (0.2 * period[rows]).astype(np.intp))
        best = centre.copy()
        value = difference[rows, centre]
        for offset in range(1, int(width.max()) + 1):
            for sign in (-1, 1):
                place = centre + sign * offset
                allowed = (offset <= width) & (place < longest)
                here = difference[rows, np.where(allowed, place, centre)]
                better = allowed & (here < value)
                best[better], value[better] = place[better], here[better]
        finer = _parabola(difference[rows], best) / multiple
        agrees = np.abs(finer / period[rows] - 1) < 0.02
        period[rows[agrees]] = finer[agrees]
    return rate / np.maximum(period, 1.0)


def _parabola(difference: Floats, lag: npt.NDArray[np.intp]) -> Floats:
    index = np.arange(len(lag))
    lag = np.clip(lag, 1, difference.shape[1] - 2)
    a, b, c = difference[index, lag - 1], difference[index, lag], difference[index, lag + 1]
    bend = a - 2 * b + c
    shift = np.where(bend > 0, 0.5 * (a - c) / np.maximum(bend, 1e-12), 0.0)
    result: Floats = lag + np.clip(shift, -1.0, 1.0)
    return result
