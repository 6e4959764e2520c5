"""Programme loudness and true peak, and the gain that brings a signal to a target.

Source: ITU-R BS.1770-4 (K weighting, 400 ms blocks with 75 % overlap, gates at −70 LUFS and −10 LU; annex 2 for the
true peak) as used by EBU R 128. The weighting filter is given there for 48 kHz only; for other rates the analogue
prototype that has those coefficients is transformed again (B. De Man, "Evaluation of implementations of the EBU R128
loudness measurement", AES 145, 2018).

Samples: shape (channels, frames); mono may be (frames,). Loudness in LUFS, peaks in dBTP.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.ndimage import minimum_filter1d, uniform_filter1d
from scipy.signal import firwin, sosfilt

__all__ = ["Limiter", "Meter", "integrated_lufs", "level_gain", "short_term_lufs", "true_peak_dbtp"]

_BLOCK_S, _STEP_S = 0.4, 0.1
_ABSOLUTE_LUFS, _RELATIVE_LU = -70.0, -10.0
_OVERSAMPLING = 4
_PIECE = 1 << 12
_MARGIN = 0.99
Floats = npt.NDArray[np.floating]


def integrated_lufs(samples: Floats, rate_hz: int) -> float:
    """Gated programme loudness; −inf for silence and for anything shorter than one block of 0.4 s.

    One or two channels, each weighted 1. A mono signal counts as one channel: played on two loudspeakers it is 3 LU
    louder, so write it to both before measuring if that is how it will be heard.
    """
    return _gated(_block_power(_channels(samples), rate_hz, _BLOCK_S, _STEP_S))


def _gated(power: npt.NDArray[np.float64]) -> float:
    """Loudness of what passes both gates, from the mean square of each block."""
    if not len(power):
        return -math.inf
    with np.errstate(divide="ignore"):
        loudness = -0.691 + 10 * np.log10(power)
    kept = power[loudness > _ABSOLUTE_LUFS]
    if not len(kept):
        return -math.inf
    gate = -0.691 + 10 * math.log10(float(kept.mean())) + _RELATIVE_LU
    kept = power[(loudness > gate) & (loudness > _ABSOLUTE_LUFS)]
    return -0.691 + 10 * math.log10(float(kept.mean()))


def short_term_lufs(samples: Floats, rate_hz: int) -> npt.NDArray[np.float64]:
    """Loudness over 3 s windows, ten a second, not gated (EBU Tech 3341). Shape (windows,)."""
    power = _block_power(_channels(samples), rate_hz, 3.0, _STEP_S)
    with np.errstate(divide="ignore"):
        return -0.691 + 10 * np.log10(power)


def true_peak_dbtp(samples: Floats) -> float:
    """The highest peak between the samples, by fourfold oversampling; −inf for silence.

    Stretches whose samples cannot reach the peak found so far, whatever lies between them, are passed over.
    """
    data = _channels(samples)
    filters = _interpolators()
    reach = float(np.abs(filters).sum(axis=1).max())
    best = float(np.abs(data).max(initial=0.0))
    if best == 0.0:
        return -math.inf
    half = filters.shape[1] // 2 + 1
    if len(data) == 2 and np.array_equal(data[0], data[1]):
        data = data[:1]
    for channel in data:
        frames = len(channel)
        starts = np.arange(0, frames, _PIECE)
        highest = np.maximum.reduceat(np.abs(channel), starts)
        for k in np.argsort(-highest):
            if highest[max(0, k - 1) : k + 2].max() * reach <= best:
                continue
            begin, end = starts[k] - half, starts[k] + _PIECE + half
            piece = channel[max(0, begin) : end].astype(np.float64)
            if begin < 0 or end > frames:  # only the true ends are followed by silence
                piece = np.pad(piece, (max(0, -begin), max(0, end - frames)))
            for taps in filters:
                best = max(best, float(np.abs(np.convolve(piece, taps, mode="valid")).max()))
    return 20 * math.log10(best)


def level_gain(
    samples: Floats,
    rate_hz: int,
    *,
    target_lufs: float,
    ceiling_dbtp: float = -1.0,
) -> npt.NDArray[np.float32]:
    """A gain for every frame that brings the signal to the target and its true peak under the ceiling.

    The same gain on the parts of a mix leaves their sum the mix. Peaks are turned down smoothly over about 10 ms; where
    much is turned down the rest is raised so that the target holds. Silence gets a gain of 1. Shape (frames,).
    """
    data = _channels(samples)
    frames = data.shape[1]
    loudness = integrated_lufs(data, rate_hz)
    if loudness == -math.inf:
        peak = true_peak_dbtp(data)
        lowered = min(0.0, ceiling_dbtp - peak) if peak > -math.inf else 0.0
        return np.full(frames, 10 ** (lowered / 20), dtype=np.float32)
    steady = 10 ** ((target_lufs - loudness) / 20)
    envelope = _peak_envelope(data, rate_hz)
    highest = float(envelope.max())
    limit = 10 ** (ceiling_dbtp / 20)
    ceiling = limit * _MARGIN
    gain = np.full(frames, steady, dtype=np.float32)
    for _ in range(5):
        limited = highest * steady > ceiling
        if limited:
            gain = (steady * _turned_down(envelope * np.float32(steady), ceiling, rate_hz)).astype(np.float32)
        else:
            gain[:] = steady
        turned = data * gain
        # An oversampled peak is seldom a fifth above the highest sample; where nothing comes near, none is looked for.
        over = 10 ** (true_peak_dbtp(turned) / 20) / limit if highest * steady > 0.8 * limit else 0.0
        shortfall = target_lufs - integrated_lufs(turned, rate_hz) if limited else 0.0
        if over <= 1.0 and abs(shortfall) < 0.05:
            return gain
        if over > 1.0:
            ceiling *= _MARGIN / over
        steady *= 10 ** (shortfall / 20)
    last = true_peak_dbtp(data * gain) - ceiling_dbtp
    return gain * np.float32(10 ** (-max(0.0, last) / 20))


class Meter:
    """Loudness and true peak of a signal that comes in pieces; it keeps ten numbers a second.

    `push` pieces of shape (channels, frames); read `lufs` and `true_peak_dbtp` at the end.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._step = round(_STEP_S * rate_hz)
        self._filters = _k_weighting(rate_hz)
        self._state = np.zeros((len(self._filters), channels, 2))
        self._rest = np.zeros((channels, 0))
        self._powers: list[npt.NDArray[np.float64]] = []
        self._edge = np.zeros((channels, 0))
        self._peak = 0.0

    def push(self, piece: Floats) -> None:
        weighted, self._state = sosfilt(self._filters, piece.astype(np.float64), axis=-1, zi=self._state)
        ready = np.concatenate([self._rest, weighted], axis=1)
        count = ready.shape[1] // self._step
        whole = ready[:, : count * self._step].reshape(len(ready), count, self._step)
        self._powers.append(np.einsum("cij,cij->i", whole, whole) / self._step)
        self._rest = ready[:, count * self._step :]
        joined = np.concatenate([self._edge, piece], axis=1)
        self._edge = joined[:, -64:]
        level = true_peak_dbtp(joined)
        self._peak = max(self._peak, 10 ** (level / 20) if level > -math.inf else 0.0)

    @property
    def lufs(self) -> float:
        steps = round(_BLOCK_S / _STEP_S)
        power = np.concatenate(self._powers) if self._powers else np.zeros(0)
        return _gated(np.convolve(power, np.full(steps, 1 / steps), mode="valid") if len(power) >= steps else power[:0])

    @property
    def true_peak_dbtp(self) -> float:
        return 20 * math.log10(self._peak) if self._peak > 0 else -math.inf


class Limiter:
    """Holds the peaks of a signal that comes in pieces under a ceiling; gives out as many frames as it takes in.

    Each `push` gives what is settled; `finish` gives the rest.
    """

    def __init__(self, rate_hz: int, ceiling_dbtp: float) -> None:
        self._rate = rate_hz
        self._ceiling = 10 ** ((ceiling_dbtp - 0.1) / 20)
        self._margin = 3 * (max(3, round(0.01 * rate_hz)) | 1)
        self._held: npt.NDArray[np.float32] | None = None
        self._settled = 0  # frames of `_held` that were given out already

    def push(self, piece: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        self._held = piece if self._held is None else np.concatenate([self._held, piece], axis=1)
        return self._out(self._held.shape[1] - self._margin)

    def finish(self, channels: int) -> npt.NDArray[np.float32]:
        if self._held is None:
            return np.zeros((channels, 0), dtype=np.float32)
        return self._out(self._held.shape[1])

    def _out(self, until: int) -> npt.NDArray[np.float32]:
        assert self._held is not None
        until = max(until, self._settled)
        made = self._held[:, self._settled : until]
        if made.size and float(np.abs(self._held).max()) * 1.06 > self._ceiling:
            gain = _turned_down(_peak_envelope(self._held, self._rate), self._ceiling, self._rate)
            made = made * gain[self._settled : until]
        kept = max(0, until - self._margin)
        self._held = self._held[:, kept:]
        self._settled = until - kept
        return made


def _peak_envelope(data: Floats, rate_hz: int) -> npt.NDArray[np.float32]:
    """Sample peaks of all channels with half a decibel put on for what lies between the samples."""
    peaks: npt.NDArray[np.float32] = np.abs(data[0]).astype(np.float32)
    for channel in data[1:]:
        np.maximum(peaks, np.abs(channel), out=peaks, casting="same_kind")
    peaks *= np.float32(1.06)
    return peaks


def _turned_down(envelope: npt.NDArray[np.float32], ceiling: float, rate_hz: int) -> npt.NDArray[np.float32]:
    """1 where nothing exceeds the ceiling, less around what does; smooth, and never too little."""
    gain = np.ones(len(envelope), dtype=np.float32)
    width = max(3, round(0.01 * rate_hz)) | 1
    margin = 3 * width
    exceeding = np.flatnonzero(envelope > ceiling)
    if not len(exceeding):
        return gain
    # Only stretches around what exceeds are worked on; far from it the gain is 1.
    breaks = np.flatnonzero(np.diff(exceeding) > 2 * margin)
    firsts = exceeding[np.concatenate([[0], breaks + 1])]
    lasts = exceeding[np.concatenate([breaks, [len(exceeding) - 1]])]
    for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
        part = slice(max(0, first - margin), min(len(envelope), last + 1 + margin))
        wanted = np.minimum(np.float32(1.0), np.float32(ceiling) / np.maximum(envelope[part], np.float32(1e-9)))
        lowest = minimum_filter1d(wanted, 2 * width + 1)
        gain[part] = uniform_filter1d(uniform_filter1d(lowest, width), width)
    return gain


def _block_power(data: Floats, rate_hz: int, block_s: float, step_s: float) -> npt.NDArray[np.float64]:
    """Mean square of the weighted signal over each block, channels summed."""
    step, steps = round(step_s * rate_hz), round(block_s / step_s)
    count = data.shape[1] // step
    if count < steps:
        return np.zeros(0)
    total = np.zeros(count)
    filters = _k_weighting(rate_hz)
    alike = len(data) == 2 and np.array_equal(data[0], data[1])  # most of what we make lies in the middle
    for channel in data[:1] if alike else data:
        state = np.zeros((len(filters), 2))
        for first in range(0, count, 16):  # a little at a time stays in the processor's cache
            last = min(count, first + 16)
            piece = channel[first * step : last * step].astype(np.float64)
            weighted, state = sosfilt(filters, piece, zi=state)
            rows = weighted.reshape(last - first, step)
            total[first:last] += np.einsum("ij,ij->i", rows, rows) / step
    if alike:
        total *= 2
    return np.convolve(total, np.full(steps, 1 / steps), mode="valid")


def _channels(samples: Floats) -> Floats:
    return samples[np.newaxis] if samples.ndim == 1 else samples


@lru_cache(maxsize=16)
def _k_weighting(rate_hz: int) -> npt.NDArray[np.float64]:
    """The two sections of BS.1770's weighting for any sample rate. Shape (2, 6)."""
    # The analogue prototype behind the published 48 kHz coefficients.
    high_hz, gain_db, quality = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    k = math.tan(math.pi * high_hz / rate_hz)
    vh = 10 ** (gain_db / 20)
    vb = vh**0.4996667741545416
    a0 = 1 + k / quality + k * k
    shelf = [
        (vh + vb * k / quality + k * k) / a0,
        2 * (k * k - vh) / a0,
        (vh - vb * k / quality + k * k) / a0,
        1.0,
        2 * (k * k - 1) / a0,
        (1 - k / quality + k * k) / a0,
    ]
    low_hz, quality = 38.13547087602444, 0.5003270373238773
    k = math.tan(math.pi * low_hz / rate_hz)
    a0 = 1 + k / quality + k * k
    cut = [1.0, -2.0, 1.0, 1.0, 2 * (k * k - 1) / a0, (1 - k / quality + k * k) / a0]
    return np.array([shelf, cut])


@lru_cache(maxsize=1)
def _interpolators() -> npt.NDArray[np.float64]:
    """Filters that give the signal a quarter, a half and three quarters of a sample on. Shape (3, taps)."""
    taps = 33
    prototype = firwin(taps * _OVERSAMPLING, 1 / _OVERSAMPLING, window=("kaiser", 8.0)) * _OVERSAMPLING
    phases = prototype.reshape(taps, _OVERSAMPLING).T
    return np.ascontiguousarray(phases)
