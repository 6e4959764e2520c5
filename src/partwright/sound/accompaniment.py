"""The accompaniment: what is played, from an arranged score or from chord symbols, and how it sounds.

Both sources come in as the same events. An arranged score is any number of parts with the tune's bars; its instrument
names choose the voices. Without one, chord symbols give the plain style of `chords.py`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from partwright.score import Part
from partwright.sound.chords import plain_chords
from partwright.sound.tempering import Temperament, frequency_hz, midi_hz
from partwright.sound.timing import TimingMap

__all__ = [
    "AccompanimentNote",
    "Voice",
    "accompaniment_from_chords",
    "accompaniment_from_parts",
    "drone_notes",
    "midi_program",
    "render_accompaniment",
    "voice_for",
]

Samples = npt.NDArray[np.float32]
_MOST_PARTIALS = 32
_EDGE = 0.44


@dataclass(frozen=True, slots=True, kw_only=True)
class AccompanimentNote:
    """One note: seconds from the start of the file, frequency, loudness 0 … 1, and the voice's name."""

    start_seconds: float
    end_seconds: float
    frequency_hz: float
    loudness: float
    voice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """A row of `data/voices.toml`; see there."""

    name: str
    kind: Literal["plucked", "struck", "held", "drum"]
    level: float
    tilt: float = 1.0
    place: float = 0.2
    decay_s: float = 1.0
    damping: float = 0.5
    inharmonic: float = 0.0
    hz: float = 0.0
    sweep_hz: float = 0.0
    noise: float = 0.0
    noise_decay_s: float = 0.1
    band_hz: tuple[float, float] = (1000.0, 8000.0)
    names: tuple[str, ...] = ()
    programs: tuple[int, ...] = ()
    keys: tuple[int, ...] = ()


@cache
def _voices() -> dict[str, Voice]:
    data = tomllib.loads(files("partwright.sound").joinpath("data", "voices.toml").read_text(encoding="utf-8"))
    return {name: Voice(name=name, **_frozen(row)) for name, row in data.items()}


def _frozen(row: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


def voice_for(instrument: str, program: int | None = None) -> str:
    """The voice's name for an instrument as a score names it, or by its General MIDI program; plucked if unknown.

    >>> voice_for("Double Bass"), voice_for("Piano"), voice_for("", 46)
    ('bass', 'struck', 'plucked')
    """
    words = instrument.casefold()
    if any(word in words for word in ("drum", "percussion", "schlagzeug", "cajon")):
        return "drums"
    for voice in sorted(_voices().values(), key=lambda v: v.name != "bass"):  # "bass guitar" is a bass
        if any(name in words for name in voice.names):
            return voice.name
    for voice in _voices().values():
        if program is not None and program in voice.programs:
            return voice.name
    return "plucked"


def midi_program(voice: str) -> int | None:
    """A General MIDI program for a voice by name; None for drums."""
    if voice == "drums":
        return None
    return {"plucked": 24, "bass": 32, "struck": 0, "mallet": 12, "held": 48}[voice]


def accompaniment_from_chords(
    part: Part, timing: TimingMap, tuned: Temperament, *, passage: tuple[int, int], style: str = "plucked"
) -> tuple[AccompanimentNote, ...]:
    """The plain style: bass and chord at every symbol and bar line. `style`: plucked, struck or held.

    () where the tune has no chord symbols.
    """
    found = []
    for chord in plain_chords(part, passage):
        start = timing.seconds_at(chord.start_quarters)
        end = timing.seconds_at(chord.start_quarters + chord.length_quarters)
        found.append(_note(start, end, midi_hz(chord.bass_midi, tuned.a4_hz), 0.62, "bass"))
        for rank, midi in enumerate(chord.chord_midi):
            spread = 0.012 * rank if style == "plucked" else 0.0  # a hand does not pluck four strings at once
            found.append(_note(start + spread, end, midi_hz(midi, tuned.a4_hz), 0.42, style))
    return tuple(found)


def accompaniment_from_parts(
    parts: Sequence[tuple[Part, str]], timing: TimingMap, tuned: Temperament, *, passage: tuple[int, int]
) -> tuple[AccompanimentNote, ...]:
    """The notes of arranged parts, each with its voice's name; they must have the tune's bars and repeats.

    A part for "drums" is read as General MIDI percussion keys.
    """
    found: list[AccompanimentNote] = []
    for part, voice in parts:
        first, last = passage
        played_bars = part.played_bars
        if first >= len(played_bars):
            continue
        base = played_bars[first].start_quarters
        limit = played_bars[min(last, len(played_bars)) - 1]
        end_of_passage = limit.start_quarters + part.bars[limit.bar_index].length_quarters
        sounding: dict[str, int] = {}
        for played in part.played_notes:
            if not base <= played.onset_quarters < end_of_passage:
                continue
            note = part.notes[played.note_index]
            start = timing.seconds_at(played.onset_quarters - base)
            end = timing.seconds_at(played.onset_quarters + note.duration_quarters - base)
            if note.tied_from in sounding:
                place = sounding.pop(note.tied_from or "")
                held = found[place]
                found[place] = _note(held.start_seconds, end, held.frequency_hz, held.loudness, held.voice)
                sounding[note.id] = place
                continue
            if note.grace:
                start, end = max(0.0, start - 0.08), start
            if voice == "drums":
                found.append(_note(start, end, float(note.midi), note.dynamic, _drum_voice(note.midi)))
            else:
                shortened = 0.5 if "staccato" in note.articulations else 1.0
                hz = frequency_hz(note.pitch, tuned)
                found.append(_note(start, start + (end - start) * shortened, hz, note.dynamic, voice))
            sounding[note.id] = len(found) - 1
    return tuple(sorted(found, key=lambda n: (n.start_seconds, n.frequency_hz)))


def drone_notes(timing: TimingMap, tuned: Temperament) -> tuple[AccompanimentNote, ...]:
    """The drone's note, and its octave, held from the count-in to the end."""
    from partwright.score import Pitch

    low = frequency_hz(Pitch(tuned.drone_step, tuned.drone_alter, 2), tuned)
    return tuple(_note(0.0, timing.seconds + 0.5, hz, 0.5, "held") for hz in (low, 2 * low))


def _note(start: float, end: float, hz: float, loudness: float, voice: str) -> AccompanimentNote:
    return AccompanimentNote(start_seconds=start, end_seconds=end, frequency_hz=hz, loudness=loudness, voice=voice)


def _drum_voice(key: int) -> str:
    for voice in _voices().values():
        if key in voice.keys:
            return voice.name
    return "drum_middle"


def render_accompaniment(
    notes: Sequence[AccompanimentNote], *, seconds: float, sample_rate_hz: int
) -> npt.NDArray[np.float32]:
    """All notes as mono samples. The same notes give the same samples."""
    sound = np.zeros(round(seconds * sample_rate_hz), dtype=np.float32)
    for note in notes:
        voice = _voices()[note.voice]
        first = max(0, round(note.start_seconds * sample_rate_hz))
        if voice.kind == "drum":
            wave = _drum(voice, sample_rate_hz)
        elif voice.kind == "held":
            wave = _held(voice, note.frequency_hz, note.end_seconds - note.start_seconds, sample_rate_hz)
        else:
            wave = _damped(voice, note, sample_rate_hz)
        end = min(len(sound), first + len(wave))
        if first < end:
            amplitude = voice.level * 10 ** ((note.loudness - 0.55) * 26 / 20)
            sound[first:end] += np.float32(amplitude) * wave[: end - first]
    return sound


def _damped(voice: Voice, note: AccompanimentNote, rate: int) -> Samples:
    """The string struck once, let ring as long as the note, then damped."""
    whole = _string(voice, round(note.frequency_hz, 4), rate)
    fade = 0.12
    length = min(len(whole), round((note.end_seconds - note.start_seconds + fade) * rate))
    wave = whole[:length].copy()
    tail = min(length, round(fade * rate))
    wave[length - tail :] *= np.cos(np.linspace(0, math.pi / 2, tail, dtype=np.float32)) ** 2
    return wave


@lru_cache(maxsize=128)
def _string(voice: Voice, hz: float, rate: int) -> Samples:
    """A whole note of a plucked or struck string: stretched partials, each dying at its own speed."""
    decay = voice.decay_s * (261.6 / hz) ** 0.45
    t = np.arange(round(min(decay * 0.9, 6.0) * rate)) / rate
    wave = np.zeros(len(t))
    rng = np.random.default_rng(round(hz * 100))
    for n in range(1, _MOST_PARTIALS + 1):
        partial_hz = hz * n * math.sqrt(1 + voice.inharmonic * n * n)
        if partial_hz > _EDGE * rate:
            break
        level = n**-voice.tilt * (0.15 + abs(math.sin(math.pi * n * voice.place)))
        if level < 1e-3:
            continue
        fall = 6.9 / decay * (1 + voice.damping * (n - 1) ** 1.1)
        sounding = min(len(t), int(9.2 / fall * rate))  # beyond that it is 80 dB down
        part = t[:sounding]
        wave[:sounding] += level * np.exp(-fall * part) * np.sin(2 * math.pi * partial_hz * part + 0.2 * n)
    touch = rng.standard_normal(round(0.03 * rate)) * np.exp(-np.arange(round(0.03 * rate)) / (0.006 * rate))
    band = butter(2, [150.0, min(3500.0, 0.4 * rate)], "bandpass", fs=rate, output="sos")
    wave[: len(touch)] += (0.5 if voice.kind == "struck" else 0.3) * sosfilt(band, touch)
    wave *= np.minimum(1.0, t / 0.002)
    last = round(0.2 * rate)
    wave[-last:] *= np.linspace(1, 0, last)
    return (wave / 1.6).astype(np.float32)


def _held(voice: Voice, hz: float, seconds: float, rate: int) -> Samples:
    """A soft held tone: two slightly different waves, so that it breathes without going out of tune."""
    t = np.arange(round((seconds + 0.15) * rate)) / rate
    wave = np.zeros(len(t))
    for n in range(1, 13):
        if n * hz > _EDGE * rate:
            break
        slow = 1 + 0.15 * np.sin(2 * math.pi * (0.11 + 0.05 * n) * t + n)
        wave += n**-voice.tilt * slow * np.sin(2 * math.pi * n * hz * t)
    wave *= np.minimum(1.0, t / 0.06) * np.clip((seconds + 0.15 - t) / 0.15, 0, 1)
    return wave.astype(np.float32)


@lru_cache(maxsize=16)
def _drum(voice: Voice, rate: int) -> Samples:
    length = max(voice.decay_s, voice.noise_decay_s) * 5
    t = np.arange(round(length * rate)) / rate
    wave = np.zeros(len(t))
    if voice.hz:
        phase = 2 * math.pi * np.cumsum(voice.hz + voice.sweep_hz * np.exp(-t / 0.02)) / rate
        wave += np.sin(phase) * np.exp(-t * 3 / voice.decay_s)
    noise = np.random.default_rng(7).standard_normal(len(t))
    band = butter(2, [voice.band_hz[0], min(voice.band_hz[1], 0.45 * rate)], "bandpass", fs=rate, output="sos")
    wave += voice.noise * sosfilt(band, noise) * np.exp(-t * 3 / voice.noise_decay_s)
    wave *= np.minimum(1.0, t / 0.0008)
    wave[-200:] *= np.linspace(1, 0, 200)
    return wave.astype(np.float32)
