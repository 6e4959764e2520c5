"""A tune is printed in clefs its player reads; its pitches stay, and the tune itself stays as it came."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.instrument import load_instrument
from partwright.lesson import Lesson, page_tune, prepare
from partwright.lesson.lying import lying_remarks
from partwright.lesson.page_clefs import page_clefs
from partwright.score import Part, Tune, in_clefs, tune_from_bytes, tune_from_tree

CELLO = load_instrument("cello")
BASS_CLEF = "<clef><sign>F</sign><line>4</line></clef>"
CLEFS = {
    "bass": BASS_CLEF,
    "treble": "<clef><sign>G</sign><line>2</line></clef>",
    "treble 8vb": "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>",
    "bass 8vb": "<clef><sign>F</sign><line>4</line><clef-octave-change>-1</clef-octave-change></clef>",
    "tenor": "<clef><sign>C</sign><line>4</line></clef>",
}
LOW = ("G2:1 B2:1 D3:1 B2:1", "C3:2 G2:2")
HIGH = ("G4:1 B4:1 D5:1 B4:1", "C5:2 G4:2")
MIDDLE = ("D4:1 F#4:1 A4:1 F#4:1", "G4:2 D4:2")


def tune(*bars: str, clef: str) -> Tune:
    return tune_from_bytes(small_tune(*bars).replace(BASS_CLEF, CLEFS[clef]).encode(), source=Path("tune.musicxml"))


def part(*bars: str, clef: str) -> Part:
    return tune(*bars, clef=clef).part


@pytest.mark.parametrize(
    ("bars", "own", "level", "printed"),
    [
        (LOW, "treble", "advanced", "bass"),  # a lead sheet
        (MIDDLE, "treble 8vb", "advanced", None),  # hardly a ledger line, and an advanced player reads treble
        (LOW, "treble 8vb", "beginner", "bass"),
        (HIGH, "treble", "advanced", None),
        (HIGH, "treble", "beginner", "bass"),
        (MIDDLE, "tenor", "intermediate", None),
        (MIDDLE, "tenor", "beginner", "bass"),
        (HIGH, "bass", "advanced", None),  # the instrument's own clef: whoever wrote it meant it
        (LOW, "bass 8vb", "beginner", None),
    ],
)
def test_the_clef_follows_who_reads_it(bars: tuple[str, ...], own: str, level: str, printed: str | None) -> None:
    """Which clefs a level reads stands in the instrument's table; common practice, no source."""
    found = page_clefs(part(*bars, clef=own), CELLO, level)
    assert found == (None if printed is None else (printed,) * len(bars))


def test_a_violinist_keeps_treble_and_a_violist_gets_alto() -> None:
    bars = ("D4:1 E4:1 F#4:1 G4:1", "A3:2 D4:2")
    assert page_clefs(part(*bars, clef="treble"), load_instrument("violin"), "beginner") is None
    assert page_clefs(part(*bars, clef="treble"), load_instrument("viola"), "beginner") == ("alto", "alto")


def test_in_other_clefs_nothing_else_changes() -> None:
    """The demonstration tune, with clefs within bars put in: notes, pitches, and everything but clefs stay."""
    source = tune_from_bytes(
        demo_tune() if isinstance(demo_tune(), bytes) else demo_tune().encode(), source=Path("t.xml")
    )
    spoilt = etree.ElementTree(etree.fromstring(etree.tostring(source.document)))
    for note in list(spoilt.iter("note"))[5:40:7]:
        attributes = etree.Element("attributes")
        attributes.append(etree.fromstring(CLEFS["tenor"]))
        note.addprevious(attributes)
    mixed = tune_from_tree(spoilt, source=source.source, source_bytes_hash="")
    before = etree.tostring(mixed.document)
    bars = len(mixed.part.bars)
    wanted = ["bass"] * (bars // 2) + ["tenor"] * (bars - bars // 2)
    made = tune_from_tree(in_clefs(mixed, wanted), source=source.source, source_bytes_hash="")
    assert etree.tostring(mixed.document) == before
    assert [note.clef for note in made.part.notes] == [wanted[note.bar_index] for note in made.part.notes]
    plain = lambda notes: [replace(note, clef="") for note in notes]  # noqa: E731
    assert plain(made.part.notes) == plain(mixed.part.notes)
    assert len(list(made.document.iter("clef"))) == 2


def test_wrong_clefs_are_refused() -> None:
    source = tune(*LOW, clef="treble")
    with pytest.raises(ValueError, match="no clef is called 'bas'"):
        in_clefs(source, ["bas", "bas"])
    with pytest.raises(ValueError, match="shorter"):
        in_clefs(source, ["bass"])


def test_the_page_is_printed_so_and_the_tune_stays(tmp_path: Path) -> None:
    text = small_tune(*LOW).replace(BASS_CLEF, CLEFS["treble"])
    folder = write_lesson_folder(tmp_path / "lesson", text)
    job = prepare(Lesson(level="beginner"), folder)
    assert [sign.text for sign in page_tune(job).document.iter("sign")] == ["F"]
    kept = prepare(Lesson(level="beginner", clefs="source"), folder)
    assert [sign.text for sign in page_tune(kept).document.iter("sign")] == ["G"]
    high = prepare(Lesson(level="advanced", clefs="tenor"), folder)
    assert [(sign.text, sign.getnext().text) for sign in page_tune(high).document.iter("sign")] == [("C", "4")]
    assert (folder / "tune.musicxml").read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("bars", "name", "words"),
    [
        (HIGH, "cello", "half the notes are beyond the neck. An octave lower: partwright new with --octave -1"),
        (("G5:4", "A5:4"), "cello", "Two octaves lower: partwright new with --octave -2"),
        (("B1:1 E2:3", "A1:4"), "cello", "2 notes lie below the lowest string of the cello. An octave higher"),
        (("C3:4",), "violin", "a note lies below the lowest string of the violin. An octave higher"),
    ],
)
def test_a_tune_that_lies_badly_is_said_to(bars: tuple[str, ...], name: str, words: str) -> None:
    assert words in lying_remarks(part(*bars, clef="bass"), load_instrument(name), "advanced")[0]


def test_a_tune_that_lies_well_is_passed_over() -> None:
    assert lying_remarks(part(*LOW, clef="bass"), CELLO, "beginner") == ()


def test_new_says_so_at_once(partwright_here: object, tmp_path: Path) -> None:
    (tmp_path / "lead.musicxml").write_text(small_tune(*HIGH).replace(BASS_CLEF, CLEFS["treble"]), encoding="utf-8")
    ran: Ran = partwright_here("new", "air", "--from", "lead.musicxml", "--level", "beginner")  # type: ignore[operator]
    assert ran.code == 0
    assert "lies high for the cello" in ran.out
    assert "printed in bass clef; the tune itself is in treble" in ran.out
