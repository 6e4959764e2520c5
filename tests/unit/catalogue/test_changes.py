"""What changed between two states of a tune, in a player's words: none is missed, none invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from catalogue_shelf import BARS, tune_of
from partwright.catalogue import State, changes_between
from partwright.score import Part, tune_from_tree


def part_of(*bars: str) -> Part:
    document = etree.ElementTree(etree.fromstring(tune_of(bars).encode()))
    return tune_from_tree(document, source=Path("t.musicxml"), source_bytes_hash="").part


def told(before: tuple[str, ...], after: tuple[str, ...]) -> tuple[str, ...]:
    return changes_between(State(part=part_of(*before)), State(part=part_of(*after)))


def with_bar(number: int, bar: str) -> tuple[str, ...]:
    return tuple(bar if k == number else old for k, old in enumerate(BARS, start=1))


@pytest.mark.parametrize(
    ("after", "sentences"),
    [
        (BARS, ()),
        (with_bar(1, "D3:1 F3:1 A3:1 F#3:1"), ("Bar 1, beat 2: F instead of F sharp.",)),
        (with_bar(3, "A2:1 C3:1 E3:1 G3:1"), ("Bar 3, beat 2: C instead of C sharp.",)),
        (with_bar(4, "D4:4"), ("Bar 4, beat 1: D an octave higher.",)),
        (with_bar(2, "G3:3 E3:1"), (
            "Bar 2, beat 1: a dotted half instead of a half note.",
            "Bar 2, beat 3: E is left out.",
            "Bar 2, beat 4: E is new.",
        )),
        (with_bar(2, "G3:2 E3+B3:2"), ("Bar 2, beat 3: E and B instead of E.",)),
        (with_bar(2, "G3:1/2 A3:1/2 B3:1/2 C4:1/2 D4:1/2 C4:1/2 B3:1/2 A3:1/2"), ("Bar 2 is rewritten.",)),
        ((*BARS, "A3:4"), ("Bar 5 is new.",)),
        ((BARS[0], "E3:4", "C3:4", *BARS[1:]), ("Bars 2–3 are new.",)),
        (BARS[:2], ("What were bars 3–4 is left out.",)),
    ],
)  # fmt: skip
def test_the_sentences(after: tuple[str, ...], sentences: tuple[str, ...]) -> None:
    assert told(BARS, after) == sentences


def test_a_change_after_an_insertion_is_told_at_its_new_bar() -> None:
    after = (BARS[0], "E3:4", BARS[1], "A2:1 C3:1 E3:1 G3:1", BARS[3])
    assert told(BARS, after) == ("Bar 2 is new.", "Bar 4, beat 2: C instead of C sharp.")


def test_as_many_bars_as_before_but_moved_are_told_as_moved() -> None:
    bars = ("D3:4", "E3:4", "F#3:4", "G3:4", "A3:4", "B3:4")
    assert told(bars, (bars[0], "C3:2 D3:2", *bars[1:5])) == ("Bar 2 is new.", "What was bar 6 is left out.")


def test_refingered_bars_are_told_as_a_stretch_and_one_note_by_itself() -> None:
    part = part_of(*BARS)
    placed = {note.id: ("1", "D", 2) for note in part.notes}
    bars = {note.id: note.bar for note in part.notes}
    was = State(part=part, fingers=placed)
    many = State(part=part, fingers={i: ("4", "G", 9) if bars[i] in ("2", "3") else p for i, p in placed.items()})
    assert changes_between(was, many) == ("Bars 2–3 refingered.",)
    last = part.notes[-1].id
    one = State(part=part, fingers={**placed, last: ("4", "G", 7)})
    assert changes_between(was, one) == (
        "Bar 4, beat 1: fourth finger on the G string instead of first finger on the D string.",
    )


def test_bows_settings_and_products_are_told() -> None:
    part = part_of(*BARS)
    first = part.notes[0].id
    was = State(part=part, strokes={first: ("down", False)}, settings={"title": "A"}, products={"part-a4": "the part"})
    now = State(part=part, strokes={first: ("up", False)}, settings={"title": "B"}, products={"charts": "charts"})
    assert changes_between(was, now) == (
        'The title is "B" instead of "A".',
        "Bar 1, beat 1: up bow instead of down bow.",
        "New: charts.",
        "No longer with it: the part.",
    )


@settings(deadline=None)
@given(bar=st.integers(1, 12), beat=st.integers(1, 4), octave=st.integers(2, 3), step=st.sampled_from("CDEFGAB"))
def test_one_note_changed_is_one_sentence_at_its_place(bar: int, beat: int, octave: int, step: str) -> None:
    notes = [["D3", "E3", "G3", "A3"] for _ in range(12)]
    before = tuple(" ".join(f"{name}:1" for name in row) for row in notes)
    old = notes[bar - 1][beat - 1]
    notes[bar - 1][beat - 1] = f"{step}{octave}"
    after = tuple(" ".join(f"{name}:1" for name in row) for row in notes)
    sentences = told(before, after)
    if f"{step}{octave}" == old:
        assert sentences == ()
    else:
        assert len(sentences) == 1
        assert sentences[0].startswith(f"Bar {bar}, beat {beat}: {step}")
