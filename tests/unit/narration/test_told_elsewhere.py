"""What is told of another place, or of the whole: looking back, coming back, counts within a bar or a tune.

Ways of speaking: common practice, no source. Tunes are invented.
"""

from __future__ import annotations

import pytest

from made_parts import part_of
from partwright.checking.narration import NarrationCheck, check_narration, parse_transcript
from partwright.checking.narration.language import load_language
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.recalls import find_recalls
from partwright.checking.narration.words import spoken_words
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import Section

CELLO = load_instrument("cello")
_FIRST = [50, 52, 54, 52, 57, 59, 57, 55, 54, 52, 50, 50, 45, 50, 54, 52]  # bars 1 to 4; two Es in bar 1
_LAST = [*_FIRST[:8], 54, 52, 50, 52, *_FIRST[12:]]
TUNE = part_of([*_FIRST, 57, 59, 61, 62, 61, 59, 57, 55, 54, 55, 57, 59, 57, 55, 54, 52, *_LAST], quarters=1)
SECTIONS = (
    Section(name="A", first_bar="1", last_bar="4"),
    Section(name="B", first_bar="5", last_bar="8"),
    Section(name="C", first_bar="9", last_bar="12"),
)


def checked(text: str) -> NarrationCheck:
    plan = plan_fingering(TUNE, CELLO, level="beginner")
    return check_narration(parse_transcript(text.encode()), TUNE, CELLO, plan=plan, sections=SECTIONS)


def wrongs(text: str) -> list[tuple[str, str]]:
    return [(f.kind, f.bar) for f in checked(text).findings if f.verdict == "wrong"]


def looked_back(text: str) -> str:
    words = spoken_words(parse_transcript(text.encode()))
    return " | ".join(" ".join(w.form for w in words[a : b + 1]) for a, b in find_recalls(words, load_language()))


def claims(text: str) -> list[str]:
    spoken = parse_words(spoken_words(parse_transcript(text.encode())), load_language())
    return [f"{c.kind} {' '.join(map(str, c.value))}".strip() for m in spoken.mentions for c in m.claims]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("In bar four that B had the first finger.", "in bar four that b had the first finger"),
        ("Third finger, when it was the fourth in bar two.", "was the fourth in bar two"),
        ("now in bar two the same f had the fourth finger and here", "in bar two the same f had the fourth finger"),
        ("Bar four was easy.", ""),  # told of the bar itself
        ("In bar four the B has the first finger.", ""),  # taught now
        ("The E was second finger.", ""),  # no other place
    ],
)
def test_what_looks_back(text: str, found: str) -> None:
    assert looked_back(text) == found


_LESSON = "Bar one. D, E, F sharp. The E is first finger. Bar two. A, B, A, G. "


def test_a_finger_of_another_bar_is_no_finger_of_this_one() -> None:
    assert wrongs(_LESSON + "In bar one the E had the third finger, you remember.") == []
    assert wrongs(_LESSON + "Bar three. The F sharp has the second finger. E, D, D.") == [("finger", "3")]


@pytest.mark.parametrize(
    ("said", "wrong"),
    [
        ("there are two Es in that bar", False),
        ("there are three Es in that bar", True),
        ("the F sharp comes eight times in the whole tune", False),
        ("the F sharp comes five times in the whole tune", True),
    ],
)
def test_a_count_within_a_bar_or_the_tune(said: str, wrong: bool) -> None:
    text = f"Bar one. D, E, F sharp, and {said}. Bar two. A, B, A, G. Bar three. F sharp, E, D."
    assert [kind for kind, _ in wrongs(text)] == (["count"] if wrong else [])


def test_a_return_without_a_name_is_looked_up_where_the_notes_are() -> None:
    ending = "Bar eight. A, G, F sharp, E. And then {} Then you have D, E, F sharp, E, A, B."
    assert wrongs(ending.format("the tune comes back, note for note.")) == [("structure", "11")]
    assert wrongs(ending.format("the tune comes back, but not note for note.")) == []
    assert wrongs(ending.format("the first two bars come back, note for note.")) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Play the B on a down bow.", ["bow down"]),
        ("The G is up, the A is down.", ["bow up", "bow down"]),
        ("The G, hold it for the whole bar.", ["whole_bar"]),
        ("The G lasts a beat and a half.", ["beats 1.5"]),
        ("The G lasts half a beat.", ["beats 0.5"]),
        ("The A is an ordinary stopped note.", ["harmonic 0"]),
        ("The A, with the hand closed.", ["extension 0"]),
        ("In second position, four on the G.", ["position 2 0"]),
        ("The A. Open string, two beats.", ["finger 0", "beats 2.0"]),
        ("After the E flat it's G, second finger.", ["finger 2"]),
        ("The bow goes down up down up on the G.", []),
        ("The B, once more.", []),
        ("The B and the C, with the same two fingers.", []),
        ("The E. The first finger plays twice.", []),
    ],
)
def test_what_is_claimed(text: str, found: list[str]) -> None:
    assert claims(text) == found


def test_a_letter_behind_a_finger_may_be_a_string() -> None:
    """ "F sharp, third finger on the D": nobody speaks of the note D there."""
    text = "Bar one. D, E. F sharp, third finger on the D. Then E. Bar two. A, B, A, G."
    assert wrongs(text) == []


_FOLLOWED = "Bar one. D, E, F sharp, E. Bar two. {} Bar three. F sharp, E, D."


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("A, A, B, G.", [("order", "2")]),
        ("A, B, G, A.", [("order", "2")]),
        ("A, B, A, all on the A string, and G.", []),
        ("A, B, A, all on the C string, and G.", [("string", "2")]),
    ],
)
def test_a_list_in_a_wrong_order_and_on_a_wrong_string(said: str, found: list[tuple[str, str]]) -> None:
    assert [row for row in wrongs(_FOLLOWED.format(said)) if row[0] in ("order", "string")] == found


def test_the_fingers_of_the_notes_just_named_are_no_new_notes() -> None:
    text = "Bar one. D, E, F sharp, E. Open, one, three, one. Then the A is open, B is first finger, and A, G."
    assert wrongs(text) == []
    assert wrongs(text.replace("Open, one, three, one", "Open, one, two, one")) == [("finger", "1")]
