"""The accompaniment from a General MIDI sound font of the player's own, where one and a renderer are installed.

Every distinct note (instrument, pitch, loudness, length) is rendered once, by itself, on a whole second; then it is
cut out and set on its sample, as our own voices are. So notes start where the timing map says, whatever grid the
renderer works on, and a pitch bend of its own tunes each note exactly.

Source of programs and percussion keys: General MIDI 1 (MIDI Association); of the file's first bytes: the SoundFont 2.04
specification (a RIFF file of the form "sfbk").
"""

from __future__ import annotations

import itertools
import math
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import numpy.typing as npt

from partwright.errors import AudioError, InputError, Place
from partwright.sound.accompaniment import AccompanimentNote, midi_program, render_accompaniment
from partwright.sound.audio_io import read_pieces
from partwright.sound.loudness import integrated_lufs
from partwright.sound.outside_io import find_command, run_command

__all__ = ["check_font", "font_remark", "render_with_font"]

Samples = npt.NDArray[np.float32]
RENDERER = "fluidsynth"
_LEAVE_OUT = "Leave the sound font out: the program has voices of its own."
_RELEASE_SECONDS = 1.5  # what may ring on after a note is let go; common practice, no source
_DRUM_MS, _DRUM_SECONDS = 1000, 4
_BATCH_SECONDS = 240  # rendered at once: 92 MB as it comes
_BEND_SEMITONES = 2  # either way; the default of General MIDI
_FADE_SECONDS = 0.03
_NOTHING = 1e-5  # 100 dB below full scale


@dataclass(frozen=True, slots=True, order=True)
class _Strike:
    """One note as the renderer is asked for it. `program`: −1 for percussion; `bend`: −8192 … 8191."""

    program: int
    key: int
    bend: int
    velocity: int
    ms: int

    @property
    def slot_seconds(self) -> int:
        """Whole seconds it is given, its ringing off included."""
        return _DRUM_SECONDS if self.program < 0 else math.ceil(self.ms / 1000 + _RELEASE_SECONDS)


def check_font(font: Path) -> str:
    """The renderer's path. Raises InputError where the font cannot be used or there is no renderer."""
    place = Place(file=str(font))
    if not font.is_file():
        raise InputError("is not there", "Check the path of the sound font.", place=place)
    try:
        with font.open("rb") as stream:
            head = stream.read(12)
        size = font.stat().st_size
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the sound font.", place=place) from error
    if head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise InputError("is no sound font", "Give a General MIDI sound font, .sf2 or .sf3.", place=place)
    if int.from_bytes(head[4:8], "little") + 8 > size:
        raise InputError("is cut short", "Copy the sound font again.", place=place)
    try:
        return find_command(RENDERER, needed_for="a sound font", todo=f"Install it. {_LEAVE_OUT}")
    except InputError as error:
        raise error.at(place) from None


def font_remark(font: Path) -> str:
    """What to think of before handing on what was made with a font."""
    return f"the accompaniment sounds from {font.name}; the licence of that sound font must allow what you do with it"


def render_with_font(notes: Sequence[AccompanimentNote], font: Path, *, seconds: float, sample_rate_hz: int) -> Samples:
    """All notes as mono samples from the font, as loud as our own voices would be together.

    Raises InputError where the font or the renderer gives nothing for an instrument that is asked for.
    """
    renderer = check_font(font)
    length = round(seconds * sample_rate_hz)
    sound = np.zeros(length, dtype=np.float32)
    starts: dict[_Strike, list[int]] = {}
    voices: dict[int, str] = {}
    for note in notes:
        strike = _strike(note)
        starts.setdefault(strike, []).append(max(0, round(note.start_seconds * sample_rate_hz)))
        voices[strike.program] = note.voice
    heard: set[int] = set()
    for batch in _batches(sorted(starts)):
        for strike, wave in zip(batch, _rendered(renderer, font, batch, sample_rate_hz), strict=True):
            if np.abs(wave).max(initial=0.0) > _NOTHING:
                heard.add(strike.program)
            for first in starts[strike]:
                end = min(length, first + len(wave))
                if first < end:
                    sound[first:end] += wave[: end - first]
    for program in sorted(voices.keys() - heard):
        what = "percussion" if program < 0 else f"{voices[program]} (General MIDI program {program + 1})"
        raise InputError(
            f"gives no sound for {what}", "Give a whole General MIDI sound font, or none.", place=Place(file=str(font))
        )
    own = render_accompaniment(notes, seconds=seconds, sample_rate_hz=sample_rate_hz)
    return sound * np.float32(_gain(own, sound, sample_rate_hz))


def _strike(note: AccompanimentNote) -> _Strike:
    velocity = max(1, min(127, round(20 + 100 * note.loudness)))  # as in the MIDI file
    if note.voice.startswith("drum"):
        return _Strike(-1, round(note.frequency_hz), 0, velocity, _DRUM_MS)  # its "frequency" is the percussion key
    exact = 69 + 12 * math.log2(note.frequency_hz / 440.0)
    key = max(0, min(127, round(exact)))
    bend = max(-8192, min(8191, round((exact - key) * 8192 / _BEND_SEMITONES)))
    ms = max(20, round((note.end_seconds - note.start_seconds) * 1000))
    return _Strike(midi_program(note.voice) or 0, key, bend, velocity, ms)


def _batches(strikes: Sequence[_Strike]) -> Iterator[list[_Strike]]:
    batch: list[_Strike] = []
    total = 0
    for strike in strikes:
        if batch and total + strike.slot_seconds > _BATCH_SECONDS:
            yield batch
            batch, total = [], 0
        batch.append(strike)
        total += strike.slot_seconds
    if batch:
        yield batch


def _rendered(renderer: str, font: Path, batch: Sequence[_Strike], rate: int) -> list[Samples]:
    """Each note by itself, from its own beginning; mono."""
    with tempfile.TemporaryDirectory(prefix="partwright-") as folder:
        score, audio = Path(folder) / "notes.mid", Path(folder) / "notes.wav"
        _midi(batch).save(str(score))
        options = ["-n", "-i", "-q", "-R", "0", "-C", "0", "-g", "0.5", "-r", str(rate)]
        target = ["-T", "wav", "-O", "float", "-F", str(audio)]
        try:
            run_command([renderer, *options, *target, str(font.resolve()), str(score)], todo=_LEAVE_OUT)
            info, pieces, _ = read_pieces(audio)
            whole = np.concatenate([piece.mean(axis=0) for piece in pieces])
        except AudioError as error:
            what = f"cannot be played by {RENDERER}"
            raise InputError(what, f"Give another one. {_LEAVE_OUT}", place=Place(file=str(font))) from error
        except InputError as error:
            raise error.at(Place(file=str(font))) from error
    if info.rate_hz != rate:
        what = f"is played by {RENDERER} at {info.rate_hz} Hz instead of {rate}"
        raise InputError(what, _LEAVE_OUT, place=Place(file=str(font)))
    fade = round(_FADE_SECONDS * rate)
    waves = []
    for strike, start in zip(batch, _slot_starts(batch), strict=True):
        wave = np.zeros(strike.slot_seconds * rate, dtype=np.float32)
        cut = whole[start * rate : (start + strike.slot_seconds) * rate]
        wave[: len(cut)] = cut
        wave[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
        waves.append(wave)
    return waves


def _slot_starts(batch: Sequence[_Strike]) -> list[int]:
    """Whole seconds; the first one is silence, for the renderer to begin in."""
    return list(itertools.accumulate((strike.slot_seconds for strike in batch), initial=1))[:-1]


def _midi(batch: Sequence[_Strike]) -> mido.MidiFile:
    """The notes one after the other, a thousand ticks a second."""
    events: list[tuple[int, mido.Message]] = []
    for strike, start in zip(batch, _slot_starts(batch), strict=True):
        channel, at = (9 if strike.program < 0 else 0), 1000 * start
        events += [(at, mido.Message("control_change", channel=silent, control=120, value=0)) for silent in (0, 9)]
        events += [
            (at, mido.Message("program_change", channel=channel, program=max(0, strike.program))),
            (at, mido.Message("pitchwheel", channel=channel, pitch=strike.bend)),
            (at, mido.Message("note_on", channel=channel, note=strike.key, velocity=strike.velocity)),
            (at + strike.ms, mido.Message("note_off", channel=channel, note=strike.key, velocity=64)),
        ]
        events.append((at + 1000 * strike.slot_seconds, mido.Message("control_change", channel=0, control=64, value=0)))
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000, time=0)])
    now = 0
    for at, message in events:
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=0))
    return mido.MidiFile(type=0, ticks_per_beat=1000, tracks=[track])


def _gain(own: Samples, sound: Samples, rate: int) -> float:
    """What makes the font's sound as loud as our own; by power where it is too short to have a loudness."""
    wanted, is_now = integrated_lufs(own[np.newaxis], rate), integrated_lufs(sound[np.newaxis], rate)
    if math.isfinite(wanted) and math.isfinite(is_now):
        return float(10 ** ((wanted - is_now) / 20))
    return math.sqrt(float(np.mean(own**2)) / max(1e-12, float(np.mean(sound**2))))
