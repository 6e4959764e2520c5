"""`play` and `slow` as they are typed, and what they say to everything that is not as it should be."""

from __future__ import annotations

import json
import math
import struct
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import av
import numpy as np
import pytest

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.sound import Tags, encode_audio, format_of, read_pieces

Partwright = Callable[..., Ran]


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


@pytest.fixture
def band(tmp_path: Path) -> Path:
    """Two seconds of a band, near enough."""
    path = tmp_path / "band.wav"
    path.write_bytes(encode_audio(band_samples(), 44_100, format_of(path)))
    return path


def band_samples(seconds: float = 2.0, channels: int = 2) -> np.ndarray:
    t = np.arange(round(44_100 * seconds)) / 44_100
    wave = 0.4 * np.sin(2 * np.pi * 220 * t) * (1 + np.sin(2 * np.pi * 3 * t)) / 2
    return np.tile(wave, (channels, 1)).astype(np.float32)


def refused(ran: Ran, *words: str) -> None:
    """Exit code 2, one sentence that holds these words, nothing on standard output."""
    assert ran.code == 2, ran.out + ran.err
    assert ran.out == ""
    lines = ran.err.strip().splitlines()
    assert len(lines) == 1, ran.err
    for word in words:
        assert word in ran.err


def test_play_keeps_the_contract(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    ran = partwright("play", "lantern.musicxml", "--bars", "11-12", "--count-in", "1", "--out", "p.flac", "--json")
    assert ran.code == 0, ran.err
    played = json.loads(ran.out)
    assert {"file", "seconds", "lufs", "true_peak_dbtp", "notes"} <= played.keys()
    assert {"id", "bar", "beat", "start_s", "end_s"} <= played["notes"][0].keys()
    assert [note["bar"] for note in played["notes"]] == sorted(note["bar"] for note in played["notes"])
    assert played["notes"][0]["start_s"] == pytest.approx(1.8)
    assert played["lufs"] == pytest.approx(-16, abs=0.2)
    assert played["true_peak_dbtp"] <= -1
    info, pieces, remarks = read_pieces(tmp_path / "p.flac")
    assert info.rate_hz == 48_000
    assert sum(piece.shape[1] for piece in pieces) == round(played["seconds"] * 48_000)
    assert not remarks
    with av.open(str(tmp_path / "p.flac")) as file:
        assert file.metadata["title"] == "Lantern on the Weir"
        assert file.metadata["artist"] == "Ottoline Fennick"


@pytest.mark.parametrize("ending", ["wav", "mp3", "m4a", "opus", "flac"])
def test_every_format_is_written_and_read(partwright_here: Partwright, tune: Path, tmp_path: Path, ending: str) -> None:
    ran = partwright_here(
        "play", "lantern.musicxml", "--bars", "11", "--only", "accompaniment", "--out", f"p.{ending}", "--json"
    )
    assert ran.code == 0, ran.err
    info, pieces, _ = read_pieces(tmp_path / f"p.{ending}")
    samples = np.concatenate(list(pieces), axis=1)
    assert samples.shape[1] / info.rate_hz == pytest.approx(json.loads(ran.out)["seconds"], abs=0.06)
    assert np.abs(samples).max() > 0.05


def test_artwork_and_track_numbers_are_in_the_file(tmp_path: Path) -> None:
    from partwright.sound import cover_png

    tags = Tags(title="A, bars 1–10, 60 %", artist="Ottoline Fennick", album="Lantern", track=3,
                artwork_png=cover_png("Lantern on the Weir"))  # fmt: skip
    for ending in ("flac", "mp3", "m4a"):
        path = tmp_path / f"a.{ending}"
        path.write_bytes(encode_audio(band_samples(0.5), 44_100, format_of(path), tags=tags))
        with av.open(str(path)) as file:
            assert file.metadata["title"] == tags.title
            assert file.metadata["track"] == "3"
            assert file.metadata["album"] == "Lantern"
            assert [stream.type for stream in file.streams] == ["audio", "video"]
            assert next(file.decode(video=0)).width == 600


def test_midi_and_its_times(partwright_here: Partwright, tune: Path, tmp_path: Path) -> None:
    ran = partwright_here("play", "lantern.musicxml", "--tempo", "120", "--out", "p.mid", "--json")
    played = json.loads(ran.out)
    assert played["lufs"] is None
    assert played["tempo_qpm"] == 120
    assert (tmp_path / "p.mid").read_bytes().startswith(b"MThd")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--out", "p.xyz"], ['".xyz"', ".flac"]),
        (["--out", "p"], [".flac"]),
        (["--out", "p.flac", "--tempo", "0"], ["tempo of 0", "10 to 400"]),
        (["--out", "p.flac", "--tempo", "nan"], ["tempo"]),
        (["--out", "p.flac", "--tempo", "5000"], ["tempo of 5000"]),
        (["--out", "p.flac", "--speed", "0"], ["speed of 0"]),
        (["--out", "p.flac", "--speed", "0.1", "--tempo", "40"], ["bar 0", "4 quarter notes"]),
        (["--out", "p.flac", "--a4", "300"], ["300 Hz", "415 to 466"]),
        (["--out", "p.flac", "--drone", "H"], ['"H"', "Bb"]),
        (["--out", "p.flac", "--bars", "90-95"], ['bar "90"', "0 to 40"]),
        (["--out", "p.flac", "--bars", "18-11"], ["Exchange"]),
        (["--out", "p.mid", "--bars", "11-12"], ["whole tune"]),
        (["--out", "lantern.musicxml"], ["no audio"]),
        (["--out", "nowhere/p.mid"], ["cannot be written"]),
    ],
)
def test_play_refuses_in_one_sentence(
    partwright_here: Partwright, tune: Path, tmp_path: Path, arguments: list[str], words: list[str]
) -> None:
    refused(partwright_here("play", "lantern.musicxml", *arguments), *words)
    assert tune.read_bytes() == demo_tune()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lantern.musicxml"]


def test_an_accompaniment_that_is_not_there_is_said(partwright_here: Partwright, tmp_path: Path) -> None:
    (tmp_path / "bare.musicxml").write_text(small_tune("D3:4"), encoding="utf-8")
    refused(partwright_here("play", "bare.musicxml", "--only", "accompaniment", "--out", "p.flac"), "no accompaniment")
    assert partwright_here("play", "bare.musicxml", "--out", "p.flac").code == 0


def test_slow_keeps_the_contract(partwright: Partwright, band: Path, tmp_path: Path) -> None:
    ran = partwright("slow", "band.wav", "--speed", "0.75", "--out", "slow.flac", "--json")
    assert ran.code == 0, ran.err
    slowed = json.loads(ran.out)
    assert slowed["seconds"] == pytest.approx(2 / 0.75, rel=1e-3)
    assert slowed["source_seconds"] == pytest.approx(2.0)
    assert math.isfinite(slowed["lufs"])
    assert slowed["true_peak_dbtp"] <= -0.9


def test_slow_and_truncated_and_lying_and_silent(partwright_here: Partwright, band: Path, tmp_path: Path) -> None:
    whole = band.read_bytes()
    (tmp_path / "half.wav").write_bytes(whole[: len(whole) // 2])
    ran = partwright_here("slow", "half.wav", "--speed", "0.5", "--out", "half.flac", "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["source_seconds"] == pytest.approx(1.0, abs=0.05)

    (tmp_path / "broken.flac").write_bytes(encode_audio(band_samples(), 44_100, format_of(Path("a.flac")))[:-60_000])
    ran = partwright_here("slow", "broken.flac", "--speed", "0.5", "--out", "b.flac")
    assert ran.code == 0, ran.err
    assert "broken.flac" in ran.err  # a remark: it says 2 s but ends before

    lying = bytearray(whole)
    data = lying.index(b"data")
    lying[data + 4 : data + 8] = struct.pack("<I", 0x7FFFFFF0)  # two gigabytes that are not there
    (tmp_path / "lying.wav").write_bytes(lying)
    ran = partwright_here("slow", "lying.wav", "--speed", "0.75", "--out", "l.flac", "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["source_seconds"] == pytest.approx(2.0, abs=0.1)

    absurd = bytearray(whole)
    place = absurd.index(b"fmt ") + 8
    absurd[place + 4 : place + 8] = struct.pack("<I", 7)  # seven samples a second
    (tmp_path / "absurd.wav").write_bytes(absurd)
    refused(partwright_here("slow", "absurd.wav", "--out", "a.flac"), "absurd.wav", "7 Hz")

    silent = encode_audio(np.zeros((1, 44_100), np.float32), 44_100, format_of(Path("a.wav")))
    (tmp_path / "silent.wav").write_bytes(silent)
    ran = partwright_here("slow", "silent.wav", "--speed", "0.8", "--out", "s.flac", "--json")
    assert ran.code == 0
    assert json.loads(ran.out)["lufs"] is None
    assert "silent" in ran.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nothing.wav", "--out", "o.flac"], ["nothing.wav", "not there"]),
        (["text.wav", "--out", "o.flac"], ["text.wav"]),
        (["empty.wav", "--out", "o.flac"], ["empty.wav"]),
        (["band.wav", "--speed", "0.2", "--out", "o.flac"], ["0.2", "0.5 to 1.5"]),
        (["band.wav", "--speed", "nan", "--out", "o.flac"], ["0.5 to 1.5"]),
        (["band.wav", "--transpose", "30", "--out", "o.flac"], ["30 semitones"]),
        (["band.wav", "--out", "o.mid"], [".mid"]),
        (["band.wav", "--out", "band.wav"], ["recording itself"]),
        (["band.wav", "--out", "nowhere/o.flac"], ["cannot be written"]),
    ],
)
def test_slow_refuses_in_one_sentence(
    partwright_here: Partwright, band: Path, tmp_path: Path, arguments: list[str], words: list[str]
) -> None:
    (tmp_path / "text.wav").write_text("these are words, not sound\n" * 50, encoding="utf-8")
    (tmp_path / "empty.wav").write_bytes(b"")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    refused(partwright_here("slow", *arguments), *words)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are those of POSIX systems")
@pytest.mark.parametrize("command", ["slow", "play"])
def test_a_full_disk_leaves_the_old_file(tune: Path, band: Path, tmp_path: Path, command: str) -> None:
    resource = import_module("resource")
    (tmp_path / "out.wav").write_text("what was there", encoding="utf-8")
    source = ["band.wav"] if command == "slow" else ["lantern.musicxml", "--bars", "11", "--only", "accompaniment"]
    ran = subprocess.run(
        [sys.executable, "-m", "partwright", command, *source, "--out", "out.wav"],
        cwd=tmp_path,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000)),
    )
    assert ran.returncode == 2, ran.stderr
    assert "cannot be written" in ran.stderr
    assert (tmp_path / "out.wav").read_text(encoding="utf-8") == "what was there"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["band.wav", "lantern.musicxml", "out.wav"]


def test_a_lesson_is_played_as_it_is_set(partwright_here: Partwright, tmp_path: Path) -> None:
    write_lesson_folder(tmp_path / "lesson", demo_tune(), "format = 1\n[tempo]\nperformance_qpm = 80\n")
    ran = partwright_here("play", "lesson", "--bars", "11", "--only", "guide", "--out", "p.flac", "--json")
    assert json.loads(ran.out)["tempo_qpm"] == 80


def test_the_sound_of_a_lesson_is_built_whole(partwright_here: Partwright, tmp_path: Path) -> None:
    """A short lesson with a backing of its own: every file named by the timing map is there, tagged and loud enough."""
    folder = write_lesson_folder(
        tmp_path / "lesson",
        small_tune("D3:1 E3:1 F#3:1 G3:1", "A3:2 D3:2"),
        'format = 1\ntitle = "Small"\n[tempo]\npractice_percent = [80]\n[instrument]\nlevel = "beginner"\n',
    )
    (folder / "backing.wav").write_bytes(encode_audio(band_samples(), 44_100, format_of(Path("b.wav"))))
    only = [word for name in ("timing", "midi", "stems", "mixes", "practice", "backing") for word in ("--only", name)]
    ran = partwright_here("build", "lesson", *only)
    assert ran.code == 0, ran.err
    sound = folder / "build" / "sound"
    timing = json.loads((sound / "timing.json").read_text(encoding="utf-8"))
    for product in timing["products"]:
        path = folder / "build" / product["file"]
        info, pieces, _ = read_pieces(path)
        frames = sum(piece.shape[1] for piece in pieces)
        last = product["plays"][-1]
        assert frames / info.rate_hz > last["start_s"] + timing["timings"][last["timing"]]["seconds"]
        with av.open(str(path)) as file:
            assert file.metadata["title"]
    assert not list(sound.glob("*accompaniment*"))  # there are no chord symbols in this tune
    for name in ("mixes.json", "practice/contents.json"):
        for file in json.loads((sound / name).read_text(encoding="utf-8"))["files"]:
            assert file["lufs"] == pytest.approx(-16, abs=0.5)
            assert file["true_peak_dbtp"] <= -0.95
    assert {"backing-80.flac", "tune.mid", "tune-as-written.mid"} <= {path.name for path in sound.iterdir()}
    page = (sound / "practice" / "practice.html").read_text(encoding="utf-8")
    assert "85 dBA for 8 h" in page
    again = partwright_here("build", "lesson", *only)
    assert "0 of" in again.out
