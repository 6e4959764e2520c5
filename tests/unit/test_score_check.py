"""The check of the score: each kind of fault is found where it is, and a sound score gives none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from made_tunes import small_tune
from partwright.checking import Finding, check_score, finding_document, findings_text
from partwright.instrument import load_instrument
from partwright.score import Credits, Part, read_tune


def part_from(tmp_path: Path, *bars: str, **settings: str) -> Part:
    path = tmp_path / "tune.musicxml"
    path.write_text(small_tune(*bars, **settings), encoding="utf-8")
    return read_tune(path).part


def kinds(part: Part, level: str = "advanced") -> list[tuple[str, str, str]]:
    found = check_score(part, load_instrument("cello"), level=level)
    return [(f.verdict, f.kind, f.bar) for f in found]


def test_a_sound_score_gives_no_finding(tmp_path: Path) -> None:
    assert kinds(part_from(tmp_path, "D3:1 E3:1 F#3:1 G3:1", "A3:4")) == []


@pytest.mark.parametrize(
    ("bars", "expected"),
    [
        (("D3:4", "E3:3", "F3:4"), ("wrong", "short bar", "2")),
        (("D3:4", "E3:5"), ("wrong", "overfull bar", "2")),
        (("D3:4", "B1:4"), ("wrong", "range", "2")),
        (("D3:4", "C2+D2:4"), ("wrong", "unreachable", "2")),
    ],
)
def test_faults_that_are_certain_are_called_wrong(
    tmp_path: Path, bars: tuple[str, ...], expected: tuple[str, str, str]
) -> None:
    assert kinds(part_from(tmp_path, *bars)) == [expected]


def test_a_tie_to_nowhere_is_found_at_its_note(tmp_path: Path) -> None:
    text = small_tune("D3:2 E3:2", "F3:4").replace("</voice></note>", "</voice></note>", 1)
    text = text.replace(
        "<duration>16</duration><voice>1</voice></note>",
        '<duration>16</duration><tie type="start"/><voice>1</voice><notations><tied type="start"/></notations></note>',
        1,
    )
    (tmp_path / "t.xml").write_text(text, encoding="utf-8")
    found = check_score(read_tune(tmp_path / "t.xml").part, load_instrument("cello"), level="advanced")
    assert [(f.verdict, f.kind, f.bar, f.beat) for f in found] == [("wrong", "tie to nowhere", "1", "1")]
    assert found[0].time_s == 0.0


def test_notes_outside_the_level_are_to_check(tmp_path: Path) -> None:
    part = part_from(tmp_path, "D3:1 E3:1 F#3:1 G3:1", "A4:4")
    assert kinds(part) == []
    assert {(verdict, kind, bar) for verdict, kind, bar in kinds(part, "beginner")} == {("check", "level", "2")}


def test_speed_nobody_plays_is_wrong_and_a_hurry_is_to_check(tmp_path: Path) -> None:
    run = " ".join(["D3:1/8", "E3:1/8"] * 4) + " D3:3"
    assert kinds(part_from(tmp_path, run, tempo="180")) == [("wrong", "tempo", "1")]
    assert kinds(part_from(tmp_path, run, tempo="110")) == [("check", "tempo", "1")]
    assert kinds(part_from(tmp_path, run, tempo="90")) == []


def test_a_tempo_hardly_meant_and_one_not_given_are_to_check(tmp_path: Path) -> None:
    assert kinds(part_from(tmp_path, "D3:4", tempo="900")) == [("check", "tempo", "1")]
    found = check_score(part_from(tmp_path, "D3:4", tempo=""), load_instrument("cello"), level="advanced")
    assert [f.kind for f in found] == ["tempo"]
    assert "assumed" in found[0].what


def test_what_a_page_does_not_say_is_to_check(tmp_path: Path) -> None:
    part = replace(part_from(tmp_path, "D3:4"), credits=Credits())
    found = check_score(part, load_instrument("cello"), level="advanced")
    assert [f.what for f in found] == ["there is no title", "there is no composer", "there is no rights line"]
    assert {f.place for f in found} == {"the whole"}


def test_findings_stand_in_the_order_of_the_score(tmp_path: Path) -> None:
    part = part_from(tmp_path, "D3:4", "B1:4", "E3:3", "C2+D2:4", title="")
    assert [bar for _, _, bar in kinds(part)] == ["", "2", "3", "4"]


def test_a_part_nobody_can_play_is_one_finding_more(tmp_path: Path) -> None:
    found = check_score(part_from(tmp_path, "A1:4"), load_instrument("cello"), level="advanced")
    assert [f.kind for f in found] == ["range", "range"]


def test_a_finding_says_how_it_was_observed() -> None:
    finding = Finding(
        kind="finger",
        verdict="wrong",
        what="third finger",
        bar="12",
        beat="3",
        manner="said",
        observed="third",
        right="second",
        time_s=222.25,
    )
    document = finding_document(finding)
    assert (document["said"], document["right"], document["time_s"]) == ("third", "second", 222.25)
    assert findings_text([finding]).splitlines() == [
        "✗ wrong  bar 12, beat 3  third finger",
        "1 wrong, 0 to check.",
    ]


def test_a_tune_outside_the_level_as_a_whole_is_told_once(tmp_path: Path) -> None:
    high = ["A4:1 B4:1 C5:1 D5:1"] * 3
    part = part_from(tmp_path, "D3:1 E3:1 F#3:1 G3:1", *high)
    (found,) = [f for f in check_score(part, load_instrument("cello"), level="beginner") if f.kind == "level"]
    assert (found.bar, found.what) == ("", "12 of 16 notes lie outside the beginner level, in 3 of 4 bars")
    mostly_low = part_from(tmp_path, *["D3:1 E3:1 F#3:1 G3:1"] * 4, *high)
    told = [f for f in check_score(mostly_low, load_instrument("cello"), level="beginner") if f.kind == "level"]
    assert len(told) > 8
    assert all(f.bar in {"5", "6", "7"} for f in told)
