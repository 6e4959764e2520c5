"""Laws of the fingering search: exact, faithful to its own table of terms, to pins, to the instrument and to the level.

Outside: brute force over every way to play a short passage, priced from the table of terms by itself; the shortest path
of a general graph library (networkx) on whole pieces; solving again with an alternative pinned.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from fractions import Fraction

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hand_checks import check_hand
from made_parts import Sound, part_of
from partwright.errors import NoPlan, PinConflict
from partwright.fingering import Pin, Planning, default_weights, plan_fingering, plan_of, prepare, replan, term_table
from partwright.fingering.lattice import LIMIT_PRICE, Lattice
from partwright.fingering.rings import eliminate
from partwright.fingering.search import solve, state_prices
from partwright.instrument import Instrument, load_instrument

CELLO = load_instrument("cello")
INSTRUMENTS = {name: load_instrument(name) for name in ("cello", "violin", "viola", "double bass")}
SCALE = {term.name: term.scale for term in term_table() if term.kind == "move"}
LENGTHS = (Fraction(1, 4), Fraction(1, 2), Fraction(1))
ROOM = 400_000  # ways to play a passage that brute force goes through

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Knot = tuple[list[Floats], dict[tuple[int, int], Floats]]


# Passages --------------------------------------------------------------------------------------------------------


@st.composite
def passages(draw: st.DrawFn, *, most: int = 7, chords: bool = True, low: int = 36, high: int = 74) -> list[Sound]:
    """Lines that move as tunes do, with leaps, repeated notes and (for the cello's strings) double stops."""
    sounds: list[Sound] = []
    here = draw(st.integers(low + 4, high - 8))
    for _ in range(draw(st.integers(2, most))):
        here = min(high, max(low, here + draw(st.sampled_from((-12, -7, -4, -3, -2, -1, 0, 1, 2, 3, 5, 7, 9)))))
        upper = here + draw(st.sampled_from((3, 4, 5, 7, 8, 9, 12)))
        is_chord = chords and here >= 43 and upper <= high and draw(st.integers(0, 4)) == 0
        sounds.append((here, upper) if is_chord else here)
    return sounds


@st.composite
def settings_of(draw: st.DrawFn, count: int) -> dict[str, object]:
    return {
        "quarters": draw(st.lists(st.sampled_from(LENGTHS), min_size=count, max_size=count)),
        "slurred": draw(st.sets(st.integers(0, max(0, count - 2)), max_size=3)),
        "tempo_qpm": draw(st.sampled_from((60.0, 90.0, 140.0))),
        "repeated": draw(st.booleans()),
    }


def planned(sounds: Sequence[Sound], how: Mapping[str, object], level: str = "advanced") -> Planning:
    try:
        return prepare(part_of(sounds, **how), CELLO, level=level)  # type: ignore[arg-type]
    except NoPlan:
        assume(False)
        raise


# The search against brute force ----------------------------------------------------------------------------------


def cost_by_terms(planning: Planning) -> tuple[list[Floats], list[tuple[int, int, Floats]]]:
    """Prices of states and moves from the table of terms alone: weight × amount, with the factors the table names."""
    weights = default_weights()
    model = planning.prices.model
    columns = planning.lattice.columns
    notes = []
    for column, times, context in zip(columns, planning.lattice.plays, planning.lattice.contexts, strict=True):
        notes.append(times * sum(weights[name] * amount for name, amount in model.note_amounts(column, context)))
    moves = []
    for step in planning.transitions:
        a, b = columns[step.a], columns[step.b]
        time = step.hurry * (weights["shift_under_slur"] if step.slurred else 1.0)
        time *= weights["shift_off_beat"] if step.off_beat else 1.0
        slur = weights["crossing_under_slur"] if step.slurred else 1.0
        price = np.zeros((len(a), len(b)))
        for name, amount in model.move_amounts(a, b, held=step.held):
            price += weights[name] * amount * (time if SCALE[name] == "time" else slur)
        semitones = model.shift_semitones(a, b)
        hasty = step.seconds < planning.level.shift_seconds_min
        price += LIMIT_PRICE * (semitones > (0 if hasty else planning.level.shift_semitones_max))
        moves.append((step.a, step.b, price))
    return notes, moves


def brute_force(
    notes: Sequence[Floats], moves: Sequence[tuple[int, int, Floats]], kept: Sequence[NDArray[np.int64]]
) -> float:
    """The least cost over every combination of the kept states of all variables, all of them tried."""
    count = len(notes)
    total: Floats = np.zeros((1,) * count)

    def axes(array: Floats, *variables: int) -> Floats:
        return array.reshape([len(kept[v]) if v in variables else 1 for v in range(count)])

    for variable, price in enumerate(notes):
        total = total + axes(price[kept[variable]], variable)
    for a, b, price in moves:
        if a == b:
            total = total + axes(np.diagonal(price)[kept[a]], a)
        else:
            chosen = price[np.ix_(kept[a], kept[b])]
            total = total + axes(chosen if a < b else chosen.T, a, b)
    return float(total.min())


def thinned(lattice: Lattice, chosen: Sequence[int], random: np.random.Generator) -> list[NDArray[np.int64]]:
    """States of each variable, the chosen one among them, cut at random until all combinations can be tried."""
    kept = [np.arange(len(column)) for column in lattice.columns]
    while np.prod([float(len(k)) for k in kept]) > ROOM:
        widest = max(range(len(kept)), key=lambda v: len(kept[v]))
        others = kept[widest][kept[widest] != chosen[widest]]
        keep = random.choice(others, int(len(others) * 0.7), replace=False)
        kept[widest] = np.sort(np.append(keep, chosen[widest]))
    return kept


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(st.data())
def test_search_finds_what_trying_everything_finds(data: st.DataObject) -> None:
    """Up to 7 notes, chords and repeats included: the plan costs what the cheapest of all combinations costs."""
    sounds = data.draw(passages())
    how = data.draw(settings_of(len(sounds)))
    level = data.draw(st.sampled_from(("beginner", "intermediate", "advanced")))
    planning = planned(sounds, how, level)
    random = np.random.default_rng(data.draw(st.integers(0, 2**32 - 1)))
    kept = thinned(planning.lattice, planning.solution.choice, random)
    allowed: dict[int, Mask] = {}
    for variable, states in enumerate(kept):
        allowed[variable] = np.zeros(len(planning.lattice.columns[variable]), bool)
        allowed[variable][states] = True
    found = solve(planning.lattice, allowed=allowed, most_splits=100_000)
    assert found.gap == planning.solution.gap == 0
    assert found.cost == pytest.approx(planning.solution.cost, abs=1e-6)  # the plan's own states were kept
    assert all(state in kept[v] for v, state in enumerate(found.choice))
    notes, moves = cost_by_terms(planning)
    assert found.cost == pytest.approx(brute_force(notes, moves, kept), abs=1e-6)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.data())
def test_whole_columns_of_three_notes_by_brute_force(data: st.DataObject) -> None:
    """Nothing thinned: every state of every note of passages of three."""
    sounds = data.draw(passages(most=3))
    how = data.draw(settings_of(len(sounds)))
    planning = planned(sounds, how)
    assume(np.prod([float(len(c)) for c in planning.lattice.columns]) < 4e6)
    notes, moves = cost_by_terms(planning)
    kept = [np.arange(len(column)) for column in planning.lattice.columns]
    assert planning.solution.cost == pytest.approx(brute_force(notes, moves, kept), abs=1e-6)


@st.composite
def knots(draw: st.DrawFn) -> Knot:
    """Prices over a few variables joined in any way, rings within rings."""
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=7))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    every = [(a, b) for a in range(len(sizes)) for b in range(a + 1, len(sizes))]
    joined = draw(st.sets(st.sampled_from(every), max_size=12)) if every else set()
    notes = [random.integers(0, 9, size).astype(float) for size in sizes]
    return notes, {(a, b): random.integers(0, 9, (sizes[a], sizes[b])).astype(float) for a, b in sorted(joined)}


@settings(max_examples=300, deadline=None)
@given(knots())
def test_elimination_solves_rings_as_trying_everything_does(knot: Knot) -> None:
    notes, pairs = knot
    found = eliminate(notes, pairs)
    assert found is not None
    choice, cost = found
    moves = [(a, b, price) for (a, b), price in pairs.items()]
    assert cost == brute_force(notes, moves, [np.arange(len(price)) for price in notes])
    paid = sum(price[choice[v]] for v, price in enumerate(notes))
    assert cost == paid + sum(price[choice[a], choice[b]] for a, b, price in moves)


def test_elimination_says_when_a_knot_is_too_large() -> None:
    notes = [np.zeros(10) for _ in range(6)]
    pairs = {(a, b): np.zeros((10, 10)) for a in range(6) for b in range(a + 1, 6)}
    assert eliminate(notes, pairs, most_cells=10_000) is None
    assert eliminate(notes, pairs, most_cells=100_000) is not None


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_pieces_made_of_returning_phrases_are_solved_exactly(seed: int) -> None:
    """Phrases that come back in many orders: branch and bound left alone for long, and elimination, find the same."""
    random = np.random.default_rng(seed)
    phrases = [np.clip(50 + np.cumsum(random.integers(-4, 5, 16)), 38, 70).tolist() for _ in range(3)]
    line = [midi for k in random.integers(0, 3, 8) for midi in phrases[k]]
    planning = prepare(part_of(line), CELLO, level="intermediate")
    lattice = planning.lattice
    quick = solve(lattice)
    assert quick.gap == 0
    patient = solve(lattice, most_splits=4)  # too few for elimination to begin: what is proven must agree
    assert patient.cost - patient.gap - 1e-6 <= quick.cost <= patient.cost + 1e-6


# The search against a general graph library ----------------------------------------------------------------------


def shortest_path(lattice: Lattice) -> float:
    """networkx: the cheapest way from before the first column to behind the last, on the same states and prices."""
    graph = nx.DiGraph()
    least = min(
        min(float(p.min()) for p in lattice.note_price), min((float(b.min()) for b in lattice.branch[1:]), default=0)
    )
    lift = -min(0.0, least)  # Dijkstra wants no negative price; every path has the same number of edges
    for state, price in enumerate(lattice.note_price[0]):
        graph.add_edge("start", (0, state), weight=float(price) + 2 * lift)
    for v in range(1, len(lattice.columns)):
        assert lattice.parent[v] == v - 1
        price = lattice.branch[v] + lattice.note_price[v][None, :] + 2 * lift
        for a in range(price.shape[0]):
            graph.add_weighted_edges_from(((v - 1, a), (v, b), float(price[a, b])) for b in range(price.shape[1]))
    last = len(lattice.columns) - 1
    for state in range(len(lattice.columns[last])):
        graph.add_edge((last, state), "end", weight=0.0)
    length = nx.dijkstra_path_length(graph, "start", "end")
    return float(length) - 2 * lift * len(lattice.columns)


@pytest.mark.parametrize("seed", range(4))
def test_search_finds_the_shortest_path_of_a_graph_library(seed: int) -> None:
    """networkx on whole pieces of 40 notes, no repeats: the same lattice, the same cost."""
    random = np.random.default_rng(seed)
    line = np.clip(50 + np.cumsum(random.integers(-4, 5, 40)), 38, 72).tolist()
    planning = prepare(part_of(line, quarters=Fraction(1, 2)), CELLO, level="advanced")
    assert not planning.lattice.joins
    assert planning.solution.cost == pytest.approx(shortest_path(planning.lattice), abs=1e-6)


# The price of alternatives ---------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(passages(most=12), st.integers(0, 2**32 - 1))
def test_price_of_an_alternative_is_what_a_plan_with_it_costs(sounds: list[Sound], seed: int) -> None:
    """Min-marginals = solving again with the alternative pinned."""
    planning = planned(sounds, {"quarters": Fraction(1, 2)})
    lattice = planning.lattice
    assert not lattice.joins
    prices = state_prices(lattice, planning.solution)
    random = np.random.default_rng(seed)
    for variable, price in enumerate(prices):
        assert float(price.min()) == pytest.approx(planning.solution.cost, abs=1e-6)
        for state in random.choice(len(price), min(3, len(price)), replace=False):
            only = np.zeros(len(price), bool)
            only[state] = True
            again = solve(lattice, allowed={variable: only})
            assert again.choice[variable] == state
            assert float(price[state]) == pytest.approx(again.cost, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_replanning_after_pins_is_planning_afresh(data: st.DataObject) -> None:
    sounds = data.draw(passages(most=16, chords=False))
    how = data.draw(settings_of(len(sounds)))
    planning = planned(sounds, how)
    again, pins = planning, []
    for index in data.draw(st.lists(st.integers(0, len(sounds) - 1), min_size=1, max_size=3, unique=True)):
        pins.append(some_pin(planning, index, data))
        again = replan(again, pins[-1])
        afresh = prepare(planning.part, CELLO, pins=pins)
        assert again.solution.cost == pytest.approx(afresh.solution.cost, abs=1e-6)
        assert plan_of(again).total_cost == pytest.approx(plan_of(afresh).total_cost, abs=1e-6)
        assert all(obeys(again, pin) and obeys(afresh, pin) for pin in pins)
        if not again.lattice.joins:
            for one, two in zip(again.state_prices, afresh.state_prices, strict=True):
                assert one == pytest.approx(two, abs=1e-6)


# Pins ------------------------------------------------------------------------------------------------------------


def some_pin(planning: Planning, index: int, data: st.DataObject) -> Pin:
    """A pin that some hand can keep: parts of a state of that note's column, drawn at random."""
    column = planning.lattice.columns[planning.variable_of[planning.walk.event_of[f"n{index}"]]]
    state = data.draw(st.integers(0, len(column) - 1))
    what = data.draw(st.sampled_from(("finger", "string", "both")))
    return Pin(
        note_id=f"n{index}",
        finger=int(column.finger[state, 0]) if what != "string" else None,
        string=int(column.string[state, 0]) if what != "finger" else None,
    )


def obeys(planning: Planning, pin: Pin) -> bool:
    place = plan_of(planning).by_id[pin.note_id].placement
    return (pin.finger is None or place.finger == pin.finger) and (pin.string is None or place.string == pin.string)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_pin_is_never_dropped(data: st.DataObject) -> None:
    """Every pin that a hand can keep is kept, and marked; a plan around pins never costs less than a free one."""
    sounds = data.draw(passages())
    how = data.draw(settings_of(len(sounds)))
    free = planned(sounds, how)
    chosen = data.draw(st.sets(st.integers(0, len(sounds) - 1), max_size=4))
    pins = [some_pin(free, index, data) for index in sorted(chosen)]
    bound = prepare(free.part, CELLO, pins=pins)
    for pin in pins:
        assert obeys(bound, pin)
        assert plan_of(bound).by_id[pin.note_id].pinned
    assert bound.solution.cost >= free.solution.cost - 1e-6
    unpinned = {note.note_id for note in plan_of(bound).notes if not note.pinned}
    assert unpinned == {note.id for note in free.part.notes} - {pin.note_id for pin in pins}


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_ban_is_never_forgotten(data: st.DataObject) -> None:
    sounds = data.draw(passages(chords=False))
    free = planned(sounds, {})
    index = data.draw(st.integers(0, len(sounds) - 1))
    place = plan_of(free).by_id[f"n{index}"].placement
    column = free.lattice.columns[free.variable_of[free.walk.event_of[f"n{index}"]]]
    assume((column.finger[:, 0] != place.finger).any())
    bound = plan_fingering(free.part, CELLO, pins=[Pin(note_id=f"n{index}", finger=place.finger, banned=True)])
    assert bound.by_id[f"n{index}"].placement.finger != place.finger


@pytest.mark.parametrize(
    "pins",
    [
        [Pin(note_id="n0", finger=1), Pin(note_id="n0", finger=2)],
        [Pin(note_id="n0", finger=0)],
        [Pin(note_id="n0", string=3)],
        [Pin(note_id="n0", finger=1, string=0, frame=7)],
    ],
    ids=["two fingers", "not an open string", "below the string", "another place"],
)
def test_pins_no_hand_can_keep_are_refused(pins: list[Pin]) -> None:
    with pytest.raises(PinConflict) as caught:
        plan_fingering(part_of([52, 53, 55]), CELLO, pins=pins)
    assert caught.value.place.bar == "1"


# The instrument --------------------------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_every_placement_sounds_its_note_on_every_instrument(data: st.DataObject) -> None:
    instrument = INSTRUMENTS[data.draw(st.sampled_from(sorted(INSTRUMENTS)))]
    level = data.draw(st.sampled_from(sorted(instrument.levels)))
    lowest = instrument.strings[0].midi
    sounds = data.draw(passages(low=lowest, high=lowest + 40))
    how = data.draw(settings_of(len(sounds)))
    try:
        planning = prepare(part_of(sounds, **how), instrument, level=level)  # type: ignore[arg-type]
    except NoPlan:
        return
    counted = check_hand(planning)
    missing = {r.note_id for r in plan_of(planning).unplayable}
    assert counted + len([n for n in planning.part.notes if n.id not in plan_of(planning).by_id]) == len(
        planning.part.notes
    )
    assert bool(missing) == (counted < len(planning.part.notes))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_level_is_kept_or_the_report_says_where_not(data: st.DataObject) -> None:
    level = CELLO.levels[data.draw(st.sampled_from(("beginner", "intermediate")))]
    sounds = data.draw(passages(chords=False))
    planning = planned(sounds, {}, level.name)
    told = {relaxation.note_id for relaxation in plan_of(planning).relaxed}
    for fingered in plan_of(planning).notes:
        place = fingered.placement
        within = (
            (place.finger == 0 or level.frame_min <= place.frame <= level.frame_max)
            and (place.finger == 0 or place.shape in level.shapes)
            and (place.zone != "thumb" or level.thumb)
            and (place.harmonic == 0 or place.harmonic in level.harmonic_partials)
        )
        assert within or fingered.note_id in told, (fingered, told)


@settings(max_examples=40, deadline=None)
@given(passages(), st.integers(-12, 12))
def test_strings_and_tune_moved_together_change_nothing(sounds: list[Sound], semitones: int) -> None:
    """A tune an octave (or any interval) higher on strings tuned as much higher has the same plan at the same price."""
    moved: Instrument = dataclasses.replace(
        CELLO, strings=tuple(dataclasses.replace(s, midi=s.midi + semitones) for s in CELLO.strings)
    )
    higher: list[Sound] = [
        s + semitones if isinstance(s, int) else tuple(m + semitones for m in s) if s else None for s in sounds
    ]
    here = plan_of(planned(sounds, {}))
    there = plan_fingering(part_of(higher), moved)
    assert [n.placement for n in there.notes] == [n.placement for n in here.notes]
    assert there.total_cost == pytest.approx(here.total_cost)


@settings(max_examples=30, deadline=None)
@given(passages(most=6, chords=False))
def test_more_time_never_makes_a_plan_dearer(sounds: list[Sound]) -> None:
    """The slower, the cheaper: what hurry makes dearer is never negative. (Long notes wanting vibrato are left out.)"""
    weights = default_weights(CELLO).changed({"open_sustained": 0.0})
    parts = [part_of(sounds, tempo_qpm=tempo) for tempo in (160.0, 50.0)]
    quick, slow = (plan_fingering(part, CELLO, weights=weights) for part in parts)
    assert slow.total_cost <= quick.total_cost + 1e-9


@settings(max_examples=30, deadline=None)
@given(passages(), st.booleans())
def test_the_same_part_gives_the_same_plan(sounds: list[Sound], repeated: bool) -> None:
    one, two = (plan_of(planned(sounds, {"repeated": repeated})) for _ in range(2))
    assert one == two
