"""Every cello part of the string quartets in music21's corpus, fingered: at least 25,000 notes.

Outside: open scores of Haydn, Mozart and Beethoven quartets that music21 10.5 carries, read by our own reader. What is
checked is checked against the instrument's table and the score: each placement sounds its note, each hand is one that
the table has, no chord needs two places on one string, and what cannot be played is reported, not invented.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

from hand_checks import check_hand
from partwright.errors import InputError
from partwright.fingering import plan_of, prepare
from partwright.instrument import load_instrument
from partwright.score import Part, read_tune

CELLO = load_instrument("cello")
NAMES = ("Violoncello", "Cello", "Violoncell", "4")
FOLDERS = ("haydn/opus1no1", "haydn/opus74no1", "mozart/k80", "mozart/k155", "mozart/k156", "mozart/k458", "beethoven")
FAST = ("mozart/k155/movement1.mxl", "haydn/opus74no1/movement2.mxl")


def corpus() -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21
    return Path(music21.__file__).parent / "corpus"


def cello_part(path: Path) -> Part | None:
    for name in NAMES:
        try:
            return read_tune(path, part=name, voice="all").part
        except InputError:
            continue
    return None


def fingered_notes(path: Path) -> tuple[int, int, int]:
    """Notes looked at, notes with a placement, notes reported as unplayable."""
    part = cello_part(path)
    if part is None or not part.notes:
        return 0, 0, 0
    planning = prepare(part, CELLO)
    placed = check_hand(planning)
    plan = plan_of(planning)
    missing = len(part.notes) - placed
    reported = {planning.walk.event_of[item.note_id] for item in plan.unplayable}
    for note in part.notes:
        assert (note.id in plan.by_id) != (planning.walk.event_of[note.id] in reported), note
    return len(part.notes), placed, missing


@pytest.mark.parametrize("name", FAST)
def test_movement_is_fingered_as_a_hand_can(name: str) -> None:
    notes, placed, missing = fingered_notes(corpus() / name)
    assert notes > 200
    assert placed == notes - missing
    assert missing <= 0.01 * notes


@pytest.mark.slow
def test_whole_corpus_is_fingered_as_a_hand_can() -> None:
    """At least 25,000 notes; fewer than one in a hundred beyond any hand (chords whose strings are not neighbours)."""
    root = corpus()
    paths = sorted(path for folder in FOLDERS for path in (root / folder).rglob("*.mxl"))
    total = {"notes": 0, "placed": 0, "missing": 0}
    for path in paths:
        for kind, count in zip(total, fingered_notes(path), strict=True):
            total[kind] += count
    print(total, len(paths))
    assert total["placed"] >= 25_000
    assert total["missing"] <= 0.01 * total["notes"]
