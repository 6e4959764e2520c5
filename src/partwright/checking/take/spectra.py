"""What a moment sounds like: spectra on a scale of semitones, likened to the overtones of every pitch.

A frame's magnitude is read at a third of a semitone, its square root taken (so that loud partials do not drown the
rest) and its surroundings subtracted (so that noise and room count little). Its likeness to a pitch is the cosine with
what that pitch's partials look like through the same window; a softmax over all pitches makes that a probability.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft
from scipy.ndimage import uniform_filter1d
from scipy.sparse import csr_array

from partwright.checking.take.read_recording import RATE_HZ, Samples

__all__ = ["Hearing", "estimate_tuning", "frames_of", "magnitudes_of", "onset_strength", "pitch_sets"]

Floats = npt.NDArray[np.float32]

_PER_SEMITONE = 3
_LOWEST_MIDI, _HIGHEST_MIDI = 33, 112
_PARTIALS = 16
_SHARPNESS = 16.0  # of the softmax; a rendered test set decides
_NOISE = 0.42  # likeness at which a frame is as much noise as pitch
_BLOCK = 1024


def frames_of(samples: Samples, *, window: int, hop: int, block: int = _BLOCK) -> Iterator[tuple[int, Floats]]:
    """Blocks of windowed frames (first frame's number, shape (frames, window)); frame k is centred on k × hop."""
    count = 1 + len(samples) // hop
    shape = np.hanning(window + 1)[:-1].astype(np.float32)
    half = window // 2
    for first in range(0, count, block):
        last = min(count, first + block)
        begin, end = first * hop - half, (last - 1) * hop + half
        piece = np.zeros(end - begin, dtype=np.float32)
        low, high = max(0, begin), min(len(samples), end)
        if high > low:
            piece[low - begin : high - begin] = samples[low:high]
        rows = np.lib.stride_tricks.sliding_window_view(piece, window)[::hop]
        yield first, rows[: last - first] * shape


def magnitudes_of(frames: Floats) -> Floats:
    """Magnitudes of the frames' spectra, shape (frames, window / 2 + 1)."""
    found: Floats = np.abs(rfft(frames, axis=1))
    return found


@dataclass(frozen=True, kw_only=True)
class Hearing:
    """Likeness of frames to pitch sets, at one window and one tuning (cents from A = 440 Hz)."""

    window: int
    tuning_cents: float
    sets: tuple[tuple[int, ...], ...]  # pitch sets as MIDI numbers
    top_hz: float = RATE_HZ / 2

    @cached_property
    def _centres_hz(self) -> npt.NDArray[np.float64]:
        steps = np.arange(_LOWEST_MIDI * _PER_SEMITONE, _HIGHEST_MIDI * _PER_SEMITONE + 1) / _PER_SEMITONE
        centres: npt.NDArray[np.float64] = 440.0 * 2 ** ((steps - 69 + self.tuning_cents / 100) / 12)
        return centres[centres < 0.92 * self.top_hz]

    @cached_property
    def _bands(self) -> Any:
        """Sparse, shape (bands, bins): interpolated where bands are narrower than bins, a triangle where wider."""
        bins = np.arange(self.window // 2 + 1) * RATE_HZ / self.window
        centres = self._centres_hz
        width = np.maximum(centres * (2 ** (1 / (12 * _PER_SEMITONE)) - 1), RATE_HZ / self.window)
        weights = np.maximum(0.0, 1.0 - np.abs(bins[:, None] - centres[None, :]) / width[None, :])
        weights /= np.maximum(weights.sum(axis=0, keepdims=True), 1e-9)
        return csr_array(weights.T.astype(np.float32))

    def _shaped(self, magnitudes: Floats) -> Floats:
        """Magnitudes (frames, bins) as unit vectors (frames, bands)."""
        bands = np.sqrt((self._bands @ magnitudes.T).T)
        around = 8 * _PER_SEMITONE
        bands = np.maximum(0.0, bands - uniform_filter1d(bands, 2 * around + 1, axis=1, mode="nearest"))
        norm = np.sqrt(np.sum(bands * bands, axis=1, keepdims=True))
        result: Floats = bands / np.maximum(norm, 1e-12)
        return result

    @cached_property
    def _templates(self) -> Floats:
        """Shape (bands, sets): what each pitch set looks like through this window."""
        bins = np.arange(self.window // 2 + 1) * RATE_HZ / self.window
        width = 2.0 * RATE_HZ / self.window
        rows = np.zeros((len(self.sets), len(bins)))
        for row, pitches in zip(rows, self.sets, strict=True):
            for midi in pitches:
                f0 = 440.0 * 2 ** ((midi - 69 + self.tuning_cents / 100) / 12)
                for n in range(1, _PARTIALS + 1):
                    if n * f0 > 0.92 * self.top_hz:
                        break
                    distance = np.abs(bins - n * f0) / width
                    row += n**-0.9 * np.where(distance < 1, np.cos(math.pi / 2 * np.minimum(distance, 1)) ** 2, 0.0)
        return self._shaped(rows.astype(np.float32)).T.copy()

    def likeness(self, magnitudes: Floats) -> Floats:
        """Cosine of each frame (frames, bins) with each set: shape (frames, sets)."""
        found: Floats = self._shaped(magnitudes) @ self._templates
        return found

    def log_probability(self, magnitudes: Floats) -> tuple[Floats, Floats]:
        """log p of each set, shape (frames, sets), and of "no such pitch", shape (frames,)."""
        scaled = _SHARPNESS * self.likeness(magnitudes)
        noise = np.full((len(scaled), 1), _SHARPNESS * _NOISE, dtype=np.float32)
        everything = np.concatenate([scaled, noise], axis=1)
        top = everything.max(axis=1, keepdims=True)
        total = top + np.log(np.exp(everything - top).sum(axis=1, keepdims=True))
        return scaled - total, (noise - total)[:, 0]


def estimate_tuning(samples: Samples, *, top_hz: float) -> float:
    """The take's tuning in cents from equal temperament on A = 440 Hz, from -50 to 50: where its partials lie.

    Peaks of long spectra, each weighed by its height; their places between the semitones are averaged on a circle.
    """
    window = 8192
    bins = np.arange(window // 2 + 1)
    total = 0.0 + 0.0j
    stride = max(window // 2, len(samples) // 1500)
    low, high = int(100 * window / RATE_HZ), int(min(2000.0, 0.9 * top_hz) * window / RATE_HZ)
    loudest = 0.0
    sums: list[tuple[float, complex]] = []
    for _, frames in frames_of(samples, window=window, hop=stride, block=64):
        magnitudes = magnitudes_of(frames).astype(np.float64)
        for row in magnitudes:
            here = row[low:high]
            peak = (here > row[low - 1 : high - 1]) & (here > row[low + 1 : high + 1]) & (here > 0.05 * here.max())
            at = bins[low:high][peak]
            if not len(at):
                continue
            a, b, c = np.log(row[at - 1] + 1e-12), np.log(row[at] + 1e-12), np.log(row[at + 1] + 1e-12)
            place = at + 0.5 * (a - c) / np.minimum(a - 2 * b + c, -1e-9)
            midi = 69 + 12 * np.log2(place * RATE_HZ / window / 440.0)
            energy = float(here.max())
            loudest = max(loudest, energy)
            sums.append((energy, complex(np.sum(np.sqrt(row[at] / energy) * np.exp(2j * math.pi * midi)))))
    total = sum((value for energy, value in sums if energy > 0.05 * loudest), start=0.0 + 0.0j)
    return float(np.angle(total) / (2 * math.pi) * 100) if abs(total) > 0 else 0.0


def onset_strength(samples: Samples, *, hop: int, window: int = 1024) -> tuple[Floats, Floats]:
    """How much begins at each frame, and the level in dB; shape (frames,) each, frame k centred on k × hop.

    The rise of log magnitude over two hops, summed over the bins below 6 kHz; divided by its own local average.
    """
    top = int(6000 * window / RATE_HZ)
    rises: list[Floats] = []
    levels: list[Floats] = []
    before: Floats | None = None
    gap = max(1, round(0.0116 * RATE_HZ / hop))
    for _, frames in frames_of(samples, window=window, hop=hop):
        magnitudes = magnitudes_of(frames)[:, 2:top]
        logs = np.log1p(200.0 * magnitudes / window * 2)
        padded = logs if before is None else np.concatenate([before, logs])
        if before is None:
            padded = np.concatenate([np.repeat(logs[:1], gap, axis=0), logs])
        rises.append(np.maximum(0.0, padded[gap:] - padded[:-gap]).sum(axis=1))
        levels.append(10 * np.log10(np.mean(np.square(frames), axis=1) * 8 / 3 + 1e-12).astype(np.float32))
        before = padded[-gap:]
    rise = np.concatenate(rises)
    return rise, np.concatenate(levels)


def pitch_sets(events_midis: Sequence[tuple[int, ...]], *, low: int, high: int) -> tuple[tuple[int, ...], ...]:
    """Every single pitch from `low` to `high`, then the chords that occur."""
    single = [(midi,) for midi in range(low, high + 1)]
    chords = sorted({midis for midis in events_midis if len(midis) > 1})
    return (*single, *chords)
