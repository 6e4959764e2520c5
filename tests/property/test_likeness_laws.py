"""Laws of repeats and differences: the suffix structure is exact, and what is planted is found, and nothing else."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from made_parts import part_of
from partwright.lesson import Bars, Likeness, find_likenesses
from partwright.lesson.suffixes import earlier_matches, longest_earlier
from partwright.score import Part

Row = tuple[tuple[int, Fraction], ...]
BAR = Fraction(4)


def _brute(tokens: list[int]) -> tuple[list[int], list[int]]:
    """By trying everything: the longest stretch ending at each place that stood whole earlier, and where first."""
    lengths, ends = [], []
    for end in range(len(tokens)):
        best, first = 0, -1
        for length in range(1, end + 1):
            for f in range(length - 1, end - length + 1):
                if tokens[f - length + 1 : f + 1] == tokens[end - length + 1 : end + 1]:
                    best, first = length, f
                    break
        lengths.append(best)
        ends.append(first)
    return lengths, ends


@given(st.lists(st.integers(0, 2), max_size=22))
@settings(max_examples=300, deadline=None)
def test_longest_earlier_stretch_is_that_of_brute_force(tokens: list[int]) -> None:
    assert longest_earlier(tokens) == _brute(tokens)


@given(st.lists(st.integers(0, 1), max_size=26), st.integers(2, 5))
@settings(max_examples=150, deadline=None)
def test_matches_are_true_do_not_overlap_and_cannot_be_longer(tokens: list[int], least: int) -> None:
    for first, earlier, length in earlier_matches(tokens, least=least):
        assert length >= least
        assert earlier + length <= first
        assert tokens[first : first + length] == tokens[earlier : earlier + length]
        stretch = tokens[first : first + length + 1]
        again = [k for k in range(first - length) if tokens[k : k + length + 1] == stretch]
        assert not (len(stretch) == length + 1 and again)


def _part(rows: list[Row]) -> Part:
    """A part of 4/4 bars, each a row of (MIDI, quarters)."""
    return part_of([m for row in rows for m, _ in row], quarters=[q for row in rows for _, q in row])


@st.composite
def rows(draw: st.DrawFn, count: int) -> list[Row]:
    """Bars that have nothing to do with each other: each has its own rhythm or a melody of its own."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    seen: set[tuple[int, ...]] = set()
    found: list[Row] = []
    while len(found) < count:
        size = int(random.integers(4, 8))
        cuts = sorted(random.choice(np.arange(1, 16), size=size - 1, replace=False).tolist())
        lengths = [Fraction(b - a, 4) for a, b in zip([0, *cuts], [*cuts, 16], strict=True)]
        pitches = random.integers(40, 75, size=size).tolist()
        steps = tuple(int(b - a) for a, b in pairwise(pitches))
        if any(steps[k : k + 3] in seen for k in range(len(steps) - 2)):
            continue
        seen |= {steps[k : k + 3] for k in range(len(steps) - 2)}
        found.append(tuple((int(p), q) for p, q in zip(pitches, lengths, strict=True)))
    return found


def _moved(block: list[Row], semitones: int) -> list[Row]:
    return [tuple((m + semitones, q) for m, q in row) for row in block]


@given(rows(14), st.integers(2, 5), st.sampled_from([0, 2, -5, 12]), st.booleans(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_planted_return_is_found_with_its_differences_and_nothing_else(
    made: list[Row], length: int, semitones: int, changes: bool, random: object
) -> None:
    first = random.randrange(0, 5)  # type: ignore[attr-defined]
    block = _moved(made[first : first + length], semitones)
    changed: tuple[int, int] | None = None
    if changes:
        bar = random.randrange(length)  # type: ignore[attr-defined]
        note = random.randrange(len(block[bar]))  # type: ignore[attr-defined]
        row = list(block[bar])
        row[note] = (row[note][0] + 1, row[note][1])
        block[bar] = tuple(row)
        changed = (bar, note)
    at = 10
    part = _part([*made[:at], *block, *made[at:]])
    found = find_likenesses(part)
    assert len(found) == 1, found
    (one,) = found
    assert (one.of, one.at) == ((first, first + length - 1), (at, at + length - 1))
    assert one.semitones == semitones
    assert one.kind == ("near" if changed else "transposed" if semitones else "exact")
    if changed is not None:
        (difference,) = one.differences
        bars = Bars(part)
        event = bars.by_bar[at + changed[0]][changed[1]]
        assert difference.note_ids == event.note_ids
        assert (difference.bar, difference.beat, difference.what) == (str(at + changed[0] + 1), event.beat, "pitch")
        assert difference.now == part.by_id[event.note_ids[0]].pitch.name


@given(rows(6), st.lists(st.integers(0, 5), min_size=2, max_size=12))
@settings(max_examples=60, deadline=None)
def test_every_two_bars_that_return_are_told_of(made: list[Row], order: list[int]) -> None:
    """Brute force over all pairs of two-bar windows: where the later one stood before, some of it is in a likeness."""
    part = _part([made[k] for k in order])
    told = {bar for one in find_likenesses(part) for bar in range(one.at[0], one.at[1] + 1)}
    for later in range(len(order) - 1):
        for earlier in range(later - 1):
            if order[earlier : earlier + 2] == order[later : later + 2]:
                assert told & {later, later + 1}, (order, later)


@given(rows(5), st.lists(st.integers(0, 4), min_size=2, max_size=10), st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_differences_turn_the_earlier_bars_into_the_later_ones(made: list[Row], order: list[int], seed: int) -> None:
    """Whatever is reported is true: the earlier bars, moved, with the differences put in, are the later bars."""
    random = np.random.default_rng(seed)
    played = []
    for k in order:
        row = [list(cell) for cell in made[k]]
        if random.random() < 0.4:
            row[int(random.integers(len(row)))][0] += int(random.integers(1, 4))  # type: ignore[operator]
        played.append(tuple((int(m), Fraction(q)) for m, q in row))
    part = _part(played)
    bars = Bars(part)
    for one in find_likenesses(part):
        assert one.of[1] < one.at[0]
        _check_true(part, bars, one)


def _check_true(part: Part, bars: Bars, one: Likeness) -> None:
    told = {note_id for d in one.differences for note_id in (*d.note_ids, *d.like_ids)}
    apart = one.at[0] - one.of[0]
    for bar in range(one.at[0], one.at[1] + 1):
        now = {e.offset_quarters: e for e in bars.by_bar[bar]}
        was = {e.offset_quarters: e for e in bars.by_bar[bar - apart]}
        for offset in now.keys() | was.keys():
            a, b = was.get(offset), now.get(offset)
            same = (
                a is not None
                and b is not None
                and tuple(m + one.semitones for m in a.midi) == b.midi
                and a.duration_quarters == b.duration_quarters
            )
            ids = {*(a.note_ids if a else ()), *(b.note_ids if b else ())}
            assert same == (not ids & told)
    assert (one.kind == "near") == bool(one.differences)


def test_one_bar_over_and_over_is_told_in_few_words() -> None:
    """Halves of halves, not every pair: the number of returns grows with the logarithm of the length."""
    part = _part([((50, Fraction(1)), (52, Fraction(1)), (54, Fraction(2)))] * 256)
    found = find_likenesses(part)
    assert len(found) <= 12
    assert all(one.kind == "exact" for one in found)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_parts_too_short_to_return_have_no_likeness(count: int) -> None:
    part = _part([((50, Fraction(1)), (52, Fraction(3)))] * max(1, count))
    assert find_likenesses(part) == ()
