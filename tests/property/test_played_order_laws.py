"""Unfolding repeats: bars built from a plan of sections are played as the plan says, whatever the plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.errors import ScoreError
from partwright.score import Bar
from partwright.score.played_order import MAX_PLAYED_BARS, unfold_bars


@dataclass(frozen=True)
class Section:
    """Some bars, played `times` times; with endings, each ending is (bars, how many passes it takes)."""

    bars: int
    times: int = 1
    endings: tuple[tuple[int, int], ...] = ()


sections = st.one_of(
    st.builds(Section, bars=st.integers(1, 4)),
    st.builds(Section, bars=st.integers(1, 4), times=st.integers(2, 5)),
    st.builds(
        Section,
        bars=st.integers(1, 3),
        endings=st.lists(st.tuples(st.integers(1, 3), st.integers(1, 2)), min_size=2, max_size=4).map(tuple),
    ),
)


def plain(index: int) -> Bar:
    return Bar(
        index=index,
        number=str(index + 1),
        start_quarters=Fraction(4 * index),
        length_quarters=Fraction(4),
        nominal_quarters=Fraction(4),
        beats=4,
        beat_type=4,
    )


def written(plan: list[Section]) -> tuple[tuple[Bar, ...], list[int]]:
    """The bars of a plan with their signs, and by direct expansion the indices in the order they are played."""
    bars: list[Bar] = []
    order: list[int] = []

    def add(count: int) -> list[int]:
        indices = list(range(len(bars), len(bars) + count))
        bars.extend(plain(index) for index in indices)
        return indices

    for section in plan:
        body = add(section.bars)
        if section.times > 1 or section.endings:
            bars[body[0]] = replace(bars[body[0]], repeat_start=True)
        if not section.endings:
            if section.times > 1:
                bars[body[-1]] = replace(bars[body[-1]], repeat_end=True, repeat_times=section.times)
            order += body * section.times
            continue
        passes = 0
        for number, (length, taken) in enumerate(section.endings):
            last = number == len(section.endings) - 1
            taken = 1 if last else taken  # what follows the last ending is the piece itself
            ending = add(length)
            numbers = tuple(range(passes + 1, passes + taken + 1))
            for index in ending:
                bars[index] = replace(bars[index], endings=numbers)
            bars[ending[0]] = replace(bars[ending[0]], ending_starts=True)
            bars[ending[-1]] = replace(bars[ending[-1]], ending_stops=True, repeat_end=not last)
            order += (body + ending) * taken
            passes += taken
    return tuple(bars), order


@settings(max_examples=300, deadline=None)
@given(st.lists(sections, min_size=1, max_size=6))
def test_sections_are_played_as_planned(plan: list[Section]) -> None:
    bars, order = written(plan)
    assert [played.bar_index for played in unfold_bars(bars)] == order


signs = st.fixed_dictionaries(
    {
        "repeat_start": st.booleans(),
        "repeat_end": st.booleans(),
        "repeat_times": st.integers(2, 4),
        "repeat_after_jump": st.booleans(),
        "endings": st.sampled_from([(), (), (), (1,), (2,), (1, 2), (3,)]),
        "ending_starts": st.booleans(),
        "segno": st.booleans(),
        "coda": st.booleans(),
        "to_coda": st.booleans(),
        "fine": st.booleans(),
        "da_capo": st.booleans(),
        "dal_segno": st.booleans(),
        "jump_until": st.sampled_from(["", "fine", "coda"]),
    }
)


@settings(max_examples=500, deadline=None)
@given(st.lists(signs, min_size=1, max_size=12))
def test_any_heap_of_signs_ends(heap: list[dict[str, object]]) -> None:
    """However senseless the signs: it ends, time only moves forward, and passes are counted one by one."""
    bars = tuple(replace(plain(index), **sign) for index, sign in enumerate(heap))  # type: ignore[arg-type]
    try:
        played = unfold_bars(bars)
    except ScoreError:
        return
    assert len(played) <= MAX_PLAYED_BARS
    assert [p.start_quarters for p in played] == [4 * i for i in range(len(played))]
    seen: dict[int, int] = {}
    for one in played:
        seen[one.bar_index] = seen.get(one.bar_index, 0) + 1
        assert one.pass_number == seen[one.bar_index]
