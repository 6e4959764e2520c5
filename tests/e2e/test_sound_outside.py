"""The player's own sound font and the spoken count-in: with commands made for the test, and with real ones if there.

Sources: General MIDI 1 for programs and percussion keys; librosa's YIN and onset strength as other ears; the beats of
the timing map. That a spoken number is heard where its level comes up: common practice, no source.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import librosa
import numpy as np
import pytest

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.errors import InputError
from partwright.instrument import load_instrument
from partwright.score import tune_from_bytes
from partwright.sound import (
    MIXES,
    AccompanimentNote,
    Music,
    integrated_lufs,
    make_timing,
    mix,
    passage_of_bars,
    read_pieces,
    render_accompaniment,
    render_count,
    render_stems,
    render_with_font,
    spoken_onset,
    stereo_stems,
)

pytestmark = pytest.mark.skipif(os.name == "nt", reason="the commands made for the test are scripts with a #! line")

Partwright = Callable[..., Ran]
RATE = 48_000
DEMO = tune_from_bytes(demo_tune(), source=Path("tune.musicxml")).part

# A renderer by the same call: every note a cosine that begins on its sample; 0.7 of a block late, as real ones may be.
RENDERER = """#!{python}
import os, sys, wave
import mido, numpy as np
mode = os.environ.get("MADE_RENDERER", "")
if mode == "fails":
    sys.exit("the font is of an unknown kind.")
arguments = sys.argv[1:]
target, rate = arguments[arguments.index("-F") + 1], int(arguments[arguments.index("-r") + 1])
font, score = arguments[-2:]
assert open(font, "rb").read(4) == b"RIFF"
if mode == "writes nothing":
    sys.exit(0)
if mode == "writes no audio":
    open(target, "w").write("no audio")
    sys.exit(0)
file = mido.MidiFile(score)
sound, now, bend, program = np.zeros(round((file.length + 1) * rate)), 0.0, 0, 0
for message in file:
    now += message.time
    if message.type == "pitchwheel":
        bend = message.pitch
    if message.type == "program_change":
        program = message.program
    if message.type == "note_on" and not (mode == "no basses" and program == 32):
        hz = 440 * 2 ** ((message.note - 69 + 2 * bend / 8192) / 12)
        t = np.arange(rate // 2) / rate
        first = round(now * rate)
        part = sound[first : first + len(t)]
        part += (0.002 * message.velocity * np.cos(2 * np.pi * hz * t) * np.linspace(1, 0, len(t)))[: len(part)]
data = (np.repeat(sound[:, None], 2, axis=1) * 32767).astype("<i2")
with wave.open(target, "wb") as out:
    out.setnchannels(2), out.setsampwidth(2), out.setframerate(rate), out.writeframes(data.tobytes())
"""

# A speaker by the same call: silence, a weak hiss, then a tone that says the number's length in letters.
SPEAKER = """#!{python}
import os, sys, wave
import numpy as np
arguments = sys.argv[1:]
target, word = arguments[arguments.index("-w") + 1], arguments[-1]
rate = 22050
if os.environ.get("MADE_SPEAKER") == "silent":
    sound = np.zeros(rate)
else:
    hiss = 0.01 * np.random.default_rng(1).standard_normal(round(0.05 * rate))
    t = np.arange(round(0.25 * rate)) / rate
    sound = np.concatenate([np.zeros(round(0.217 * rate)), hiss, 0.6 * np.cos(2 * np.pi * 80 * len(word) * t)])
with wave.open(target, "wb") as out:
    out.setnchannels(1), out.setsampwidth(2), out.setframerate(rate)
    out.writeframes((sound * 32767).astype("<i2").tobytes())
"""


@pytest.fixture
def commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that is all of the PATH, with both commands in it."""
    folder = tmp_path / "commands"
    folder.mkdir()
    for name, text in (("fluidsynth", RENDERER), ("espeak-ng", SPEAKER)):
        (folder / name).write_text(text.replace("{python}", sys.executable), encoding="utf-8")
        (folder / name).chmod(0o755)
    monkeypatch.setenv("PATH", str(folder))
    return folder


@pytest.fixture
def font(tmp_path: Path) -> Path:
    """The first bytes of a sound font; what the renderer made for the test looks at."""
    path = tmp_path / "mine.sf2"
    path.write_bytes(b"RIFF" + (8).to_bytes(4, "little") + b"sfbk" + bytes(4))
    return path


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


@pytest.fixture
def real_font() -> Path:
    if shutil.which("fluidsynth") is None:
        pytest.skip("the command fluidsynth is not on this machine")
    folders = [Path("/usr/share/sounds/sf2"), Path("/usr/share/soundfonts"), Path("/usr/local/share/soundfonts")]
    for folder in folders:
        for path in sorted(folder.glob("*GM*.sf2")):
            return path
    pytest.skip("no General MIDI sound font is installed on this machine")


@pytest.fixture
def real_speaker() -> str:
    found = shutil.which("espeak-ng")
    if found is None:
        pytest.skip("the command espeak-ng is not on this machine")
    return found


def note(at: float, hz: float, voice: str = "plucked", length: float = 0.8, loudness: float = 0.5) -> AccompanimentNote:
    return AccompanimentNote(
        start_seconds=at, end_seconds=at + length, frequency_hz=hz, loudness=loudness, voice=voice
    )  # fmt: skip


def refused(ran: Ran, *words: str) -> None:
    assert ran.code == 2, ran.out + ran.err
    assert ran.out == ""
    assert len(ran.err.strip().splitlines()) == 1, ran.err
    for word in words:
        assert word in ran.err


# The sound font ------------------------------------------------------------------------------------------------------


def test_notes_from_a_font_start_on_their_sample_in_tune_and_as_loud_as_ours(commands: Path, font: Path) -> None:
    notes = [note(0.1234567, 220.0), note(1.7777, 415 * 2 ** (3 / 12)), note(3.0001, 261.63, "bass", loudness=0.7)]
    sound = render_with_font(notes, font, seconds=5, sample_rate_hz=RATE)
    assert len(sound) == 5 * RATE
    for one in notes:
        first = round(one.start_seconds * RATE)
        assert not sound[first - 2400 : first].any()
        assert abs(sound[first]) > 0.5 * np.abs(sound[first : first + 4800]).max()
        spectrum = np.abs(np.fft.rfft(sound[first : first + RATE // 2] * np.hanning(RATE // 2), 16 * RATE))
        heard = np.argmax(spectrum) / 16
        assert abs(1200 * np.log2(heard / one.frequency_hz)) < 1
    ours = render_accompaniment(notes, seconds=5, sample_rate_hz=RATE)
    assert integrated_lufs(sound[None], RATE) == pytest.approx(integrated_lufs(ours[None], RATE), abs=0.1)


def test_a_drum_is_asked_for_by_its_general_midi_key(commands: Path, font: Path) -> None:
    """Key 38 is the snare drum in General MIDI 1; the renderer made for the test plays keys as pitches."""
    sound = render_with_font([note(0.5, 38.0, "drum_middle", 0.1)], font, seconds=2, sample_rate_hz=RATE)
    spectrum = np.abs(np.fft.rfft(sound[RATE // 2 : RATE], 8 * RATE))
    assert np.argmax(spectrum) / 8 == pytest.approx(440 * 2 ** ((38 - 69) / 12), rel=0.005)


def test_more_notes_than_fit_one_rendering(commands: Path, font: Path) -> None:
    notes = [note(0.01 * i, 110 * 2 ** (i / 24), length=2.0) for i in range(90)]
    sound = render_with_font(notes, font, seconds=3, sample_rate_hz=RATE)
    assert abs(sound[0]) > 0
    assert integrated_lufs(sound[None], RATE) > -70


def test_stems_with_a_font_have_one_length_and_add_up_to_the_mix(commands: Path, font: Path) -> None:
    span = passage_of_bars(DEMO, 11, 12)
    timing = make_timing(DEMO, count_in_bars=1, passage=span)
    music = Music(part=DEMO, instrument=load_instrument("cello"), font=font, count="spoken")
    ours = Music(part=DEMO, instrument=load_instrument("cello"))
    found, plain = render_stems(music, timing, passage=span), render_stems(ours, timing, passage=span)
    assert {name: len(samples) for name, samples in found.items()} == {
        name: len(samples) for name, samples in plain.items()
    }
    assert (found["guide"] == plain["guide"]).all()
    assert (found["accompaniment"] != plain["accompaniment"]).any()
    for name in MIXES:
        whole, parts = mix(stereo_stems(found, name), RATE)
        assert np.abs(sum(parts.values()) - whole.samples).max() < 1e-6


def test_play_with_a_font_is_as_long_and_reminds_of_the_licence(
    partwright_here: Partwright, commands: Path, font: Path, tune: Path
) -> None:
    call = ("play", "lantern.musicxml", "--bars", "11-12", "--only", "accompaniment", "--json")
    plain = partwright_here(*call, "--out", "a.flac")
    ran = partwright_here(*call, "--sound-font", "mine.sf2", "--out", "b.flac")
    assert ran.code == 0, ran.err
    assert "licence" in ran.err and "mine.sf2" in ran.err
    assert "licence" not in plain.err
    assert json.loads(ran.out)["seconds"] == json.loads(plain.out)["seconds"]
    assert json.loads(ran.out)["lufs"] == pytest.approx(-16, abs=0.2)
    assert tune.with_name("a.flac").read_bytes() != tune.with_name("b.flac").read_bytes()


def test_a_font_that_cannot_be_used_is_refused_in_one_sentence(
    partwright_here: Partwright, commands: Path, font: Path, tune: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def played(name: str, *more: str) -> Ran:
        arguments = ("--bars", "11", "--only", "accompaniment", "--out", "p.flac", *more)
        return partwright_here("play", "lantern.musicxml", "--sound-font", name, *arguments)

    refused(played("nowhere.sf2"), "nowhere.sf2", "is not there")
    refused(played("~nobody-of-this-name/mine.sf2"), "is not there")
    (tmp_path / "text.sf2").write_text("not a font at all", encoding="utf-8")
    refused(played("text.sf2"), "no sound font", ".sf2")
    (tmp_path / "short.sf2").write_bytes(b"RIFF" + (9000).to_bytes(4, "little") + b"sfbk")
    refused(played("short.sf2"), "cut short")
    (tmp_path / "folder.sf2").mkdir()
    refused(played("folder.sf2"), "is not there")
    if os.geteuid() != 0:
        (tmp_path / "locked.sf2").write_bytes(font.read_bytes())
        (tmp_path / "locked.sf2").chmod(0)
        refused(played("locked.sf2"), "cannot be read")
    for mode, words in (
        ("fails", ["exit code 1", "unknown kind", "voices of its own"]),
        ("writes nothing", ["cannot be played"]),
        ("writes no audio", ["cannot be played"]),
        ("no basses", ["no sound for bass", "program 33"]),
    ):
        monkeypatch.setenv("MADE_RENDERER", mode)
        refused(played("mine.sf2"), "mine.sf2", *words)
    refused(partwright_here("play", "lantern.musicxml", "--sound-font", "mine.sf2", "--out", "p.mid"), "no sound")
    (commands / "fluidsynth").unlink()
    refused(played("mine.sf2"), "mine.sf2", "fluidsynth", "not on this machine", "Leave the sound font out")
    assert not (tmp_path / "p.flac").exists()


def test_a_lesson_s_font_and_count_are_used_and_its_change_is_seen(
    partwright_here: Partwright, commands: Path, font: Path, tmp_path: Path
) -> None:
    tune = small_tune("D3:4", "A3:4", extra="").replace(
        "<note>",
        "<harmony><root><root-step>D</root-step></root><kind>major</kind></harmony><note>",
        1,
    )
    settings = 'format = 1\n[tempo]\npractice_percent = [80]\n[sound]\nfont = "mine.sf2"\ncount = "spoken"\n'
    folder = tmp_path / "lesson"
    write_lesson_folder(folder, tune, settings)
    ran = partwright_here("build", "lesson", "--only", "stems")
    assert ran.code == 2
    assert "mine.sf2: is not there" in ran.err.strip().splitlines()[-1]
    shutil.copy(font, folder / "mine.sf2")
    ran = partwright_here("build", "lesson", "--only", "stems")
    assert ran.code == 0, ran.err
    assert "licence" in ran.out + ran.err
    stem = folder / "build" / "sound" / "stem-accompaniment.flac"
    first = stem.read_bytes()
    (folder / "mine.sf2").write_bytes(font.read_bytes() + b"more")
    again = json.loads(partwright_here("build", "lesson", "--only", "stems", "--json").out)
    assert any(step["name"] == "stems" and step["made"] for step in again["steps"])
    assert stem.read_bytes() == first
    played = partwright_here("play", "lesson", "--count-in", "1", "--out", "p.flac")
    assert played.code == 0, played.err
    assert "licence" in played.err
    for command in ("fluidsynth", "espeak-ng"):
        (commands / command).unlink()
    refused(partwright_here("play", "lesson", "--out", "p.flac"), "fluidsynth")
    assert partwright_here("play", "lesson", "--only", "guide", "--out", "p.flac").code == 0
    refused(partwright_here("play", "lesson", "--only", "guide", "--count-in", "1", "--out", "p.flac"), "espeak-ng")


def test_a_real_font_is_in_tune_and_starts_where_it_should(real_font: Path) -> None:
    """Notes of a real renderer, off its grid: heard by YIN, and by where the level comes up.

    How a font itself is tuned is not ours; how far a note lies from another that it plays with the same key is.
    """
    wanted = [(0.5003, 220.0), (3.0101, 220.0 * 2 ** (30 / 1200)), (5.5207, 220.0 * 2 ** (-40 / 1200))]
    notes = [note(at, hz, "plucked", 1.0) for at, hz in wanted]
    sound = render_with_font(notes, real_font, seconds=8, sample_rate_hz=RATE)
    late, pitches = [], []
    for at, _ in wanted:
        first = round(at * RATE)
        held = sound[first + RATE // 5 : first + RATE // 5 + RATE // 2]
        heard = np.median(librosa.yin(held, fmin=150, fmax=500, sr=RATE, frame_length=8192))
        pitches.append(1200 * np.log2(heard / 220.0))
        near = np.abs(sound[first - 480 : first + 4800])
        late.append(int(np.argmax(near > 0.05 * near.max())) - 480)
    assert np.diff(pitches) == pytest.approx([30, -70], abs=2)
    assert abs(pitches[0]) < 20
    assert min(late) >= 0
    assert max(late) < 0.015 * RATE


def test_the_same_note_from_a_real_font_is_the_same_to_the_sample(real_font: Path) -> None:
    notes = [note(at, 196.0) for at in (0.1, 3.2001, 6.3234567)]
    sound = render_with_font(notes, real_font, seconds=9, sample_rate_hz=RATE)
    first, *others = (sound[round(n.start_seconds * RATE) :][: RATE + 4800] for n in notes)
    assert np.abs(first).max() > 0.01
    for other in others:
        assert np.abs(other - first).max() < 1e-6


# The spoken count ----------------------------------------------------------------------------------------------------


def level_onsets(samples: np.ndarray, beats: list[float]) -> list[float]:
    """Seconds from each beat to where the samples first reach a quarter of their loudest near it: another measure."""
    found = []
    for at in beats:
        low = max(0, round((at - 0.04) * RATE))
        window = np.abs(samples[low : round((at + 0.15) * RATE)])
        found.append((low + int(np.argmax(window > 0.25 * window.max()))) / RATE - at)
    return found


@pytest.mark.parametrize("tempo", [60, 100, 200])
def test_each_number_begins_on_its_beat(commands: Path, tempo: float) -> None:
    timing = make_timing(DEMO, tempo_qpm=tempo, count_in_bars=1)
    sound = render_count(timing, seconds=timing.count_in_seconds + 1, sample_rate_hz=RATE)
    beats = [beat.seconds for beat in timing.beats if beat.count_in]
    assert len(beats) == 5  # three-four, and the two beats before an upbeat of one: 1 2 3 1 2
    assert np.abs(level_onsets(sound, beats)).max() < 0.002
    assert not sound[round(timing.count_in_seconds * RATE) :].any()
    # The word's length in letters is its pitch: one, two, three, one, two.
    for at, letters in zip(beats, (3, 3, 5, 3, 3), strict=True):
        spectrum = np.abs(np.fft.rfft(sound[round(at * RATE) :][: round(0.2 * RATE)], 4 * RATE))
        assert np.argmax(spectrum) / 4 == pytest.approx(80 * letters, abs=8)


def test_the_click_stays_and_nothing_is_spoken_unless_asked(commands: Path) -> None:
    timing = make_timing(DEMO, count_in_bars=1, passage=(0, 3))
    cello = load_instrument("cello")
    plain = render_stems(Music(part=DEMO, instrument=cello), timing, wanted=("click",), passage=(0, 3))["click"]
    both = render_stems(
        Music(part=DEMO, instrument=cello, count="spoken"), timing, wanted=("click",), passage=(0, 3)
    )["click"]  # fmt: skip
    count = render_count(timing, seconds=len(plain) / RATE, sample_rate_hz=RATE)
    assert np.abs(both - plain - count).max() < 1e-6
    assert np.abs(count).max() == pytest.approx(0.5, abs=0.01)


def test_the_measured_onset_is_the_word_and_not_its_hiss() -> None:
    hiss = 0.02 * np.random.default_rng(3).standard_normal(3000)
    word = np.concatenate([np.zeros(5000), hiss, np.cos(np.arange(9000) * 0.05), np.zeros(2000)]).astype(np.float32)
    assert spoken_onset(word, RATE) == pytest.approx(8000, abs=48)


def test_what_a_spoken_count_needs_is_said(
    partwright_here: Partwright, commands: Path, tune: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = ("play", "lantern.musicxml", "--bars", "11", "--only", "click", "--count", "spoken", "--out", "p.flac")
    refused(partwright_here(*call), "no count-in", "--count-in 1")
    ran = partwright_here(*call, "--count-in", "1")
    assert ran.code == 0, ran.err
    spoken = np.concatenate(list(read_pieces(tune.with_name("p.flac"))[1]), axis=1)
    assert partwright_here(*call[:-4], "--out", "q.flac", "--count-in", "1").code == 0
    clicked = np.concatenate(list(read_pieces(tune.with_name("q.flac"))[1]), axis=1)
    assert spoken.shape == clicked.shape
    assert (spoken != clicked).any()
    tune.with_name("p.flac").unlink()
    (commands / "espeak-ng").unlink()
    refused(partwright_here(*call, "--count-in", "1"), "espeak-ng", "not on this machine", "click")
    assert not tune.with_name("p.flac").exists()


def test_a_speaker_that_says_nothing_is_told(commands: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MADE_SPEAKER", "silent")
    with pytest.raises(InputError, match='no sound for "one"'):
        render_count(make_timing(DEMO, count_in_bars=1), seconds=5, sample_rate_hz=RATE)
    (commands / "espeak-ng").write_text("neither a script nor a program", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be run"):
        render_count(make_timing(DEMO, tempo_qpm=90, count_in_bars=1), seconds=5, sample_rate_hz=RATE)


@pytest.mark.parametrize("tempo", [60, 120])
def test_a_real_voice_counts_on_the_beat(real_speaker: str, tempo: float) -> None:
    """Heard by librosa: the steepest rise of the sound's strength, as the mel bands have it, up to 4 kHz.

    A word rises for a while, so the measure comes late; what counts is that it comes alike for every number.
    """
    timing = make_timing(DEMO, tempo_qpm=tempo, count_in_bars=2)
    sound = render_count(timing, seconds=timing.count_in_seconds + 1, sample_rate_hz=RATE)
    sound = np.concatenate([np.zeros(RATE // 2, dtype=np.float32), sound])
    hop = 96
    bands = librosa.feature.melspectrogram(
        y=sound, sr=RATE, n_fft=1024, hop_length=hop, n_mels=40, power=1.0, fmax=4000
    )  # fmt: skip
    strength = librosa.onset.onset_strength(S=bands, sr=RATE, lag=8, hop_length=hop)
    late_ms: list[float] = []
    for beat in timing.beats:
        if beat.count_in:
            middle = round((beat.seconds + 0.5) * RATE / hop)
            window = strength[middle - 75 : middle + 76]  # 150 ms to either side
            late_ms.append((int(np.argmax(window)) - 75) * hop / RATE * 1000)
    assert len(late_ms) == 8
    assert min(late_ms) >= 0
    assert max(late_ms) <= 70
    assert max(late_ms) - min(late_ms) <= 50
