"""Edits of lesson.toml: comments stand, whatever is changed around them."""

from __future__ import annotations

import tomllib

import pytest

from partwright.errors import LessonError
from partwright.lesson import parse_lesson
from partwright.studio.edit_texts import (
    apply_settings,
    parse_document,
    put_pin,
    replace_entries,
    set_teaching_order,
    take_pin,
)

TEXT = """# head
format = 1
title = "Waltz"  # as printed

[tempo]
# slow at first
performance_qpm = 96  # not faster

# sections as taught
[[sections]]
name = "A"  # the tune
first_bar = "1"
last_bar = "8"

[[sections]]
name = "B"
first_bar = "9"
last_bar = "16"

[pins]
"1:1" = "3/D"   # because it sings
"2:1" = "up"
"""
COMMENTS = ["# head", "# as printed", "# slow at first", "# not faster", "# sections as taught", "# the tune"]


def changed(act: object) -> str:
    import tomlkit

    document = parse_document(TEXT)
    act(document)  # type: ignore[operator]
    text = tomlkit.dumps(document)
    parse_lesson(text)
    for comment in COMMENTS:
        assert comment in text
    return text


def test_a_pin_keeps_its_comment_and_its_neighbours() -> None:
    text = changed(lambda d: put_pin(d, "1:1", "2/D", replaces=["3/D"]))
    assert '"1:1" = "2/D"' in text
    assert "# because it sings" in text


def test_finger_and_bow_share_a_place_as_a_list() -> None:
    text = changed(lambda d: put_pin(d, "2:1", "1/A", replaces=[]))
    assert tomllib.loads(text)["pins"]["2:1"] == ["up", "1/A"]
    pins = {pin.text for pin in parse_lesson(text).pins}
    assert {"2:1=up", "2:1=1/A"} <= pins
    again = parse_document(text)
    take_pin(again, "2:1", "up")
    assert again["pins"]["2:1"] == "1/A"


def test_taking_the_last_pin_of_a_place_takes_the_place() -> None:
    text = changed(lambda d: take_pin(d, "1:1", "3/D"))
    assert "1:1" not in tomllib.loads(text)["pins"]


def test_settings_are_set_where_they_belong_and_taken_out_with_none() -> None:
    text = changed(
        lambda d: apply_settings(d, {"title": 'Waltz "two"', "tempo_qpm": 88.0, "marks": "every", "composer": "O. F."})
    )
    lesson = parse_lesson(text)
    assert (lesson.title, lesson.tempo_qpm, lesson.marks, lesson.composer) == ('Waltz "two"', 88, "every", "O. F.")
    document = parse_document(text)
    apply_settings(document, {"tempo_qpm": None, "composer": None})
    import tomlkit

    assert parse_lesson(tomlkit.dumps(document)).tempo_qpm is None


def test_sections_are_changed_in_place() -> None:
    wanted = [
        {"name": "A", "first_bar": "1", "last_bar": "4"},
        {"name": "A two", "first_bar": "5", "last_bar": "8", "remark": "slower"},
        {"name": "B", "first_bar": "9", "last_bar": "16"},
    ]
    text = changed(lambda d: replace_entries(d, "sections", wanted, ("name", "first_bar", "last_bar", "remark")))
    assert [(s.name, s.first_bar, s.last_bar, s.remark) for s in parse_lesson(text).sections] == [
        ("A", "1", "4", ""),
        ("A two", "5", "8", "slower"),
        ("B", "9", "16", ""),
    ]


def test_the_teaching_order_comes_and_goes() -> None:
    import tomlkit

    document = parse_document(TEXT)
    set_teaching_order(document, ["B", "A"])
    assert parse_lesson(tomlkit.dumps(document)).teaching_order == ("B", "A")
    set_teaching_order(document, [])
    assert parse_lesson(tomlkit.dumps(document)).teaching_order == ()


def test_a_file_without_tables_gets_them() -> None:
    import tomlkit

    document = parse_document("format = 1\n")
    put_pin(document, "3:1", "0/A", replaces=[])
    apply_settings(document, {"level": "beginner", "subtitle": "for cello"})
    lesson = parse_lesson(tomlkit.dumps(document))
    assert (lesson.level, lesson.subtitle, lesson.pins[0].text) == ("beginner", "for cello", "3:1=0/A")


def test_pins_that_are_no_table_are_refused_in_words() -> None:
    document = parse_document("format = 1\npins = 3\n")
    with pytest.raises(LessonError, match="table"):
        put_pin(document, "1:1", "1", replaces=[])
