"""Pitch against synthetic tones whose frequency is known exactly, and against a reference library's tracker.

librosa.pyin is the probabilistic YIN of Mauch and Dixon, "pYIN: a fundamental frequency estimator using probabilistic
threshold distributions" (ICASSP 2014). Speed is shown in bench/bench_take.py, not asserted here.
"""

from __future__ import annotations

import numpy as np
import pytest

import take_sounds as ts
from partwright.checking.take import pitch_track
from partwright.checking.take.pitch import track_near

RATE = 22_050
TONES = (65.41, 82.41, 110.0, 146.83, 220.0, 311.13, 440.0, 659.26)


def tone(
    hz: float, *, seconds: float = 1.0, weak_first: bool = False, noise_db: float = 30, seed: int = 1
) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    partials = range(1, int(min(16, 9000 / hz)) + 1)
    made = sum((0.03 if weak_first and n == 1 else 1 / n) * np.sin(2 * np.pi * n * hz * t + n * n) for n in partials)
    grain = np.random.default_rng(seed).standard_normal(len(t))
    return (made + grain * np.std(made) * 10 ** (-noise_db / 20)).astype(np.float32)


@pytest.mark.parametrize("hz", TONES)
def test_steady_tones_are_within_a_cent(hz: float) -> None:
    track = pitch_track(tone(hz))
    errors = np.abs(1200 * np.log2(track.hz / hz))
    assert np.median(errors) < 0.5
    assert np.percentile(errors, 90) < 1.0


def test_errors_are_no_greater_than_the_reference_tracker_makes() -> None:
    librosa = pytest.importorskip("librosa")
    ours, theirs = [], []
    for hz in TONES[1::2]:
        sound = tone(hz * 2 ** (13 / 1200), noise_db=25)
        true = hz * 2 ** (13 / 1200)
        ours.append(1200 * np.log2(pitch_track(sound).hz / true))
        found, voiced, _ = librosa.pyin(sound, fmin=55, fmax=1760, sr=RATE, hop_length=512)
        theirs.append(1200 * np.log2(found[voiced][2:-2] / true))
    mine, other = np.abs(np.concatenate(ours)), np.abs(np.concatenate(theirs))
    assert np.median(mine) <= np.median(other)
    assert np.percentile(mine, 90) <= np.percentile(other, 90)


@pytest.mark.parametrize("hz", [65.41, 73.42, 82.41])
def test_weak_low_fundamental_does_not_mislead_by_an_octave(hz: float) -> None:
    """The fundamental of a cello's low notes is weak (as read earlier; no page at hand): the score says the octave."""
    sound = tone(hz, weak_first=True)
    track = track_near(sound, 0, len(sound), hz)
    assert np.median(np.abs(1200 * np.log2(track.hz / hz))) < 1


@pytest.mark.parametrize("ratio", [2, 3])
def test_a_note_an_octave_or_twelfth_higher_is_not_taken_for_the_written_one(ratio: int) -> None:
    sound = tone(110.0 * ratio)
    track = track_near(sound, 0, len(sound), 110.0)
    assert np.median(track.above) < 0.1  # it repeats within a half or a third of the expected period as well


@pytest.mark.skipif(ts.sound_font() is None, reason="no sound font (Debian: fluidsynth, fluid-soundfont-gm)")
def test_take_by_an_independent_instrument_sound() -> None:
    """The cello of a General MIDI sound font (FluidR3, MIT): planted slips found, nothing else called wrong."""
    from pathlib import Path

    from made_tunes import demo_tune
    from partwright.checking.take import check_take, recording_of, score_events
    from partwright.score import tune_from_bytes
    from partwright.sound import make_timing

    part = tune_from_bytes(demo_tune(), source=Path("lantern.musicxml")).part
    events = score_events(part, make_timing(part))
    played = ts.perform(events, seed=21, drift=0.15, wrong=4, missed=3)
    sound = ts.noisy(ts.mixed(ts.fluid(played), ts.backing(events, played), -12), 26)
    check = check_take(recording_of(sound.astype(np.float32), ts.RATE), part)
    planted = {event for _, event, _ in played.slips}
    called = {n.event for n in check.counted if n.kind in ("wrong note", "missed")}
    assert called == planted
