"""Single marks: what exactly is written where."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from made_scores import HEAD, bar, note, read, score
from partwright.errors import OutputError, ScoreError
from partwright.score import (
    BracketLine,
    FingeringMark,
    Mark,
    StringMark,
    TechnicalMark,
    Tune,
    WordsMark,
    annotate,
    musicxml_bytes,
    strip_marks,
    with_note_ids,
    write_musicxml,
)


def two_notes(folder: Path, tail: str = "") -> Tune:
    return read(folder, score(bar(note("C3", 8, tail=tail) + note("D3", 8))))


def technical(tune: Tune, *marks: Mark, **options: bool) -> str:
    root = annotate(tune, marks, **options).getroot()
    found = root.iterfind(".//technical/*")
    return " ".join(etree.tostring(element, with_tail=False).decode() for element in found)


def test_finger_and_string(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    first = tune.part.notes[0].id
    marks = (FingeringMark(note_id=first, finger="1"), StringMark(note_id=first, number=3, letter="G"))
    assert technical(tune, *marks) == "<fingering>1</fingering> <string>3</string>"


def test_substitution_is_two_fingerings(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    mark = FingeringMark(note_id=tune.part.notes[0].id, finger="2", substitute="1")
    assert technical(tune, mark) == '<fingering>2</fingering> <fingering substitution="yes">1</fingering>'


def test_thumb_and_harmonic(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    first, second = (note.id for note in tune.part.notes)
    marks = (FingeringMark(note_id=first, finger="T"), TechnicalMark(note_id=second, element="harmonic"))
    assert technical(tune, *marks) == "<thumb-position/> <harmonic><natural/></harmonic>"


def test_notations_stand_before_lyrics(tmp_path: Path) -> None:
    tune = two_notes(tmp_path, tail="<type>half</type><lyric><text>la</text></lyric>")
    marked = annotate(tune, [FingeringMark(note_id=tune.part.notes[0].id, finger="1")])
    element = next(marked.iter("note"))
    assert [child.tag for child in element][-2:] == ["notations", "lyric"]


def test_what_the_source_prints_is_not_printed_twice(tmp_path: Path) -> None:
    printed = "<notations><technical><fingering>1</fingering><down-bow/></technical></notations>"
    tune = two_notes(tmp_path, tail=printed)
    first = tune.part.notes[0].id
    marks = (FingeringMark(note_id=first, finger="1"), TechnicalMark(note_id=first, element="down-bow"))
    assert technical(tune, *marks) == "<fingering>1</fingering> <down-bow/>"
    assert musicxml_bytes(annotate(tune, marks)) == musicxml_bytes(tune.document)


def test_source_fingerings_are_replaced_only_when_asked(tmp_path: Path) -> None:
    printed = "<notations><technical><fingering>1</fingering></technical></notations>"
    tune = two_notes(tmp_path, tail=printed)
    mark = FingeringMark(note_id=tune.part.notes[0].id, finger="4")
    assert technical(tune, mark) == "<fingering>1</fingering> <fingering>4</fingering>"
    assert technical(tune, mark, replace_source_fingerings=True) == "<fingering>4</fingering>"


def test_annotating_twice_gives_the_same_as_once(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    marks = [FingeringMark(note_id=tune.part.notes[0].id, finger="1")]
    once = annotate(tune, marks)
    again = read(tmp_path, musicxml_bytes(once))
    assert musicxml_bytes(annotate(again, marks)) == musicxml_bytes(once)
    assert musicxml_bytes(strip_marks(again.document)) == musicxml_bytes(tune.document)


def test_words_stand_before_the_whole_chord(tmp_path: Path) -> None:
    chord = note("C3", 16) + note("G3", 16, "<chord/>")
    tune = read(tmp_path, score(bar(chord)))
    marked = annotate(tune, [WordsMark(note_id=tune.part.notes[1].id, text="II")])
    tags = [child.tag for child in next(marked.iter("measure"))]
    assert tags == ["attributes", "direction", "note", "note"]


def test_overlapping_lines_have_different_numbers(tmp_path: Path) -> None:
    used = '<direction><direction-type><dashes type="start" number="1"/></direction-type></direction>'
    tune = read(tmp_path, score(bar(used + "".join(note("C3", 4) for _ in range(4)))))
    ids = [note.id for note in tune.part.notes]
    lines = [
        BracketLine(first_note_id=ids[0], last_note_id=ids[2]),
        BracketLine(first_note_id=ids[1], last_note_id=ids[3]),
    ]
    numbers = [(e.get("type"), e.get("number")) for e in annotate(tune, lines).iter("dashes")][1:]
    assert sorted(numbers) == [("start", "2"), ("start", "3"), ("stop", "2"), ("stop", "3")]


def test_line_that_runs_backwards_is_refused(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    first, second = (note.id for note in tune.part.notes)
    with pytest.raises(ScoreError, match="cannot run back"):
        annotate(tune, [BracketLine(first_note_id=second, last_note_id=first)])


def test_mark_on_a_note_the_tune_has_not_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="there is no note 'elsewhere'"):
        annotate(two_notes(tmp_path), [FingeringMark(note_id="elsewhere", finger="1")])


def test_every_added_id_is_unique_and_ours(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    marks: list[Mark] = []
    for made in tune.part.notes:
        marks += [FingeringMark(note_id=made.id, finger="1"), WordsMark(note_id=made.id, text="I")]
    ids = [element.get("id", "") for element in annotate(tune, marks).iter("direction", "notations")]
    assert len(set(ids)) == len(ids)
    assert sum(i.startswith("pw-") for i in ids) == 4


def test_note_ids_can_be_put_on_for_engraving(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    marked = with_note_ids(tune, tune.document)
    assert [element.get("id") for element in marked.iter("note")] == [note.id for note in tune.part.notes]
    assert all(element.get("id") is None for element in tune.document.iter("note"))


def test_ids_of_the_source_are_kept_unless_used_twice(tmp_path: Path) -> None:
    bars = bar(
        (note("C3", 4) * 3 + note("D3", 4)).replace("<note>", '<note id="a">', 2).replace("<note>", '<note id="b">', 1)
    )
    assert [n.id for n in read(tmp_path, score(bars)).part.notes] == ["n0-1", "n0-2", "b", "n0-4"]


def test_timewise_is_annotated_in_place(tmp_path: Path) -> None:
    measure = f'<part id="P1"><attributes>{HEAD}</attributes>{note("C3", 16)}</part>'
    text = (
        '<score-timewise version="4.0"><part-list><score-part id="P1"><part-name>Cello</part-name></score-part>'
        f'</part-list><measure number="1">{measure}</measure></score-timewise>'
    )
    tune = read(tmp_path, text)
    first = tune.part.notes[0].id
    marked = annotate(tune, [FingeringMark(note_id=first, finger="1"), WordsMark(note_id=first, text="I")])
    assert [e.tag for e in marked.getroot().find("measure/part")] == ["attributes", "direction", "note"]
    assert musicxml_bytes(strip_marks(marked)) == musicxml_bytes(tune.document)


def test_what_cannot_be_written_leaves_what_was_there(tmp_path: Path) -> None:
    tune = two_notes(tmp_path)
    with pytest.raises(OutputError):
        write_musicxml(tune.document, tmp_path / "no-folder" / "out.musicxml")
    write_musicxml(tune.document, tmp_path / "out.musicxml")
    assert (tmp_path / "out.musicxml").read_bytes() == musicxml_bytes(tune.document)
