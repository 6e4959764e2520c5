"""Every sentence of a script is read back by a reader of this file alone and agrees with the score and the plan.

The reader knows English and the names below (general musical English; ordinals of fingers and strings by letter), and
nothing of how the sentences were made.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from made_parts import part_of
from partwright.bowing import plan_bowing
from partwright.fingering import plan_of, prepare
from partwright.instrument import load_instrument
from partwright.lesson import (
    Episode,
    Lesson,
    Sentence,
    Teaching,
    make_script,
    plan_teaching,
    read_lesson,
    teach,
)
from partwright.lesson import prepare as prepare_lesson
from partwright.score import Note, Part

FINGERS = {"open": 0, "first": 1, "second": 2, "third": 3, "fourth": 4}
SIGNS = {"": 0, "sharp": 1, "flat": -1, "double sharp": 2, "double flat": -2}
TIMES = {"": 1, "once": 1, "twice": 2, "three times": 3, "four times": 4, "five times": 5, "six times": 6,
         "seven times": 7, "eight times": 8}  # fmt: skip
FRACTIONS = {"and a half": Fraction(1, 2), "and a quarter": Fraction(1, 4), "and three quarters": Fraction(3, 4),
             "and a third": Fraction(1, 3), "and two thirds": Fraction(2, 3)}  # fmt: skip
PLACE = re.compile(
    r"(?i)(?:bar (?P<bar>\w+)|the pick-up), beat "
    r"(?P<beat>\d+(?: and (?:a half|a quarter|three quarters|a third|two thirds|\d+/\d+))?)"
)
NOTE = re.compile(
    r"(?i)^(?:grace note, )?the (?P<step>[A-G])(?: (?P<sign>(?:double )?(?:sharp|flat)))?"
    r"(?: (?P<times>once|twice|\w+ times))?, "
    r"(?:open (?P<open>[A-G]) string|(?P<finger>first|second|third|fourth) finger on the (?P<string>[A-G]) string|"
    r"the thumb on the (?P<thumb>[A-G]) string)"
    r"(?P<harmonic>, as a harmonic)?(?P<rest>.*)$"
)


@dataclass(frozen=True)
class Said:
    """A note as read back."""

    pitch_class: int
    times: int
    finger: int | None  # None: the thumb
    string: str
    harmonic: bool
    rest: str


def beat_of(text: str) -> Fraction:
    whole, _, part = text.partition(" ")
    if not part:
        return Fraction(whole)
    return Fraction(whole) + (FRACTIONS[part] if part in FRACTIONS else Fraction(part.removeprefix("and ")))


def read_notes(sentence: Sentence) -> tuple[tuple[str, Fraction], list[Said]]:
    """Place and notes of a sentence that tells notes."""
    place = PLACE.match(sentence.text)
    assert place is not None, sentence.text
    told = []
    for piece in re.split(r"\. |\.$", sentence.text[place.end() + 2 :]):
        if not piece:
            continue
        chord = piece.removeprefix("Together ").removeprefix("together ")
        for one in re.split(r" and (?=the [A-G]\b)", chord) if chord != piece else [piece]:
            found = NOTE.match(one)
            assert found is not None, one
            semitone = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[found["step"].upper()]
            finger = None if found["thumb"] else FINGERS["open" if found["open"] else found["finger"].casefold()]
            told.append(
                Said(
                    pitch_class=(semitone + SIGNS[(found["sign"] or "").casefold()]) % 12,
                    times=TIMES[(found["times"] or "").casefold()],
                    finger=finger,
                    string=(found["open"] or found["string"] or found["thumb"]).upper(),
                    harmonic=bool(found["harmonic"]),
                    rest=found["rest"],
                )
            )
    return (place["bar"] or "0", beat_of(place["beat"])), told


def note_at(part: Part, bar: str, beat: Fraction) -> Note:
    return next(n for n in part.notes if n.bar == bar and n.beat == beat and n.tied_from is None)


def check_notes(teaching: Teaching, sentences: tuple[Sentence, ...]) -> dict[int, list[str]]:
    """Each told note against the score, in order from the place named; the ids told, by step."""
    part, instrument = teaching.part, teaching.instrument
    struck = [note for note in part.notes if note.tied_from is None]
    told_by_step: dict[int, list[str]] = {}
    for sentence in sentences:
        if sentence.template != "notes":
            continue
        (bar, beat), told = read_notes(sentence)
        at = struck.index(note_at(part, bar, beat))
        for said in told:
            for _ in range(said.times):
                note = struck[at]
                place = teaching.plan.by_id[note.id].placement
                assert note.midi % 12 == said.pitch_class, sentence.text
                assert (None if place.finger == 5 else place.finger) == said.finger or place.finger > 4, sentence.text
                assert instrument.strings[place.string].letter == said.string, sentence.text
                assert (place.harmonic > 0) == said.harmonic, sentence.text
                told_by_step.setdefault(sentence.step, []).append(note.id)
                at += 1
            if "position" in said.rest:
                assert instrument.position(place.frame, place.zone).spoken in said.rest, sentence.text
            for shape in instrument.shapes:
                if shape.extension and shape.words in said.rest:
                    assert place.shape == shape.name, sentence.text
    return told_by_step


def check_rest(teaching: Teaching, sentences: tuple[Sentence, ...]) -> None:
    """Bars, sections, bows, differences and tempi, each read from the words."""
    part = teaching.part
    numbers = [bar.number for bar in part.bars]
    for sentence in sentences:
        text = sentence.text
        for first, last in re.findall(r"\bbars (\w+) to (\w+)", text):
            assert numbers.index(first) < numbers.index(last), text
        for place in PLACE.finditer(text):
            if not re.match(r", [^;,.]* is left out", text[place.end() :]):
                note_at(part, place["bar"] or "0", beat_of(place["beat"]))
        if found := re.match(r"(?:Now|Here is) section (\S+), bars? (\w+)(?: to (\w+))?\.", text):
            section = next(s for s in teaching.outline.sections if s.name == found[1])
            assert (section.first_bar, section.last_bar) == (found[2], found[3] or found[2]), text
        if found := re.search(r"Begin it with (?:a|an) (up|down) bow", text):
            step = next(s for s in teaching.steps if s.number == sentence.step)
            phrase = teaching.outline.phrases[step.phrases[0]]
            assert teaching.bowing is not None
            assert teaching.bowing.by_note[phrase.first_note_id].direction == found[1], text
        for qpm in re.findall(r"the quarter note at (\d+)", text):
            assert int(qpm) in {round(teaching.tempo_qpm * p / 100) for p in teaching.ladder}, text
        if "again, note for note" in text:
            check_equal_bars(part, text)
        if found := re.search(r"Lift the bow before (.*?); it is (?:a|an) (up|down) bow again", text):
            place = PLACE.match(found[1])
            assert place is not None
            assert teaching.bowing is not None
            stroke = teaching.bowing.by_note[note_at(part, place["bar"] or "0", beat_of(place["beat"])).id]
            assert (stroke.retake, stroke.direction) == (True, found[2]), text


def check_equal_bars(part: Part, text: str) -> None:
    found = re.match(r"Bars? (\w+)(?: to (\w+))? (?:is|are) bars? (\w+)(?: to (\w+))? again", text)
    assert found is not None, text
    numbers = [bar.number for bar in part.bars]
    later = range(numbers.index(found[1]), numbers.index(found[2] or found[1]) + 1)
    earlier = range(numbers.index(found[3]), numbers.index(found[4] or found[3]) + 1)
    for a, b in zip(later, earlier, strict=True):
        rows = [
            [(n.beat, n.midi, n.duration_quarters) for n in part.notes if n.bar_index == bar and n.tied_from is None]
            for bar in (a, b)
        ]
        assert [row[:2] for row in rows[0]] == [row[:2] for row in rows[1]], text


def demo() -> Teaching:
    folder = Path(str(resources.files("partwright.lesson") / "data" / "demo"))
    return teach(prepare_lesson(read_lesson(folder), folder))


def told(teaching: Teaching) -> Iterator[Sentence]:
    yield from make_script(teaching)


def test_every_sentence_of_the_demonstration_is_true() -> None:
    teaching = demo()
    sentences = make_script(teaching)
    steps = check_notes(teaching, sentences)
    check_rest(teaching, sentences)
    for step in teaching.steps:  # a new phrase is told whole, in order
        if step.kind == "phrase":
            phrase = teaching.outline.phrases[step.phrases[0]]
            events = teaching.outline.bars.events[phrase.first : phrase.last + 1]
            assert steps[step.number] == [note_id for event in events for note_id in event.note_ids]


def test_claims_say_what_the_words_say() -> None:
    """The claims that go with a sentence name exactly the notes its words name."""
    teaching = demo()
    for sentence in make_script(teaching):
        if sentence.template == "notes":
            _, said = read_notes(sentence)
            claims = [claim for claim in sentence.claims if claim.kind == "note"]
            assert [s.times for s in said] == [len(claim.note_ids) for claim in claims]
            for one, claim in zip(said, claims, strict=True):
                note = teaching.part.by_id[claim.note_ids[0]]
                assert note.midi % 12 == one.pitch_class
                assert claim.values["string"] == one.string


@pytest.mark.parametrize("name", ["cello", "violin", "viola", "double bass"])
@given(seed=st.integers(0, 10**6))
@settings(max_examples=5, deadline=None)
def test_every_sentence_about_an_invented_tune_is_true(name: str, seed: int) -> None:
    """Diatonic walks with repeated notes, rests and bars that return, on every instrument."""
    random = np.random.default_rng(seed)
    instrument = load_instrument(name)
    low = instrument.strings[0].midi
    scale = [low + 12 * octave + step for octave in range(3) for step in (0, 2, 4, 5, 7, 9, 11)]
    at, sounds, lengths = 5, [], []
    for _ in range(28):
        at = int(np.clip(at + random.integers(-2, 3), 0, 16))
        sounds.append(None if random.random() < 0.06 else scale[at])
        lengths.append(Fraction(int(random.choice([1, 2, 2, 4])), 2))
    again = int(random.integers(0, 14))
    part = part_of([*sounds, *sounds[again:]], quarters=[*lengths, *lengths[again:]])
    level = str(random.choice(["intermediate", "advanced"]))
    planning = prepare(part, instrument, level=level)
    bowing = plan_bowing(part, instrument, plan_of(planning), level=level)
    teaching = plan_teaching(Lesson(title="A walk"), planning, bowing=bowing)
    sentences = make_script(teaching)
    check_notes(teaching, sentences)
    check_rest(teaching, sentences)


def test_a_wrong_sentence_is_seen() -> None:
    """The reader of this test is no rubber stamp: one finger, string, note or position changed, and it objects."""
    teaching = demo()
    sentence = next(s for s in make_script(teaching) if "third finger" in s.text and s.template == "notes")
    for was, now in (("third finger", "fourth finger"), ("on the D string", "on the A string"), ("F sharp", "F")):
        assert was in sentence.text
        wrong = Sentence(number=1, episode=1, step=1, template="notes", text=sentence.text.replace(was, now, 1))
        with pytest.raises(AssertionError):
            check_notes(teaching, (wrong,))


def test_each_episode_is_told_by_itself() -> None:
    """Sentences know their episode; sections stand only in the episode that teaches them; the rest is reported."""
    folder = Path(str(resources.files("partwright.lesson") / "data" / "demo"))
    from dataclasses import replace

    lesson = replace(
        read_lesson(folder),
        episodes=(Episode(title="One", sections=("B",)), Episode(title="Two", sections=("A", "C"))),
    )
    teaching = teach(prepare_lesson(lesson, folder))
    sentences = make_script(teaching)
    sections = {1: {"B"}, 2: {"A", "C"}}
    for step in teaching.steps:
        assert not step.section or step.section in sections[step.episode]
    assert [s.episode for s in sentences] == sorted(s.episode for s in sentences)
    assert teaching.uncovered == tuple(str(bar) for bar in range(27, 41))
    assert "no episode teaches bars 27" in teaching.remarks[0]
