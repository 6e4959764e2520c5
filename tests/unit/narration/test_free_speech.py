"""Ways of speaking that come in from outside: what is said of the whole, in passing, of the note before, in lists.

Sharps and flats of keys, strings in fifths, beats in a bar: common practice, no source.
"""

from __future__ import annotations

import pytest

from partwright.checking.narration import parse_transcript
from partwright.checking.narration.asides import find_asides
from partwright.checking.narration.language import load_language
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.words import spoken_words


def mentions(text: str) -> tuple[Mention, ...]:
    return parse_words(spoken_words(parse_transcript(text.encode())), load_language()).mentions


def said(text: str) -> list[str]:
    """Mentions in short, as "D: finger 4"."""
    return [
        f"{'?' if m.note is None else m.note[0]}{': ' if m.claims else ''}"
        + ", ".join(f"{c.kind} {' '.join(map(str, c.value))}".strip() for c in m.claims)
        for m in mentions(text)
    ]


def aside(text: str) -> str:
    words = spoken_words(parse_transcript(text.encode()))
    return " ".join(words[k].form for k in sorted(find_asides(words, load_language())))


@pytest.mark.parametrize(
    "text",
    [
        "You'll want two flats in your head, B flat and E flat.",
        "It's in D major, so F sharp and C sharp.",
        "okay the key is a major so f sharp c sharp and g sharp",
        "The key signature has two sharps: F sharp and C sharp.",
        "This piece has one flat, which is B flat, and it's in four four.",
        "We're in four sharps, F sharp, C sharp, G sharp and D sharp.",
        "remember your B flats and E flats, it's in B flat major",
        "It's in three-four, three crotchets in a bar.",
        "alright it's in four four time",
        "six eight time so six quavers in a bar",
        "It's a waltz, so three beats in every bar.",
        "Make sure you're in tune. Here's my A. And D. And G. And C.",
        "let's check the tuning, here's the A, the D, the G and the C",
        "Tune up first. A. D. G. C.",
        "Tune up first. A, D, G, C. My cello had dropped overnight.",
        "Let's do that together. One, two, ready, go.",
        "I'll count you in. One two three and",
        "Count with me: one, two, three, four.",
        "It's in three sections, A, B and A again.",
        "they're both on the A string",
        "It's in G minor, which means every B is a B flat and every E is an E flat.",
        "all the Fs are F sharps",
        "There's one exception, an F sharp near the end.",
    ],
)
def test_a_remark_on_the_whole_is_said_of_no_note(text: str) -> None:
    assert said(text) == []


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("So we have B flat and E flat, with first and fourth.", ["B", "E"]),  # no key: notes
        ("F sharp with third, and then G, A and B", ["F", "G", "A", "B"]),
        ("G major starts here. F sharp, third finger", ["F"]),
        ("A, D, G, one four two", ["A", "D", "G"]),  # nobody tunes
    ],
)
def test_notes_that_only_resemble_a_remark_are_notes(text: str, meant: list[str]) -> None:
    assert [name[0] for name in said(text)] == meant


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("F sharp with third. That F sharp's a half note.", ["F: finger 3", "F: value 2.0"]),
        ("F sharp with your fourth finger. Where are we? That's a half note and then E and D are quarter notes.",
         ["F: finger 4, value 2.0", "E", "D: value 1.0"]),
        ("Then A, which is a half note, and G", ["A: value 2.0", "G"]),
        ("D with second. You hold that for four beats. And E", ["D: finger 2, beats 4.0", "E"]),
        ("there's a crotchet rest after the G", ["G: rest 1"]),
        ("E for three beats, and you rest on beat four", ["E: beats 3.0, rest 4"]),
        ("fourth finger on the B flat, both of them on the D string", ["B: finger 4, string letter D"]),
        ("It's a long D, a dotted half, so one two three", ["D: value 3.0"]),
        ("because of that the E flat falls under your third finger", ["E: finger 3"]),
        ("the B flat sits under your first finger", ["B: finger 1"]),
        ("G is your pinky", ["G: finger 4"]),
        ("little finger on D, index on E", ["D: finger 4", "E: finger 1"]),
        ("F pinky, D ring finger", ["F: finger 4", "D: finger 3"]),
        ("A, C, F. Open, index, pinky.", ["A: finger 0", "C: finger 1", "F: finger 4"]),
        ("d four b one c sharp two a open", ["D: finger 4", "B: finger 1", "C: finger 2", "A: finger 0"]),
        ("so c sharp is one and e is three a is open and then", ["C: finger 1", "E: finger 3", "A: finger 0"]),
        ("d index e middle f pinky", ["D: finger 1", "E: finger 2", "F: finger 4"]),
        ("the E in bar four is second finger", ["E: finger 2"]),
        ("f third finger third position two beats and then", ["F: finger 3, position 3 0, beats 2.0"]),
    ],
)  # fmt: skip
def test_what_is_told_belongs_to_its_note(text: str, meant: list[str]) -> None:
    assert said(text) == meant


def test_numbers_that_count_are_no_list_of_notes_and_fingers() -> None:
    assert all(c.listed < 0 for m in mentions("d two beats e one beat f three beats") for c in m.claims)


@pytest.mark.parametrize(
    ("text", "passing"),
    [
        ("Somebody wrote to me that they always play the A in the second bar on the D string. You can't.",
         "somebody wrote to me that they always play the a in the second bar on the d string"),
        ("If you use your second finger on the F sharp, it'll be too low. Use the third.",
         "if you use your second finger on the f sharp"),
        ("Most cellists play the E with third finger but I use second", "cellists play the e with third finger"),
        ("Never play the B with fourth.", "never play the b with fourth"),
        ("Is the D third finger? No, it's first.", "is the d third finger"),
        ("the D is first finger and the E is third", ""),
        ("If you look at the D, it's first finger.", ""),
        ("You'll hear people cough. The D is first finger.", ""),
        ("Second finger. The third would give you F sharp, and that's wrong.", "the third would give you f sharp"),
        ("D comes where finger three normally lives, on C sharp.", "d comes where finger three normally lives"),
        ("plays d sorry not d it plays c", "not d"),
        ("My A had dropped overnight. A is open.", "my a"),
        ("The F has a dot, so one and a half.", "one and a half"),
        ("the second time you hold the D", "second time"),
        ("Today is a waltz in G major called something", "g major"),
        ("We're in G, only the F is sharp.", "only the f is sharp"),
        ("B rides in the same direction as the G.", "same direction as the g"),
        ("and here is also two times up", "two times up"),
        ("Most pupils reach for that C with the third finger.", "pupils reach for that c with the third finger"),
        ("There is a lot to do. The D is first finger.", ""),
    ],
)  # fmt: skip
def test_what_is_said_in_passing_ends_where_the_clause_ends(text: str, passing: str) -> None:
    assert aside(text) == passing


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("And that section finishes on a B flat", "section"),
        ("we end this phrase on B flat", "section"),
        ("and the last note of the tune is B flat", "tune"),
        ("then you finish on B flat", "tune"),
    ],
)
def test_an_end_is_announced(text: str, value: str) -> None:
    (mention,) = mentions(text)
    assert [(cue.kind, cue.value) for cue in mention.cues] == [("end", (value,))]


def test_a_note_just_named_is_spoken_of_again() -> None:
    *_, again, after = mentions("g a b flat and it's four zero one again the g is two beats long so then c")
    assert again.recalls and not after.recalls
    assert mentions("the E flat is third. And the E flat is two beats long.")[1].recalls
