"""Laws the instrument tables keep, whatever the numbers in them."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partwright.instrument import (
    THUMB,
    Instrument,
    Level,
    instrument_names,
    load_instrument,
    parse_tuning,
    stop_mm,
    with_levels,
)

INSTRUMENTS = {name: load_instrument(name) for name in instrument_names()}
any_instrument = st.sampled_from(sorted(INSTRUMENTS)).map(INSTRUMENTS.__getitem__)
lengths = st.floats(150, 1400)
places = st.integers(0, 47)


@given(lengths, places)
def test_a_higher_place_lies_nearer_the_bridge(length_mm: float, semitones: int) -> None:
    """Distances grow with the semitones, each step smaller than the one before, and never reach the bridge."""
    here, up, further = (stop_mm(length_mm, semitones + n) for n in range(3))
    assert 0 <= here < up < further < length_mm
    assert further - up < up - here


@given(lengths, places)
def test_an_octave_halves_what_is_left_of_the_string(length_mm: float, semitones: int) -> None:
    left = length_mm - stop_mm(length_mm, semitones)
    assert length_mm - stop_mm(length_mm, semitones + 12) == pytest.approx(left / 2)


@given(lengths, places, st.floats(0.3, 3))
def test_distances_scale_with_the_string(length_mm: float, semitones: int, factor: float) -> None:
    assert stop_mm(factor * length_mm, semitones) == pytest.approx(factor * stop_mm(length_mm, semitones))


@given(any_instrument, st.data())
def test_a_shape_spans_less_the_higher_it_lies(instrument: Instrument, data: st.DataObject) -> None:
    shape = data.draw(st.sampled_from(instrument.shapes))
    low, high = min(shape.offsets.values()), max(shape.offsets.values())
    spans = [
        instrument.stop_mm(f + high) - instrument.stop_mm(f + low) for f in range(shape.frame_min, shape.frame_max)
    ]
    assert spans == sorted(spans, reverse=True)


@given(any_instrument)
def test_strings_rise_and_fingers_keep_their_order(instrument: Instrument) -> None:
    assert [s.midi for s in instrument.strings] == sorted({s.midi for s in instrument.strings})
    for shape in instrument.shapes:
        hand = [shape.offsets[f] for f in (THUMB, 1, 2, 3, 4) if f in shape.offsets]
        assert hand == sorted(set(hand)), shape.name
        assert shape.frame_min + min(hand) >= 1


@given(any_instrument)
def test_a_level_may_do_what_the_level_below_may(instrument: Instrument) -> None:
    """Levels are listed from easy to hard and only ever add."""
    levels = list(instrument.levels.values())
    for easy, hard in pairwise(levels):
        assert set(easy.shapes) <= set(hard.shapes)
        assert easy.frame_max <= hard.frame_max
        assert hard.frame_min <= easy.frame_min
        assert easy.range_semitones[1] <= hard.range_semitones[1]
        assert easy.shift_semitones_max <= hard.shift_semitones_max
        assert easy.shift_seconds_min >= hard.shift_seconds_min
        assert set(easy.clefs) <= set(hard.clefs)
        assert set(easy.harmonic_partials) <= set(hard.harmonic_partials)


def sounding(instrument: Instrument, level: Level) -> set[int]:
    """MIDI numbers the level's fingers, open strings and harmonics sound."""
    above = {0} | {h.sounds_semitones for h in instrument.harmonics if h.partial in level.harmonic_partials}
    for name in level.shapes:
        shape = instrument.shape(name)
        low, high = shape.frame_min, shape.frame_max
        if shape.zone != "thumb":
            low, high = max(low, level.frame_min), min(high, level.frame_max)
        above |= {frame + offset for frame in range(low, high + 1) for offset in shape.offsets.values()}
    return {string.midi + semitones for string in instrument.strings for semitones in above}


@pytest.mark.parametrize("name", instrument_names())
def test_the_ends_of_a_levels_range_can_be_played(name: str) -> None:
    instrument = INSTRUMENTS[name]
    for level in instrument.levels.values():
        found = sounding(instrument, level)
        for end in level.range_semitones:
            assert instrument.strings[0].midi + end in found, (level.name, end)


@pytest.mark.parametrize("name", instrument_names())
def test_an_advanced_player_finds_every_semitone(name: str) -> None:
    """Easier levels may have gaps: a beginner's first position on the cello has no F#2, as no finger reaches it."""
    instrument = INSTRUMENTS[name]
    level = instrument.levels["advanced"]
    low, high = (instrument.strings[0].midi + end for end in level.range_semitones)
    assert set(range(low, high + 1)) <= sounding(instrument, level)


@given(any_instrument)
def test_sizes_are_ordered_and_the_table_names_its_own(instrument: Instrument) -> None:
    lengths_mm = [size.string_length_mm for size in instrument.sizes]
    assert lengths_mm == sorted(lengths_mm, reverse=True)
    assert len(set(lengths_mm)) == len(lengths_mm)
    (own,) = [size for size in instrument.sizes if size.name == instrument.size]
    assert (own.string_length_mm, own.bow_hair_mm) == (instrument.string_length_mm, instrument.bow_hair_mm)


@given(any_instrument, st.data())
def test_a_size_changes_lengths_and_nothing_else(instrument: Instrument, data: st.DataObject) -> None:
    size = data.draw(st.sampled_from(instrument.sizes))
    small = load_instrument(instrument.name, size=size.name)
    assert small.string_length_mm == size.string_length_mm
    assert small.stop_mm(7) == pytest.approx(
        size.string_length_mm * instrument.stop_mm(7) / instrument.string_length_mm
    )
    assert (small.strings, small.shapes, small.levels) == (instrument.strings, instrument.shapes, instrument.levels)


@given(any_instrument, st.lists(st.integers(-5, 5), min_size=4, max_size=4))
def test_a_tuning_written_out_reads_back(instrument: Instrument, steps: list[int]) -> None:
    wanted = [s.midi + step for s, step in zip(instrument.strings, steps, strict=True)]
    if wanted != sorted(set(wanted)):
        return
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    written = " ".join(f"{names[m % 12]}{m // 12 - 1}" for m in wanted)
    assert parse_tuning(written, instrument) == tuple(wanted)
    letters = " ".join(names[m % 12] for m in wanted)
    assert parse_tuning(letters, instrument) == tuple(wanted)


@given(any_instrument, st.data())
def test_levels_laid_over_themselves_change_nothing(instrument: Instrument, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(list(instrument.levels)))
    again = with_levels(instrument, f'[levels.{name}]\nsource = "{instrument.levels[name].source}"\n')
    assert again == instrument


@given(any_instrument, st.integers(1, 20))
def test_one_level_value_changes_alone(instrument: Instrument, semitones: int) -> None:
    changed = with_levels(instrument, f"[levels.advanced]\nshift_semitones_max = {semitones}\n")
    was, now = instrument.levels["advanced"], changed.levels["advanced"]
    assert now.shift_semitones_max == semitones
    assert (now.shapes, now.frame_min, now.frame_max, now.clefs) == (
        was.shapes,
        was.frame_min,
        was.frame_max,
        was.clefs,
    )
    assert changed.levels["beginner"] == instrument.levels["beginner"]
