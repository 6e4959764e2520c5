"""How near plans come to printed fingers, on pieces that no weight was chosen on (corpora: `fingered_corpora`).

Outside: Davidoff's scales and worked examples (1888, English by Miranda Wilson 2022), Ryan's Mammoth Collection (1883)
as music21 carries it. The passages are our own, their fingers common practice. bench/bench_agreement.py gives the whole
table; here are the least figures that must not be lost.
"""

from __future__ import annotations

import sys
from fractions import Fraction
from functools import cache

import pytest
from fingered_corpora import accepted_states, cello_pieces, held_back, violin_pieces

from conftest import REPOSITORY
from made_parts import part_of
from partwright.fingering import default_weights, plan_of, prepare
from partwright.instrument import Instrument, load_instrument
from study_figures import study

sys.path.insert(0, str(REPOSITORY / "bench"))

from agreement_measures import Corpus, naive_hand

CELLO, VIOLIN, BASS = (load_instrument(name) for name in ("cello", "violin", "double bass"))


@cache
def unseen_cello() -> Corpus:
    return Corpus((piece for piece in cello_pieces() if held_back(piece.key)), CELLO)


@pytest.mark.parametrize("piece", [p for p in cello_pieces() if p.corpus == "passages"], ids=lambda p: p.key)
def test_printed_fingers_of_the_passages_are_possible(piece) -> None:  # type: ignore[no-untyped-def]
    """Every note can be played as printed, and all of them together."""
    from partwright.fingering.lattice import LIMIT_PRICE
    from partwright.fingering.search import solve

    planning = prepare(piece.part, CELLO)
    accepted = accepted_states(planning, piece)
    assert len(accepted) == len(planning.walk.events)
    assert solve(planning.lattice, allowed=accepted).cost < LIMIT_PRICE


def test_unseen_cello_music_agrees() -> None:
    """String and finger of the passages; a printed finger is nearly always among the three cheapest."""
    found = unseen_cello().tally(default_weights(CELLO))
    passages = found["passages"]
    assert passages.notes > 500
    assert passages.string >= 0.95 * passages.notes
    assert passages.both >= 0.85 * passages.notes
    assert passages.within_three >= 0.95 * passages.notes
    naive = naive_hand(unseen_cello())["passages"]
    assert passages.both - naive.both >= 0.12 * passages.notes


def test_the_hand_moves_about_as_often_as_in_print() -> None:
    tally = unseen_cello().tally(default_weights(CELLO))["all"]
    assert 0.7 * tally.expert_moves <= tally.moves <= 1.2 * tally.expert_moves


@pytest.mark.parametrize("share", [pytest.param(8, id="some"), pytest.param(1, id="all", marks=pytest.mark.slow)])
def test_unseen_fiddle_tunes_agree_far_better_than_a_naive_hand(share: int) -> None:
    """At least 15 points above the hand that stays put and takes every open string."""
    pieces = [piece for piece in violin_pieces() if held_back(piece.key)]
    if not pieces:
        pytest.skip("the library with the fiddle tunes is not installed")
    corpus = Corpus(pieces[::share], VIOLIN)
    ours = corpus.tally(default_weights(VIOLIN), full=False)["all"]
    naive = naive_hand(corpus)["all"]
    assert ours.notes == naive.notes > 100
    assert ours.finger - naive.finger >= 0.15 * ours.notes, (ours, naive)


BASS_SCALES = {  # one octave up and down, sounding pitches; fingers of the 1-2-4 hand: common practice, no source
    "F": ((29, 31, 33, 34, 36, 38, 40, 41), "1 4 0 1 4 0 12 24"),
    "G": ((31, 33, 35, 36, 38, 40, 42, 43), "2 0 1 2 0 1 4 0"),
    "A": ((33, 35, 37, 38, 40, 42, 44, 45), "0 1 4 0 1 4 1 2"),
    "B flat": ((34, 36, 38, 39, 41, 43, 45, 46), "1 4 0 1 4 0 12 24"),
    "E": ((28, 30, 32, 33, 35, 37, 39, 40), "0 1 4 0 1 4 1 2"),
}


@pytest.mark.parametrize("key", BASS_SCALES)
def test_first_scales_of_the_double_bass(key: str) -> None:
    """Half and first position, open strings, no pivot."""
    pitches, fingers = BASS_SCALES[key]
    accepted = fingers.split()
    plan = plan_of(prepare(part_of([*pitches, *pitches[-2::-1]], tempo_qpm=80), BASS))
    for note, ways in zip(plan.notes, [*accepted, *accepted[-2::-1]], strict=True):
        assert note.placement.finger_text in ways, (note, ways)


def test_the_double_bass_moves_its_hand_rather_than_pivots() -> None:
    """Simandl (from memory) knows no pivot; a few are allowed, as many players use them."""
    notes = pivots = 0
    for seed in range(6):
        plan = plan_of(prepare(part_of(study(seed, lowest_midi=28), bar_quarters=2), BASS))
        notes += len(plan.notes)
        pivots += sum("pivot" in note.placement.shape and note.placement.finger > 0 for note in plan.notes)
    assert pivots <= 0.3 * notes


def test_levels_may_weigh_terms_otherwise() -> None:
    """A beginner on the violin takes the open string where an advanced player may take the fourth finger."""
    beginner, advanced = (default_weights(VIOLIN, VIOLIN.levels[name]) for name in ("beginner", "advanced"))
    assert beginner["fourth_finger"] > advanced["fourth_finger"]


def double_stops(instrument: Instrument, pairs: list[tuple[int, int]]) -> list[tuple[str, str]]:
    """Fingers of each double stop, lower string first."""
    part = part_of(pairs, quarters=Fraction(1, 2), tempo_qpm=66)
    plan = plan_of(prepare(part, instrument))
    found = []
    for k in range(len(pairs)):
        places = sorted((plan.by_id[f"n{k}{end}"].placement for end in ("", "b")), key=lambda place: place.string)
        found.append((places[0].finger_text, places[1].finger_text))
    return found


def test_thirds_and_sixths_on_the_cello_are_shapes_of_the_hand() -> None:
    """Thirds with 4 below and 1 above, sixths with 1-2, 1-3 or 2-4: common practice, no source."""
    thirds = [(57, 60), (59, 62), (60, 64), (59, 62), (57, 60)]  # A-C up to C-E and back
    assert set(double_stops(CELLO, thirds)) <= {("4", "1")}
    sixths = [(52, 60), (53, 62), (55, 64), (57, 65), (55, 64), (53, 62), (52, 60)]
    assert set(double_stops(CELLO, sixths)) <= {("1", "2"), ("1", "3"), ("2", "4"), ("3", "4")}


def test_thirds_sixths_and_octaves_on_the_violin_are_shapes_of_the_hand() -> None:
    """Thirds 1-3 and 2-4 with the higher finger below, sixths by neighbouring fingers, octaves 1-4; common practice."""
    thirds = [(62, 66), (64, 67), (66, 69), (67, 71), (69, 72), (71, 74)]
    for low, high in double_stops(VIOLIN, thirds):
        assert high == "0" or int(low) - int(high) == 2, (low, high)
    sixths = [(60, 69), (64, 72), (66, 74), (67, 76)]
    for low, high in double_stops(VIOLIN, sixths):
        assert low == "0" or int(high) - int(low) == 1, (low, high)
    octaves = [(64, 76), (65, 77), (67, 79), (65, 77)]
    assert set(double_stops(VIOLIN, octaves)) == {("1", "4")}


def test_an_open_string_costs_more_on_a_long_note() -> None:
    """It cannot vibrate: common practice. On a quick note it is liked."""
    quick, slow = (prepare(part_of([57], quarters=length), CELLO) for length in (Fraction(1, 4), 4))
    assert quick.solution.cost < 0 < slow.solution.cost
    assert {plan_of(p).notes[0].placement.finger for p in (quick,)} == {0}
