"""Verdicts on small tunes: what is wrong, what is right, and what must not be explained away."""

from __future__ import annotations

from fractions import Fraction

import pytest

from made_parts import part_of
from partwright.checking.narration import NarrationCheck, check_narration, coverage_findings, parse_transcript
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import Section
from partwright.score import Part, beat_text

CELLO = load_instrument("cello")
# D E F♯ G | A B A G | F♯ E D D | A D F♯ E, twice; first position.
TUNE = part_of([50, 52, 54, 55, 57, 59, 57, 55, 54, 52, 50, 50, 45, 50, 54, 52], quarters=1)


def checked(text: str, part: Part = TUNE, sections: tuple[Section, ...] = ()) -> NarrationCheck:
    plan = plan_fingering(part, CELLO, level="beginner")
    return check_narration(parse_transcript(text.encode()), part, CELLO, plan=plan, sections=sections)


def wrongs(text: str, part: Part = TUNE, sections: tuple[Section, ...] = ()) -> list[tuple[str, str, str]]:
    return [(f.kind, f.bar, f.beat) for f in checked(text, part, sections).findings if f.verdict == "wrong"]


RIGHT = (
    "The D is open. E is first finger. The F sharp is third finger, and the G is fourth. Then open A, "
    "and B with first. A, G, F sharp, E. Then two Ds. "
    "The A is first finger on the G string, then open D, F sharp, and E to finish."
)


def test_a_right_lesson_has_no_findings() -> None:
    assert checked(RIGHT).findings == ()


@pytest.mark.parametrize(
    ("was", "now", "finding"),
    [
        ("The F sharp is third finger", "The F sharp is second finger", ("finger", "1", "3")),
        ("Then two Ds", "Then three Ds", ("count", "3", "3")),
        ("first finger on the G string", "first finger on the C string", ("string", "4", "1")),
        ("A, G, F sharp, E. Then", "A, G, B flat, E. Then", ("note", "3", "1")),
        ("A, G, F sharp, E. Then", "A, F sharp, G, E. Then", ("order", "2", "4")),
        ("E is first finger.", "E is first finger, play it twice.", ("count", "1", "2")),
        ("E is first finger.", "E is a harmonic, first finger.", ("harmonic", "1", "2")),
    ],
)
def test_one_slip_is_found_where_it_is(was: str, now: str, finding: tuple[str, str, str]) -> None:
    assert wrongs(RIGHT.replace(was, now)) == [finding]


def test_a_bare_number_behind_on_may_be_the_beat() -> None:
    assert wrongs(RIGHT.replace("E is first finger", "E on two")) == []
    assert wrongs(RIGHT.replace("E is first finger", "E with two")) == [("finger", "1", "2")]


def test_two_things_said_of_one_note_contradict_only_where_no_plan_tells_which() -> None:
    text = "The D is open. E is first finger. The F sharp is third finger. Now from the top. "
    text += "The D is open. E is second finger."
    unplanned = check_narration(parse_transcript(text.encode()), TUNE, CELLO)
    assert [(f.kind, f.bar, f.beat) for f in unplanned.findings] == [("contradiction", "1", "2")]
    assert [(f.kind, f.bar, f.beat) for f in checked(text).findings] == [("finger", "1", "2")]


def test_the_last_word_stands() -> None:
    assert wrongs(RIGHT.replace("is third finger", "is second, sorry, third finger")) == []


def test_an_offered_alternative_is_no_error() -> None:
    assert wrongs(RIGHT.replace("is third finger", "is third finger, or use second if you like")) == []


def test_a_wrong_note_is_not_explained_away_by_a_jump() -> None:
    """A C natural stands nowhere near; but a B does, one bar on: going there and back costs more than a slip."""
    assert wrongs(RIGHT.replace("The F sharp is third finger", "The B is third finger")) == [("note", "1", "3")]


def test_a_wrong_claim_does_not_drag_the_place_along() -> None:
    check = checked(RIGHT.replace("The F sharp is third finger", "The B is third finger"))
    notes = [j for j in check.judged if j.kind == "note"]
    places = [check.places[j.place].first for j in notes if j.place >= 0]
    assert [(n.bar, beat_text(n.beat)) for n in places[:5]] == [
        ("1", "1"),
        ("1", "2"),
        ("1", "3"),
        ("1", "4"),
        ("2", "1"),
    ]


def test_the_teacher_may_start_again_and_jump() -> None:
    text = f"{RIGHT} Now in bar 3: F sharp, E, then two Ds. From the top, once more: open D, E with first finger."
    assert wrongs(text) == []


def test_chatter_in_between_changes_nothing() -> None:
    text = RIGHT.replace("Then open A", "Be careful here, I see people rush a lot. Breathe. Then open A")
    assert wrongs(text) == []


def test_a_misheard_letter_makes_no_wrong() -> None:
    assert (
        wrongs(RIGHT.replace("and B with first", "and be with first").lower().replace(".", "").replace(",", "")) == []
    )


def test_structure_is_compared_note_for_note() -> None:
    part = part_of([50, 52, 54, 55] * 2 + [57, 55, 54, 52], quarters=1)
    sections = tuple(Section(name=n, first_bar=b, last_bar=b) for n, b in (("A", "1"), ("B", "2"), ("C", "3")))
    assert wrongs("Section B is exactly the same as section A.", part, sections) == []
    assert wrongs("Section C is exactly the same as section A.", part, sections) == [("structure", "3", "1")]
    assert wrongs("Section A is played twice.", part, sections) == [("structure", "1", "1")]


def test_rhythm_words() -> None:
    part = part_of([50, 52, None, 54], quarters=[Fraction(2), Fraction(1), Fraction(1), Fraction(4)])
    assert wrongs("Hold the D for two beats. The E is a quarter note, then a rest. F sharp for four beats.", part) == []
    assert wrongs("Hold the D for three beats. The E is a quarter note. F sharp.", part) == [("rhythm", "1", "1")]


def test_another_tune_is_said_once() -> None:
    """Names far from this tune: one finding with the evidence, not one for each."""
    text = " ".join(f"Then the {n} with {f} finger." for n, f in zip(
        ["B flat", "E flat", "A flat", "D flat", "C", "F", "E flat", "B flat", "G flat", "C flat", "A flat", "F",
         "D flat", "E flat", "C", "B flat"], ["first", "second"] * 8, strict=True))  # fmt: skip
    (finding,) = checked(text).findings
    assert "does not seem to be about this score" in finding.what and finding.verdict == "check" and finding.why


def test_another_language_is_said_once() -> None:
    text = "Guten Abend und willkommen zu unserer heutigen Stunde wir beginnen mit dem ersten Teil dieses Walzers " * 4
    (finding,) = checked(text).findings
    assert "English" in finding.why


def test_bars_nobody_spoke_of_are_named() -> None:
    check = checked("The D is open. E is first finger. The F sharp is third finger, and the G is fourth.")
    (finding,) = coverage_findings([check])
    assert (finding.kind, finding.bar, finding.verdict) == ("coverage", "2", "check")
    rest = checked("In bar 2, open A, and B with first, A, G, F sharp, E, then two Ds, A, D, F sharp, E.")
    assert coverage_findings([check, rest]) == ()


def test_a_string_by_number_is_asked_about_once() -> None:
    check = checked("The D is open. The E is on the second string. F sharp is on the second string too.")
    findings = [f for f in check.findings if f.kind == "string"]
    assert len(findings) == 1 and findings[0].verdict == "check" and "to some" in findings[0].what


@pytest.mark.parametrize(
    "said",
    [
        "It's tempting to put second finger on the F sharp, but use third",
        "For the F sharp most books print second finger, I take third",
    ],
)
def test_the_right_finger_beside_a_wrong_one_excuses_it(said: str) -> None:
    assert wrongs(RIGHT.replace("The F sharp is third finger", said)) == []


@pytest.mark.parametrize("taken_back", ["B flat, no, G, F sharp", "B flat, no, F sharp"])
def test_a_note_that_is_taken_back_is_no_mistake(taken_back: str) -> None:
    """Whether or not the right name came through."""
    assert wrongs(RIGHT.replace("A, G, F sharp, E.", f"A, {taken_back}, E.")) == []


def test_a_no_that_denies_takes_nothing_back() -> None:
    assert ("note", "3", "1") in wrongs(RIGHT.replace("A, G, F sharp, E.", "A, G. B flat, no slur. E."))


def test_like_this_does_not_liken_two_sections() -> None:
    sections = (Section(name="A", first_bar="1", last_bar="2"), Section(name="B", first_bar="3", last_bar="4"))
    text = RIGHT.lower().replace(".", "").replace(",", "") + " so section a is played once okay now section b i like it"
    assert not [f for f in checked(text, sections=sections).findings if f.kind == "structure"]
