"""Words run together, articles taken for names, and what is taken back: captions as they come."""

from __future__ import annotations

import pytest
from test_claims import said
from test_verdicts import RIGHT, wrongs

PLAIN = (
    "the d is open e is first finger then the f sharp is third finger and g is fourth finger then open a "
    "b with first finger then a g f sharp e and two ds then the a is first finger then open d f sharp and e"
)


@pytest.mark.parametrize(
    ("text", "mentions"),
    [
        ("then thed with first finger", ["D[finger 1]"]),
        ("so notice that the F sharp hasfourth finger written over it", ["F♯[finger 4]"]),
        ("and second fingeron the d", ["D[finger 2]"]),
        ("I've gotsecond finger there for the E", ["E[finger 2]"]),
        ("that d isa harmonic", ["D[harmonic 1]"]),
        ("you don't need afinger for the e", ["E"]),
        ("let the c ring as eh natural harmonic", ["C[harmonic 1]"]),
        ("Then D. G now, third.", ["D", "G[finger 3]"]),
        ("the B sits on the F sharp", ["B", "F♯"]),
    ],
)
def test_run_together_and_misheard_words_are_understood(text: str, mentions: list[str]) -> None:
    assert said(text) == mentions


def test_a_lesson_in_small_letters_has_no_wrong() -> None:
    assert wrongs(PLAIN) == []


def test_a_slip_in_small_letters_is_found() -> None:
    assert wrongs(PLAIN.replace("f sharp is third", "f sharp is second")) == [("finger", "1", "3")]


@pytest.mark.parametrize(
    "taken_back",
    [
        "f sharp is second sorry i mean thud finger",
        "f sharp is second finger hang on finger and well",
        "f sharp is second finger no wait",
    ],
)
def test_what_is_taken_back_is_not_wrong_even_where_the_rest_was_misheard(taken_back: str) -> None:
    assert wrongs(PLAIN.replace("f sharp is third finger", taken_back)) == []


def test_a_string_that_the_instrument_has_not_was_misheard() -> None:
    assert wrongs(RIGHT.replace("The F sharp is third finger", "The F sharp is third finger on the B string")) == []


def test_on_the_d_is_no_string_where_no_full_stop_tells() -> None:
    assert wrongs(PLAIN.replace("g is fourth finger", "g is fourth finger on the d and")) == []
