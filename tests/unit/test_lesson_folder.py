"""lesson.toml and its folder: what is read, what is written, and what survives an edit."""

from __future__ import annotations

import tomllib
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.errors import LessonError
from partwright.lesson import (
    Lesson,
    PinEntry,
    Section,
    edit_pin,
    parse_lesson,
    plan_changes,
    read_lesson,
    suggest_sections,
    survey_part,
)
from partwright.lesson.demo_io import demo_files
from partwright.lesson.rights import RightsSheet
from partwright.lesson.schema import FREE_TABLES, ROWS
from partwright.lesson.write_lesson import lesson_text
from partwright.score import read_tune

texts = st.text(st.characters(blacklist_categories=["Cs"]), max_size=20)


@given(title=texts, rights=st.lists(texts, max_size=3), pin=st.sampled_from(["1:1=3/D", "2:2+1/2=/G", "3:1!=4"]))
def test_a_written_lesson_reads_back_the_same(title: str, rights: list[str], pin: str) -> None:
    lesson = Lesson(
        title=title,
        rights=tuple(rights),
        string_length_mm=640.0,
        tuning="B1 G2 D3 A3",
        taste="taste.toml",
        tempo_qpm=72.0,
        strings="roman",
        pins=(PinEntry(text=pin),),
        sections=(Section(name=title, first_bar="1", last_bar="8", remark=title),),
    )
    read = parse_lesson(lesson_text(lesson))
    plain = replace(
        read,
        pins=tuple(replace(entry, line=None) for entry in read.pins),
        sections=tuple(replace(section, line=None) for section in read.sections),
    )
    assert plain == lesson


def test_a_fresh_lesson_says_where_a_taste_goes() -> None:
    """The line stands as a comment under its own table; without the comment sign it is the setting."""
    fresh = lesson_text(Lesson(title="Fresh"))
    assert parse_lesson(fresh).taste == ""
    at = fresh.index("[fingering]\n# taste = ")
    assert parse_lesson(fresh[:at] + fresh[at:].replace("# taste", "taste", 1)).taste == "taste.toml"


def test_the_schema_and_the_lesson_have_the_same_fields() -> None:
    named = {row.field for row in ROWS if "." not in row.field} | set(FREE_TABLES)
    assert named | {"rights_sheet", "edition"} == {field.name for field in fields(Lesson)}
    of_sheet = {row.field.partition(".")[2] for row in ROWS if row.field.startswith("rights_sheet.")}
    assert of_sheet == {field.name for field in fields(RightsSheet)}
    assert all(row.words for row in ROWS)


def test_comments_survive_an_edit(tmp_path: Path) -> None:
    settings = (
        '# mine\nformat = 1\ntitle = "T"  # the title\n\n[pins]\n# before\n"1:1" = "0"  # open\n# after\n\n[page]\n'
    )
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune(), settings)
    edit_pin(folder, "2:1", "4/D")
    edit_pin(folder, "1:1", "1/G")
    text = (folder / "lesson.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["pins"] == {"1:1": "1/G", "2:1": "4/D"}
    for comment in ("# mine", "# the title", "# before", "# open", "# after"):
        assert comment in text
    edit_pin(folder, "2:1", None)
    edit_pin(folder, "9:9", None)
    assert [pin.text for pin in read_lesson(folder).pins] == ["1:1=1/G"]


def test_an_edit_makes_the_table_of_pins_where_there_is_none(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune())
    edit_pin(folder, "1:1", "1/D")
    assert [(pin.text, pin.origin) for pin in read_lesson(folder).pins] == [("1:1=1/D", "lesson")]


def test_an_edit_of_a_bad_lesson_changes_nothing(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune(), 'format = 1\ntitel = "x"\n')
    with pytest.raises(LessonError, match="titel"):
        edit_pin(folder, "1:1", "1/D")
    assert (folder / "lesson.toml").read_text(encoding="utf-8") == 'format = 1\ntitel = "x"\n'


def test_several_pins_on_one_place_are_a_list() -> None:
    lesson = parse_lesson('[pins]\n"1:1" = ["/D", 3]\n')
    assert [pin.text for pin in lesson.pins] == ["1:1=/D", "1:1=3"]
    assert {pin.line for pin in lesson.pins} == {2}


def test_a_lesson_that_is_no_text_is_refused(tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune())
    (folder / "lesson.toml").write_bytes(b"title = '\xff'")
    with pytest.raises(LessonError, match="UTF-8"):
        read_lesson(folder)


def test_the_demonstration_is_a_good_lesson(tmp_path: Path) -> None:
    files = demo_files()
    lesson = parse_lesson(files["lesson.toml"].decode("utf-8"))
    folder = write_lesson_folder(tmp_path / "lesson", files["tune.musicxml"])
    part = read_tune(folder / "tune.musicxml").part
    assert part.remarks == ()
    assert 32 <= sum(not bar.pickup for bar in part.bars) <= 64
    assert part.bars[0].pickup
    assert len(part.played_bars) > len(part.bars)
    assert any(note.chord for note in part.notes)
    assert part.chord_symbols
    assert [(s.name, s.first_bar, s.last_bar) for s in lesson.sections] == [
        (s.name, s.first_bar, s.last_bar) for s in suggest_sections(part)
    ]


def test_the_demonstration_repeats_its_first_bars_but_for_one_note(tmp_path: Path) -> None:
    (tmp_path / "tune.musicxml").write_bytes(demo_files()["tune.musicxml"])
    part = read_tune(tmp_path / "tune.musicxml").part

    def bars(first: int, last: int) -> list[tuple[str, object, object]]:
        return [
            (note.pitch.name, note.beat, note.duration_quarters)
            for note in part.notes
            if first <= int(note.bar) <= last
        ]

    pairs = list(zip(bars(1, 6), bars(27, 32), strict=True))
    assert [(one[0], two[0]) for one, two in pairs if one != two] == [("F#3", "D4")]


def test_a_survey_names_the_key_by_the_last_note_where_the_source_names_no_mode(tmp_path: Path) -> None:
    path = tmp_path / "tune.musicxml"
    for last, key in (("C3", "C major (by"), ("A2", "A minor (by"), ("D3", "C major or A minor (by")):
        path.write_text(small_tune("E3:4", f"{last}:4"), encoding="utf-8")
        assert survey_part(read_tune(path).part).key.startswith(key)


def test_sections_are_suggested_at_repeats_where_there_are_no_rehearsal_marks(tmp_path: Path) -> None:
    text = small_tune("C3:4", "D3:4", "E3:4", "F3:4")
    repeat = '<barline location="right"><repeat direction="backward"/></barline></measure><measure number="3">'
    (tmp_path / "t.xml").write_text(text.replace('</measure><measure number="3">', repeat), encoding="utf-8")
    found = suggest_sections(read_tune(tmp_path / "t.xml").part)
    assert [(s.name, s.first_bar, s.last_bar) for s in found] == [("A", "1", "2"), ("B", "3", "4")]


def test_changed_bars_are_those_whose_fingers_differ() -> None:
    def plan(*fingers: str) -> dict[str, object]:
        return {
            "notes": [
                {"id": f"n{i}", "bar": str(i), "string": "D", "semitones": 2, "finger": finger}
                for i, finger in enumerate(fingers, start=1)
            ]
        }

    assert plan_changes(plan("1", "3", "4"), plan("1", "2", "4")) == ("2",)
    assert plan_changes(plan("1"), plan("1", "2")) == ("2",)
    assert plan_changes(plan("1", "2"), plan("1")) == ("2",)
    assert plan_changes("no plan", plan("1")) == ("1",)
