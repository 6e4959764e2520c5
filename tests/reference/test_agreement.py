"""How near plans come to printed fingers, on pieces that no weight was chosen on (corpora: `fingered_corpora`).

Outside: Davidoff's scales and worked examples (1888, English by Miranda Wilson 2022), Ryan's Mammoth Collection (1883)
as music21 carries it. The passages are our own, their fingers common practice. bench/bench_agreement.py gives the whole
table; here are the least figures that must not be lost.
"""

from __future__ import annotations

import sys
from functools import cache

import pytest
from fingered_corpora import accepted_states, cello_pieces, held_back, violin_pieces

from conftest import REPOSITORY
from made_parts import part_of
from partwright.fingering import default_weights, plan_of, prepare
from partwright.instrument import load_instrument
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
