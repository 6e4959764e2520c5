"""A finger pinned as it was said moves its neighbours in the plan; what was rightly said of those is pinned too."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from made_parts import part_of
from made_tunes import demo_tune, write_lesson_folder
from partwright.checking.narration import (
    NarrationCheck,
    apply_pins,
    check_narration,
    finding_key,
    keep_said,
    parse_transcript,
)
from partwright.fingering import parse_pin, plan_fingering
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")
# D E F♯ G | A B A G | F♯ E D D: first position, closed hand.
TUNE = part_of([50, 52, 54, 55, 57, 59, 57, 55, 54, 52, 50, 50], quarters=1)
SAID = (
    "The D is open. E is first finger. The F sharp is second finger, and the G is fourth. Then open A, "
    "and B with first. A, G, F sharp, E. Then two Ds."
)


def checked(text: str, **pins: str) -> NarrationCheck:
    """The words against the plan that keeps these pins, written as beat_3="2" for bar 1."""
    texts = [f"1:{place.removeprefix('beat_')}={value}" for place, value in pins.items()]
    held = [parse_pin(pin, TUNE, CELLO) for pin in texts]
    plan = plan_fingering(TUNE, CELLO, level="intermediate", pins=held)
    return check_narration(parse_transcript(text.encode()), TUNE, CELLO, plan=plan)


def wrong_places(check: NarrationCheck) -> list[tuple[str, str]]:
    return [(f.bar, f.beat) for f in check.findings if f.verdict == "wrong"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_lesson_folder(tmp_path / "lesson", demo_tune(), "format = 1\n# mine\n")


def pins_in(folder: Path) -> dict[str, str]:
    return tomllib.loads((folder / "lesson.toml").read_text(encoding="utf-8")).get("pins", {})


def test_a_neighbour_the_pin_moved_keeps_the_finger_that_was_said(folder: Path) -> None:
    """The plan has third finger on the F sharp; pinned as second, it would take the G with third, not fourth."""
    before = checked(SAID)
    assert wrong_places(before) == [("1", "3")]
    decisions = {finding_key(before.findings[0]): "pin"}
    assert [(offer.place, offer.value) for offer in apply_pins(folder, before, decisions)] == [("1:3", "2")]

    after = checked(SAID, beat_3="2")
    assert wrong_places(after) == [("1", "4")]
    assert [(offer.place, offer.value) for offer in keep_said(folder, before, after)] == [("1:4", "4")]
    assert pins_in(folder) == {"1:3": "2", "1:4": "4"}
    assert "# mine" in (folder / "lesson.toml").read_text(encoding="utf-8")
    assert wrong_places(checked(SAID, beat_3="2", beat_4="4")) == []


def test_what_was_wrong_before_the_pin_is_not_pinned(folder: Path) -> None:
    """A slip at the neighbour stays a slip: only what agreed with the plan before is kept."""
    text = SAID.replace("the G is fourth", "the G is first")
    before, after = checked(text), checked(text, beat_3="2")
    assert ("1", "4") in wrong_places(before) and ("1", "4") in wrong_places(after)
    assert keep_said(folder, before, after) == ()
    assert pins_in(folder) == {}


def test_nothing_is_written_where_no_neighbour_moved(folder: Path) -> None:
    check = checked(SAID.replace("second finger", "third finger"))
    unchanged = (folder / "lesson.toml").read_bytes()
    assert check.findings == ()
    assert keep_said(folder, check, check) == ()
    assert (folder / "lesson.toml").read_bytes() == unchanged
