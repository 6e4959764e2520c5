"""Edits on a planned lesson: the quick plan is the plan made afresh, and what moved is told in words."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from made_tunes import small_tune, write_lesson_folder
from partwright.engraving import EngravingProcess
from partwright.errors import PartwrightError
from partwright.lesson import write_demo
from partwright.studio.desk import Desk
from partwright.studio.edits import equal_notes
from partwright.studio.history_io import read_texts
from partwright.studio.note_view import note_document
from partwright.studio.plan_state import plan_state
from partwright.studio.refusal import Refusal


def desk_of(folder: Path) -> Desk:
    return Desk(folder, EngravingProcess())  # nothing is drawn here, so no process is begun


def test_a_plan_made_again_is_the_plan_made_afresh(tmp_path: Path) -> None:
    """Twenty edits, each plan taken over from the last; then the same texts planned from nothing."""
    write_demo(tmp_path / "weir")
    desk = desk_of(tmp_path / "weir")
    chance = random.Random(3)
    state = desk.state()
    for _ in range(20):
        note = state.part.notes[chance.randrange(len(state.part.notes))]
        others = note_document(state, desk.facts(state), note, pictures=False)["alternatives"]
        edits = [
            {"kind": "bow", "n": note.index, "value": chance.choice(["up", "down"])},
            {"kind": "settings", "values": {"level": chance.choice(["intermediate", "advanced"])}},
            *({"kind": "pin", "n": note.index, "value": other["value"]} for other in others[:2]),
        ]
        try:
            state = desk.edit(state.version, [chance.choice(edits)], "test").after
        except (PartwrightError, Refusal):
            continue
        fresh = plan_state(tmp_path / "weir", read_texts(tmp_path / "weir"))
        assert state.plan.notes == fresh.plan.notes
        assert state.plan.total_cost == pytest.approx(fresh.plan.total_cost)
        assert state.bowing.strokes == fresh.bowing.strokes
        assert state.bowing.remarks == fresh.bowing.remarks
        assert state.marks == fresh.marks
        assert state.plan.relaxed == fresh.plan.relaxed


def test_every_alternative_that_is_offered_can_be_pinned(tmp_path: Path) -> None:
    write_demo(tmp_path / "weir")
    desk = desk_of(tmp_path / "weir")
    state = desk.state()
    for n in (0, 20, 47, 55, 70):
        note = state.part.notes[n]
        for other in note_document(state, desk.facts(state), note, pictures=False)["alternatives"]:
            done = desk.look_ahead([{"kind": "pin", "n": n, "value": other["value"]}])
            place = done.after.plan.by_id[state.head_of(note).id].placement
            assert place.finger_text == other["finger"]
            assert done.after.job.instrument.strings[place.string].letter == other["string"]


def test_equal_places_are_those_of_equal_phrases(tmp_path: Path) -> None:
    phrase = ["D3:1 E3:1 F3:1 G3:1", "A3:2 G3:2"]
    folder = write_lesson_folder(tmp_path / "three", small_tune(*phrase, *phrase, "C3:4", *phrase))
    state = desk_of(folder).state()
    second = state.part.notes[1]
    assert [note.bar for note in equal_notes(state, second)] == ["3", "6"]
    assert {note.pitch.name for note in equal_notes(state, second)} == {"E3"}


def test_pins_may_differ_in_equal_phrases(tmp_path: Path) -> None:
    """The first phrase is left to the plan; the second and the third are pinned, each its own way."""
    phrase = ["D3:1 E3:1 F3:1 G3:1", "A3:2 G3:2"]
    folder = write_lesson_folder(
        tmp_path / "three", small_tune(*phrase, *phrase, *phrase),
        'format = 1\n[pins]\n"3:2" = "1/D"\n"5:2" = "2/G"\n',
    )  # fmt: skip
    state = desk_of(folder).state()
    found = {row.place: state.plan.by_id[row.note.id].placement for row in state.pins if row.note is not None}
    strings = state.job.instrument.strings
    assert (found["3:2"].finger, strings[found["3:2"].string].letter) == (1, "D")
    assert (found["5:2"].finger, strings[found["5:2"].string].letter) == (2, "G")


def test_pinning_everywhere_pins_every_equal_place(tmp_path: Path) -> None:
    phrase = ["D3:1 E3:1 F3:1 G3:1", "A3:2 G3:2"]
    folder = write_lesson_folder(tmp_path / "three", small_tune(*phrase, *phrase, "C3:4", *phrase))
    desk = desk_of(folder)
    done = desk.edit(desk.state().version, [{"kind": "pin_equal", "n": 1, "value": "2/G"}], "test")
    assert [row.place for row in done.after.pins] == ["1:2", "3:2", "6:2"]
    assert "2 equal places" in done.words


def test_what_moved_is_told_by_bar_and_position(tmp_path: Path) -> None:
    bars = ["D3:1 E3:1 F3:1 G3:1", "A3:1 B3:1 A3:1 G3:1", "F3:1 E3:1 D3:2"]
    folder = write_lesson_folder(tmp_path / "one", small_tune(*bars))
    desk = desk_of(folder)
    done = desk.edit(desk.state().version, [{"kind": "pin", "n": 4, "value": "1/D"}], "test")
    words = done.changed.words
    assert any("position" in line or "string" in line for line in words), words
    assert all(line.startswith("Bar") for line in words)
    assert done.changed.notes


def test_a_pin_of_a_bow_where_a_finger_is_pinned_stands_beside_it(tmp_path: Path) -> None:
    folder = write_lesson_folder(
        tmp_path / "one", small_tune("D3:1 E3:1 F3:1 G3:1"), 'format = 1\n[pins]\n"1:1" = "0/D"  # open\n'
    )
    desk = desk_of(folder)
    desk.edit(desk.state().version, [{"kind": "bow", "n": 0, "value": "up"}], "test")
    text = (folder / "lesson.toml").read_text()
    assert '"1:1" = ["0/D", "up"]' in text
    assert "# open" in text
    done = desk.edit(desk.state().version, [{"kind": "pin", "n": 0, "value": "4/G"}], "test")
    assert {(row.kind, row.value) for row in done.after.pins} == {("bow", "up"), ("finger", "4/G")}


def test_what_is_refused_names_the_place(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "one", small_tune("D3:1 E3:1 F3:1 G3:1"))
    desk = desk_of(folder)
    version = desk.state().version
    for edit in (
        {"kind": "unpin", "n": 2},
        {"kind": "bow", "n": 2, "value": None},
        {"kind": "unpin_range", "first_n": 0, "last_n": 3},
    ):
        with pytest.raises(Refusal) as refused:
            desk.edit(version, [edit], "test")
        assert refused.value.document()["error"]["words"].endswith(".")  # type: ignore[index]
    with pytest.raises(PartwrightError) as conflict:
        desk.edit(version, [{"kind": "pin", "n": 0, "value": "4/A"}], "test")
    assert conflict.value.place.bar == "1"
    assert desk.state().version == version


@pytest.mark.parametrize(
    ("episodes", "told"),
    [
        ([{"title": "One", "sections": []}], "does not say which sections it teaches"),
        ([{"title": "One", "sections": ["Z"]}], 'episode "One" names a section "Z"'),
    ],
)
@pytest.mark.parametrize("named", [True, False])
def test_episodes_are_refused_as_the_file_is(tmp_path: Path, episodes: object, told: str, named: bool) -> None:
    section = '[[sections]]\nname = "A"\nfirst_bar = "1"\nlast_bar = "2"\n' if named else ""
    folder = write_lesson_folder(tmp_path / "w", small_tune("D3:4", "E3:4"), f"format = 1\n{section}")
    desk = desk_of(folder)
    before = (folder / "lesson.toml").read_bytes()
    with pytest.raises((PartwrightError, Refusal)) as refused:
        desk.edit(desk.state().version, [{"kind": "episodes", "episodes": episodes}], "test")
    assert told in str(refused.value)
    assert (folder / "lesson.toml").read_bytes() == before


def test_a_pin_that_is_not_there_has_no_comment(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "w", small_tune("D3:4", "E3:4"), 'format = 1\n[pins]\n"1:1" = "0/D"\n')
    desk = desk_of(folder)
    done = desk.edit(desk.state().version, [{"kind": "pin_comment", "place": "1:1", "comment": "it rings"}], "test")
    assert [(row.place, row.comment) for row in done.after.pins] == [("1:1", "it rings")]
    assert done.after.plan.notes == desk.state().plan.notes
    with pytest.raises(Refusal, match="nothing is pinned at 2:1"):
        desk.edit(done.after.version, [{"kind": "pin_comment", "place": "2:1", "comment": "x"}], "test")
