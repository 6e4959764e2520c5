"""What is heard against independent ears: librosa's YIN for pitch, its spectral flux for onsets, an FFT for aliasing.

Source of the expected frequencies: equal temperament, 440 Hz for A4 (ISO 16), computed here and not by the product.
"""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from made_tunes import demo_tune
from partwright.bowing import plan_bowing
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.score import tune_from_bytes
from partwright.sound import (
    GuideNote,
    Run,
    Temperament,
    bowed_voice,
    clicks,
    make_timing,
    perform,
    render_click,
    render_guide,
)

RATE = 48_000


@pytest.fixture(scope="module")
def demo():
    """The demonstration tune's first half minute as it is played: part, timing, runs and samples."""
    from pathlib import Path

    part = tune_from_bytes(demo_tune(), source=Path("tune.musicxml")).part
    cello = load_instrument("cello")
    plan = plan_fingering(part, cello, level="advanced")
    bowing = plan_bowing(part, cello, plan, level="advanced")
    timing = make_timing(part, count_in_bars=1)
    runs = perform(part, timing, Temperament(), instrument=cello, plan=plan, bowing=bowing)
    return part, timing, runs, render_guide(runs, bowed_voice(cello), seconds=timing.seconds + 1)


def heard_cents(samples: np.ndarray, start: float, end: float, hz: float) -> float:
    """How far the middle of a note is from `hz`, by librosa's YIN. The first and last 45 ms are left out."""
    piece = samples[round((start + 0.045) * RATE) : round((end - 0.045) * RATE)].astype(float)
    length = min(8192, len(piece) // 2 * 2 - 512)  # YIN reads a little sharp in short frames, whatever it hears
    heard = librosa.yin(
        piece, fmin=hz / 1.4, fmax=hz * 1.4, sr=RATE, frame_length=length, hop_length=1024, center=False
    )
    return float(1200 * np.log2(np.median(heard) / hz))


def test_every_note_is_in_tune(demo) -> None:
    part, timing, runs, samples = demo
    assert timing.seconds > 60
    off = []
    for run in runs:
        for note in run.notes:
            overlapped = any(
                other is not run
                and other.start_seconds < note.end_seconds - 0.05
                and other.end_seconds > note.start_seconds + 0.05
                for other in runs
            )
            if note.end_seconds - note.start_seconds <= 0.15 or overlapped or note.start_seconds > 36:
                continue
            midi = part.by_id[note.note_id].midi
            expected = 440.0 * 2 ** ((midi - 69) / 12)
            if note.harmonic in (3, 6):
                expected *= 2 ** (1.955 / 1200)  # a pure twelfth above the open string
            off.append(abs(heard_cents(samples, note.start_seconds, note.end_seconds, expected)))
    assert len(off) > 30
    assert max(off) < 5.0
    assert float(np.median(off)) < 2.0


def test_vibrato_stays_about_the_note(demo) -> None:
    _, _, runs, _ = demo
    assert any(note.vibrato_cents > 0 for run in runs for note in run.notes)
    assert all(note.vibrato_cents == 0 for run in runs for note in run.notes if note.stopped_semitones == 0)


def flux_peaks_ms(samples: np.ndarray, due: list[float]) -> np.ndarray:
    """For each onset due: where the spectral flux around it has its middle, in ms after it. Constant lag included."""
    hop = 48
    flux = librosa.onset.onset_strength(
        y=samples.astype(np.float32), sr=RATE, n_fft=1024, hop_length=hop, lag=10, n_mels=40, fmax=12_000
    )
    found = []
    for at in due:
        middle = round(at * RATE / hop)
        window = flux[middle - 50 : middle + 51]
        top = int(np.argmax(window))
        low = max(0, top - 12)
        around = window[low : top + 13]
        found.append(float(np.sum(around * np.arange(low, low + len(around))) / around.sum()) - 50)
    return np.array(found)


def test_notes_begin_with_the_click(demo) -> None:
    """The measure has a lag of its own; the click, which starts on its sample, says how much."""
    part, timing, runs, samples = demo
    short = samples[: 42 * RATE]
    due = [run.start_seconds for run in runs if 0.5 < run.start_seconds < 40]
    beats = clicks(part, timing)
    clicked = render_click(beats, seconds=42, sample_rate_hz=RATE)
    lag = float(np.median(flux_peaks_ms(clicked, [at for at, _ in beats if 0.5 < at < 40])))
    late = flux_peaks_ms(short, due) - lag
    assert len(late) > 25
    assert np.abs(late).max() < 10.0


def test_a_click_starts_on_its_sample() -> None:
    at = 1.2345
    samples = render_click(((at, 1.0),), seconds=2, sample_rate_hz=RATE)
    first = round(at * RATE)
    assert not samples[:first].any()
    assert samples[first : first + 3].any()


@pytest.mark.parametrize("name", ["cello", "violin", "double_bass"])
@pytest.mark.parametrize("place", ["highest", "middle"])
def test_nothing_is_folded_down_from_above_half_the_rate(name: str, place: str) -> None:
    """All energy that does not lie on a partial of the note is at least 60 dB below the strongest partial."""
    instrument = load_instrument(name)
    top = instrument.strings[-1].midi + instrument.string_ceiling_semitones[-1]
    midi = top if place == "highest" else top - 17
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    note = GuideNote(note_id="n", start_seconds=0.05, end_seconds=3.0, frequency_hz=hz, string=3, dynamic=1.0)
    samples = render_guide((Run(notes=(note,)),), bowed_voice(instrument), seconds=3.2, bow_noise=False)
    steady = samples[RATE // 2 : RATE // 2 + 2 * RATE].astype(float)
    spectrum = 20 * np.log10(np.abs(np.fft.rfft(steady * np.blackman(len(steady)))) + 1e-12)
    bins = np.arange(len(spectrum)) * RATE / len(steady)
    nearest = np.round(bins / hz)
    between = (np.abs(bins - nearest * hz) > 12.0) | (nearest < 1)
    assert spectrum.max() - spectrum[between].max() > 60.0
    partials = spectrum[~between]
    assert partials.max() == spectrum.max()


def test_a_harmonic_is_purer_than_a_stopped_note() -> None:
    def strength_above_the_first(harmonic: int) -> float:
        note = GuideNote(
            note_id="n", start_seconds=0.05, end_seconds=2.0, frequency_hz=220.0, string=3, harmonic=harmonic,
            stopped_semitones=12,
        )  # fmt: skip
        samples = render_guide((Run(notes=(note,)),), bowed_voice(), seconds=2.2, bow_noise=False)
        spectrum = np.abs(np.fft.rfft(samples[RATE // 2 : RATE // 2 + RATE]))
        return float(sum(spectrum[220 * k] ** 2 for k in range(2, 30)) / spectrum[220] ** 2)

    assert strength_above_the_first(2) < 0.5 * strength_above_the_first(0)


def test_a_slur_never_breaks_the_wave() -> None:
    """Within one bow no sample jumps further than the steady notes themselves do."""
    notes = tuple(
        GuideNote(note_id=str(i), start_seconds=0.1 + 0.4 * i, end_seconds=0.5 + 0.4 * i, frequency_hz=hz, glide=i > 0)
        for i, hz in enumerate((146.83, 164.81, 185.0, 196.0))
    )
    slurred = render_guide((Run(notes=notes),), bowed_voice(), seconds=2.2, bow_noise=False)
    steady = max(
        np.abs(np.diff(slurred[round((n.start_seconds + 0.1) * RATE) : round(n.end_seconds * RATE) - 2000])).max()
        for n in notes
    )
    for note in notes[1:]:
        middle = round(note.start_seconds * RATE)
        assert np.abs(np.diff(slurred[middle - 1500 : middle + 1500])).max() < 1.35 * steady
