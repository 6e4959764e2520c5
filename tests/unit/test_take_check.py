"""The take check on performances rendered by a voice that is not the guide's, each with slips that are known."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import take_sounds as ts
from made_tunes import demo_tune
from partwright.checking.take import (
    TakeCheck,
    add_row,
    check_take,
    earlier_takes,
    judging,
    log_row,
    read_log,
    recording_of,
    score_events,
    take_document,
    take_page,
)
from partwright.errors import AudioError
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.score import Part, tune_from_bytes
from partwright.sound import make_timing

AIR = b"X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=92\nK:Gm\nG,2 B, D | G3 F | E2 D C | D4 | F2 G A | B3 A | G2 ^F A | G4 |\n"
REPEATED = (
    b"X:1\nT:Twice\nM:3/4\nL:1/4\nQ:1/4=100\nK:D\n|: D F A | G2 E | C E G | F3 :|\nB G E | A2 F | E D C | D3 |]\n"
)


@cache
def air() -> Part:
    return tune_from_bytes(AIR, source=Path("air.abc")).part


@cache
def demo() -> Part:
    return tune_from_bytes(demo_tune(), source=Path("lantern.musicxml")).part


def events_of(part: Part):
    return score_events(part, make_timing(part))


def checked(part: Part, performance: ts.Performance, **voice: float) -> TakeCheck:
    return check_take(recording_of(ts.additive(performance, **voice).astype(np.float32), ts.RATE), part)


def verdicts(check: TakeCheck) -> dict[int, str]:
    return {n.event: n.kind for n in check.counted if n.kind}


def with_slip(part: Part, event: int, **change: object) -> ts.Performance:
    played = ts.perform(events_of(part), seed=1, cents_spread=0)
    notes = tuple(replace(n, **change) if n.event == event else n for n in played.notes)  # type: ignore[arg-type]
    return replace(played, notes=notes)


@pytest.mark.parametrize("step", [-2, 1])
def test_wrong_note_is_called_wrong_and_named(step: int) -> None:
    midi = events_of(air())[1].midis[0]  # no neighbour is a tone or a semitone away
    check = checked(air(), with_slip(air(), 1, midis=(midi + step,)))
    assert verdicts(check) == {1: "wrong note"}
    (note,) = (n for n in check.counted if n.event == 1)
    assert note.pitch == "wrong"
    assert note.cents == pytest.approx(100 * step, abs=8)


def test_missed_note_is_called_missed_and_its_neighbours_are_not() -> None:
    played = ts.perform(events_of(air()), seed=1, cents_spread=0)
    check = checked(air(), replace(played, notes=tuple(n for n in played.notes if n.event != 9)))
    assert verdicts(check) == {9: "missed"}


@pytest.mark.parametrize("cents", [-60, -15, 30])
def test_cents_are_measured_within_two_and_fifteen_are_noticed(cents: float) -> None:
    check = checked(air(), with_slip(air(), 9, cents=float(cents)))
    assert verdicts(check) == {9: "intonation"}
    (note,) = (n for n in check.counted if n.event == 9)
    assert note.cents == pytest.approx(cents, abs=2)
    assert note.pitch == ("wrong" if abs(cents) > 28 else "check")  # up to a comma temperaments differ


@pytest.mark.parametrize("cents", [-8, 8])
def test_less_than_listeners_notice_is_never_called_out_of_tune(cents: float, shared: Path) -> None:
    """The 10 cents are the shared reference table's: geometry.csv, row interval_jnd ("about", as read earlier)."""
    import csv

    rows = list(csv.reader((shared / "reference" / "geometry.csv").read_text(encoding="utf-8").splitlines()))
    known = next(float(row[2]) for row in rows if row[0] == "interval_jnd")
    assert judging()["pitch"]["just_noticeable_cents"] == known
    check = checked(air(), with_slip(air(), 9, cents=float(cents)))
    assert verdicts(check) == {}


def test_tuning_of_the_take_is_found_and_stated_and_nothing_is_out_of_it() -> None:
    for cents in (-40.0, 40.0):
        played = ts.perform(events_of(air()), seed=2, cents_spread=0)
        check = checked(air(), played, tuning_cents=cents)
        assert 1200 * np.log2(check.reference_hz / 440) == pytest.approx(cents, abs=1.5)
        assert verdicts(check) == {}


def test_vibrato_is_measured_and_is_no_error() -> None:
    played = ts.perform(events_of(air()), seed=2, cents_spread=0)
    check = checked(air(), played, vibrato_cents=28.0)
    assert verdicts(check) == {}
    held = [n for n in check.counted if n.end_s - n.time_s > 1.0]
    assert len([n for n in held if n.vibrato is not None]) >= 0.8 * len(held)
    for note in held:
        if note.vibrato is not None:
            assert 4.5 < note.vibrato.rate_hz < 6.5  # the voice's own rates
            assert 18 < note.vibrato.half_width_cents < 32


def test_late_note_is_noticed_and_rubato_is_not() -> None:
    played = ts.perform(events_of(demo()), seed=3, last=40, rubato=0.1)
    notes = tuple(
        replace(n, onset_s=n.onset_s + 0.2, seconds=n.seconds - 0.2) if n.event == 18 else n for n in played.notes
    )
    check = checked(demo(), replace(played, notes=notes))
    assert [n.event for n in check.counted if n.timing == "check"] == [18]
    (late,) = (n.late_s for n in check.counted if n.event == 18)
    assert late == pytest.approx(0.2, abs=0.05)


def test_note_that_falls_silent_early_is_noticed() -> None:
    played = with_slip(air(), 9, seconds=0.4)
    assert events_of(air())[9].seconds > 1.2  # a half note
    check = checked(air(), played)
    assert [(f.kind, f.verdict) for f in check.findings] == [("length", "check")]
    assert [n.event for n in check.counted if n.cut_short] == [9]


def test_onsets_are_within_25_ms_of_what_was_asked() -> None:
    played = ts.perform(events_of(demo()), seed=4, drift=0.12)
    check = checked(demo(), played)
    truth = {n.event: n.onset_s for n in played.notes}
    errors = [abs(n.time_s - truth[n.event]) for n in check.counted if n.event in truth]
    assert len(errors) > 100
    assert np.median(errors) < 0.02
    assert np.percentile(errors, 95) < 0.05


def test_a_passage_begun_again_is_told_and_the_last_time_counts() -> None:
    played = ts.perform(events_of(demo()), seed=5, first=26, last=70, restart_after=40, restart_from=33)
    check = checked(demo(), played)
    assert [f.kind for f in check.findings] == ["played again"]
    counted = [n.event for n in check.counted if n.event >= 0]
    assert sorted(set(counted)) == list(range(26, 71))
    assert len(counted) == len(set(counted)) + sum(len(e.midis) - 1 for e in events_of(demo())[26:71])


@pytest.mark.parametrize("taken", [True, False])
def test_repeats_may_be_taken_or_not(taken: bool) -> None:
    part = tune_from_bytes(REPEATED, source=Path("twice.abc")).part
    events = events_of(part)
    played = ts.perform(events, seed=6)
    if not taken:
        second = [e.index for e in events if e.pass_number == 2]
        gap = events[second[-1] + 1].start_s - events[second[0]].start_s
        notes = tuple(
            replace(n, onset_s=n.onset_s - (gap if n.event > second[-1] else 0))
            for n in played.notes
            if n.event not in second
        )
        played = replace(played, notes=notes, seconds=played.seconds - gap)
    check = checked(part, played)
    assert check.findings == ()
    assert len(check.counted) == len(played.notes)


def test_talk_before_and_after_is_not_music() -> None:
    played = ts.perform(events_of(demo()), seed=7, last=50)
    sound = ts.additive(played)
    level = 0.6 * float(np.sqrt(np.mean(sound**2)))
    both = np.concatenate([ts.talk(5, seed=1, level=level), sound, ts.talk(5, seed=2, level=level)])
    check = check_take(recording_of(both.astype(np.float32), ts.RATE), demo())
    assert check.starts_s == pytest.approx(5.5, abs=0.3)
    assert verdicts(check) == {}


@pytest.mark.parametrize("steps", [12, -1])
def test_transposed_take_is_told_once_and_judged(steps: int) -> None:
    played = ts.perform(events_of(air()), seed=8)
    moved = replace(played, notes=tuple(replace(n, midis=tuple(m + steps for m in n.midis)) for n in played.notes))
    check = checked(air(), moved)
    assert check.shift_semitones == steps
    assert sum("than the score throughout" in r for r in check.remarks) == 1
    assert verdicts(check) == {}


def test_another_tune_is_refused_with_the_evidence() -> None:
    played = ts.perform(events_of(air()), seed=9)
    with pytest.raises(AudioError, match="does not match this score: the best that was found is"):
        checked(demo(), played)
    played = ts.perform(events_of(demo()), seed=9, last=45)
    with pytest.raises(AudioError, match="does not match this score"):
        checked(air(), played)


def test_talk_and_noise_alone_are_refused() -> None:
    rng = np.random.default_rng(1)
    for sound in (ts.talk(12), 0.1 * rng.standard_normal(8 * ts.RATE)):
        with pytest.raises(AudioError, match="none of its notes is heard in order"):
            check_take(recording_of(sound.astype(np.float32), ts.RATE), demo())


def test_short_notes_are_not_judged_for_pitch_and_say_why() -> None:
    quick = b"X:1\nT:Quick\nM:4/4\nL:1/16\nQ:1/4=112\nK:D\nDEFG ABcd dcBA GFED|D4 F4 A4 d4|DEFG ABcd dcBA GFED|D16|\n"
    part = tune_from_bytes(quick, source=Path("quick.abc")).part
    check = checked(part, ts.perform(events_of(part), seed=2))
    short = [n for n in check.counted if n.end_s - n.time_s < 0.19]
    assert len(short) > 20
    assert {n.pitch for n in short} == {"not judged"}
    assert all(n.why_not for n in check.counted if n.pitch == "not judged")


def test_double_stops_are_judged_each_note_for_itself() -> None:
    chords = b"X:1\nT:Two\nM:4/4\nL:1/2\nQ:1/4=80\nK:D\nD F|A d|[DA]2|[GB]2|[EG]2|[DF]2|A F|D2|\n"
    part = tune_from_bytes(chords, source=Path("two.abc")).part
    played = ts.perform(events_of(part), seed=2, cents_spread=0)
    check = checked(part, played, vibrato_cents=0)
    double = [n for n in check.counted if len([m for m in check.counted if m.event == n.event]) > 1]
    assert len(double) == 8
    judged = [n for n in double if n.pitch != "not judged"]
    assert len(judged) >= 6
    assert all(abs(n.cents or 0) < 5 and n.pitch == "right" for n in judged)


def test_habit_of_one_finger_is_found_from_the_plan() -> None:
    part = demo()
    cello = load_instrument("cello")
    plan = plan_fingering(part, cello, level="intermediate")
    ids = {
        n.note_id for n in plan.notes
        if n.placement.finger == 1 and n.placement.semitones == 2 and n.placement.string == 2
    }  # fmt: skip
    events = events_of(part)
    played = ts.perform(events, seed=3, cents_spread=2)
    notes = tuple(
        replace(n, cents=n.cents - 17)
        if len(events[n.event].note_ids) == 1 and events[n.event].note_ids[0] in ids
        else n
        for n in played.notes
    )
    sound = ts.additive(replace(played, notes=notes)).astype(np.float32)
    check = check_take(recording_of(sound, ts.RATE), part, instrument=cello, plan=plan)
    assert check.habits
    assert check.habits[0].finger == "first finger"
    assert check.habits[0].cents == pytest.approx(-17, abs=4)
    assert "flat" in check.habits[0].words


def test_natural_harmonic_is_judged_by_its_own_pitch() -> None:
    """The fifth partial lies 14 cents below the tempered third (harmonics.csv of the reference tables): no error."""
    from partwright.checking.take.judge import _harmonic_offsets
    from partwright.fingering import FingeredNote, FingeringPlan, Placement

    place = Placement(string=0, semitones=4, finger=1, frame=2, shape="closed", zone="neck", harmonic=5)
    plan = FingeringPlan(notes=(FingeredNote(note_id="n1", placement=place),), total_cost=0, level="advanced")
    assert _harmonic_offsets(air(), plan)["n1"] == pytest.approx(-13.7, abs=0.1)


def test_three_sentences_two_spots_and_a_page_that_carries_everything() -> None:
    played = ts.perform(events_of(demo()), seed=11, wrong=3, missed=2, cents=5)
    check = checked(demo(), played)
    assert len(check.sentences) == 3
    assert len(check.spots) == 2
    page = take_page("Waltz <script>", check, earlier=())
    assert "<script" not in page
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert "not a judge of music" in page
    for words in ("sharp", "flat", "missed", "another note", "in tune", "not judged"):
        assert words in page
    assert page.count("<svg") == 2 * page.count('class="system"')
    assert "@@" not in page


def test_document_has_the_promised_fields() -> None:
    check = checked(air(), with_slip(air(), 9, cents=40.0))
    document = json.loads(json.dumps(take_document(check), allow_nan=False))
    (finding,) = document["findings"]
    assert {"kind", "time_s", "bar", "beat", "played", "right", "verdict", "against", "confidence", "why"} <= set(
        finding
    )
    assert finding["verdict"] == "wrong"
    assert len(document["notes"]) == len(air().notes)
    assert document["take"]["reference_hz"] == pytest.approx(440, abs=1)


def test_practice_log_keeps_damaged_lines_and_adds_a_take_once(tmp_path: Path) -> None:
    check = checked(air(), ts.perform(events_of(air()), seed=1))
    path = tmp_path / "practice-log.jsonl"
    path.write_bytes(b'{"what": "by hand"}\nnot json at all')
    row = log_row(check, when="2030-01-01T10:00:00+00:00", score="Air")
    assert add_row(path, row)
    assert not add_row(path, row)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[:2] == ['{"what": "by hand"}', "not json at all"]
    assert json.loads(lines[2]) == row
    order = {bar.number: bar.index for bar in air().bars}
    rows = read_log(path)
    assert earlier_takes(rows, bars=check.covered, name="another.wav", order=order) == (row,)
    assert earlier_takes(rows, bars=check.covered, name=check.name, order=order) == ()
    assert earlier_takes(rows, bars=(("8", "8"),), name="another.wav", order=order) == ()
