"""The bow search finds what trying everything finds: total, prices of both directions, joins, and re-plans."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.bowing import BowPin, plan_bowing, replan_bowing
from partwright.bowing.features import FORBIDDEN
from partwright.bowing.lattice import Tables
from partwright.bowing.search import Chain, solve, solve_again
from partwright.instrument import load_instrument
from partwright.score import Bar, Note, Part, Pitch, TempoMark

CELLO = load_instrument("cello")


def random_tables(generator: np.random.Generator, places: int, leaves: str) -> Tables:
    stroke = generator.integers(0, 60, (2, places, places)).astype(np.int32)
    for start, end in itertools.product(range(places), repeat=2):
        if start > end:
            stroke[0, start, end] = FORBIDDEN
        if start < end:
            stroke[1, start, end] = FORBIDDEN
    if generator.random() < 0.15:
        stroke[generator.integers(2)] = FORBIDDEN
    move = generator.integers(0, 60, (2 * places, 2 * places)).astype(np.int32)
    return Tables(stroke, np.ascontiguousarray(stroke.transpose(0, 2, 1)), move, np.ascontiguousarray(move.T), leaves)


def tried(chain: Chain) -> tuple[int, np.ndarray]:
    """The least total, and for every stroke the least total with each direction, by trying everything."""
    places = chain.tables[0].stroke.shape[1]
    states = [
        [(d, a, b) for d in (0, 1) for a in range(places) for b in range(places) if (b >= a if d == 0 else b <= a)]
        for _ in chain.tables
    ]
    least = np.full((len(states), 2), np.iinfo(np.int64).max)
    for choice in itertools.product(*states):
        total = sum(int(tables.stroke[d, a, b]) for tables, (d, a, b) in zip(chain.tables, choice, strict=True))
        moves = [(s - 1, s, chain.tables[s].move) for s in range(1, len(choice)) if chain.linked[s]]
        for before, after, move in [*moves, *chain.joins]:
            d, _, end = choice[before]
            leaves = chain.tables[before].leaves
            left = (0, 1) if leaves == "free" else (1 - d,) if leaves == "flip" else (d,)
            entered = choice[after][0] * places + choice[after][1]
            total += min(int(move[way * places + end, entered]) for way in left)
        for s, (d, _, _) in enumerate(choice):
            least[s, d] = min(least[s, d], total)
    return int(least.min()), least


def check(chain: Chain) -> None:
    total, least = tried(chain)
    solution = solve(chain).solution
    assert solution.total == total
    limit = FORBIDDEN // 2  # beyond it a direction is forbidden, whatever the number says
    for s, (down, up) in enumerate(least):
        assert min(solution.extra[s, 0], limit) == min(down - min(down, up), limit)
        assert min(solution.extra[s, 1], limit) == min(up - min(down, up), limit)
        assert solution.extra[s, solution.direction[s]] == 0


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 6))
def test_the_search_equals_trying_everything(seed: int, n: int) -> None:
    """Any strokes in a row, tremolos among them."""
    generator = np.random.default_rng(seed)
    leaves = generator.choice(["same", "same", "same", "flip"], n)
    chain = Chain(tuple(random_tables(generator, 2, str(word)) for word in leaves), (False,) + (True,) * (n - 1), ())
    check(chain)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32))
def test_the_search_equals_trying_everything_on_a_finer_bow(seed: int) -> None:
    """Four places on the bow, three strokes, a repeat."""
    generator = np.random.default_rng(seed)
    tables = tuple(random_tables(generator, 4, "same") for _ in range(3))
    move = generator.integers(0, 60, (8, 8)).astype(np.int32)
    check(Chain(tables, (False, True, True), ((2, 0, move),)))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(2, 6), st.data())
def test_joins_are_exact(seed: int, n: int, data: st.DataObject) -> None:
    """Repeats, endings and jumps in any tangle: still the least total and the right prices."""
    generator = np.random.default_rng(seed)
    pairs = st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(lambda pair: pair[1] != pair[0] + 1)
    joins = data.draw(st.lists(pairs, min_size=1, max_size=4, unique=True))
    linked = data.draw(st.lists(st.booleans(), min_size=n - 1, max_size=n - 1))
    moves = tuple((a, b, generator.integers(0, 60, (4, 4)).astype(np.int32)) for a, b in joins)
    tables = tuple(random_tables(generator, 2, "same") for _ in range(n))
    check(Chain(tables, (False, *linked), moves))


@pytest.mark.parametrize("seed", [20, 88, 90])
def test_ways_that_cost_the_same_are_not_mixed(seed: int) -> None:
    """Two plans of one price: every block's strokes are taken from the same one."""
    generator = np.random.default_rng(seed)
    moves = tuple((a, b, generator.integers(0, 60, (4, 4)).astype(np.int32)) for a, b in ((1, 0), (2, 1)))
    tables = tuple(random_tables(generator, 2, "same") for _ in range(3))
    check(Chain(tables, (False, False, True), moves))


@pytest.mark.slow
@settings(max_examples=4, deadline=None)
@given(st.integers(0, 2**32))
def test_eight_strokes(seed: int) -> None:
    """The longest passage worth trying out: eight strokes, 1.7 million ways."""
    generator = np.random.default_rng(seed)
    check(Chain(tuple(random_tables(generator, 2, "same") for _ in range(8)), (False,) + (True,) * 7, ()))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 40), st.booleans())
def test_solving_again_equals_solving_anew(seed: int, n: int, joined: bool) -> None:
    """Change a few strokes of a solved chain: the same arrays as from a fresh search."""
    generator = np.random.default_rng(seed)
    tables = [random_tables(generator, 5, "same") for _ in range(n)]
    joins: tuple[tuple[int, int, np.ndarray], ...] = ()
    if joined and n > 4:
        joins = ((n // 2, 0, tables[0].move), (n - 1, n // 2 + 1, tables[1].move))
    chain = Chain(tuple(tables), (False,) + (True,) * (n - 1), joins)
    before = solve(chain)
    changed = sorted(set(generator.integers(0, n, 2).tolist()))
    for s in changed:
        tables[s] = random_tables(generator, 5, "same")
    chain = Chain(tuple(tables), chain.linked, joins)
    again, anew = solve_again(before, chain, changed).solution, solve(chain).solution
    for name in ("direction", "start", "end", "cost", "extra"):
        np.testing.assert_array_equal(getattr(again, name), getattr(anew, name))


def tune(lengths: list[Fraction], *, repeat: bool = False, accents: frozenset[int] = frozenset()) -> Part:
    """Notes one after another in common time, with a repeat of everything if asked."""
    notes: list[Note] = []
    clock = Fraction(0)
    for index, length in enumerate(lengths):
        bar, beat = divmod(clock, 4)
        pitch = Pitch("DEFGA"[index % 5], 0, 3)
        notes.append(
            Note(
                id=f"n{index}",
                index=index,
                onset_quarters=clock,
                duration_quarters=length,
                pitch=pitch,
                written_pitch=pitch,
                bar_index=int(bar),
                bar=str(bar + 1),
                beat=beat + 1,
                articulations=frozenset({"accent"}) if index in accents else frozenset(),
            )
        )
        clock += length
    count = int(-(-clock // 4))
    bars = tuple(
        Bar(
            index=k,
            number=str(k + 1),
            start_quarters=Fraction(4 * k),
            length_quarters=Fraction(4),
            nominal_quarters=Fraction(4),
            beats=4,
            beat_type=4,
            repeat_start=repeat and k == 0,
            repeat_end=repeat and k == count - 1,
        )
        for k in range(count)
    )
    mark = TempoMark(onset_quarters=Fraction(0), tempo_qpm=100.0, source="metronome")
    return Part(name="made", part_id="P1", notes=tuple(notes), bars=bars, tempo_marks=(mark,))


LENGTHS = st.lists(st.sampled_from([Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2)]), min_size=8, max_size=60)


@settings(max_examples=25, deadline=None)
@given(LENGTHS, st.booleans(), st.data())
def test_a_pin_is_never_dropped_and_a_re_plan_is_the_plan(
    lengths: list[Fraction], repeat: bool, data: st.DataObject
) -> None:
    """Pinned strokes go as pinned; planning again from the old plan gives what planning afresh gives."""
    part = tune(lengths, repeat=repeat)
    plan = plan_bowing(part, CELLO, level="intermediate", cells=12)
    indices = data.draw(st.sets(st.integers(0, len(lengths) - 1), min_size=1, max_size=3))
    pins = [BowPin(note_id=f"n{i}", direction=data.draw(st.sampled_from(["down", "up"]))) for i in sorted(indices)]
    again = replan_bowing(plan, pins)
    fresh = plan_bowing(part, CELLO, level="intermediate", cells=12, pins=pins)
    assert again == fresh
    assert all(again.by_note[pin.note_id].direction == pin.direction for pin in pins)
    assert replan_bowing(again, []) == plan


@settings(max_examples=25, deadline=None)
@given(LENGTHS, st.booleans(), st.data())
def test_the_price_of_the_other_direction_is_what_pinning_it_costs(
    lengths: list[Fraction], repeat: bool, data: st.DataObject
) -> None:
    """`other_extra` is the difference between the plan with the other direction pinned and this plan."""
    part = tune(lengths, repeat=repeat)
    plan = plan_bowing(part, CELLO, level="advanced", cells=12)
    stroke = plan.strokes[data.draw(st.integers(0, len(lengths) - 1))]
    pin = BowPin(note_id=stroke.id, direction="up" if stroke.direction == "down" else "down")
    assert replan_bowing(plan, [pin]).total_cost - plan.total_cost == pytest.approx(stroke.other_extra)


@settings(max_examples=25, deadline=None)
@given(LENGTHS)
def test_strokes_stay_on_the_bow_and_the_bow_follows_the_strokes(lengths: list[Fraction]) -> None:
    """Down-bows go towards the tip, up-bows towards the frog, and the hand goes on from where it is or lifts."""
    plan = plan_bowing(tune(lengths), CELLO, level="intermediate")
    for stroke in plan.strokes:
        assert 0 <= stroke.start <= 1
        assert 0 <= stroke.end <= 1
        assert stroke.end >= stroke.start if stroke.direction == "down" else stroke.end <= stroke.start
    for before, after in itertools.pairwise(plan.strokes):
        lifted = after.retake or after.reset
        assert lifted or before.end == after.start
        assert (after.direction == before.direction) == (after.retake or after.hook)
