"""Takes made for tests and benches: a part performed with planted slips, by sounds that are not the guide's.

Two voices: a General MIDI sound font through the open synthesiser FluidSynth (Debian packages `fluidsynth` and
`fluid-soundfont-gm`), and where these are absent, or for variety, a plain additive voice with vibrato, slides and bow
noise of its own. Speech comes from `espeak-ng` (Debian), or is noise shaped like speech.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import wave
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import mido
import numpy as np
from scipy.signal import butter, fftconvolve, lfilter, resample_poly

from partwright.checking.take.events import ScoreEvent

RATE = 44_100
SOUND_FONTS = (Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"), Path("/usr/share/sounds/sf2/default-GM.sf2"))
CELLO, VIOLIN, FLUTE, PIANO = 42, 40, 73, 0


@dataclass(frozen=True)
class Heard:
    """One note as performed: which event it is of (-1: an extra one), when, how long, what."""

    event: int
    onset_s: float
    seconds: float
    midis: tuple[int, ...]
    cents: float = 0.0
    slip: str = ""
    slurred: bool = False


@dataclass(frozen=True)
class Performance:
    notes: tuple[Heard, ...]
    seconds: float
    slips: tuple[tuple[str, int, float], ...] = field(default=())  # kind, event, cents or semitones


def perform(
    events: Sequence[ScoreEvent],
    *,
    seed: int = 0,
    first: int = 0,
    last: int | None = None,
    tempo: float = 1.0,
    drift: float = 0.0,
    rubato: float = 0.0,
    jitter_s: float = 0.0,
    lead_s: float = 0.5,
    cents_spread: float = 3.0,
    wrong: int = 0,
    missed: int = 0,
    cents: int = 0,
    extra: int = 0,
    restart_after: int | None = None,
    restart_from: int | None = None,
) -> Performance:
    """Events `first` … `last` played once. `drift`: tempo changes by this share from start to end (and back);
    `rubato`: every four bars breathe by this share. Slips fall on notes over 0.22 s, never on neighbours."""
    rng = np.random.default_rng(seed)
    last = len(events) - 1 if last is None else last
    order = list(range(first, last + 1))
    if restart_after is not None and restart_from is not None:
        cut = order.index(restart_after) + 1
        again = list(range(restart_from, last + 1))
        order = [*order[:cut], -1, *again]
    notes: list[Heard] = []
    now = lead_s
    span = max(1e-9, events[last].end_s - events[first].start_s)
    eligible = [
        i
        for i in range(first + 1, last)
        if events[i].seconds / tempo > 0.24
        and not events[i].grace
        and len(events[i].midis) == 1
        and events[i].midis != events[i - 1].midis
        and events[i].midis != events[i + 1].midis
    ]
    rng.shuffle(eligible)
    chosen: dict[int, tuple[str, float]] = {}

    def plant(kind: str, count: int, values: Sequence[float]) -> None:
        left = count
        for event in eligible:
            if left == 0:
                return
            if any(abs(event - other) < 3 for other in chosen):
                continue
            value = float(rng.choice(values))
            around = {m for i in (event - 1, event + 1) for m in events[i].midis}
            if kind == "wrong" and events[event].midis[0] + int(value) in around:
                continue
            chosen[event] = (kind, value)
            left -= 1

    plant("wrong", wrong, (-2, -1, 1, 2))
    plant("missed", missed, (0,))
    plant("cents", cents, (-60, -45, -35, -25, -20, -15, 15, 20, 25, 35, 45, 60))
    plant("extra", extra, (2, 3, -2, -3))
    restarted = False
    for at in order:
        if at < 0:
            now += 0.8
            restarted = True
            continue
        event = events[at]
        place = (event.start_s - events[first].start_s) / span
        speed = tempo * (1 + drift * np.sin(2 * np.pi * place)) * (1 + rubato * np.sin(2 * np.pi * event.start_s / 7.0))
        step = (events[at + 1].start_s if at < len(events) - 1 else event.end_s) - event.start_s
        sound = event.seconds / speed
        kind, value = chosen.get(at, ("", 0.0))
        if restart_from is not None and not restarted and at >= restart_from:
            kind, value = "", 0.0
        bent = float(rng.normal(0, cents_spread)) if cents_spread else 0.0
        midis = event.midis
        onset = now + (float(rng.normal(0, jitter_s)) if jitter_s else 0.0)
        if kind == "wrong":
            midis = tuple(m + int(value) for m in midis)
        if kind == "cents":
            bent = value
        if kind == "extra":
            notes.append(Heard(at, onset, sound * 0.5, midis, bent, "", event.slurred))
            notes.append(
                Heard(-1, onset + sound * 0.5, sound * 0.5, tuple(m + int(value) for m in midis), 0.0, "extra")
            )
        elif kind != "missed":
            length = sound * (0.5 if event.short else 0.97)
            notes.append(Heard(at, onset, length, midis, bent, kind, event.slurred))
        now += step / speed
    slips = tuple((kind, event, value) for event, (kind, value) in sorted(chosen.items()))
    return Performance(tuple(notes), now + 1.0, slips)


def sound_font() -> Path | None:
    if shutil.which("fluidsynth") is None:
        return None
    return next((path for path in SOUND_FONTS if path.is_file()), None)


def fluid(performance: Performance, *, program: int = CELLO, tuning_cents: float = 0.0) -> np.ndarray:
    """The performance by a sound font, mono at RATE; each note on the next of 14 channels, bent to its cents."""
    font = sound_font()
    assert font is not None
    channels = [c for c in range(16) if c != 9]
    timed: list[tuple[float, int, mido.Message]] = [
        (0.0, 0, mido.Message("program_change", channel=channel, program=program)) for channel in channels
    ]
    turn = 0
    for note in performance.notes:
        for midi in note.midis:
            channel = channels[turn % len(channels)]
            turn += 1
            bend = round((note.cents + tuning_cents) / 200 * 8192)
            timed.append(
                (
                    note.onset_s - 0.002,
                    1,
                    mido.Message("pitchwheel", channel=channel, pitch=max(-8192, min(8191, bend))),
                )
            )
            timed.append((note.onset_s, 2, mido.Message("note_on", channel=channel, note=midi, velocity=92)))
            timed.append((note.onset_s + note.seconds, 0, mido.Message("note_off", channel=channel, note=midi)))
    return _by_fluidsynth(timed, performance.seconds)


def _by_fluidsynth(timed: list[tuple[float, int, mido.Message]], seconds: float) -> np.ndarray:
    font = sound_font()
    file = mido.MidiFile(ticks_per_beat=960)
    track = mido.MidiTrack()
    file.tracks.append(track)
    before = 0
    for at, _, message in sorted(timed, key=lambda row: (max(0.0, row[0]), row[1])):
        tick = round(max(0.0, at) * 1920)
        track.append(message.copy(time=tick - before))
        before = tick
    with tempfile.TemporaryDirectory() as folder:
        midi, out = Path(folder) / "take.mid", Path(folder) / "take.wav"
        file.save(midi)
        subprocess.run(
            [
                "fluidsynth",
                "-ni",
                "-q",
                "-R",
                "0",
                "-C",
                "0",
                "-g",
                "0.8",
                "-r",
                str(RATE),
                "-F",
                str(out),
                str(font),
                str(midi),
            ],
            check=True,
            capture_output=True,
            timeout=300,
        )
        with wave.open(str(out)) as sound:
            raw = np.frombuffer(sound.readframes(sound.getnframes()), dtype=np.int16).reshape(-1, sound.getnchannels())
    mono = raw.mean(axis=1) / 32768
    return fitted(mono, round(seconds * RATE))


def additive(
    performance: Performance, *, seed: int = 0, tuning_cents: float = 0.0, vibrato_cents: float = 12.0
) -> np.ndarray:
    """A plain voice: partials with a body's unevenness, vibrato on long notes, slides under slurs, bow noise."""
    rng = np.random.default_rng(seed)
    total = np.zeros(round(performance.seconds * RATE) + RATE)
    body = rng.uniform(0.4, 1.0, 400)
    before: Heard | None = None
    for note in performance.notes:
        for midi in note.midis:
            hz = 440 * 2 ** ((midi - 69 + (note.cents + tuning_cents) / 100) / 12)
            count = round((note.seconds + 0.06) * RATE)
            t = np.arange(count) / RATE
            bend = np.zeros(count)
            if note.seconds > 0.35:
                bend += vibrato_cents * np.sin(2 * np.pi * rng.uniform(4.8, 6.2) * t) * np.minimum(1, t / 0.25)
            if note.slurred and before is not None and abs(before.midis[0] - midi) in (1, 2, 3, 4):
                bend += 100 * (before.midis[0] - midi) * np.exp(-t / 0.008)
            phase = 2 * np.pi * np.cumsum(hz * 2 ** (bend / 1200)) / RATE
            wave_ = np.zeros(count)
            for n in range(1, 24):
                if n * hz > 9000:
                    break
                wave_ += body[min(399, int(n * hz / 40))] / n * np.sin(n * phase + n * n)
            attack = 0.012 if note.slurred else 0.035
            shape = np.minimum(1, t / attack) * np.minimum(1, np.maximum(0, (note.seconds + 0.06 - t) / 0.06))
            wave_ += 0.06 * rng.standard_normal(count) * (1 + 3 * np.exp(-t / 0.03))
            start = round(note.onset_s * RATE)
            total[start : start + count] += wave_ * shape
        before = note
    total = total[: round(performance.seconds * RATE)]
    return 0.2 * total / max(1e-9, np.sqrt(np.mean(total**2)))


def backing(events: Sequence[ScoreEvent], performance: Performance, *, seed: int = 0) -> np.ndarray:
    """Chords under the performance, in its own time: a piano from the sound font, or decaying tones."""
    rng = np.random.default_rng(seed)
    chords = []
    for note in performance.notes:
        if note.event >= 0 and events[note.event].first_of_bar:
            root = 48 + (events[note.event].midis[0] - int(rng.choice([0, 4, 7]))) % 12
            chords.append(Heard(note.event, note.onset_s, 1.6, (root - 12, root, root + 4, root + 7, root + 12)))
    made = Performance(tuple(chords), performance.seconds)
    return fluid(made, program=PIANO) if sound_font() else additive(made, vibrato_cents=0)


def room(sound: np.ndarray, *, seconds: float = 0.5, wet: float = 0.25, seed: int = 0) -> np.ndarray:
    """Early reflections and a tail that falls by 60 dB in `seconds`."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / seconds)
    tail[: round(0.008 * RATE)] = 0
    tail *= wet / np.sqrt(np.sum(tail**2))
    return sound + fftconvolve(sound, tail)[: len(sound)]


def noisy(sound: np.ndarray, decibel: float, *, seed: int = 0) -> np.ndarray:
    """With pink-like noise `decibel` below the sound's own level."""
    rng = np.random.default_rng(seed)
    grain = lfilter([0.05], [1, -0.95], rng.standard_normal(len(sound))) + 0.05 * rng.standard_normal(len(sound))
    return sound + grain * np.sqrt(np.mean(sound**2) / np.mean(grain**2)) * 10 ** (-decibel / 20)


def mixed(sound: np.ndarray, other: np.ndarray, decibel: float) -> np.ndarray:
    """`other` added so many dB above (below: negative) the sound."""
    other = fitted(other, len(sound))
    return sound + other * np.sqrt(np.mean(sound**2) / max(1e-12, np.mean(other**2))) * 10 ** (decibel / 20)


def talk(seconds: float, *, seed: int = 0, level: float = 0.1) -> np.ndarray:
    """Speech, by espeak-ng where it is there."""
    words = (
        "So now we play the second section once more and please listen to the first finger before "
        "we go on to the climb. "
    )
    if shutil.which("espeak-ng"):
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "talk.wav"
            subprocess.run(
                ["espeak-ng", "-w", str(out), "-p", str(35 + seed % 30), words * 4], check=True, capture_output=True
            )
            with wave.open(str(out)) as sound:
                raw = np.frombuffer(sound.readframes(sound.getnframes()), dtype=np.int16) / 32768
                speech = resample_poly(raw, RATE, sound.getframerate())
    else:
        rng = np.random.default_rng(seed)
        t = np.arange(round(seconds * RATE)) / RATE
        hz = 120 * 2 ** (0.25 * np.sin(2 * np.pi * 0.7 * t) + 0.1 * np.sin(2 * np.pi * 2.3 * t))
        buzz = np.sign(np.sin(2 * np.pi * np.cumsum(hz) / RATE)) + 0.3 * rng.standard_normal(len(t))
        b, a = butter(2, [300, 2800], btype="band", fs=RATE)
        speech = lfilter(b, a, buzz) * (np.sin(2 * np.pi * 3.5 * t) > -0.3)
    speech = fitted(speech, round(seconds * RATE))
    return level * speech / max(1e-9, np.sqrt(np.mean(speech**2)))


def fitted(sound: np.ndarray, length: int) -> np.ndarray:
    return np.pad(sound, (0, max(0, length - len(sound))))[:length]


def shifted(performance: Performance, seconds: float) -> Performance:
    """The same later, for what is put before it."""
    notes = tuple(replace(note, onset_s=note.onset_s + seconds) for note in performance.notes)
    return replace(performance, notes=notes, seconds=performance.seconds + seconds)
