"""Edits of lesson.toml: comments stand, whatever is changed around them."""

from __future__ import annotations

import tomllib

import pytest

from partwright.errors import LessonError
from partwright.lesson import parse_lesson
from partwright.studio.edit_texts import (
    apply_settings,
    parse_document,
    pin_comments,
    put_pin,
    replace_entries,
    set_pin_comment,
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


COMMENTED = """format = 1
[pins]  # mine
"1:1" = "3/D"   # because it # sings
"2:1" = ["up",
  "1/A"]  # both
# a line of its own
"3:1" = "/G"
'4:1' = '2'#x

[page]
marks = "every"  # no pin
"""


def test_what_stands_behind_a_pin_is_its_comment() -> None:
    assert pin_comments(COMMENTED) == {"1:1": "because it # sings", "2:1": "both", "4:1": "x"}
    for text in ("", "format = 1\n", "[pins]\n", 'pins = {"1:1" = "3"}  # not a table\n', "[pins]\n= = #\n"):
        assert pin_comments(text) == {}


PIECES = ['"1:1" = "3/D"', "'2:1' = '2'", "a-b = 'x'", '"3:1" = ["up", "1/A"]', '"4:1" = ["up",\n "down",]', "",
          '"5:1" = "a # b"', '"6:\\u0031" = "1"', '  "7:1"="/G"']  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_comments_found_line_by_line_are_those_a_parser_finds(seed: int) -> None:
    import random

    import tomlkit

    chance = random.Random(seed)
    lines = chance.sample(PIECES, chance.randint(1, len(PIECES)))
    text = "[pins]\n" + "".join(f"{line}{chance.choice(['', ' # why', '#x # y', '  #'])}\n" for line in lines)
    table = tomlkit.parse(text)["pins"]
    whole = {str(place): table.item(place).trivia.comment.lstrip("#").strip() for place in table}  # type: ignore[union-attr]
    assert pin_comments(text) == {place: words for place, words in whole.items() if words}


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("it sings", "it sings"),
        (" two\nlines \x07 # \u2028 ", "two lines #"),
        ("ünï “quoted”", "ünï “quoted”"),
        ("", None),
    ],
)
def test_a_comment_is_written_behind_its_pin_and_nothing_else_changes(written: str, read: str | None) -> None:
    import tomlkit

    for place in ("1:1", "2:1", "3:1", "4:1"):
        document = parse_document(COMMENTED)
        set_pin_comment(document, place, written)
        text = tomlkit.dumps(document)
        assert pin_comments(text).get(place) == read
        assert tomllib.loads(text) == tomllib.loads(COMMENTED)
        others = {key: value for key, value in pin_comments(COMMENTED).items() if key != place}
        assert {key: value for key, value in pin_comments(text).items() if key != place} == others
    with pytest.raises(LessonError, match='no pin at "9:1"'):
        set_pin_comment(parse_document(COMMENTED), "9:1", "x")


def test_an_entry_taken_out_takes_its_own_comments_with_it() -> None:
    import tomlkit

    one, two = (f'[[episodes]]\ntitle = "{t}"  # of {t}\nsections = ["A"]\n' for t in ("One", "Two"))
    text = one + two
    document = parse_document(text)
    replace_entries(document, "episodes", [{"title": "Two", "sections": ["A"]}], ("title", "sections"))
    left = tomlkit.dumps(document)
    assert left == two
