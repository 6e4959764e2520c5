"""Captions and chapters: read back by two other libraries, held to the guideline's numbers, fed with public files.

Sources: `captions.csv` of the shared reference (BBC Subtitle Guidelines, W3C WebVTT); webvtt-py and pysubs2 as
independent readers; the public WebVTT suites of the shared data. Chapter rules: common practice, no source.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from itertools import pairwise
from pathlib import Path

import pysubs2
import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from conftest import shared_folder
from partwright.errors import InputError
from partwright.video import (
    Caption,
    Chapter,
    Description,
    chapter_list,
    chapters_vtt,
    consistent_words,
    description_text,
    ruled_chapters,
    shape_captions,
    spoken_captions,
    srt_text,
    vtt_text,
)

WORDS = st.text(st.sampled_from("abcdefg'’é<&>-"), min_size=1, max_size=11).filter(lambda w: "-->" not in w)
CUES = st.lists(
    st.builds(
        lambda start, length, words: Caption(
            start_seconds=start / 100, end_seconds=(start + length) / 100, text=" ".join(words)
        ),
        st.integers(0, 20_000),
        st.integers(1, 1_500),
        st.lists(WORDS, min_size=1, max_size=30),
    ),
    max_size=12,
)


@cache
def rule(name: str) -> str:
    text = (shared_folder() / "reference" / "captions.csv").read_text(encoding="utf-8")
    return next(row["value"] for row in csv.DictReader(io.StringIO(text)) if row["id"] == name)


@settings(max_examples=150, deadline=None)
@given(CUES)
def test_shaped_captions_keep_the_guideline(cues: list[Caption]) -> None:
    lines, characters = int(rule("lines")), int(rule("chars"))
    shaped = shape_captions(cues)
    for cue in shaped:
        assert cue.end_seconds > cue.start_seconds
        assert len(cue.text.split("\n")) <= lines
        assert all(len(line) <= characters for line in cue.text.split("\n"))
    for before, after in pairwise(shaped):
        assert before.end_seconds <= after.start_seconds
    given_words = sorted(word for cue in cues for word in cue.text.split())
    assert sorted("".join(c.text for c in shaped).replace("\n", "").replace(" ", "")) == sorted("".join(given_words))


@settings(max_examples=100, deadline=None)
@given(CUES)
def test_two_other_libraries_read_the_same_captions(cues: list[Caption]) -> None:
    shaped = shape_captions(cues)
    ours = [(round(c.start_seconds * 1000), round(c.end_seconds * 1000)) for c in shaped]
    for text, form in ((vtt_text(shaped), "vtt"), (srt_text(shaped), "srt")):
        other = pysubs2.SSAFile.from_string(text, format_=form) if shaped else []
        assert [(event.start, event.end) for event in other] == ours
    read = webvtt.from_buffer(io.StringIO(vtt_text(shaped)))
    assert [(_ms(c.start), _ms(c.end)) for c in read] == ours
    escaped = [c.text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") for c in shaped]
    assert [c.raw_text for c in read] == escaped


def _ms(stamp: str) -> int:
    hours, minutes, seconds = stamp.split(":")
    return (int(hours) * 60 + int(minutes)) * 60_000 + round(float(seconds) * 1000)


def test_a_caption_stays_as_long_as_it_takes_to_read() -> None:
    """At 180 words a minute a word takes 0.33 s; a caption is held at most 1.5 s beyond its speech."""
    least, late = float(rule("rate_word").split("-")[0]), float(rule("late"))
    words = "one two three four five six"
    (cue,) = shape_captions([Caption(start_seconds=1, end_seconds=1.6, text=words)])
    assert cue.end_seconds - cue.start_seconds == pytest.approx(min(6 * least, 0.6 + late), abs=0.1)


def test_words_are_spelled_one_way() -> None:
    said = "the F-sharp is third finger, C# with fourth-finger, then B♭ and a first try"
    assert consistent_words(said) == "the F sharp is 3rd finger, C sharp with 4th finger, then B flat and a first try"


def test_public_caption_files_become_valid_captions(shared: Path) -> None:
    """Every file of the public suites that our reader reads comes out as captions two other libraries read in full."""
    read = 0
    for path in sorted((shared / "data" / "webvtt").rglob("*.vtt")):
        try:
            shaped = spoken_captions(path.read_bytes())
        except InputError:
            continue
        if not shaped:
            continue
        read += 1
        for before, after in pairwise(shaped):
            assert before.end_seconds <= after.start_seconds, path.name
        assert len(webvtt.from_buffer(io.StringIO(vtt_text(shaped)))) == len(shaped), path.name
        assert len(pysubs2.SSAFile.from_string(srt_text(shaped), format_="srt")) == len(shaped), path.name
    assert read > 50


def test_chapters_for_a_description() -> None:
    """First at 0:00, at least three, each at least ten seconds: common practice, no source."""

    def made(*starts: float, end: float) -> tuple[Chapter, ...]:
        return tuple(Chapter(start_seconds=a, end_seconds=b, title=f"At {a:g}") for a, b in pairwise((*starts, end)))

    assert chapter_list(made(0, 15, 30, end=50)) == ("0:00 At 0", "0:15 At 15", "0:30 At 30")
    assert chapter_list(made(0, 15, end=50)) == ()
    short = ruled_chapters(made(0, 4, 20, 25, 40, 60, end=80))
    assert all(c.end_seconds - c.start_seconds >= 10 for c in short)
    assert [c.start_seconds for c in short] == [0, 25, 40, 60]  # a short one joins the one before it
    assert chapter_list(made(0, 1000, 4000, end=5000))[-1] == "1:06:40 At 4000"
    assert len(webvtt.from_buffer(io.StringIO(chapters_vtt(made(0, 15, 30, end=50))))) == 3


@given(st.lists(st.floats(0.5, 60), min_size=1, max_size=12))
def test_ruled_chapters_cover_the_video_or_are_none(lengths: list[float]) -> None:
    at, chapters = 0.0, []
    for number, length in enumerate(lengths):
        chapters.append(Chapter(start_seconds=at, end_seconds=at + length, title=str(number)))
        at += length
    ruled = ruled_chapters(chapters)
    if ruled:
        assert ruled[0].start_seconds == 0
        assert ruled[-1].end_seconds == pytest.approx(at)
        assert len(ruled) >= 3
        assert all(a.end_seconds == b.start_seconds for a, b in pairwise(ruled))
        assert all(c.end_seconds - c.start_seconds >= 10 - 1e-9 for c in ruled)


def test_the_description_has_everything_and_nothing_empty() -> None:
    full = description_text(
        Description(
            title="A <tune>", composer="C", teacher="T", rights=("R",), instrument="cello", tuning="C G D A",
            level="beginner", tempo_qpm=72.0, links=("https://example.org",), episodes=("1. One", "2. Two"),
            cautions=("Rest.",),
        )
    )  # fmt: skip
    for part in ("A ‹tune›", "Music: C", "T", "R", "tuned C G D A", "Level: beginner", "72", "example.org", "2. Two"):
        assert part in full
    assert "<" not in full
    assert description_text(Description(title="T")) == "T\n"
