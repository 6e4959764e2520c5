"""MIDI files read by another library, stretching heard by another ear, chords against the trade's spelling.

Sources: music21's own MIDI reader (low level: ticks and bytes) for Standard MIDI Files 1.0; librosa's YIN for pitch;
chord tones as in any harmony book (common practice, no source); 3/2, 5/4 … as ratios of pure intervals.
"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import librosa
import numpy as np
import pytest
from music21.midi import MidiFile

from made_tunes import demo_tune
from partwright.score import ChordSymbol, Part, Pitch, chord_notes, read_tune, tune_from_bytes
from partwright.sound import (
    Temperament,
    encode_audio,
    format_of,
    frequency_hz,
    make_timing,
    midi_bytes,
    read_pieces,
    slow_file,
    stretch_pieces,
)


def demo_part() -> Part:
    return tune_from_bytes(demo_tune(), source=Path("tune.musicxml")).part


def read_midi(data: bytes) -> tuple[list[str], list[list[tuple[int, float, float]]]]:
    """Names of the tracks, and for each its notes as (key, start, end) in seconds, by music21's reader."""
    file = MidiFile()
    file.readstr(data)
    tempi: list[tuple[int, int]] = []
    names, tracks = [], []
    for track in file.tracks:
        now, open_notes, notes, name = 0, {}, [], ""
        for event in track.events:
            if event.isDeltaTime():
                now += event.time
            elif getattr(event.type, "name", "") == "SET_TEMPO":
                tempi.append((now, int.from_bytes(event.data, "big")))
            elif getattr(event.type, "name", "") == "SEQUENCE_TRACK_NAME":
                name = event.data.decode("utf-8")
            elif event.isNoteOn():
                open_notes.setdefault(event.pitch, []).append(now)
            elif event.isNoteOff():
                notes.append((event.pitch, open_notes[event.pitch].pop(0), now))
        names.append(name)
        tracks.append(notes)

    def seconds(tick: int) -> float:
        total, at, tempo = 0.0, 0, 500_000
        for start, following in tempi:
            if start >= tick:
                break
            total += (start - at) * tempo / 1e6 / file.ticksPerQuarterNote
            at, tempo = start, following
        return total + (tick - at) * tempo / 1e6 / file.ticksPerQuarterNote

    return names, [[(key, seconds(a), seconds(b)) for key, a, b in notes] for notes in tracks]


@pytest.mark.parametrize("speed", [1.0, 0.6])
def test_midi_has_the_notes_of_the_timing_map_to_the_millisecond(speed: float) -> None:
    part = demo_part()
    timing = make_timing(part, speed=speed)
    names, tracks = read_midi(midi_bytes(part, speed=speed, title="Lantern on the Weir"))
    assert names[:2] == ["Lantern on the Weir", "Cello"]
    expected: list[list[float]] = []
    for note in timing.notes:
        if note.tied:
            expected[-1][2] = note.end_seconds
        else:
            expected.append([part.by_id[note.id].midi, note.start_seconds, note.end_seconds])
    found = sorted(tracks[1], key=lambda n: (round(n[1], 4), n[0]))
    expected.sort(key=lambda n: (round(n[1], 4), n[0]))
    assert [n[0] for n in found] == [n[0] for n in expected]
    assert np.abs(np.array(found)[:, 1:] - np.array(expected)[:, 1:]).max() < 1e-3


def test_midi_as_written_has_each_note_once() -> None:
    part = demo_part()
    _, tracks = read_midi(midi_bytes(part, unfolded=False))
    assert len(tracks[1]) == sum(note.tied_from is None for note in part.notes)
    assert len(tracks[1]) < len(read_midi(midi_bytes(part))[1][1])


def test_midi_comes_back_as_the_same_tune(tmp_path: Path) -> None:
    path = tmp_path / "tune.mid"
    path.write_bytes(midi_bytes(demo_part(), unfolded=False))
    again = read_tune(path, part="1").part
    wanted = [note.midi for note in demo_part().notes if note.tied_from is None]
    assert sorted(note.midi for note in again.notes if note.tied_from is None) == sorted(wanted)


# Stretching ----------------------------------------------------------------------------------------------------------

RATE = 44_100


def pieces_of(samples: np.ndarray, size: int = 4096):
    return iter(samples[:, i : i + size] for i in range(0, samples.shape[1], size))


def tone(seconds: float, hz: float, rate: int = RATE) -> np.ndarray:
    t = np.arange(round(seconds * rate)) / rate
    wave = sum(np.sin(2 * np.pi * hz * k * t) / k for k in range(1, 8))
    return (0.25 * wave / 1.5)[np.newaxis].astype(np.float32)


@pytest.mark.parametrize("speed", [0.5, 0.75, 1.25])
@pytest.mark.parametrize("hz", [98.0, 220.0, 440.0])
def test_slower_at_the_same_pitch(speed: float, hz: float) -> None:
    source = tone(6, hz)
    made = np.concatenate(list(stretch_pieces(pieces_of(source), RATE, 1, speed=speed)), axis=1)
    assert made.shape[1] == pytest.approx(source.shape[1] / speed, rel=1e-3)
    middle = made[0, RATE : 3 * RATE].astype(float)
    heard = librosa.yin(middle, fmin=hz / 1.4, fmax=hz * 1.4, sr=RATE, frame_length=8192, center=False)
    assert abs(1200 * np.log2(np.median(heard) / hz)) < 5
    assert np.std(middle) == pytest.approx(np.std(source), rel=0.1)


@pytest.mark.parametrize("semitones", [-3, 2])
def test_another_key_at_the_same_speed(semitones: int) -> None:
    source = tone(5, 220.0)
    made = np.concatenate(list(stretch_pieces(pieces_of(source), RATE, 1, speed=1.0, semitones=semitones)), axis=1)
    assert made.shape == source.shape
    expected = 220.0 * 2 ** (semitones / 12)
    heard = librosa.yin(
        made[0, RATE : 3 * RATE].astype(float), fmin=expected / 1.4, fmax=expected * 1.4, sr=RATE, frame_length=8192
    )
    assert abs(1200 * np.log2(np.median(heard) / expected)) < 5


@pytest.mark.parametrize("speed", [0.5, 0.75, 1.25])
def test_struck_sounds_stay_struck_and_in_their_place(speed: float) -> None:
    source = np.zeros((1, RATE * 6), dtype=np.float32)
    struck = np.arange(3000) / RATE
    stroke = 0.7 * np.sin(2 * np.pi * 880 * struck) * np.exp(-struck / 0.012)
    times = [1.0, 2.0, 3.5, 5.0]
    for at in times:
        source[0, round(at * RATE) : round(at * RATE) + 3000] += stroke.astype(np.float32)
    made = np.abs(np.concatenate(list(stretch_pieces(pieces_of(source), RATE, 1, speed=speed)), axis=1)[0])
    for at in times:
        due = round(at / speed * RATE)
        window = made[due - 4000 : due + 6000]
        first = int(np.argmax(window > 0.5 * window.max())) - 4000
        assert abs(first) / RATE < 0.010
        assert window.max() > 0.6 * 0.7  # not smeared out


@pytest.mark.parametrize("speed", [0.75, 1.25])
def test_a_long_recording_has_no_seams(speed: float) -> None:
    """Long enough for several joins: the level never dips, and nothing in the middle is lost."""
    source = tone(100, 196.0)
    made = np.concatenate(list(stretch_pieces(pieces_of(source), RATE, 1, speed=speed)), axis=1)[0]
    assert len(made) == pytest.approx(source.shape[1] / speed, rel=1e-5)
    count = len(made) // 2205
    level = np.sqrt((made[: count * 2205].reshape(count, 2205) ** 2).mean(axis=1))[10:-10]
    assert level.min() > 0.85 * np.median(level)
    assert level.max() < 1.15 * np.median(level)


@pytest.mark.parametrize("rate", [8000, 96_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_any_rate_and_one_or_two_channels(tmp_path: Path, rate: int, channels: int) -> None:
    samples = np.repeat(tone(3, 220.0, rate), channels, axis=0)
    path = tmp_path / "band.wav"
    path.write_bytes(encode_audio(samples, rate, format_of(path)))
    slowed = slow_file(path, tmp_path / "slow.flac", speed=0.75)
    assert slowed.seconds == pytest.approx(4.0, rel=1e-3)
    info, pieces, _ = read_pieces(tmp_path / "slow.flac")
    assert (info.rate_hz, info.channels) == (rate, channels)
    assert sum(piece.shape[1] for piece in pieces) == round(slowed.seconds * rate)


# Chords and temperaments ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "degrees", "notes"),
    [
        ("major", (), (0, 4, 7)),
        ("minor-seventh", (), (0, 3, 7, 10)),
        ("half-diminished", (), (0, 3, 6, 10)),
        ("dominant", ((9, -1, "add"),), (0, 4, 7, 10, 13)),  # C7b9
        ("dominant", ((5, 1, "alter"),), (0, 4, 8, 10)),  # C7#5
        ("major", ((9, 0, "add"),), (0, 4, 7, 14)),  # Cadd9
        ("dominant-ninth", ((3, 0, "subtract"),), (0, 7, 10, 14)),
        ("suspended-fourth", ((7, 0, "add"),), (0, 5, 7, 10)),  # C7sus4
    ],
)
def test_chord_notes(kind: str, degrees: tuple, notes: tuple[int, ...]) -> None:
    symbol = ChordSymbol(
        onset_quarters=Fraction(0), bar_index=0, bar="1", beat=Fraction(1), text="", root_step="C", kind=kind,
        degrees=degrees,
    )  # fmt: skip
    assert chord_notes(symbol) == notes


def test_pure_intervals() -> None:
    fifths = Temperament(name="pythagorean")
    assert frequency_hz(Pitch("D", 0, 4), fifths) == pytest.approx(440 * 2 / 3, rel=1e-9)
    assert frequency_hz(Pitch("C", 0, 3), fifths) == pytest.approx(440 * 8 / 27, rel=1e-9)  # three fifths below A4
    assert frequency_hz(Pitch("F", 1, 4), fifths) == pytest.approx(440 * 2 / 3 * 81 / 64, rel=1e-9)
    just = Temperament(name="just", drone_step="D")
    drone = frequency_hz(Pitch("D", 0, 3), just)
    for pitch, ratio in (("F", Fraction(5, 4)), ("G", Fraction(4, 3)), ("A", Fraction(3, 2)), ("B", Fraction(5, 3))):
        alter = 1 if pitch == "F" else 0
        assert frequency_hz(Pitch(pitch, alter, 3), just) == pytest.approx(drone * float(ratio), rel=1e-9)
    assert frequency_hz(Pitch("D", 0, 3), just) == pytest.approx(440 / 3, rel=1e-9)
    assert frequency_hz(Pitch("A", 0, 4), Temperament(a4_hz=415.0)) == pytest.approx(415.0)


def test_the_caution_is_the_sourced_one(shared: Path) -> None:
    import csv
    from importlib.resources import files

    ours = list(
        csv.DictReader(files("partwright.sound").joinpath("data", "cautions.csv").read_text("utf-8").splitlines())
    )
    theirs = list(csv.DictReader((shared / "reference" / "safety_copyright.csv").read_text("utf-8").splitlines()))
    assert all(row in theirs for row in ours)
    assert json.dumps(ours).count("85 dBA for 8 h") == 1
