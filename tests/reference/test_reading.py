"""Reading MusicXML against a reference library (music21 10.5) and the standard, on an open test suite and a corpus.

Compared for every printed, pitched note of every part: bar, onset in the bar, duration, sounding pitch; then how long
every bar lasts and where the piece stands in quarters. Every difference is explained in the tables below and in
docs/reading.md; who is right is decided by the MusicXML 4.0 documentation.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from reference_reader import ReferencePart, notes_of, reference_parts

from conftest import shared_folder
from partwright.errors import InputError, ScoreError
from partwright.score import Part, read_tune

_FINEST = 10080

# Files whose notes differ, and why ours follow the standard.
EXPLAINED_NOTES = {
    "02e-Rests-NoType.xml": "a note without <staff> belongs to staff 1; the library puts it on both staves",
    "21f-Chord-ElementInBetween.xml": "<chord/> joins the preceding note whatever stands between (note: 'chord')",
    "32c-MultipleNotationChildren.xml": "<alter> is the pitch; <accidental> only the printed sign (pitch: 'alter')",
}
# (file, bar): bars whose length differs, and why.
EXPLAINED_BARS = {
    ("21f-Chord-ElementInBetween.xml", "1"): "follows from the chord above",
    ("22b-Staff-Notestyles.xml", "2"): "rests that are not printed still fill the bar",
}
# Files neither reads: not well-formed XML.
NOT_XML = {"32ad-Notations5.musicxml"}

# Movements with cello or violin parts. The first of them are checked in every run, all of them in the wide run.
CORPUS_EVERY_RUN = ("corelli/opus3no1/1grave.xml", "mozart/k80/movement1.mxl", "haydn/opus1no1/movement4.mxl")
CORPUS_FOLDERS = (
    "haydn/opus1no1",
    "haydn/opus74no1",
    "mozart/k155",
    "mozart/k156",
    "mozart/k458",
    "mozart/k80",
    "beethoven/opus18no1",
    "beethoven/opus59no1",
    "beethoven/opus59no2",
    "beethoven/opus59no3",
    "schumann_robert/opus41no1",
    "schumann_clara/opus17",
    "corelli/opus3no1",
    "beethoven",
)


def _suite() -> list[Path]:
    try:
        folder = shared_folder() / "data" / "musicxml-suite" / "xmlFiles"
    except pytest.skip.Exception:
        return []
    return sorted(folder.iterdir())


def _corpus() -> Path:
    music21 = pytest.importorskip("music21")
    return Path(music21.__file__).parent / "corpus"


@pytest.mark.parametrize("path", [pytest.param(p, id=p.name) for p in _suite() if p.name not in NOT_XML])
def test_suite_file_reads_like_the_reference(path: Path) -> None:
    compare(path)


def test_both_refuse_what_is_not_xml(shared: Path) -> None:
    for name in NOT_XML:
        with pytest.raises(ScoreError, match="line 141"):
            read_tune(shared / "data" / "musicxml-suite" / "xmlFiles" / name)


@pytest.mark.parametrize("name", CORPUS_EVERY_RUN)
def test_movement_reads_like_the_reference(name: str) -> None:
    assert compare(_corpus() / name) > 200


def _movements(folder: str) -> list[Path]:
    return [path for path in sorted((_corpus() / folder).iterdir()) if path.suffix in (".mxl", ".xml")]


def test_the_corpus_holds_more_than_forty_movements() -> None:
    assert sum(len(_movements(folder)) for folder in CORPUS_FOLDERS) >= 40


@pytest.mark.slow
@pytest.mark.parametrize("folder", CORPUS_FOLDERS)
def test_every_movement_reads_like_the_reference(folder: str) -> None:
    assert all(compare(path) > 0 for path in _movements(folder))


def compare(path: Path) -> int:
    """Compare every part of a file; the number of notes compared."""
    count = 0
    for number, reference in enumerate(reference_parts(path), 1):
        try:
            part = read_tune(path, part=str(number), voice="all").part
        except InputError as error:
            assert not reference.notes, f"{path.name}, part {number}: {error}"
            continue
        count += len(part.notes)
        ours = notes_of(part)
        if path.name in EXPLAINED_NOTES:
            assert ours != reference.notes, f"{path.name} is explained but no longer differs"
            continue
        assert ours == reference.notes, f"{path.name}, part {number}"
        _compare_bars(part, reference, path.name)
        if reference.in_step:
            onsets = tuple(sorted(note.onset_quarters.limit_denominator(_FINEST) for note in part.notes))
            assert onsets == reference.onsets, f"{path.name}, part {number}"
    return count


def _compare_bars(part: Part, reference: ReferencePart, name: str) -> None:
    """A bar as long as its metre or longer lasts as long as it is written; a shorter one as the longest part says."""
    for bar, own, longest in zip(part.bars, reference.own_reach, reference.longest_reach, strict=True):
        if (name, bar.number) in EXPLAINED_BARS or longest == 0:
            continue
        expected = own if own >= bar.nominal_quarters else longest
        assert bar.length_quarters.limit_denominator(_FINEST) == expected, f"{name}, bar {bar.number}"
