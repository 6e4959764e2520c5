"""Laws of arranging over generated tunes."""

from __future__ import annotations

import dataclasses
import itertools
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from made_parts import part_of
from partwright.arranging import (
    Harmony,
    accompany,
    breaches,
    make_version,
    move_part,
    propose_chords,
    rank_keys,
    recognition,
    second_part,
    style_table,
    written_part,
    written_score,
    written_tune,
)
from partwright.checking import check_together
from partwright.fingering import plan_elsewhere, plan_fingering, playable_midi, prepare
from partwright.instrument import load_instrument
from partwright.score import Part

CELLO = load_instrument("cello")
FEW = settings(max_examples=12, deadline=None, derandomize=True)

tunes = st.builds(
    lambda notes, repeated: part_of(
        [midi for midi, _ in notes], quarters=[length for _, length in notes], repeated=repeated
    ),
    st.lists(
        st.tuples(
            st.integers(min_value=45, max_value=67),
            st.sampled_from([Fraction(1, 2), Fraction(1), Fraction(2), Fraction(3, 2)]),
        ),
        min_size=8,
        max_size=32,
    ),
    st.booleans(),
).map(lambda part: _within_bars(part))


def _within_bars(part: Part) -> Part:
    """The same with every note ended at its bar line, so that it can be printed without ties."""
    notes = tuple(
        dataclasses.replace(
            note,
            duration_quarters=min(note.duration_quarters, part.bars[note.bar_index].end_quarters - note.onset_quarters),
        )
        for note in part.notes
    )
    return dataclasses.replace(part, notes=notes)


@FEW
@given(tunes, st.integers(min_value=-12, max_value=12))
def test_moving_there_and_back_sounds_as_before(part: Part, semitones: int) -> None:
    there = move_part(part, semitones)
    assert [n.midi for n in there.notes] == [n.midi + semitones for n in part.notes]
    back = move_part(there, -semitones)
    assert [n.midi for n in back.notes] == [n.midi for n in part.notes]
    assert all(abs(bar.fifths) <= 7 for bar in there.bars)


@FEW
@given(tunes)
def test_what_is_written_is_read_back(part: Part) -> None:
    read = written_tune(written_score([written_part(part)], part), name="made.musicxml").part
    heard = [(n.onset_quarters, n.midi) for n in part.notes]
    assert [(n.onset_quarters, n.midi) for n in read.notes if n.tied_from is None] == heard
    assert sum(n.duration_quarters for n in read.notes) == sum(n.duration_quarters for n in part.notes)
    assert read.played_bars == part.played_bars


@FEW
@given(tunes, st.sampled_from(["beginner", "intermediate", "advanced"]))
def test_every_version_keeps_form_and_level(part: Part, level: str) -> None:
    version = make_version(part, CELLO, level=level, harmony=Harmony(part, propose_chords(part).symbols))
    assert not [f for f in check_together(part, {level: version.part}) if f.verdict == "wrong"]
    fresh = plan_fingering(version.part, CELLO, level=level)
    assert len(fresh.relaxed) <= len(plan_fingering(part, CELLO, level=level).relaxed)
    assert {n.midi for n in version.part.notes} <= playable_midi(CELLO, CELLO.levels[level]) or version.remarks
    names = [step.name for step in version.steps]
    assert len(set(names)) == len(names)


@FEW
@given(tunes)
def test_undone_steps_are_not_made(part: Part) -> None:
    version = make_version(part, CELLO, level="beginner")
    if not version.steps:
        return
    undone = version.steps[0].name
    again = make_version(part, CELLO, level="beginner", undo=[undone])
    assert undone not in [step.name for step in again.steps]
    assert undone in again.undone
    everything = {step.name for step in version.steps}
    for _ in range(40):  # undoing one step may call for another; in the end the tune stands as it came
        more = {step.name for step in make_version(part, CELLO, level="beginner", undo=everything).steps}
        if not more - everything:
            break
        everything |= more
    plain = make_version(part, CELLO, level="beginner", undo=everything)
    assert [n.midi for n in plain.part.notes] == [n.midi for n in part.notes]


@FEW
@given(tunes, st.sampled_from(["bass", "counter", "drone"]))
def test_second_parts_break_no_rule_they_do_not_tell_of(part: Part, kind: str) -> None:
    harmony = Harmony(part, propose_chords(part).symbols)
    made = second_part(part, CELLO, kind=kind, level="intermediate", harmony=harmony)
    assert not made.plan.relaxed
    told = {b.rule for b in made.breaches}
    found = {b.rule for b in breaches(part, made.part, harmony, bass=kind != "counter")} if kind != "drone" else set()
    assert found == told
    assert "parallel fifths" not in found
    assert "parallel octaves" not in found


@FEW
@given(tunes, st.sampled_from(sorted(style_table())))
def test_accompaniment_fills_its_bars_and_nothing_else(part: Part, style: str) -> None:
    harmony = Harmony(part, propose_chords(part).symbols)
    made = accompany(part, style=style, harmony=harmony)
    for voice, _ in made.parts:
        assert [bar.length_quarters for bar in voice.bars] == [bar.length_quarters for bar in part.bars]
        for note in voice.notes:
            bar = part.bars[note.bar_index]
            assert bar.start_quarters <= note.onset_quarters < note.end_quarters <= bar.end_quarters
    for note in (*made.bass.notes, *made.chords.notes):
        span = harmony.at(note.onset_quarters)
        assert span is not None
        assert note.midi % 12 in span.classes
    chords: dict[Fraction, list[int]] = {}
    for note in made.chords.notes:
        chords.setdefault(note.onset_quarters, []).append(note.midi)
    struck = [sorted(notes) for _, notes in sorted(chords.items()) if len(notes) == 3]
    for one, two in itertools.pairwise(struck):
        assert all(abs(a - b) <= 7 for a, b in zip(one, two, strict=True))  # no voice leaps further than a fifth


@pytest.mark.parametrize("semitones", [-5, 0, 2, 7])
def test_a_key_costs_what_planning_it_afresh_costs(semitones: int) -> None:
    """The shared prices give the same plan as laying the moved tune out by itself."""
    part = part_of([50, 52, 54, 55, 57, 59, 61, 62, 64, 62, 59, 57, 54, 50], quarters=Fraction(1, 2))
    planning = prepare(part, CELLO)
    elsewhere = plan_elsewhere(planning, semitones)
    assert elsewhere is not None
    afresh = prepare(move_part(part, semitones), CELLO)
    assert elsewhere.solution.cost == pytest.approx(afresh.solution.cost, abs=1e-6)


def test_keys_below_the_lowest_string_are_passed_over() -> None:
    part = part_of([36, 38, 40, 41, 43], quarters=1)
    ranking = rank_keys(part, CELLO)
    assert ranking.out_of_range == 12 + 5
    assert all(choice.semitones >= 0 for choice in ranking.ranking)


def test_stay_near_draws_the_ranking_to_a_key() -> None:
    part = part_of([50, 52, 54, 55, 57, 59, 61, 62], quarters=1)
    free = rank_keys(part, CELLO).ranking
    near = rank_keys(part, CELLO, near=(9, "A")).ranking

    def place(row: tuple[object, ...], tonic: str) -> int:
        return next(k for k, choice in enumerate(row) if choice.tonic == tonic)  # type: ignore[attr-defined]

    assert place(near, "A") <= place(free, "A")


def test_a_version_is_its_own_best_likeness() -> None:
    part = part_of([50, 52, 54, 55, 57, 59, 61, 62], quarters=1)
    same = recognition(part, part)
    assert (same.contour, same.strong_names, same.strong_pitches) == (1.0, 1.0, 1.0)
    other = recognition(part, part_of([62, 61, 59, 57, 55, 54, 52, 50], quarters=1))
    assert other.contour == 0.0
