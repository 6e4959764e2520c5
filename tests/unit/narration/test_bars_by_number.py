"""Bars called by their numbers: where the speaker is, what he likens to what, how many notes he counts in one.

Tunes and talks are invented; what a bar holds is compared note for note with the made tune.
"""

from __future__ import annotations

import pytest

from made_parts import part_of
from partwright.checking.narration import NarrationCheck, check_narration, coverage_findings, parse_transcript
from partwright.checking.narration.bar_statements import find_bar_statements
from partwright.checking.narration.language import load_language
from partwright.checking.narration.mentions import BarStatement
from partwright.checking.narration.numbered_bars import find_numbered_bars
from partwright.checking.narration.recalls import find_recalls
from partwright.checking.narration.words import spoken_words
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import Section
from partwright.score import Part

CELLO = load_instrument("cello")
LANGUAGE = load_language()
_FIRST = [50, 52, 54, 55, 57, 59, 57, 55, 54, 52, 50, 50, 45, 50, 54, 52]  # bars 1 to 4
_LAST = [*_FIRST[:8], 54, 52, 50, 52, *_FIRST[12:]]  # the same, but for the last note of the third bar
TUNE = part_of([*_FIRST, 57, 59, 61, 62, 61, 59, 57, 55, 54, 55, 57, 59, 57, 55, 54, 52, *_LAST], quarters=1)
SECTIONS = (
    Section(name="A", first_bar="1", last_bar="4"),
    Section(name="B", first_bar="5", last_bar="8"),
    Section(name="C", first_bar="9", last_bar="12"),
)


def checked(text: str, part: Part = TUNE) -> NarrationCheck:
    plan = plan_fingering(part, CELLO, level="beginner")
    return check_narration(parse_transcript(text.encode()), part, CELLO, plan=plan, sections=SECTIONS)


def wrongs(text: str) -> list[tuple[str, str]]:
    return [(f.kind, f.bar) for f in checked(text).findings if f.verdict == "wrong"]


def statements(text: str) -> tuple[BarStatement, ...]:
    words = spoken_words(parse_transcript(text.encode()))
    return find_bar_statements(words, LANGUAGE, find_recalls(words, LANGUAGE))


def bars(text: str) -> list[int]:
    words = spoken_words(parse_transcript(text.encode()))
    return [number for _, _, number in find_numbered_bars(words, LANGUAGE, find_recalls(words, LANGUAGE))]


@pytest.mark.parametrize(
    ("text", "bars_of"),
    [
        ("Bars nine and ten are the same as bars one and two.", ((9, 10), (1, 2))),
        ("bars 9 to 12 are our bars 1 to 4", ((9, 12), (1, 4))),
        ("Bar nine repeats bar one.", ((9, 9), (1, 1))),
        ("fourteen and fifteen are the same as ten and eleven", ((14, 15), (10, 11))),
        ("five and six are exactly one and two again", ((5, 6), (1, 2))),
        ("Bars five and six. What do you notice? Exactly, they're bars one and two.", ((5, 6), (1, 2))),
        ("The last eight bars are the first eight, note for note.", ((-8, -1), (1, 8))),
    ],
)
def test_what_is_likened_to_what(text: str, bars_of: tuple[tuple[int, int], tuple[int, int]]) -> None:
    (found,) = statements(text)
    assert (found.kind, (found.bars, found.model)) == ("alike", bars_of)


@pytest.mark.parametrize(
    "text",
    [
        "Is bar nine the same as bar one?",
        "is the next phrase nine to twelve the same as one to four",
        "Bar nine is the hardest. Bar ten is easy.",
        "Play bars nine and ten, then bars one and two.",
        "One two three four are the fingers.",
    ],
)
def test_what_likens_nothing(text: str) -> None:
    assert [s for s in statements(text) if s.kind == "alike"] == []


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("Bars nine to twelve are bars one to four with one note changed in bar eleven.", False),
        ("Bars nine to twelve are bars one to four with one note changed in bar ten.", True),
        ("Bars nine to twelve are the same as bars one to four.", True),
        ("Bars nine and ten are the same as bars one and two.", False),
        ("Bars nine to twelve are the same as bars one to four, except for bar eleven.", False),
        ("Bar eleven starts with the same three notes as bar three.", False),
        ("Bar eleven starts with the same four notes as bar three.", True),
        ("There is only one note that's different, and you'll find it in bar eleven.", False),
        ("There is only one note that's different, and you'll find it in bar ten.", True),
        ("What's different here is in bar twelve.", True),
        ("The one bar where the fingers are different is bar twelve.", False),  # of fingers, not of notes
        ("The last four bars are the first four, note for note.", True),
        ("The last two bars are the first two.", True),
    ],
)
def test_a_likeness_is_compared_note_for_note(text: str, wrong: bool) -> None:
    found = [f for f in checked(text).findings if f.kind == "structure"]
    assert [f.verdict for f in found] == (["wrong"] if wrong else [])


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("Bar two, four notes.", False),
        ("Bar two: five notes, all quarters.", True),
        ("Bar two is next. There are six notes in this one.", True),
        ("In bar two there are three notes under one bow.", False),  # of a slur, not of the bar
    ],
)
def test_how_many_notes_a_bar_has(text: str, wrong: bool) -> None:
    assert [(f.kind, f.bar) for f in checked(text).findings] == ([("count", "2")] if wrong else [])


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("bar nineteen is easy a a g twenty two times twenty a b", [20]),
        ("bar 19 G, A. Twenty. A, B. Twenty-one. C.", [20, 21]),
        ("Bar four, D. Five: E.", [5]),
        ("bar four one two five four", []),
        ("bar nineteen, played in twenty minutes", []),
        ("bar four and later in seventeen the same", [17]),
    ],
)
def test_a_number_alone_may_be_the_next_bar(text: str, found: list[int]) -> None:
    assert bars(text) == found


def test_a_wrong_note_in_an_announced_bar_is_not_explained_by_another_bar() -> None:
    """G stands at the end of bar two: without the announcement, one might think the speaker is there already."""
    text = "Bar one. D, E, F sharp, and the G is fourth finger. Bar two. A, B, A, and E. Bar three. F sharp, E, D."
    assert [(f.kind, f.bar) for f in checked(text).findings] == [("note", "2")]


def test_a_whole_bar_given_wrongly_is_told_once() -> None:
    text = "Bar one: D, E, F sharp, G. Bar two: G, A, G, F sharp. Bar three: F sharp, E, D, D."
    found = [f for f in checked(text).findings if f.verdict == "wrong"]
    assert ("order", "2") in [(f.kind, f.bar) for f in found]


def test_bars_that_are_said_to_be_like_taught_ones_are_taught() -> None:
    text = "Bar one. D, E, F sharp, G. Bar two. A, B, A, G. Bars nine and ten are the same as bars one and two."
    untaught = [f.what for f in coverage_findings([checked(text)])]
    assert untaught == ["bars 3 to 8 are never spoken of", "bars 11 to 12 are never spoken of"]
