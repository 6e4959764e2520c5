"""Pitch where two notes sound at once: each read from those of its partials that the other does not share."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partwright.checking.take.read_recording import RATE_HZ, Samples

__all__ = ["measure_partials"]

_MOST = 10


def measure_partials(
    samples: Samples, start_s: float, end_s: float, expected_hz: float, others_hz: Sequence[float]
) -> tuple[float, float] | None:
    """Cents from the expected pitch and their standard error; None where fewer than two partials of it stand alone."""
    begin, end = round((start_s + 0.06) * RATE_HZ), round((end_s - 0.03) * RATE_HZ)
    if end - begin < 0.15 * RATE_HZ:
        return None
    piece = np.asarray(samples[begin:end], dtype=np.float64)
    size = 1 << (4 * len(piece) - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), size))
    width = 2.0 * RATE_HZ / len(piece)
    taken = [n * hz for hz in others_hz for n in range(1, 3 * _MOST)]
    found: list[tuple[float, float]] = []
    floor = float(np.median(spectrum[: int(5000 * size / RATE_HZ)]))
    for n in range(1, _MOST + 1):
        centre = n * expected_hz
        if centre > 5000:
            break
        reach = centre * (2 ** (60 / 1200) - 1)
        if any(abs(centre - other) < reach + width for other in taken):
            continue
        low, high = int((centre - reach) * size / RATE_HZ), int((centre + reach) * size / RATE_HZ) + 1
        at = low + int(np.argmax(spectrum[low:high]))
        if at in (low, high - 1) or spectrum[at] < 8 * floor:
            continue
        a, b, c = (math.log(spectrum[at + i] + 1e-12) for i in (-1, 0, 1))
        place = at + 0.5 * (a - c) / min(a - 2 * b + c, -1e-9)
        found.append((1200 * math.log2(place * RATE_HZ / size / centre), math.sqrt(spectrum[at]) * n))
    if len(found) < 2:
        return None
    cents = np.array([value for value, _ in found])
    weight = np.array([w for _, w in found])
    order = np.argsort(cents)
    middle = float(cents[order][np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)])
    spread = 1.4826 * float(np.median(np.abs(cents - middle)))
    if spread > 25:
        return None
    return middle, max(1.0, 1.25 * spread / math.sqrt(len(found)))
