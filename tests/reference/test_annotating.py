"""Marks go into a copy of the source and come out again; what we write is valid MusicXML.

Outside facts: canonical XML (C14N) decides whether two documents say the same; the MusicXML 4.0 schema (W3C, open,
kept beside the tests' data) decides what is valid.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from conftest import shared_folder
from partwright.errors import InputError
from partwright.score import (
    BracketLine,
    FingeringMark,
    Mark,
    Note,
    StringMark,
    TechnicalMark,
    Tune,
    WordsMark,
    annotate,
    musicxml_bytes,
    read_tune,
    strip_marks,
    tune_from_tree,
    with_note_ids,
)
from score_checks import schema as schema_of_musicxml

TECHNICAL = ("up-bow", "down-bow", "open-string", "thumb-position", "harmonic")


def _files() -> list[Path]:
    try:
        folder = shared_folder() / "data" / "musicxml-suite" / "xmlFiles"
    except pytest.skip.Exception:
        return []
    return sorted(folder.iterdir())


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    return schema_of_musicxml()


def tunes(path: Path) -> list[Tune]:
    """Every part of a file that has notes."""
    found = []
    for number in range(1, 50):
        try:
            found.append(read_tune(path, part=str(number), voice="all"))
        except InputError as error:
            if "there is no part" in str(error) or (number == 1 and "well-formed" in str(error)):
                break
    return found


def every_mark(notes: tuple[Note, ...]) -> list[Mark]:
    """Every kind of mark on every note, lines overlapping."""
    marks: list[Mark] = []
    for index, note in enumerate(notes):
        last = notes[min(index + 3, len(notes) - 1)]
        marks += [
            FingeringMark(
                note_id=note.id, finger="T" if index % 4 == 0 else "3", substitute="2" if index % 3 else None
            ),
            StringMark(note_id=note.id, number=1 + index % 4, letter="A"),
            TechnicalMark(note_id=note.id, element=TECHNICAL[index % 5]),
            WordsMark(note_id=note.id, text="IV", role="position"),
            BracketLine(
                first_note_id=note.id, last_note_id=last.id, text="II", line="dashes" if index % 2 else "bracket"
            ),
        ]
    return marks


def canonical(tree: etree._ElementTree) -> bytes:
    return etree.tostring(tree, method="c14n")


@pytest.mark.parametrize("path", [pytest.param(path, id=path.name) for path in _files()])
def test_marks_come_out_again_and_output_is_valid(path: Path, schema: etree.XMLSchema) -> None:
    for tune in tunes(path):
        before = canonical(tune.document)
        marked = annotate(tune, every_mark(tune.part.notes))
        written = etree.ElementTree(etree.fromstring(musicxml_bytes(marked)))
        assert canonical(strip_marks(written)) == before
        assert canonical(tune.document) == before
        if schema.validate(tune.document):
            schema.assertValid(marked)
            schema.assertValid(with_note_ids(tune, marked))
        again = tune_from_tree(
            written, source=path, source_bytes_hash="", part=str(tune.part_index + 1), voice=tune.voice
        ).part
        assert [(n.onset_quarters, n.duration_quarters, n.pitch) for n in again.notes] == [
            (n.onset_quarters, n.duration_quarters, n.pitch) for n in tune.part.notes
        ]
        assert all(note.string_number for note in again.notes)


def test_most_of_the_suite_is_covered() -> None:
    if not _files():
        pytest.skip("the shared reference data is not on this machine")
    assert sum(bool(tunes(path)) for path in _files()) >= 125
