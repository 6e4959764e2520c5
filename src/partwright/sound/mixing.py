"""Stems and mixes: what sounds together, how loud, and where in the room.

Stems are mono as they are made; a mix is stereo. All stems of one product start on the same sample, have the same
length, and share one gain, so that the stems of a mix add up to the mix.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import oaconvolve

from partwright.sound.loudness import integrated_lufs, level_gain, true_peak_dbtp

__all__ = ["CEILING_DBTP", "MIXES", "PRACTICE_LUFS", "VIDEO_LUFS", "Levelled", "mix", "room", "stereo_stems"]

PRACTICE_LUFS, VIDEO_LUFS = -16.0, -14.0
"""Programme loudness of files to practise with and of the video; common practice, no source."""
CEILING_DBTP = -1.0
"""Highest true peak. Source: EBU R 128 recommends −1 dBTP for production."""

Samples = npt.NDArray[np.float32]

# Gains of each stem, left and right, by the mix's name.
_MIDDLE = (0.7071, 0.7071)
MIXES: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "with guide": {"guide": _MIDDLE, "accompaniment": _MIDDLE, "click": _MIDDLE, "drone": _MIDDLE},
    "without guide": {"accompaniment": _MIDDLE, "click": _MIDDLE, "drone": _MIDDLE},
    "guide left": {"guide": (1.0, 0.0), "accompaniment": (0.0, 1.0), "click": (0.0, 0.6), "drone": (0.0, 1.0)},
}
# Balance before levelling, in dB.
_BALANCE = {"guide": 0.0, "accompaniment": -5.0, "click": -5.0, "drone": -10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Levelled:
    """A finished signal, shape (2, frames), and what was measured of it."""

    samples: Samples
    lufs: float
    true_peak_dbtp: float


def stereo_stems(stems: Mapping[str, Samples], name: str) -> dict[str, Samples]:
    """The stems of a mix, placed and balanced but not yet levelled. Shape (2, frames) each."""
    places = MIXES[name]
    found = {}
    for stem, samples in stems.items():
        if stem in places:
            balance = 10 ** (_BALANCE[stem] / 20)
            found[stem] = samples * np.array([[side * balance] for side in places[stem]], dtype=np.float32)
    return found


def mix(
    placed: Mapping[str, Samples], rate_hz: int, *, target_lufs: float = PRACTICE_LUFS
) -> tuple[Levelled, dict[str, Samples]]:
    """The mix at its loudness, and its stems under the same gain: their sum is the mix."""
    total = _sum(placed.values())
    gain = level_gain(total, rate_hz, target_lufs=target_lufs, ceiling_dbtp=CEILING_DBTP)
    stems = {name: samples * gain for name, samples in placed.items()}
    return levelled(_sum(stems.values()), rate_hz), stems


def _sum(signals: Iterable[Samples]) -> Samples:
    """All signals added up, one after the other: long ones are not copied side by side first."""
    rows = iter(signals)
    total = next(rows).copy()
    for row in rows:
        total += row
    return total


def levelled(samples: Samples, rate_hz: int) -> Levelled:
    """A signal with its figures."""
    return Levelled(samples=samples, lufs=integrated_lufs(samples, rate_hz), true_peak_dbtp=true_peak_dbtp(samples))


def room(samples: Samples, rate_hz: int, *, wet: float = 0.1) -> Samples:
    """A small room around a dry signal: a few early reflections and a short tail. The dry sound stays on its sample."""
    length = round(0.7 * rate_hz)
    t = np.arange(length) / rate_hz
    rng = np.random.default_rng(11)
    tail = rng.standard_normal(length) * np.exp(-t * 6.9 / 0.6) * np.minimum(1.0, t / 0.03)
    # A dark tail: neighbouring samples averaged.
    tail = np.convolve(tail, np.hanning(9) / 4, mode="same")
    tail *= wet / np.sqrt(float(np.sum(tail**2)))
    for delay, level in ((0.011, 0.5), (0.017, -0.4), (0.023, 0.35), (0.031, -0.3)):
        tail[round(delay * rate_hz)] += level * wet
    wet_sound = oaconvolve(samples, tail.astype(np.float32))[: len(samples)]
    together: Samples = (samples + wet_sound).astype(np.float32)
    return together
