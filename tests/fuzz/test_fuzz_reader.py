"""A short fuzz run with a fixed seed, and everything a long one has ever found."""

from __future__ import annotations

import pytest
from fuzz_reader import FINDS, exercise, run

# Found by the first 22,000 runs (messages of several lines, or endless ones); 120,000 runs after that found nothing.
KEPT = {
    "the parser's message quotes the file over several lines": b"<!--=\n\n==--=\n\x01 ==--><score-partwise/>",
    "a voice name of five thousand digits": (
        b'<score-partwise><part-list><score-part id="P1"><part-name>A</part-name></score-part></part-list>'
        b'<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>'
        b"<note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>"
        b"<backup><duration>2</duration></backup>"
        b"<note><pitch><step>E</step><octave>4</octave></pitch><duration>1</duration><voice>"
        + b"9"
        * 5000
        + b"</voice>"
        b"</note></measure></part></score-partwise>"
    ),
}


@pytest.mark.parametrize("name", KEPT)
def test_kept_find(name: str) -> None:
    assert exercise(KEPT[name]) in ("read", "ScoreError", "InputError")


def test_finds_on_file() -> None:
    for path in sorted(FINDS.glob("*.bin")):
        exercise(path.read_bytes())


def test_short_run_finds_nothing() -> None:
    outcomes, finds = run(1500, seed=2024, keep=False)
    assert not finds
    assert outcomes["read"] > 300


@pytest.mark.slow
def test_long_run_finds_nothing() -> None:
    _, finds = run(20_000, seed=2025, keep=False)
    assert not finds
