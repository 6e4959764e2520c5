"""partwright keys, arrange, and the lesson's versions as a user types them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.building import build_lesson
from partwright.building.steps import STEPS
from partwright.score import read_tune

Partwright = Callable[..., Ran]
_LESSON = """format = 1
[instrument]
level = "intermediate"
[page]
paper = ["a4"]
[arranging]
levels = ["beginner", "advanced"]
undo = ["beginner: octave 18-23"]
second = "bass"
style = "auto"
"""


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


def refused(ran: Ran, *words: str) -> None:
    assert ran.code == 2, ran
    assert ran.out == ""
    assert len([line for line in ran.err.splitlines() if line.startswith("partwright: ")]) == 1, ran.err
    for word in words:
        assert word in ran.err


def test_keys_prints_a_table_with_the_given_key_and_the_hardest_bar(partwright: Partwright, tune: Path) -> None:
    ran = partwright("keys", tune)
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0].split()[:3] == ["key", "moved", "range"]
    assert any("D major" in line and "as given" in line for line in lines)
    assert "36 keys and octaves tried for cello, advanced" in lines[-1]


def test_keys_json_is_what_the_contract_says(partwright_here: Partwright, tune: Path) -> None:
    ran = partwright_here("keys", tune, "--json")
    ranking = json.loads(ran.out)["ranking"]
    assert ranking == sorted(ranking, key=lambda row: row["cost_per_note"])
    for row in ranking:
        assert set(row) >= {
            "tonic", "mode", "octave_shift", "semitones", "cost_per_note", "lowest", "highest", "hardest",
        }  # fmt: skip
        assert set(row["hardest"]) == {"bar", "why"}
        assert row["hardest"]["why"]
    given = next(row for row in ranking if row["given"])
    assert (given["tonic"], given["mode"], given["semitones"]) == ("D", "major", 0)
    assert (given["lowest"], given["highest"]) == ("A2", "A4")


def test_keys_may_put_phrases_into_another_octave_and_says_which(partwright_here: Partwright, tune: Path) -> None:
    ran = partwright_here("keys", tune, "--level", "beginner", "--phrases", "--json")
    displaced = [row for row in json.loads(ran.out)["ranking"] if row["displaced"]]
    assert displaced
    assert all(move["octaves"] in (-1, 1) for row in displaced for move in row["displaced"])


@pytest.mark.parametrize(("value", "word"), [("H", "no key"), ("lantern.musicxml", "is not audio")])
def test_stay_near_wants_a_key_or_a_recording(partwright_here: Partwright, tune: Path, value: str, word: str) -> None:
    refused(partwright_here("keys", tune, "--stay-near", value), word)


def test_keys_of_a_tune_without_notes_is_refused(partwright_here: Partwright, tmp_path: Path) -> None:
    path = tmp_path / "rests.musicxml"
    path.write_text(small_tune("r:4", "r:4"), encoding="utf-8")
    assert partwright_here("keys", path).code == 2


def test_arrange_writes_the_tune_in_another_key(partwright_here: Partwright, tune: Path, tmp_path: Path) -> None:
    out = tmp_path / "in-g.musicxml"
    ran = partwright_here("arrange", tune, "--to", "G", "--octave", "-1", "--out", out)
    assert ran.code == 0, ran.err
    before, after = read_tune(tune).part, read_tune(out).part
    assert [n.midi for n in after.notes] == [n.midi - 7 for n in before.notes]
    assert after.bars[0].fifths == 1
    assert [c.text for c in after.chord_symbols][:4] == ["G", "Em", "C", "D"]
    assert after.played_bars == before.played_bars


def test_a_version_lists_its_steps_and_one_can_be_undone(
    partwright_here: Partwright, tune: Path, tmp_path: Path
) -> None:
    out = tmp_path / "easy.musicxml"
    steps = json.loads(partwright_here("arrange", tune, "--version", "beginner", "--out", out, "--json").out)["steps"]
    names = [step["name"] for step in steps]
    assert all(step["why"] and step["what"] for step in steps)
    undone = json.loads(
        partwright_here("arrange", tune, "--version", "beginner", "--undo", names[0], "--out", out, "--json").out
    )
    assert names[0] not in [step["name"] for step in undone["steps"]]
    assert undone["undone"] == [names[0]]


def test_versions_of_the_command_can_be_played_together(
    partwright_here: Partwright, tune: Path, tmp_path: Path
) -> None:
    files = []
    for level in ("beginner", "advanced"):
        files.append(tmp_path / f"{level}.musicxml")
        assert partwright_here("arrange", tune, "--version", level, "--out", files[-1]).code == 0
    ran = partwright_here("check", "score", tune, "--with", files[0], "--with", files[1])
    assert ran.code == 0, ran.out
    moved = tmp_path / "moved.musicxml"
    partwright_here("arrange", tune, "--to", "E", "--out", moved)
    ran = partwright_here("check", "score", tune, "--with", moved)
    assert ran.code == 1
    assert "another key signature" in ran.out


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--version", "expert"), "expert"),
        (("--second", "bass", "--version", "beginner"), "one at a time"),
        (("--accompany", "samba"), "samba"),
        (("--to", "X"), "no key"),
        (("--undo", "note 9"), "--version"),
    ],
)
def test_bad_calls_of_arrange_are_refused(
    partwright_here: Partwright, tune: Path, tmp_path: Path, arguments: tuple[str, ...], word: str
) -> None:
    out = tmp_path / "out.musicxml"
    refused(partwright_here("arrange", tune, *arguments, "--out", out), word)
    assert not out.exists()


def test_arrange_never_writes_over_the_tune(partwright_here: Partwright, tune: Path) -> None:
    refused(partwright_here("arrange", tune, "--to", "G", "--out", tune), "never rewritten")
    assert tune.read_bytes() == demo_tune()


def test_chords_are_proposed_and_said_to_be(partwright_here: Partwright, tmp_path: Path) -> None:
    path, out = tmp_path / "plain.musicxml", tmp_path / "band.musicxml"
    path.write_text(small_tune("C3:1 E3:1 G3:2", "F3:1 A3:1 G3:2", "B2:1 D3:1 G2:2", "C3:4"), encoding="utf-8")
    ran = partwright_here("arrange", path, "--accompany", "auto", "--out", out)
    assert ran.code == 0
    assert "proposal" in ran.err
    assert "proposal" in out.read_text(encoding="utf-8")


def test_a_lesson_makes_versions_second_part_and_accompaniment(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune(), _LESSON)
    wanted = ("versions", "second", "accompaniment", "check-together")
    build_lesson(folder, only=wanted)
    build = folder / "build"
    steps = json.loads((build / "versions" / "steps.json").read_text(encoding="utf-8"))["versions"]
    assert [version["level"] for version in steps] == ["beginner", "advanced"]
    assert "octave 18-23" not in [step["name"] for step in steps[0]["steps"]]
    assert steps[0]["undone"] == ["octave 18-23"]
    for name in (
        "versions/beginner-a4.pdf",
        "versions/advanced-a4.pdf",
        "second-a4.pdf",
        "accompaniment-chords-a4.pdf",
    ):
        assert (build / name).read_bytes().startswith(b"%PDF")
    own = read_tune(folder / "tune.musicxml").part
    for name in ("versions/beginner.musicxml", "versions/advanced.musicxml", "second.musicxml"):
        made = read_tune(build / name).part
        assert made.played_bars == own.played_bars
        assert any(note.fingerings for note in made.notes)
    assert json.loads((build / "check-together.json").read_text(encoding="utf-8"))["findings"] == []
    assert not [ran for ran in build_lesson(folder, only=wanted) if ran.made]


def test_undo_that_names_no_step_is_told_with_what_to_do(partwright_here: Partwright, tmp_path: Path) -> None:
    text = _LESSON.replace("beginner: octave 18-23", "expert: octave 18-23")
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune(), text)
    refused(partwright_here("check", "score", folder), "undo", "expert")


def test_every_arranging_step_is_in_the_table() -> None:
    names = [step.name for step in STEPS]
    assert {"versions", "second", "accompaniment", "check-together"} <= set(names)
