"""The player's own settings and files, and what is said when they are wrong."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from partwright.errors import InputError
from partwright.instrument import (
    instrument_names,
    load_instrument,
    load_instrument_file,
    parse_instrument,
    parse_tuning,
    with_levels,
)

CELLO = load_instrument("cello")
TABLE = (resources.files("partwright.instrument") / "data" / "cello.toml").read_text(encoding="utf-8")


def test_four_instruments_are_carried() -> None:
    assert instrument_names() == ("cello", "double_bass", "viola", "violin")
    assert load_instrument("Double Bass") == load_instrument("double-bass") == load_instrument("double_bass")


def test_size_by_its_fraction_sign_and_own_length_over_it() -> None:
    assert load_instrument("cello", size="¾") == load_instrument("cello", size="3/4")
    own = load_instrument("cello", size="3/4", string_length_mm=633)
    assert (own.string_length_mm, own.bow_hair_mm) == (633, load_instrument("cello", size="3/4").bow_hair_mm)
    assert load_instrument("cello", string_length_mm=700).size == ""


def test_scordatura_keeps_the_names_of_the_strings() -> None:
    down = load_instrument("cello", tuning_midi=parse_tuning("C2 G2 D3 G3", CELLO))
    assert [(s.letter, s.midi) for s in down.strings] == [("C", 36), ("G", 43), ("D", 50), ("A", 55)]
    assert down.strings[0].source == CELLO.strings[0].source


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("C2 G2 D3", "names 3 strings; the cello has 4"),
        ("H2 G2 D3 A3", '"H2" in the tuning is no pitch'),
        ("C2 G2 G2 A3", "tuned from low to high"),
        ("C0 G2 D3 A3", "the C string cannot be tuned to C0"),
        ("", "names 0 strings"),
    ],
)
def test_tunings_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        parse_tuning(text, CELLO)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"size": "2/3"}, 'no size "2/3"; known are 4/4'),
        ({"string_length_mm": 69.0}, "a string length of 69 mm"),
        ({"school": "davidof"}, 'did you mean "davidoff"'),
        ({"tuning_midi": (36, 43, 50)}, "the cello has 4 strings"),
        ({"tuning_midi": (43, 36, 50, 57)}, "Give 4 rising pitches"),
    ],
)
def test_settings_that_cannot_be(settings: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        load_instrument("cello", **settings)  # type: ignore[arg-type]


def test_unknown_instrument_names_the_nearest() -> None:
    with pytest.raises(InputError, match='did you mean "cello"'):
        load_instrument("chello")
    with pytest.raises(InputError, match="known are cello, double bass, viola, violin"):
        load_instrument("kazoo")


def test_a_level_of_the_players_own(tmp_path: Path) -> None:
    file = tmp_path / "levels.toml"
    file.write_text(
        '[levels.second-year]\nlike = "beginner"\nframe_max = 7\nshift_semitones_max = 5\n', encoding="utf-8"
    )
    level = load_instrument("cello", levels_file=file).levels["second-year"]
    assert (level.frame_min, level.frame_max, level.shift_semitones_max) == (2, 7, 5)
    assert level.shapes == CELLO.levels["beginner"].shapes
    assert level.source == "the player's own"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[levels.intermediate]\nframe_mx = 7", 'line 2: "levels.intermediate.frame_mx" means nothing.*"frame_max"'),
        ('[levels.intermediate]\n\nframe_max = "7"', "line 3: .*should be a whole number, not '7'"),
        ("[levels.intermediate]\nframe_max = true", "should be a whole number, not true"),
        ('[levels.intermediate]\nshapes = ["closd"]', 'names "closd".*Did you mean "closed"'),
        ('[levels.intermediate]\nclefs = ["tenr"]', 'names "tenr".*Did you mean "tenor"'),
        ("[levels.intermediate]\nframe_min = 9", "starts at frame 9 and ends at 8"),
        ("[levels.intermediate]\nrange_semitones = [9, 2]", "Give a lowest and a highest"),
        ("[levels.intermediate]\nharmonic_partials = [1]", "Partials run from 2 to 16"),
        ("[levels.intermediate]\nlargest_chord = 0", "whole number from 1 to 8"),
        ('[levels.mine]\nlike = "begin"', 'line 2: .*Did you mean "beginner"'),
        ("[levels.mine]\nthumb = true", "levels.mine.*is missing"),
        ("[levls.mine]\nthumb = true", '"levls" stands there; was it meant'),
        ("[levels.mine", "is not valid TOML"),
        ("levels = 3", "should be a table"),
    ],
)
def test_levels_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        with_levels(CELLO, text, file="levels.toml")


def test_an_instrument_of_the_players_own(tmp_path: Path) -> None:
    """A five-string cello: the cello's table with an E string above."""
    text = (
        TABLE.replace("number = 4", "number = 5")
        .replace("number = 3", "number = 4")
        .replace("number = 2", "number = 3")
    )
    text = text.replace("number = 1\n", "number = 2\n").replace('name = "cello"', 'name = "five-string cello"', 1)
    text = text.replace("semitones = [14, 16, 19, 36]", "semitones = [14, 16, 19, 19, 36]")
    fifth = '[[strings]]\nletter = "E"\nmidi = 64\nnumber = 1\nsource = "the player\'s own"\n\n'
    file = tmp_path / "five.toml"
    file.write_text(text.replace("# Sizes", f"{fifth}# Sizes", 1), encoding="utf-8")
    five = load_instrument_file(file, school="davidoff")
    assert [s.letter for s in five.strings] == ["C", "G", "D", "A", "E"]
    assert five.position(3).label == "I½"


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("string_length_mm = 690.0", "string_lenght_mm = 690.0", "string_length_mm is missing.*string_lenght_mm"),
        ("midi = 43", 'midi = "G2"', "line 1[0-9]+: .*should be a whole number|line \\d+: strings.midi"),
        ("midi = 43", "midi = 30", "the strings do not rise"),
        ("number = 4", "number = 1", "do not fall to 1"),
        ('zone = "neck"', 'zone = "nek"', 'shapes.zone is "nek".*"neck", "upper" or "thumb"'),
        ("{ 1 = 0, 2 = 1, 3 = 2, 4 = 3 }", "{ 1 = 0, 2 = 1, 3 = 2, 5 = 3 }", 'names a finger "5"'),
        ("{ 1 = 0, 2 = 1, 3 = 2, 4 = 3 }", "{ 1 = 0, 2 = 2, 3 = 1, 4 = 3 }", "do not lie in their order"),
        ("{ 1 = 0, 2 = 1, 3 = 2, 4 = 3 }", "{ T = 0, 2 = 1, 3 = 2 }", 'T belongs to zone "thumb"'),
        ("{ 1 = 0, 2 = 1, 3 = 2, 4 = 3 }", "{ }", "the shape has no fingers"),
        ("frames = [1, 8]", "frames = [8, 1]", "Give a lowest and a highest"),
        ("frames = [2, 9]", "frames = [1, 9]", "at or below the nut.*Begin frames at 2"),
        ('name = "extended back"', 'name = "closed"', 'two rows named "closed"'),
        ('extension = "back"', 'extension = "up"', 'shapes.extension is "up"'),
        ('school = "c-major"', 'school = "cmajor"', 'school is "cmajor"'),
        ("semitones = [14, 16, 19, 36]", "semitones = [14, 16, 19]", "Give 4 whole numbers"),
        ("partials = [2, 3, 4, 5, 6]", "partials = [1]", "Partials run from 2 to 16"),
        ('{ frame = 2, label = "I"', '{ frame = 1, label = "I"', "names one frame twice"),
        ('default_clef = "bass"', 'default_clef = "baritone"', 'default_clef is "baritone"'),
        ('size = "4/4"', 'size = "5/4"', 'size is "5/4"'),
        ("[levels.beginner]", "[levels.beginner]\nage = 7", '"levels.beginner.age" means nothing here'),
        ('words = "closed hand"', 'word = "closed hand"', '"shapes.word" means nothing.*"words"'),
    ],
)
def test_tables_that_cannot_be(was: str, becomes: str, said: str) -> None:
    assert was in TABLE
    with pytest.raises(InputError, match=f"(?s)own.toml.*({said})"):
        parse_instrument(TABLE.replace(was, becomes, 1), file="own.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_instrument_file(tmp_path / "none.toml")
    latin = tmp_path / "latin.toml"
    latin.write_bytes('name = "Bratsche für Kinder"'.encode("latin-1"))
    with pytest.raises(InputError, match="is not UTF-8 text"):
        load_instrument_file(latin)
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * 1_000_001)
    with pytest.raises(InputError, match="too large"):
        load_instrument_file(large)
    with pytest.raises(InputError, match="cannot be read"):
        load_instrument("cello", levels_file=tmp_path)
