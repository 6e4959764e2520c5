"""Loudness and true peak against published test signals.

Sources: EBU Tech 3341 (2016), tables 1 and 2: signals and expected readings, from memory of the tables, generated here
from their definitions; ITU-R BS.1770-4, annex 1: filter coefficients at 48 kHz and the reading of a 997 Hz tone.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from partwright.sound import Limiter, Meter, integrated_lufs, level_gain, short_term_lufs, true_peak_dbtp
from partwright.sound.loudness import _k_weighting

RATE = 48_000


def sine(seconds: float, dbfs: float, *, hz: float = 1000.0, rate: int = RATE, channels: int = 2) -> np.ndarray:
    """A tone whose peak lies at `dbfs`, the same in every channel."""
    t = np.arange(round(seconds * rate)) / rate
    return np.tile(10 ** (dbfs / 20) * np.sin(2 * math.pi * hz * t), (channels, 1))


def joined(*pieces: tuple[float, float], rate: int = RATE) -> np.ndarray:
    return np.concatenate([sine(seconds, dbfs, rate=rate) for seconds, dbfs in pieces], axis=1)


EBU_CASES = {
    "1": (((20, -23.0),), -23.0),
    "2": (((20, -33.0),), -33.0),
    "3": (((10, -36.0), (60, -23.0), (10, -36.0)), -23.0),
    "4": (((10, -72.0), (10, -36.0), (60, -23.0), (10, -36.0), (10, -72.0)), -23.0),
    "5": (((20, -26.0), (20.1, -20.0), (20, -26.0)), -23.0),
}


@pytest.mark.parametrize("case", EBU_CASES)
@pytest.mark.parametrize("rate", [48_000, 44_100])
def test_programme_loudness_of_ebu_signals(case: str, rate: int) -> None:
    pieces, expected = EBU_CASES[case]
    assert integrated_lufs(joined(*pieces, rate=rate), rate) == pytest.approx(expected, abs=0.1)


def test_short_term_loudness_of_ebu_signal_9() -> None:
    readings = short_term_lufs(joined(*[(1.34, -20.0), (1.66, -30.0)] * 5), RATE)
    assert np.abs(readings + 23.0).max() < 0.1


def test_one_channel_reads_three_lu_less_than_the_same_in_two() -> None:
    # BS.1770-4: a 0 dBFS 997 Hz tone in one front channel reads -3.01 LKFS.
    tone = sine(20, 0.0, hz=997.0, channels=1)
    assert integrated_lufs(tone, RATE) == pytest.approx(-3.01, abs=0.02)
    assert integrated_lufs(tone[0], RATE) == integrated_lufs(tone, RATE)
    assert integrated_lufs(np.concatenate([tone, 0 * tone]), RATE) == pytest.approx(-3.01, abs=0.02)
    assert integrated_lufs(np.concatenate([tone, tone]), RATE) == pytest.approx(0.0, abs=0.02)


def test_weighting_is_the_published_one_at_48_khz() -> None:
    published = [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
    assert np.allclose(_k_weighting(48_000), published, atol=1e-6)


def test_silence_and_what_is_too_short_have_no_loudness() -> None:
    assert integrated_lufs(np.zeros((2, RATE * 2)), RATE) == -math.inf
    assert integrated_lufs(sine(0.35, -10), RATE) == -math.inf
    assert integrated_lufs(sine(5, -75), RATE) == -math.inf  # below the absolute gate
    assert true_peak_dbtp(np.zeros((2, 100))) == -math.inf


# Tech 3341, signals 15 to 19: frequency as a fraction of the rate, phase in degrees, amplitude, expected reading.
@pytest.mark.parametrize(
    ("division", "phase", "amplitude", "expected"),
    [(4, 0.0, 0.5, -6.0), (4, 45.0, 0.5, -6.0), (6, 60.0, 0.5, -6.0), (8, 67.5, 0.5, -6.0), (4, 45.0, 1.41, 3.0)],
)
def test_true_peak_of_ebu_signals(division: int, phase: float, amplitude: float, expected: float) -> None:
    n = np.arange(RATE)
    tone = amplitude * np.sin(2 * math.pi * n / division + math.radians(phase))
    tone *= np.minimum(1.0, np.minimum(n, n[::-1]) / 2000)  # faded, so that no edge rings
    reading = true_peak_dbtp(np.stack([tone, tone]))
    assert expected - 0.4 <= reading <= expected + 0.2


def test_pieces_measure_as_the_whole() -> None:
    rng = np.random.default_rng(3)
    signal = (rng.standard_normal((2, RATE * 5)) * np.linspace(0.02, 0.3, RATE * 5)).astype(np.float32)
    meter = Meter(RATE, 2)
    for start in range(0, signal.shape[1], 7777):
        meter.push(signal[:, start : start + 7777])
    assert meter.lufs == pytest.approx(integrated_lufs(signal, RATE), abs=1e-6)
    assert meter.true_peak_dbtp == pytest.approx(true_peak_dbtp(signal), abs=0.02)


@pytest.mark.parametrize("target", [-16.0, -14.0, -23.0])
def test_gain_meets_target_and_ceiling(target: float) -> None:
    rng = np.random.default_rng(5)
    signal = (0.05 * rng.standard_normal((2, RATE * 6))).astype(np.float32)
    signal[:, ::9000] += 0.7  # clicks far above the rest
    gain = level_gain(signal, RATE, target_lufs=target)
    assert integrated_lufs(signal * gain, RATE) == pytest.approx(target, abs=0.2)
    assert true_peak_dbtp(signal * gain) <= -1.0 + 1e-3
    assert np.abs(np.diff(gain)).max() < 0.02 * gain.max()  # no step that would be heard


def test_limiter_in_pieces_gives_every_frame_once_and_under_the_ceiling() -> None:
    rng = np.random.default_rng(8)
    signal = (0.4 * rng.standard_normal((2, RATE * 3))).astype(np.float32)
    limiter = Limiter(RATE, -1.0)
    pieces = [limiter.push(signal[:, i : i + 5000]) for i in range(0, signal.shape[1], 5000)]
    pieces.append(limiter.finish(2))
    whole = np.concatenate(pieces, axis=1)
    assert whole.shape == signal.shape
    assert np.abs(whole).max() <= 10 ** (-1 / 20)
    quiet = 0.1 * signal / np.abs(signal).max()
    untouched = Limiter(RATE, -1.0)
    assert np.array_equal(np.concatenate([untouched.push(quiet), untouched.finish(2)], axis=1), quiet)
