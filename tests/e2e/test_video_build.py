"""The video products as a user makes them: texts, overlay pictures, captions, the finished footage."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from conftest import Ran
from partwright.building import STEPS, choose_steps
from partwright.checking.narration import parse_transcript
from partwright.lesson import write_demo
from video_pieces import footage

Run = Callable[..., Ran]


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    folder = tmp_path / "weir"
    write_demo(folder)
    return folder


def test_what_takes_long_is_made_on_request_only() -> None:
    plain = {step.name for step in choose_steps(STEPS, ())}
    assert {"demonstration", "demonstration-texts", "overlay-cues", "captions"} <= plain
    on_request = {step.name for step in STEPS if step.on_request}
    assert {"footage", "demonstration-2160", "demonstration-upright", "demonstration-square", "overlay"} <= on_request
    assert not plain & on_request
    assert choose_steps(STEPS, ["footage"])[-1].name == "footage"


def test_texts_pictures_captions_and_footage(lesson: Path, partwright_here: Run) -> None:
    film = lesson / "takes" / "lesson.mp4"
    footage(film, width=640, height=360, seconds=52.0, times=[n / 10 for n in range(520)])
    before = film.read_bytes()
    names = ("demonstration-texts", "overlay-cues", "captions", "footage")
    ran = partwright_here("build", str(lesson), *(part for name in names for part in ("--only", name)), "--json")
    assert ran.code == 0, ran.err
    assert film.read_bytes() == before
    video = lesson / "build" / "video"
    for name in ("demonstration.vtt", "demonstration.srt", "demonstration-chapters.vtt", "demonstration-thumbnail.png"):
        assert (video / name).stat().st_size > 50
    described = (video / "demonstration-description.txt").read_text(encoding="utf-8")
    for part in ("Lantern on the Weir", "Ottoline Fennick", "CC0", "0:00 ", "tuned C G D A", "intermediate", "1. The"):
        assert part in described
    assert len(list((video / "overlays").glob("*.png"))) >= 8
    cards = json.loads((video / "lesson-cards.json").read_text())["cards"]
    assert cards[0]["start_s"] < 52  # the slip of the invented recording lies in the film
    captions = parse_transcript((video / "lesson-captions.vtt").read_bytes())
    assert not captions.faults
    assert "goes on to" in ran.err + ran.out  # the transcript is longer than this film
    container: Any
    with av.open(str(video / "lesson-finished.mp4")) as container:
        found = {round(float(f.time) * 10): f.to_ndarray()[:360].astype(int) for f in container.decode(video=0)}
        assert len(found) == 520
    with av.open(str(film)) as container:
        plain = {round(float(f.time) * 10): f.to_ndarray()[:360].astype(int) for f in container.decode(video=0)}
    # The card stands at the upper right after the slip, and not before it.
    corner = (slice(28, 60), slice(420, 600))
    slip = round(cards[0]["start_s"] * 10)
    assert np.abs(found[slip + 10][corner] - plain[slip + 10][corner]).mean() > 20
    assert np.abs(found[slip - 5][corner] - plain[slip - 5][corner]).mean() < 8
    again = partwright_here("build", str(lesson), "--only", "footage", "--json")
    assert not any(step["made"] for step in json.loads(again.out)["steps"])
    # A plain build of other things leaves what was asked for where it is.
    assert (video / "lesson-finished.mp4").is_file()


def test_no_film_is_said_in_one_sentence(lesson: Path, partwright_here: Run) -> None:
    ran = partwright_here("build", str(lesson), "--only", "footage")
    assert ran.code == 2
    assert "holds no recorded lesson" in ran.err
    (lesson / "takes" / "lesson.mp4").write_bytes(b"not a film")
    ran = partwright_here("build", str(lesson), "--only", "footage")
    assert ran.code == 2
    assert "lesson.mp4" in ran.err
    assert "is not a video that can be read" in ran.err
    assert not list((lesson / "build" / "video").glob("*finished*")) if (lesson / "build" / "video").is_dir() else True
