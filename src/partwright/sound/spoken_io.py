"""The spoken count-in: each number by a speech command of the player's own, its spoken onset set on the beat.

A spoken word begins with silence, and often with a soft consonant; what is heard as its beat is near the beginning of
its vowel (Morton, Marcus and Frankish 1976 on "perceptual centres", from memory). So what is put on the beat is the
moment the level first reaches half of its loudest, and what lies before it sounds before the beat.
"""

from __future__ import annotations

import tempfile
from functools import lru_cache
from math import gcd
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import resample_poly

from partwright.errors import AudioError, InputError
from partwright.sound.audio_io import read_pieces
from partwright.sound.outside_io import find_command, run_command
from partwright.sound.timing import TimingMap

__all__ = ["check_speaker", "render_count", "spoken_onset"]

Samples = npt.NDArray[np.float32]
SPEAKER = "espeak-ng"
_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_LEAVE_OUT = "Leave the count to the click."
_PEAK = 0.5
_WINDOW_SECONDS, _ONSET_RATIO = 0.01, 0.5
_LEAD_SECONDS, _FADE_IN_SECONDS, _FADE_OUT_SECONDS = 0.2, 0.003, 0.02
_SLOWEST_WPM, _FASTEST_WPM, _WORD_SECONDS = 160, 320, 0.5


def check_speaker() -> str:
    """The speech command's path. Raises InputError where there is none."""
    return find_command(SPEAKER, needed_for="a spoken count-in", todo=f"Install it. {_LEAVE_OUT}")


def render_count(timing: TimingMap, *, seconds: float, sample_rate_hz: int) -> Samples:
    """The counted beats as mono samples, nothing where none are counted; a word ends where the next one begins.

    Raises InputError where there is no speech command or it says nothing.
    """
    sound = np.zeros(round(seconds * sample_rate_hz), dtype=np.float32)
    beats = [beat for beat in timing.beats if beat.count_in]
    if not beats:
        return sound
    speaker = check_speaker()
    ends = [beat.seconds for beat in beats[1:]] + [timing.count_in_seconds]
    shortest = min(end - beat.seconds for beat, end in zip(beats, ends, strict=True))
    speed = round(min(_FASTEST_WPM, max(_SLOWEST_WPM, _SLOWEST_WPM * _WORD_SECONDS / max(0.1, shortest))), -1)
    words = [_word(speaker, _name(int(beat.beat)), int(speed), sample_rate_hz) for beat in beats]
    places = [round(beat.seconds * sample_rate_hz) - onset for beat, (_, onset) in zip(beats, words, strict=True)]
    # The last number may not sound into the music's first beat.
    limits = [*places[1:], round(timing.count_in_seconds * sample_rate_hz)]
    for (wave, _), first, limit in zip(words, places, limits, strict=True):
        cut = wave[: max(0, limit - first)].copy()
        fade = min(len(cut), round(_FADE_OUT_SECONDS * sample_rate_hz))
        if len(cut) < len(wave) and fade:
            cut[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
        cut, first = cut[max(0, -first) :], max(0, first)
        end = min(len(sound), first + len(cut))
        sound[first:end] += cut[: end - first]
    return sound


def _name(number: int) -> str:
    return _NUMBERS[number - 1] if 1 <= number <= len(_NUMBERS) else str(number)


@lru_cache(maxsize=64)
def _word(speaker: str, word: str, speed_wpm: int, rate: int) -> tuple[Samples, int]:
    """A word without the silence around it, and the sample on which it is heard to begin."""
    with tempfile.TemporaryDirectory(prefix="partwright-") as folder:
        audio = Path(folder) / "word.wav"
        run_command([speaker, "-v", "en", "-s", str(speed_wpm), "-w", str(audio), word], todo=_LEAVE_OUT)
        try:
            info, pieces, _ = read_pieces(audio)
            wave = np.concatenate([piece.mean(axis=0) for piece in pieces])
        except AudioError as error:
            raise InputError(f'{SPEAKER} gave no sound for "{word}"', _LEAVE_OUT) from error
    shared = gcd(rate, info.rate_hz)
    wave = resample_poly(wave, rate // shared, info.rate_hz // shared).astype(np.float32)
    peak = float(np.abs(wave).max(initial=0.0))
    if peak < 1e-4:
        raise InputError(f'{SPEAKER} gave no sound for "{word}"', _LEAVE_OUT)
    wave *= np.float32(_PEAK / peak)
    onset = spoken_onset(wave, rate)
    lead = min(onset, round(_LEAD_SECONDS * rate))
    last = int(np.flatnonzero(np.abs(wave) > 0.003 * _PEAK)[-1]) + 1
    wave = wave[onset - lead : last]
    fade = min(len(wave), round(_FADE_IN_SECONDS * rate))
    if lead >= fade:
        wave[:fade] *= np.linspace(0, 1, fade, dtype=np.float32)
    return wave, lead


def spoken_onset(samples: Samples, rate_hz: int) -> int:
    """Where a word becomes loud: the first ten milliseconds of half the loudest ten's level, and the rise in them.

    >>> spoken_onset(np.array([0.0] * 100 + [0.02] * 100 + [1.0] * 100, dtype=np.float32), 1000)
    200
    """
    window = max(1, round(_WINDOW_SECONDS * rate_hz))
    total = np.concatenate([[0.0], np.cumsum(samples.astype(np.float64) ** 2)])
    power = total[window:] - total[:-window]
    loudest = float(power.max(initial=0.0))
    found = int(np.argmax(power >= _ONSET_RATIO**2 * loudest))
    # The window reaches ahead: the onset lies where the samples themselves come up, inside it.
    inside = np.abs(samples[found : found + window])
    return found + int(np.argmax(inside >= 0.5 * float(inside.max(initial=0.0))))
