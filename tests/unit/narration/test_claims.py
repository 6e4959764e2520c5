"""Sentences as teachers say them, and the claims they make."""

from __future__ import annotations

import pytest

from partwright.checking.narration import parse_transcript
from partwright.checking.narration.language import compile_language, load_language
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.words import spoken_words

SIGNS = {None: "", 0: "♮", 1: "♯", -1: "♭", 2: "♯♯", -2: "♭♭"}


def said(text: str) -> list[str]:
    """Mentions in short: "D[position 3 0, finger 1]"; "?" for a note that was not named."""
    spoken = parse_words(spoken_words(parse_transcript(text.encode())), load_language())
    return [_short(mention) for mention in spoken.mentions]


def _short(mention: Mention) -> str:
    name = "?" if mention.note is None else mention.note[0] + SIGNS[mention.note[1]]
    claims = ", ".join(f"{c.kind} {' '.join(str(v) for v in c.value)}".strip() for c in mention.claims)
    return f"{name}[{claims}]" if claims else name


@pytest.mark.parametrize(
    ("text", "mentions"),
    [
        ("up to third position for the D, first finger, play it twice, and the E is second",
         ["D[position 3 0, finger 1, count 2]", "E[finger 2]"]),
        ("up to third position for the d first finger play it twice and the e is second",
         ["D[position 3 0, finger 1, count 2]", "E[finger 2]"]),
        ("so we've got E F sharp G, that's one three four", ["E[finger 1]", "F♯[finger 3]", "G[finger 4]"]),
        ("the C sharp comes twice", ["C♯[count 2]"]),
        ("another pair of Es", ["E[count 2]"]),
        ("two two one four", ["?[finger 2]", "?[finger 2]", "?[finger 1]", "?[finger 4]"]),
        ("and then open D", ["D[finger 0]"]),
        ("stay on the first finger for the D", ["D[finger 1]"]),
        ("third, sorry, second finger on the D", ["D[finger 2]"]),
        ("replace second with first on the D", ["D[substitute 2 1]"]),
        ("first finger D second finger E", ["D[finger 1]", "E[finger 2]"]),
        ("D with first, E with second", ["D[finger 1]", "E[finger 2]"]),
        ("first finger on the D, second on the E", ["D[finger 1]", "E[finger 2]"]),
        ("hold the D for two beats", ["D[beats 2.0]"]),
        ("the D is an up bow", ["D[bow up]"]),
        ("the D is a harmonic", ["D[harmonic 1]"]),
        ("the D is on the G string", ["D[string letter G]"]),
        ("then E, sorry, D, with first finger", ["D[finger 1]"]),
        ("the D with the same finger", ["D[same_finger ]".replace(" ]", "]")]),
        ("first finger on the D, not third", ["D[finger 1, not_finger 3]"]),
        ("third finger, hang on, second finger for D", ["D[finger 2]"]),
        ("F sharp G A fingers two one three", ["F♯[finger 2]", "G[finger 1]", "A[finger 3]"]),
        ("that harmonic sound is what you want on the D", ["D"]),
        ("back to half position for the E flat", ["E♭[position half 0]"]),
        ("so we've got e gd and then b", ["E", "G", "D", "B"]),
        ("fourth finger that'sg then the d is first finger", ["G[finger 4]", "D[finger 1]"]),
        ("you might have to do that a couple of times then the D", ["D"]),
    ],
)  # fmt: skip
def test_sentences_are_understood(text: str, mentions: list[str]) -> None:
    assert said(text) == mentions


def test_back_and_forth_names_both_notes() -> None:
    first, second = said("back and forth between E and F sharp")
    assert first == "E" and second.startswith("F♯[alternate E")


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("the be is second and the see sharp comes twice", ["B[finger 2]", "C♯[count 2]"]),
        ("so weve got e f sharp gee thats one three for", ["E[finger 1]", "F♯[finger 3]", "G[finger 4]"]),
        ("then have sharp with third finger", ["F♯[finger 3]"]),
        ("the fsharp is forth finger", ["F♯[finger 4]"]),
        ("the F-sharp with 1st finger", ["F♯[finger 1]"]),
        ("F♯ with the third finger", ["F♯[finger 3]"]),
        ("Bb, second finger", ["B♭[finger 2]"]),
        ("the e is a down ball", ["E[bow down]"]),
    ],
)
def test_misheard_words_are_understood(heard: str, meant: list[str]) -> None:
    assert said(heard) == meant


@pytest.mark.parametrize(
    "remark",
    [
        "I always mess that bit up",
        "be careful with the tuning here, really listen",
        "for now don't worry about vibrato",
        "give me a second, let me see if I can find it",
        "that is one of my favourite pieces in G major",
        "take a break if your hand gets tired",
        "see you in the next video",
    ],
)
def test_remarks_make_no_claims(remark: str) -> None:
    assert said(remark) == []


def test_a_person_can_extend_the_table() -> None:
    """A phrase added to the table is understood, without a line of code."""
    from importlib import resources

    text = (resources.files("partwright.checking.narration") / "data" / "english.toml").read_text(encoding="utf-8")
    language = compile_language(
        text.replace('says = ["<a_finger>",', 'says = ["digit of <fingerth> kind", "<a_finger>",')
    )
    spoken = parse_words(spoken_words(parse_transcript(b"the D is digit of second kind")), language)
    assert [_short(m) for m in spoken.mentions] == ["D[finger 2]"]


@pytest.mark.parametrize("pattern", ["(open", "open]", "<nonsense>"])
def test_a_broken_pattern_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match=r"bracket|class"):
        compile_language(
            f'''
            [classes]
            letter = {{ "N:d" = "D" }}
            [forms]
            [sets]
            [ties]
            [links]
            "" = {{ left = 1.0, right = 1.0 }}
            [links.words]
            [[hearing]]
            heard = ["x"]
            meant = "y"
            price = 1.0
            [[phrases]]
            kind = "note"
            says = ["{pattern}"]
            '''
        )
