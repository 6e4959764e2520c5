"""Which key a recording is in, by ear: how strongly each pitch class sounds in it.

Method: magnitude spectra of long windows; peaks between 55 and 2,000 Hz give their strength (square root, so that loud
notes do not drown the rest) to the nearest pitch class of the recording's own tuning, which is the circular mean of
the deviations from A = 440 Hz. The classes are weighed by `score.estimate_key` (Krumhansl 1990, chapter 4); the lowest
strong class of the last seconds counts as the last note.

Units: frequencies in Hz, tuning in cents, times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from partwright.errors import AudioError, Place
from partwright.score import estimate_key, key_name
from partwright.sound.audio_io import read_pieces

__all__ = ["HeardKey", "heard_key"]

_WINDOW_SECONDS = 0.37  # long enough to part neighbouring semitones above about 100 Hz
_LOWEST_HZ, _HIGHEST_HZ = 55.0, 2000.0
_ENDING_SECONDS = 3.0
_LOW_ENDING_HZ = 350.0
_PEAKS = 24  # a window's strongest peaks


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardKey:
    """The likeliest key of a recording, how well it agrees, and how far its tuning lies from A = 440 Hz."""

    key: str
    agreement: float
    next_agreement: float
    tuning_cents: float
    remarks: tuple[str, ...] = ()


def heard_key(path: Path) -> HeardKey:
    """The key a recording sounds in. Raises AudioError where it is no audio, is silent or shorter than a window."""
    audio, pieces, remarks = read_pieces(path)
    size = int(audio.rate_hz * _WINDOW_SECONDS)
    window = np.hanning(size)
    rest = np.zeros(0)
    heard: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    for piece in pieces:
        mono = np.asarray(piece, dtype=np.float64).mean(axis=0)
        rest = np.concatenate([rest, mono])
        while len(rest) >= size:
            heard.append(_peaks(rest[:size] * window, audio.rate_hz))
            rest = rest[size // 2 :]
    heard = [peaks for peaks in heard if len(peaks[0])]
    if not heard:
        raise AudioError("holds no notes that can be heard", "Give a recording with music in it.", place=_at(path))
    hz = np.concatenate([peaks[0] for peaks in heard])
    strength = np.concatenate([peaks[1] for peaks in heard])
    semitones = 69 + 12 * np.log2(hz / 440.0)
    turn = np.angle(np.sum(strength * np.exp(2j * np.pi * semitones))) / (2 * np.pi)
    classes = np.zeros(12)
    np.add.at(classes, np.rint(semitones - turn).astype(int) % 12, strength)
    last = _last_class(heard, float(turn))
    order = [c for c in range(12) if c != last] + [last]
    found = estimate_key([60 + c for c in order], [float(classes[c]) for c in order])
    return HeardKey(
        key=key_name(found.fifths, found.mode),
        agreement=found.correlation,
        next_agreement=found.next_correlation,
        tuning_cents=100 * float(turn),
        remarks=tuple(remarks),
    )


def _peaks(samples: NDArray[np.float64], rate_hz: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies and strengths of a window's strongest spectral peaks, parabola through the log magnitudes."""
    spectrum = np.abs(np.fft.rfft(samples)) + 1e-12
    bins = np.arange(max(2, int(_LOWEST_HZ * len(samples) / rate_hz)), int(_HIGHEST_HZ * len(samples) / rate_hz))
    bins = bins[bins < len(spectrum) - 1]
    middle = spectrum[bins]
    top = bins[(middle > spectrum[bins - 1]) & (middle >= spectrum[bins + 1]) & (middle > 1e-3 * len(samples) * 0.01)]
    top = top[np.argsort(spectrum[top])[-_PEAKS:]]
    if not len(top):
        return np.zeros(0), np.zeros(0)
    left, centre, right = (np.log(spectrum[top + k]) for k in (-1, 0, 1))
    shift = 0.5 * (left - right) / np.minimum(left - 2 * centre + right, -1e-9)
    return (top + shift) * rate_hz / len(samples), np.sqrt(spectrum[top])


def _last_class(heard: list[tuple[NDArray[np.float64], NDArray[np.float64]]], turn: float) -> int:
    """The pitch class that is strongest among the low notes of the ending."""
    ending = heard[-max(1, round(_ENDING_SECONDS / (_WINDOW_SECONDS / 2))) :]
    hz = np.concatenate([peaks[0] for peaks in ending])
    strength = np.concatenate([peaks[1] for peaks in ending])
    low = hz < _LOW_ENDING_HZ if (hz < _LOW_ENDING_HZ).any() else np.ones(len(hz), bool)
    classes = np.zeros(12)
    nearest = np.rint(69 + 12 * np.log2(hz[low] / 440.0) - turn).astype(int) % 12
    np.add.at(classes, nearest, strength[low])
    return int(classes.argmax())


def _at(path: Path) -> Place:
    return Place(file=str(path))
