"""`partwright check take` as a user types it, and every kind of recording that cannot be judged as it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import numpy as np
import pytest
from scipy.signal import resample_poly

import take_sounds as ts
from conftest import Ran
from made_tunes import demo_tune
from partwright.checking.take import score_events
from partwright.lesson import write_demo
from partwright.score import tune_from_bytes
from partwright.sound import FORMATS, encode_audio, make_timing

Partwright = Callable[..., Ran]


@cache
def good_take() -> np.ndarray:
    """Bars 11 to 18 of the demonstration tune, without slips, mono at 44.1 kHz."""
    part = tune_from_bytes(demo_tune(), source=Path("lantern.musicxml")).part
    events = score_events(part, make_timing(part))
    first = next(e.index for e in events if e.bar == "11")
    last = next(e.index for e in events if e.bar == "18")
    sound = ts.additive(ts.perform(events, seed=3, first=first, last=last))
    return (0.4 * sound / np.abs(sound).max()).astype(np.float32)


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


def written(path: Path, sound: np.ndarray, rate: int = ts.RATE, bits: int = 16) -> Path:
    samples = np.atleast_2d(sound).astype(np.float32)
    path.write_bytes(
        encode_audio(samples, rate, FORMATS[path.suffix], bits=bits if path.suffix in (".wav", ".flac") else 0)
    )
    return path


def summary(ran: Ran) -> dict[str, object]:
    assert ran.code in (0, 1), ran.err
    return json.loads(ran.out)


def test_demonstration_take_finds_what_was_planted(partwright: Partwright, tmp_path: Path) -> None:
    """What is planted stands at the head of docs/write_demo_take.py."""
    write_demo(tmp_path / "demo")
    ran = partwright("check", "take", "demo", "--json", "--page", "report.html")
    assert ran.code == 1
    document = json.loads(ran.out)
    found = {(f["bar"], f["beat"], f["kind"]) for f in document["findings"]}
    assert found == {
        ("18", "3", "played again"),
        ("18", "3", "intonation"),
        ("19", "3", "intonation"),
        ("22", "3", "intonation"),
        ("26", "1", "wrong note"),
        ("28", "1", "timing"),
        ("33", "2", "missed"),
    }
    habit = document["habits"][0]
    assert (habit["finger"], habit["position"], habit["bars"]) == (
        "first finger",
        "fourth position",
        ["18", "19", "22"],
    )
    assert habit["cents"] == pytest.approx(-18, abs=2)
    assert [s["first_bar"] for s in document["spots"]] == ["22", "26"]
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Drill" in page
    assert page.count("data:image/svg+xml") == 2
    log = (tmp_path / "demo" / "practice-log.jsonl").read_text(encoding="utf-8").splitlines()
    assert len(log) == 1
    again = partwright("check", "take", "demo", "demo/takes/bars-18-to-34.opus", "--no-log")
    assert again.code == 1
    assert "bar 22, beat 3" in again.out
    assert (tmp_path / "demo" / "practice-log.jsonl").read_text(encoding="utf-8").splitlines() == log


def test_take_without_slips_is_right(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    written(tmp_path / "good.flac", good_take())
    ran = partwright("check", "take", tune, "good.flac")
    assert ran.code == 0, ran.out
    assert "You played bars 11–18" in ran.out
    assert not list(tmp_path.glob("*.jsonl"))  # no lesson folder, no log


@pytest.mark.parametrize("ending", [".wav", ".mp3", ".m4a", ".opus"])
def test_common_formats(partwright_here: Partwright, tune: Path, tmp_path: Path, ending: str) -> None:
    written(tmp_path / f"good{ending}", good_take())
    document = summary(partwright_here("check", "take", tune, f"good{ending}", "--json"))
    assert document["findings"] == []
    assert document["take"]["covered"] == [{"first_bar": "11", "last_bar": "18"}]


@pytest.mark.parametrize(
    ("name", "made", "says"),
    [
        ("telephone", lambda x: (resample_poly(x, 80, 441), 8000), "8000 Hz"),
        ("clipped", lambda x: (np.clip(6 * x, -1, 1), ts.RATE), "clipped"),
        ("out of phase", lambda x: (np.stack([x, -x]), ts.RATE), "out of phase"),
        ("one side", lambda x: (np.stack([x, 0 * x]), ts.RATE), "only one of its two channels"),
        ("quiet", lambda x: (0.004 * x, ts.RATE), "very quiet"),
        ("loud and offset", lambda x: (np.clip(x + 0.3, -1, 1), ts.RATE), ""),
        ("stereo", lambda x: (np.stack([x, 0.6 * x]), ts.RATE), ""),
    ],
)
def test_poor_recordings_are_judged_with_a_remark(
    partwright_here: Partwright, tune: Path, tmp_path: Path, name: str, made: Callable, says: str
) -> None:
    sound, rate = made(good_take())
    written(tmp_path / "poor.wav", sound, rate, bits=24)
    document = summary(partwright_here("check", "take", tune, "poor.wav", "--json"))
    assert [f for f in document["findings"] if f["verdict"] == "wrong"] == [], name
    assert document["take"]["covered"] == [{"first_bar": "11", "last_bar": "18"}]
    remarks = " ".join(document["remarks"])
    assert says in remarks if says else "poor.wav" not in remarks


def test_truncated_file_gives_what_it_holds(partwright_here: Partwright, tune: Path, tmp_path: Path) -> None:
    path = written(tmp_path / "cut.flac", good_take())
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 2 // 3])
    document = summary(partwright_here("check", "take", tune, "cut.flac", "--json"))
    assert document["take"]["covered"][0]["first_bar"] == "11"
    assert any("cut.flac" in remark for remark in document["remarks"])


@pytest.mark.parametrize(
    ("name", "sound", "says"),
    [
        ("silence", np.zeros(5 * ts.RATE), "is silent throughout"),
        ("hiss", 1e-5 * np.random.default_rng(1).standard_normal(5 * ts.RATE), "is silent: its loudest"),
        ("blink", 0.1 * np.sin(np.arange(4000) / 20), "holds only 0.1 s of sound"),
        ("tone", 0.3 * np.sin(2 * np.pi * 1234 * np.arange(6 * ts.RATE) / ts.RATE), "does not match this score"),
    ],
)
def test_nothing_to_judge_is_said_in_one_sentence(
    partwright_here: Partwright, tune: Path, tmp_path: Path, name: str, sound: np.ndarray, says: str
) -> None:
    written(tmp_path / "nothing.wav", sound, bits=24)
    ran = partwright_here("check", "take", tune, "nothing.wav")
    assert ran.code == 2, name
    assert says in ran.err
    assert ran.out == ""


def test_film_with_sound_is_judged_and_one_without_is_refused(
    partwright_here: Partwright, tune: Path, tmp_path: Path
) -> None:
    film(tmp_path / "film.mp4", good_take())
    film(tmp_path / "mute.mp4", None)
    document = summary(partwright_here("check", "take", tune, "film.mp4", "--json"))
    assert document["take"]["covered"] == [{"first_bar": "11", "last_bar": "18"}]
    ran = partwright_here("check", "take", tune, "mute.mp4")
    assert ran.code == 2
    assert "holds no sound" in ran.err


def film(path: Path, sound: np.ndarray | None) -> None:
    """A grey picture, with the sound or without a sound track."""
    with av.open(str(path), "w") as container:
        picture = container.add_stream("mpeg4", rate=5)
        picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
        track = container.add_stream("aac", rate=ts.RATE) if sound is not None else None
        if track is not None:
            track.layout = "mono"
        seconds = 2 if sound is None else len(sound) / ts.RATE
        for number in range(int(5 * seconds)):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 128, dtype=np.uint8), format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, 5)
            container.mux(picture.encode(frame))
        container.mux(picture.encode(None))
        if track is not None and sound is not None:
            for start in range(0, len(sound) - 1023, 1024):
                piece = av.AudioFrame.from_ndarray(sound[None, start : start + 1024], "fltp", "mono")
                piece.sample_rate, piece.pts, piece.time_base = ts.RATE, start, Fraction(1, ts.RATE)
                container.mux(track.encode(piece))
            container.mux(track.encode(None))


def test_files_that_are_no_recordings(partwright_here: Partwright, tune: Path, tmp_path: Path) -> None:
    (tmp_path / "text.wav").write_text("this is no sound")
    for name, says in (("text.wav", "text.wav"), ("absent.wav", "is not there")):
        ran = partwright_here("check", "take", tune, name)
        assert ran.code == 2
        assert says in ran.err
    ran = partwright_here("check", "take", tune)
    assert ran.code == 2
    assert "is no lesson folder, so a recording must be named" in ran.err
