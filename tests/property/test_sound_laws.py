"""Laws of timing and mixing that hold for any tune."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from made_tunes import demo_tune, small_tune
from partwright.errors import InputError
from partwright.instrument import load_instrument
from partwright.score import Part, tune_from_bytes
from partwright.sound import (
    MIXES,
    SAMPLE_RATE_HZ,
    Music,
    Order,
    Rung,
    Temperament,
    clicks,
    make_orders,
    make_timing,
    mix,
    order_timings,
    passage_of_bars,
    perform,
    plain_chords,
    read_pieces,
    render_stems,
    stereo_stems,
    timings_document,
    true_peak_dbtp,
)


def part_of(data: str | bytes) -> Part:
    raw = data.encode() if isinstance(data, str) else data
    return tune_from_bytes(raw, source=Path("tune.musicxml")).part


DEMO = part_of(demo_tune())
DIRECTION = "<direction><direction-type><words>{}</words></direction-type></direction>"
BAR = "D3:1 E3:1 F#3:1 G3:1"


@given(speed=st.floats(0.3, 2.5), count_in=st.integers(0, 2))
@settings(max_examples=25, deadline=None)
def test_time_runs_forward_and_both_ways(speed: float, count_in: int) -> None:
    timing = make_timing(DEMO, speed=speed, count_in_bars=count_in)
    starts = [bar.start_seconds for bar in timing.bars]
    assert starts == sorted(starts)
    assert starts[0] == pytest.approx(timing.count_in_seconds)
    for bar, following in zip(timing.bars, timing.bars[1:], strict=False):
        assert bar.end_seconds == pytest.approx(following.start_seconds)
    assert all(note.end_seconds > note.start_seconds for note in timing.notes)
    for seconds in np.linspace(timing.count_in_seconds, timing.seconds - 1e-6, 40):
        assert timing.seconds_at(timing.quarters_at(float(seconds))) == pytest.approx(float(seconds), abs=1e-6)
        bar = timing.bar_at(float(seconds))
        assert bar is not None
        assert bar.start_seconds - 1e-6 <= seconds <= bar.end_seconds + 1e-6


@given(speed=st.floats(0.3, 2.5))
@settings(max_examples=15, deadline=None)
def test_speed_scales_everything_alike(speed: float) -> None:
    plain, scaled = make_timing(DEMO), make_timing(DEMO, speed=speed)
    assert scaled.seconds == pytest.approx(plain.seconds / speed)
    for one, other in zip(plain.notes, scaled.notes, strict=True):
        assert other.start_seconds == pytest.approx(one.start_seconds / speed, abs=1e-6)


def test_without_changes_of_tempo_the_map_is_the_score_s_own_clock() -> None:
    part = part_of(small_tune(BAR, "A3:2 D3:2", tempo="90"))
    timing = make_timing(part)
    for timed, played in zip(timing.notes, part.played_notes, strict=True):
        assert timed.start_seconds == pytest.approx(played.onset_seconds)
        assert timed.end_seconds == pytest.approx(played.onset_seconds + played.duration_seconds)


def test_every_played_note_is_in_the_map_once_a_pass() -> None:
    timing = make_timing(DEMO)
    assert [note.id for note in timing.notes] == [DEMO.notes[i].id for i in DEMO.played_order()]
    assert len(timing.by_id["n1-1"]) == 2  # bar 1 is repeated


def test_the_count_in_leaves_out_what_the_pick_up_sounds() -> None:
    """Three-four with an upbeat of one beat: one bar is counted, then two beats, and the upbeat is the third."""
    timing = make_timing(DEMO, count_in_bars=1)
    counted = [beat for beat in timing.beats if beat.count_in]
    assert [(beat.beat, beat.strong) for beat in counted] == [
        (1, True), (2, False), (3, False), (1, True), (2, False),
    ]  # fmt: skip
    assert timing.count_in_seconds == pytest.approx(5 * 0.6)
    assert timing.notes[0].start_seconds == pytest.approx(3.0)
    first = next(beat for beat in timing.beats if not beat.count_in)
    assert (first.beat, first.strong) == (3, False)
    gaps = np.diff([beat.seconds for beat in timing.beats[:12]])
    assert np.allclose(gaps, 0.6)


def test_compound_metre_is_clicked_in_dotted_beats() -> None:
    part = part_of(small_tune("D3:3/2 E3:3/2", metre="6/8", tempo="60"))
    timing = make_timing(part, count_in_bars=1)
    assert [float(beat.seconds) for beat in timing.beats] == pytest.approx([0.0, 1.5, 3.0, 4.5])
    assert len(clicks(part, timing, subdivide=3)) == 4 + 2 * 2


def test_a_ritardando_slows_and_a_tempo_or_the_next_section_ends_it() -> None:
    plain = small_tune(BAR, BAR, BAR, tempo="60")
    slowing = plain.replace('<measure number="2">', '<measure number="2">' + DIRECTION.format("rit."))
    timing = make_timing(part_of(slowing))
    lengths = [bar.end_seconds - bar.start_seconds for bar in timing.bars]
    assert lengths[0] == pytest.approx(4.0)
    assert 4.0 < lengths[1] < lengths[2] < 4.0 / 0.74
    back = slowing.replace('<measure number="3">', '<measure number="3">' + DIRECTION.format("a tempo"))
    lengths = [bar.end_seconds - bar.start_seconds for bar in make_timing(part_of(back)).bars]
    assert lengths[1] > 4.4
    assert lengths[2] == pytest.approx(4.0)


def test_a_held_note_lasts_longer_in_time_only() -> None:
    timing = make_timing(DEMO)
    last = timing.notes[-1]
    assert last.end_seconds - last.start_seconds > 1.7 * 3 * 0.6


@pytest.mark.parametrize("qpm", [0.5, 5.0, 900.0])
def test_an_absurd_tempo_is_refused(qpm: float) -> None:
    with pytest.raises(InputError, match="cannot be played to"):
        make_timing(DEMO, tempo_qpm=qpm)


def test_a_missing_tempo_is_assumed_and_said() -> None:
    part = part_of(small_tune(BAR, tempo=""))
    assert make_timing(part).tempo_qpm == 96.0
    assert any("96" in remark for remark in part.remarks)


def test_grace_notes_come_out_of_the_time_before() -> None:
    grace = '<note><grace slash="yes"/><pitch><step>E</step><octave>3</octave></pitch><voice>1</voice></note>'
    text = small_tune("D3:2 F#3:2", tempo="60")
    second = text.index("<note>", text.index("<note>") + 1)
    timing = make_timing(part_of(text[:second] + grace + text[second:]))
    before, ornament, main = timing.notes
    assert before.end_seconds == pytest.approx(ornament.start_seconds)
    assert ornament.end_seconds == pytest.approx(main.start_seconds) == pytest.approx(2.0)
    first = text.index("<note>")
    ornament, main, _ = make_timing(part_of(text[:first] + grace + text[first:])).notes
    assert ornament.start_seconds == 0.0
    assert main.start_seconds == pytest.approx(ornament.end_seconds)


def test_a_passage_is_its_bars_and_starts_at_nought() -> None:
    span = passage_of_bars(DEMO, 11, 18)
    timing = make_timing(DEMO, passage=span)
    assert [bar.bar for bar in timing.bars] == [str(n) for n in range(11, 19)]
    assert timing.bars[0].start_seconds == 0.0
    with_repeat = make_timing(DEMO, passage=passage_of_bars(DEMO, 1, 10))
    assert with_repeat.bars[0].bar == "0"
    assert sum(bar.bar == "3" for bar in with_repeat.bars) == 2


def test_chords_are_struck_where_they_stand_and_carried_over_bar_lines() -> None:
    chords = plain_chords(DEMO, (0, len(DEMO.played_bars)))
    assert sum(chord.length_quarters for chord in chords) == Fraction(138)  # all but the upbeat
    assert chords[0].start_quarters == 1
    assert chords[0].bass_midi % 12 == 2
    for chord in chords:
        assert min(chord.chord_midi) >= 48 and max(chord.chord_midi) <= 76
        assert len(set(chord.chord_midi)) == len(chord.chord_midi)
    firsts = make_timing(DEMO, passage=passage_of_bars(DEMO, 18, 18))
    held = plain_chords(DEMO, passage_of_bars(DEMO, 18, 18))
    assert held and held[0].start_quarters == 0  # bar 18 has no symbol of its own: A7 goes on
    assert held[0].bass_midi % 12 == 9
    assert firsts.bars[0].bar == "18"


@pytest.fixture(scope="module")
def stems() -> dict[str, np.ndarray]:
    music = Music(part=DEMO, instrument=load_instrument("cello"))
    span = passage_of_bars(DEMO, 11, 14)
    return render_stems(music, make_timing(DEMO, count_in_bars=1, passage=span), passage=span)


def test_stems_have_one_length_and_one_beginning(stems: dict[str, np.ndarray]) -> None:
    assert set(stems) == {"guide", "accompaniment", "click"}
    assert len({len(samples) for samples in stems.values()}) == 1


@pytest.mark.parametrize("name", MIXES)
def test_stems_add_up_to_the_mix(stems: dict[str, np.ndarray], name: str) -> None:
    whole, parts = mix(stereo_stems(stems, name), SAMPLE_RATE_HZ)
    assert np.abs(sum(parts.values()) - whole.samples).max() < 1e-6
    assert whole.lufs == pytest.approx(-16.0, abs=0.2)
    assert whole.true_peak_dbtp <= -0.99
    assert ("guide" in parts) == (name != "without guide")


def test_split_mix_keeps_the_guide_on_its_side(stems: dict[str, np.ndarray]) -> None:
    _, parts = mix(stereo_stems(stems, "guide left"), SAMPLE_RATE_HZ)
    assert not parts["guide"][1].any()
    assert not parts["accompaniment"][0].any()


def test_the_same_order_gives_the_same_bytes_on_one_core_or_two(tmp_path: Path) -> None:
    """And written stems, read back, add up to the written mix within one step of 24 bits."""
    music = Music(part=DEMO, instrument=load_instrument("cello"))
    orders = [
        Order(
            music=music,
            title="Bars 11-12",
            files=(("with guide", f"mix-{i}.flac"),),
            stems=(("guide", f"guide-{i}.flac"), ("accompaniment", f"acc-{i}.flac"), ("click", f"click-{i}.flac")),
            rungs=(Rung(tempo_qpm=120.0 + i, percent=100.0),),
            passage=passage_of_bars(DEMO, 11, 12),
        )
        for i in range(2)
    ]
    one, two = make_orders(orders, workers=1), make_orders(orders, workers=2)
    assert [(f.name, f.data) for f in one] == [(f.name, f.data) for f in two]
    read = {}
    for file in one[:4]:
        (tmp_path / file.name).write_bytes(file.data)
        read[file.name] = np.concatenate(list(read_pieces(tmp_path / file.name)[1]), axis=1)
    total = read["guide-0.flac"] + read["acc-0.flac"] + read["click-0.flac"]
    assert np.abs(total - read["mix-0.flac"]).max() <= 2.5 / 2**23
    assert true_peak_dbtp(read["mix-0.flac"]) == pytest.approx(one[0].true_peak_dbtp, abs=0.01)


def test_a_ladder_goes_round_and_the_map_says_when() -> None:
    music = Music(part=part_of(small_tune(BAR, tempo="120")), instrument=load_instrument("cello"))
    order = Order(
        music=music,
        title="Drill",
        files=(("with guide", "drill.flac"),),
        rungs=(Rung(tempo_qpm=96, percent=80, times=2), Rung(tempo_qpm=120, percent=100, times=2)),
        wanted=("guide", "click"),
    )
    plays = order_timings(order)
    assert [round(timing.tempo_qpm) for _, timing in plays] == [96, 96, 120, 120]
    (file,) = make_orders([order])
    last, timing = plays[-1]
    assert file.seconds > last + timing.seconds
    gaps = np.diff([at for at, _ in plays])
    assert (gaps - [t.seconds for _, t in plays[:-1]] > 1.5).all()  # ringing off, and a breath
    document = timings_document([order])
    assert len(document["timings"]) == 2
    assert [play["timing"] for play in document["products"][0]["plays"]] == [0, 0, 1, 1]


def test_slurred_notes_are_one_run_and_bows_are_not() -> None:
    cello = load_instrument("cello")
    timing = make_timing(DEMO)
    runs = perform(DEMO, timing, Temperament(), instrument=cello)
    first = next(run for run in runs if run.notes[0].note_id == "n1-1")
    assert [note.note_id for note in first.notes] == ["n1-1", "n1-2"]
    sounded = [note.note_id for run in runs for note in run.notes]
    struck = [note.id for note in timing.notes if not note.tied]
    assert sorted(sounded) == sorted(struck)
