"""Laws of hard spots and drills: ranked by the plan's own prices; short, valid, true to the hand, as pinned."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from made_parts import part_of
from partwright.fingering import Pin, Planning, note_reasons, plan_of, prepare
from partwright.instrument import load_instrument
from partwright.lesson import Bars, HardSpot, drill_marks, find_hard_spots, find_likenesses, make_drills, plan_drill
from partwright.lesson.drills import MOST_BARS
from partwright.lesson.hard_spots import HARD, note_difficulty, spot_kinds
from partwright.score import annotate
from score_checks import schema

INSTRUMENTS = {name: load_instrument(name) for name in ("cello", "violin")}


def planned(seed: int, name: str = "cello") -> Planning:
    """A tune with leaps, so that there is something hard in it."""
    random = np.random.default_rng(seed)
    instrument = INSTRUMENTS[name]
    low = instrument.strings[0].midi + 5
    sounds = [int(low + k) for k in np.clip(np.cumsum(random.integers(-5, 6, size=26)) + 12, 0, 26)]
    lengths = [Fraction(int(k), 2) for k in random.choice([1, 1, 2], size=26)]
    slurred = [k for k in range(25) if random.random() < 0.3]
    return prepare(part_of(sounds, quarters=lengths, slurred=slurred, tempo_qpm=110), instrument, level="advanced")


def spots_of(planning: Planning) -> tuple[Bars, tuple[HardSpot, ...]]:
    bars = Bars(planning.part)
    return bars, find_hard_spots(planning, bars, find_likenesses(planning.part))


@given(st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_spots_are_ranked_apart_and_hard(seed: int) -> None:
    planning = planned(seed)
    bars, spots = spots_of(planning)
    assert [spot.rank for spot in spots] == list(range(1, len(spots) + 1))
    assert [spot.score for spot in spots] == sorted((spot.score for spot in spots), reverse=True)
    weights = [max(note_difficulty(note_reasons(planning, i)) for i in event.note_ids) for event in bars.events]
    for spot in spots:
        assert weights[spot.peak] == max(weights[spot.first : spot.last + 1])
        assert weights[spot.peak] >= min(HARD, max(weights))
        assert spot.reasons
        assert spot.name
    taken = [k for spot in spots for k in range(spot.first, spot.last + 1)]
    assert len(taken) == len(set(taken))
    for one in spots:  # two hard notes a beat apart are one spot
        for two in spots:
            if one.last < two.first:
                assert bars.events[two.first].onset_quarters - bars.events[one.last].onset_quarters > 1


def hand_of(planning: Planning) -> list[set[str]]:
    """What the hand does at each note, by the terms it is priced with."""
    return [
        {item.term for item in note_reasons(planning, note.id)} - {"open_sustained"} for note in planning.part.notes
    ]


@given(st.integers(0, 10**6))
@settings(max_examples=10, deadline=None)
def test_a_shift_in_a_rest_is_easier_than_the_same_in_a_hurry(seed: int) -> None:
    """The same notes with the same fingers, slower: no spot grows harder. Common practice, no source."""
    quick = planned(seed)
    pins = tuple(
        Pin(
            note_id=note.note_id,
            finger=note.placement.finger,
            string=note.placement.string,
            frame=note.placement.frame if note.placement.finger else None,
            shape=note.placement.shape,
        )
        for note in plan_of(quick).notes
    )
    part = replace(quick.part, tempo_marks=(replace(quick.part.tempo_marks[0], tempo_qpm=40.0),))
    slow = prepare(part, quick.instrument, level="advanced", pins=pins)
    assume(hand_of(quick) == hand_of(slow))  # the hand over a note that it could also take closed is not pinned
    hardest = [max((spot.score for spot in spots_of(planning)[1]), default=0.0) for planning in (quick, slow)]
    assert hardest[1] <= hardest[0] + 1e-9


@pytest.mark.parametrize("name", ["cello", "violin"])
@given(seed=st.integers(0, 10**6))
@settings(max_examples=6, deadline=None)
def test_drills_are_short_true_to_the_hand_and_valid(name: str, seed: int) -> None:
    planning = planned(seed, name)
    instrument = planning.instrument
    bars, spots = spots_of(planning)
    for spot in spots[:3]:
        for drill in make_drills(spot, bars, plan_of(planning), instrument, tempo_qpm=60):
            assert 1 <= len(drill.score.parts[0].bars) <= MOST_BARS
            made = plan_drill(drill, instrument, level="advanced")
            assert made.tune.part.notes
            pins = {pin.note_id: pin for pin in drill.pins}
            for note in made.tune.part.notes:
                place = made.plan.by_id[note.id].placement
                open_midi = instrument.strings[place.string].midi
                if not place.harmonic:
                    assert open_midi + place.semitones == note.midi
                if note.id in pins:  # tied continuations carry the finger of their first note
                    assert (place.finger, place.string) == (pins[note.id].finger, pins[note.id].string)
            for bar in made.tune.part.bars:
                inside = [n for n in made.tune.part.notes if n.bar_index == bar.index]
                assert bar.length_quarters == bar.nominal_quarters
                assert all(n.end_quarters <= bar.end_quarters for n in inside)
            tree = annotate(made.tune, drill_marks(made, instrument))
            assert schema().validate(tree), schema().error_log


def test_the_shift_alone_goes_from_the_old_place_to_the_new_one() -> None:
    """Worked by hand on the cello: B (first finger, first position) to E (first finger, fourth position), A string."""
    from partwright.fingering import Pin

    part = part_of([59, 64, 66, 64], quarters=1, tempo_qpm=120)
    pins = (Pin(note_id="n0", finger=1, string=3), Pin(note_id="n1", finger=1, string=3, frame=7))
    planning = prepare(part, INSTRUMENTS["cello"], level="advanced", pins=pins)
    bars, spots = spots_of(planning)
    spot = next(spot for spot in spots if spot.kind == "shift")
    drills = make_drills(spot, bars, plan_of(planning), planning.instrument, tempo_qpm=60)
    alone = next(drill for drill in drills if drill.kind == "shift_alone")
    made = plan_drill(alone, planning.instrument, level="advanced")
    assert [note.pitch.name for note in made.tune.part.notes] == ["B3", "E4", "E4", "B3"]
    assert [made.plan.by_id[note.id].placement.finger for note in made.tune.part.notes] == [1, 1, 1, 1]
    assert spot.name == "Shift from first position to fourth position, on the A string"


def test_every_kind_of_spot_has_drills_that_exist() -> None:
    from partwright.fingering import term_table
    from partwright.lesson.drills import _BUILDERS, _TIMES

    known = {term.name for term in term_table()} | {"retake", "bow"}
    for kind in spot_kinds():
        assert set(kind.drills) <= set(_BUILDERS)
        assert set(kind.terms) <= known, set(kind.terms) - known
    assert set(_BUILDERS) == set(_TIMES)
