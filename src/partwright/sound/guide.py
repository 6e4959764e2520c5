"""The guide voice: runs of bowed and plucked notes to samples.

A run is one phase that never breaks. Its waveform is read from two tables of the note's own partials, a dark and a
bright one, none of which reaches half the sample rate; the bow's place, the string and the dynamic say how much of
each. The body's resonances and the bow's noise come after. Pure NumPy and SciPy, a few array operations a note.

Samples are float32, mono, at `sample_rate_hz`; full scale is 1.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.signal import sosfilt

from partwright.sound.bowed import BowedVoice
from partwright.sound.performance import GuideNote, Run

__all__ = ["SAMPLE_RATE_HZ", "render_guide"]

SAMPLE_RATE_HZ = 48_000
Samples = npt.NDArray[np.float32]
_TABLE = 8192
_EDGE = 0.44  # of the sample rate: no partial above it, with room for vibrato and glide below half the rate
_RELEASE_S = 0.06
_OPEN_RELEASE_S = 0.35
_GLIDE_S = 0.03
_CROSSING_S = 0.008
_BITE_S = 0.01
_LEAD = 0.6
_LEVEL = 0.16
_CHUNK = 1 << 15


def render_guide(
    runs: tuple[Run, ...],
    voice: BowedVoice,
    *,
    seconds: float,
    sample_rate_hz: int = SAMPLE_RATE_HZ,
    bow_noise: bool = True,
) -> Samples:
    """All runs as one mono signal of exactly `round(seconds × rate)` samples. The same runs give the same samples."""
    length = round(seconds * sample_rate_hz)
    bowed = np.zeros(length)
    noise = np.zeros(length if bow_noise else 0)
    for number, run in enumerate(runs):
        if run.notes[0].plucked:
            _add_pluck(bowed, run.notes[0], voice, sample_rate_hz)
        else:
            _add_run(bowed, noise if bow_noise else None, run, voice, sample_rate_hz, seed=number)
    body, hiss = _body_filter(voice, sample_rate_hz), _noise_filter(sample_rate_hz)
    body_state, hiss_state = np.zeros((len(body), 2)), np.zeros((len(hiss), 2))
    samples: Samples = np.empty(length, dtype=np.float32)
    for start in range(0, length, _CHUNK):  # a little at a time stays in the processor's cache
        piece = bowed[start : start + _CHUNK]
        if bow_noise:
            rough, hiss_state = sosfilt(hiss, noise[start : start + _CHUNK], zi=hiss_state)
            piece = piece + rough
        samples[start : start + _CHUNK], body_state = sosfilt(body, piece, zi=body_state)
    return samples


def _add_run(
    target: npt.NDArray[np.float64],
    noise: npt.NDArray[np.float64] | None,
    run: Run,
    voice: BowedVoice,
    rate: int,
    seed: int,
) -> None:
    notes = run.notes
    last = notes[-1]
    ringing = last.stopped_semitones == 0 or last.harmonic > 0
    release = _OPEN_RELEASE_S if ringing else _RELEASE_S
    lead = _LEAD * voice.attack_seconds  # so that more than half of the sound is there when the note is due
    first = max(0, math.floor((run.start_seconds - lead) * rate))
    end = min(len(target), math.ceil((run.end_seconds + release) * rate))
    if end <= first:
        return
    time = np.arange(first, end) / rate
    log_hz = _pitch_line(notes, time)
    phase = np.cumsum(np.exp2(log_hz)) / rate
    phase -= np.floor(phase)
    loud = _loudness_line(notes, time, voice, release)
    bright = _brightness_line(notes, time)
    if run.start_seconds < lead:  # nothing can sound before the file begins: it starts quickly instead
        loud *= np.minimum(1.0, time / 0.004)
    wave = _waveform(notes, time, phase, bright, voice, rate)
    target[first:end] += wave * loud
    if noise is not None:
        rng = np.random.default_rng(seed)
        grain = rng.standard_normal(end - first)
        noise[first:end] += grain * loud * _noise_line(notes, time)


def _pitch_line(notes: tuple[GuideNote, ...], time: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """log2 of the frequency: steady notes, a short slide where the hand goes along a string, vibrato on long ones."""
    at, hz = [], []
    for place, note in enumerate(notes):
        value = math.log2(note.frequency_hz)
        length = note.end_seconds - note.start_seconds
        slide = min(_GLIDE_S if note.glide else _CROSSING_S, length / 3) / 2 if place else 0.0
        following = notes[place + 1] if place + 1 < len(notes) else None
        leave = 0.0
        if following is not None:
            leave = (
                min(_GLIDE_S if following.glide else _CROSSING_S, (following.end_seconds - following.start_seconds) / 3)
                / 2
            )
            leave = min(leave, length / 3)
        at += [note.start_seconds + slide, note.end_seconds - leave]
        hz += [value, value]
    line = np.interp(time, at, hz)
    for note in notes:
        if note.vibrato_cents <= 0:
            continue
        begin, end = note.start_seconds + 0.18, note.end_seconds
        inside = slice(*np.searchsorted(time, [begin, end]))
        t = time[inside] - begin
        grow = np.minimum(1.0, t / 0.25) * np.minimum(1.0, (end - begin - t) / 0.08)
        line[inside] += note.vibrato_cents / 1200 * grow * np.sin(2 * math.pi * 5.4 * t)
    return line


def _loudness_line(
    notes: tuple[GuideNote, ...], time: npt.NDArray[np.float64], voice: BowedVoice, release: float
) -> npt.NDArray[np.float64]:
    """The amplitude: rise, sustain by dynamic, dips between notes, accents, and the end."""
    at: list[float] = []
    value: list[float] = []

    def point(t: float, a: float) -> None:
        at.append(max(t, at[-1] + 1e-6) if at else t)
        value.append(a)

    for place, note in enumerate(notes):
        level = _amplitude(note)
        length = note.end_seconds - note.start_seconds
        attack = min(_BITE_S if note.crisp or note.accent_db else voice.attack_seconds, 0.4 * length)
        if place == 0:
            point(note.start_seconds - _LEAD * min(attack, voice.attack_seconds), 0.0)
            point(note.start_seconds, 0.6 * level)
            point(note.start_seconds + 0.5 * attack, level * _accent(note))
        else:
            before = _amplitude(notes[place - 1])
            crossing = notes[place - 1].string != note.string
            dip = max(note.dip, 0.18 if crossing else 0.0)
            point(note.start_seconds - 0.012 - 0.02 * note.dip, before)
            point(note.start_seconds, min(before, level) * (1 - dip))
            point(note.start_seconds + max(attack * 0.7, 0.012), level * _accent(note))
        if note.accent_db:
            point(note.start_seconds + min(0.12, 0.6 * length), level)
        following = notes[place + 1] if place + 1 < len(notes) else None
        if following is None:
            point(max(note.end_seconds - 0.25 * _RELEASE_S, note.start_seconds + 0.5 * length), level * 0.95)
            point(note.end_seconds + 0.25 * _RELEASE_S, level * (0.3 if release > _RELEASE_S else 0.18))
            point(note.end_seconds + 0.55 * release, level * 0.05)
            point(note.end_seconds + release, 0.0)
    return np.interp(time, at, value)


def _accent(note: GuideNote) -> float:
    return float(10 ** (note.accent_db / 20))


def _amplitude(note: GuideNote) -> float:
    """Level by dynamic: about 32 dB from ppp to fff, and a little less towards the tip of the bow."""
    decibel = (note.dynamic - 0.55) * 32.0 - 1.5 * (note.bow[0] + note.bow[1]) / 2
    return float(_LEVEL * 10 ** (decibel / 20))


def _brightness_line(notes: tuple[GuideNote, ...], time: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """How much of the bright table: louder and nearer the frog is brighter; an open string rings brighter still."""
    at: list[float] = []
    value: list[float] = []
    for note in notes:
        base = 0.15 + 0.55 * note.dynamic + (0.12 if note.stopped_semitones == 0 else 0.0)
        base += 0.1 if note.accent_db else 0.0
        for t, place in ((note.start_seconds, note.bow[0]), (note.end_seconds, note.bow[1])):
            at.append(max(t, at[-1] + 1e-6) if at else t)
            value.append(min(1.0, max(0.0, base + 0.25 * (0.5 - place))))
    return np.interp(time, at, value)


def _noise_line(notes: tuple[GuideNote, ...], time: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Bow noise beside the tone: more while a stroke starts and near the frog."""
    at: list[float] = []
    value: list[float] = []
    for place, note in enumerate(notes):
        steady = 0.035 * (1.25 - 0.5 * note.bow[0])
        burst = steady * (4.0 if note.accent_db or note.crisp else 2.6) if place == 0 or note.dip else steady
        for t, v in ((note.start_seconds, burst), (note.start_seconds + 0.05, steady), (note.end_seconds, steady)):
            at.append(max(t, at[-1] + 1e-6) if at else t)
            value.append(v)
    return np.interp(time, at, value)


def _waveform(
    notes: tuple[GuideNote, ...],
    time: npt.NDArray[np.float64],
    phase: npt.NDArray[np.float64],
    bright: npt.NDArray[np.float64],
    voice: BowedVoice,
    rate: int,
) -> npt.NDArray[np.float64]:
    """The tables of each note read along the phase; neighbours are crossfaded where one note goes into the next."""
    position = phase * _TABLE
    index = position.astype(np.int64)
    np.minimum(index, _TABLE - 1, out=index)
    fraction = (position - index).astype(np.float32)
    wave = np.zeros(len(time))
    fade = 0.012
    starts = [note.start_seconds for note in notes]
    for place, note in enumerate(notes):
        begin = starts[place] - fade / 2 if place else -math.inf
        finish = starts[place + 1] + fade / 2 if place + 1 < len(notes) else math.inf
        part = slice(*np.searchsorted(time, [begin, finish]))
        if part.start == part.stop:
            continue
        neighbours = [n.frequency_hz for n in notes[max(0, place - 1) : place + 2]]
        dark, sharp = _tables(note, max(neighbours), voice, rate)
        i, f, b = index[part], fraction[part], bright[part]
        low = dark[i]
        low += f * (dark[i + 1] - low)
        high = sharp[i]
        high += f * (sharp[i + 1] - high)
        piece = low + b * (high - low)
        t = time[part]
        if place:
            piece *= np.clip((t - begin) / fade, 0.0, 1.0)
        if place + 1 < len(notes):
            piece *= np.clip((finish - t) / fade, 0.0, 1.0)
        wave[part] += piece
    return wave


def _tables(note: GuideNote, highest_hz: float, voice: BowedVoice, rate: int) -> tuple[Samples, Samples]:
    partials = max(1, int(_EDGE * rate / (highest_hz * 1.02)))
    key = round(note.frequency_hz, 1)
    harmonic = note.harmonic > 0
    stiffness = 1.0 - 0.012 * min(30, note.stopped_semitones)
    string = 1.0 + 0.12 * note.string
    return (
        _table(voice.cutoff_hz[0] * stiffness * string, key, partials, voice.bow_place, harmonic),
        _table(voice.cutoff_hz[1] * stiffness * string, key, partials, voice.bow_place, harmonic),
    )


@lru_cache(maxsize=512)
def _table(cutoff_hz: float, hz: float, partials: int, bow_place: float, harmonic: bool) -> Samples:
    """One cycle (and its first sample again): a saw's partials, softened above the cutoff, less where the bow stands.

    A natural harmonic has far fewer partials: the touch damps all that have no node there.
    """
    n = np.arange(1, partials + 1)
    level = 1.0 / n / np.sqrt(1.0 + (n * hz / cutoff_hz) ** 4)
    level *= 0.35 + 0.65 * np.abs(np.sinc(n * bow_place))
    if harmonic:
        level *= np.exp(-0.9 * (n - 1))
    level /= math.sqrt(float(np.sum(level**2)))
    spectrum = np.zeros(_TABLE // 2 + 1, dtype=complex)
    spectrum[1 : partials + 1] = -1j * level[: _TABLE // 2] * (_TABLE / 2)
    cycle = np.fft.irfft(spectrum, _TABLE)
    return np.concatenate([cycle, cycle[:1]]).astype(np.float32)


def _add_pluck(target: npt.NDArray[np.float64], note: GuideNote, voice: BowedVoice, rate: int) -> None:
    """A plucked note: partials that die away, the high ones first; an open string rings longest."""
    hold = 1.0 if note.stopped_semitones == 0 else 0.55
    length = note.end_seconds - note.start_seconds
    ring = max(0.25, min(length + 0.25, 2.2))
    first = max(0, round(note.start_seconds * rate))
    end = min(len(target), first + round(ring * rate))
    if end <= first:
        return
    t = np.arange(end - first) / rate
    wave = np.zeros(end - first)
    partials = min(24, int(_EDGE * rate / note.frequency_hz))
    angle = 2 * math.pi * note.frequency_hz * t
    cosine, before, now = 2 * np.cos(angle), np.zeros(len(t)), np.sin(angle)
    base_decay = 3.2 / hold * (note.frequency_hz / 130.0) ** 0.3
    for n in range(1, partials + 1):
        level = abs(math.sin(math.pi * n * 0.21)) / n**1.25
        wave += level * np.exp(-(base_decay + 0.5 * n**1.35) * t) * now
        before, now = now, cosine * now - before
    wave *= np.minimum(1.0, t / 0.003)
    wave *= np.minimum(1.0, (ring - t) / 0.1)
    target[first:end] += wave * _amplitude(note) * 2.2 * _accent(note)


@lru_cache(maxsize=16)
def _body_filter(voice: BowedVoice, rate: int) -> npt.NDArray[np.float64]:
    """Second-order peaks, by the usual bilinear recipe for a peaking equaliser, and a cut below the lowest string."""
    rows = [_peak(hz, q, gain, rate) for hz, q, gain in voice.resonances if hz < 0.45 * rate]
    low = 0.5 * 440.0 * 2 ** ((voice.lowest_midi - 69) / 12)
    w = math.tan(math.pi * low / rate)
    norm = 1 / (1 + math.sqrt(2) * w + w * w)
    rows.append([norm, -2 * norm, norm, 1.0, 2 * (w * w - 1) * norm, (1 - math.sqrt(2) * w + w * w) * norm])
    return np.array(rows)


def _peak(hz: float, quality: float, gain_db: float, rate: int) -> list[float]:
    a = 10 ** (gain_db / 40)
    w = 2 * math.pi * hz / rate
    alpha = math.sin(w) / (2 * quality)
    b0, b1, b2 = 1 + alpha * a, -2 * math.cos(w), 1 - alpha * a
    a0, a1, a2 = 1 + alpha / a, -2 * math.cos(w), 1 - alpha / a
    return [b0 / a0, b1 / a0, b2 / a0, 1.0, a1 / a0, a2 / a0]


@lru_cache(maxsize=16)
def _noise_filter(rate: int) -> npt.NDArray[np.float64]:
    """Bow noise lies around two kilohertz."""
    rows = []
    for hz, kind in ((700.0, "high"), (4500.0, "low")):
        w = math.tan(math.pi * hz / rate)
        norm = 1 / (1 + math.sqrt(2) * w + w * w)
        feedback = [1.0, 2 * (w * w - 1) * norm, (1 - math.sqrt(2) * w + w * w) * norm]
        if kind == "high":
            rows.append([norm, -2 * norm, norm, *feedback])
        else:
            rows.append([w * w * norm, 2 * w * w * norm, w * w * norm, *feedback])
    return np.array(rows)
