"""The bow's edges: pins that contradict each other, slurs without end or across repeats, notes too long for a bow,
signs on the page, levels, suggestions, the picture, fingers and bow together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from made_parts import part_of
from made_scores import bar, note, score
from partwright.bowing import (
    BowPin,
    bow_level,
    bow_picture_svg,
    bow_weights,
    bowing_document,
    bowing_marks,
    explain_stroke,
    is_bow_pin,
    parse_bow_pin,
    plan_bowing,
    plan_together,
    replan_bowing,
    strokes_at,
)
from partwright.errors import InputError, PinConflict
from partwright.instrument import load_instrument
from partwright.score import Part, TempoMark, tune_from_bytes

CELLO = load_instrument("cello")
EIGHTH, QUARTER = Fraction(1, 2), Fraction(1)
SCALE = [48, 50, 52, 53, 55, 57, 59, 60]
LEVELS = ("beginner", "intermediate", "advanced")


def read(*bars: str) -> Part:
    return tune_from_bytes(score(*bars).encode(), source=Path("made.musicxml")).part


def signed(pitch: str, sign: str = "", *, length: int = 4, slur: str = "") -> str:
    technical = f"<technical><{sign}-bow/></technical>" if sign else ""
    slurs = f'<slur type="{slur}" number="1"/>' if slur else ""
    tail = f"<notations>{slurs}{technical}</notations>" if technical or slurs else ""
    return note(pitch, length, tail=tail)


TUNES: Sequence[Part] = (
    part_of(SCALE * 4, quarters=EIGHTH),
    part_of(SCALE * 2, quarters=[Fraction(3, 2), EIGHTH, QUARTER, QUARTER] * 4),
    part_of(SCALE * 3, quarters=[2, 1, 1, 1, 1, 1, 1] * 3 + [4, 4, 4], slurred={1, 2, 8, 9, 15}, repeated=True),
    part_of([50, 57, 50, 57, None, 55, 53, 52] * 4, quarters=EIGHTH, tempo_qpm=132),
    part_of(SCALE * 4, quarters=Fraction(1, 4), tempo_qpm=72, slurred={0, 1, 2, 8, 9, 10, 16, 17}),
    part_of([48, 50, 52] * 8, quarters=[1, EIGHTH, Fraction(3, 2)] * 8, bar_quarters=3, tempo_qpm=120),
)


def test_contradictory_pins_name_both_places() -> None:
    """Two pins under one slur: the message names both notes."""
    part = part_of(SCALE, quarters=QUARTER, slurred={0, 1, 2})
    pins = [BowPin(note_id="n0", direction="down"), BowPin(note_id="n3", direction="up", origin="lesson")]
    with pytest.raises(PinConflict) as caught:
        plan_bowing(part, CELLO, level="advanced", pins=pins)
    assert "bar 1, beat 4" in str(caught.value)
    assert "bar 1, beat 1" in str(caught.value)
    assert "lesson.toml" in str(caught.value)


def test_a_pin_against_a_printed_sign_says_so() -> None:
    """A pin the other way from a sign in the source: nothing is dropped silently; ignoring the signs lets it stand."""
    part = read(bar([signed("D3", "down"), signed("E3"), signed("F3"), signed("G3")]))
    pins = [BowPin(note_id=part.notes[0].id, direction="up")]
    with pytest.raises(PinConflict, match="mark in the source"):
        plan_bowing(part, CELLO, level="advanced", pins=pins)
    plan = plan_bowing(part, CELLO, level="advanced", pins=pins, keep_source_marks=False)
    assert plan.strokes[0].direction == "up"


def test_opposite_signs_in_one_chord_are_a_conflict() -> None:
    """Two opposite marks on one stroke, here on two notes of a chord."""
    part = part_of([(48, 55), 50], quarters=2)
    notes = (replace(part.notes[0], bow="down"), replace(part.notes[1], bow="up"), *part.notes[2:])
    with pytest.raises(PinConflict, match="bar 1, beat 1"):
        plan_bowing(replace(part, notes=notes), CELLO, level="advanced")


def test_a_retake_between_opposite_pins_is_a_conflict() -> None:
    """A retake repeats a direction; pins that say otherwise are named."""
    part = part_of(SCALE, quarters=QUARTER)
    pins = [
        BowPin(note_id="n2", direction="down"),
        BowPin(note_id="n3", direction="up"),
        BowPin(note_id="n3", retake=True),
    ]
    with pytest.raises(PinConflict, match=r"bar 1, beat 3.*pinned down"):
        plan_bowing(part, CELLO, level="advanced", pins=pins)


def test_two_repeated_notes_both_down() -> None:
    """The evening's pin: two repeated notes both down-bow; the rest alternates around them."""
    part = part_of([55, 55, 57, 59, 60, 59, 57, 55], quarters=QUARTER, repeated=True)
    pins = [BowPin(note_id="n0", direction="down"), BowPin(note_id="n1", direction="down")]
    plan = plan_bowing(part, CELLO, level="intermediate", pins=pins)
    assert [stroke.direction for stroke in plan.strokes[:3]] == ["down", "down", "up"]
    assert plan.strokes[1].retake or plan.strokes[1].hook
    # At the repeat the bow comes out right, or the sign that sets it right is printed.
    first, last = plan.strokes[0], plan.strokes[-1]
    signs = {mark.note_id for mark in bowing_marks(part, plan)}  # type: ignore[union-attr]
    assert last.direction != first.direction or first.id in signs
    assert {"n0", "n1"} <= signs


def test_a_sign_stands_wherever_the_player_would_otherwise_go_wrong() -> None:
    """A player who alternates except at printed signs and fresh starts plays the plan, repeats included."""
    for part in TUNES:
        for level in LEVELS:
            plan = plan_bowing(part, CELLO, level=level)
            signs = {mark.note_id for mark in bowing_marks(part, plan)}  # type: ignore[union-attr]
            for before, after in pairwise(plan.strokes):
                assert after.direction != before.direction or after.id in signs
            assert plan.problem is not None
            for join in plan.problem.strokes.joins:
                before, after = plan.strokes[join.before], plan.strokes[join.after]
                assert after.direction != before.direction or after.id in signs


def test_marks_every_needed_none() -> None:
    """Every: one sign a stroke. None: no sign."""
    part = part_of(SCALE * 2, quarters=QUARTER, slurred={1, 2})
    plan = plan_bowing(part, CELLO, level="advanced")
    assert len(bowing_marks(part, plan, marks="every")) == len(plan.strokes)
    assert bowing_marks(part, plan, marks="none") == ()
    assert 1 <= len(bowing_marks(part, plan)) < len(plan.strokes)


def test_halving_the_cell_of_the_bow_changes_no_decision() -> None:
    """24 cells decide what 48 decide: directions, retakes, hooks."""
    for part in TUNES:
        for level in LEVELS:
            coarse, fine = (plan_bowing(part, CELLO, level=level, cells=cells) for cells in (24, 48))
            for one, two in zip(coarse.strokes, fine.strokes, strict=True):
                assert (one.direction, one.retake, one.hook) == (two.direction, two.retake, two.hook)


def test_levels_differ_as_the_table_says() -> None:
    """Beginners draw longer bows and never hook where others may; common practice, no source."""
    part = part_of(SCALE * 2, quarters=QUARTER, tempo_qpm=100)
    used = {
        level: np.mean([abs(s.end - s.start) for s in plan_bowing(part, CELLO, level=level).strokes])
        for level in LEVELS
    }
    assert used["beginner"] > used["intermediate"] >= used["advanced"]
    for tune in TUNES:
        assert not any(stroke.hook for stroke in plan_bowing(tune, CELLO, level="beginner").strokes)


def test_unknown_levels_and_terms_name_the_nearest() -> None:
    """Bad names are answered with the nearest known one."""
    with pytest.raises(InputError, match="intermediate"):
        bow_level("intermediat")
    with pytest.raises(InputError, match="retake"):
        bow_weights(bow_level("advanced"), {"retakes": 1.0})


def test_a_slur_that_never_ends_is_remarked_and_no_note_is_lost() -> None:
    """Bar and beat are named; the notes are bowed as if the slur were not there."""
    part = read(bar([signed("D3", slur="start"), signed("E3"), signed("F3"), signed("G3")]))
    plan = plan_bowing(part, CELLO, level="advanced")
    assert len(plan.strokes) == 4
    assert any("bar 1" in text and "never ends" in text for text in part.remarks)
    # The same where a part is given that still carries the loose slur.
    loose = (replace(part.notes[0], slur_starts=("slur1",), slurred_to_next=True), *part.notes[1:])
    plan = plan_bowing(replace(part, notes=loose), CELLO, level="advanced")
    assert len(plan.strokes) == 4
    assert any("bar 1, beat 1" in text and "never ends" in text for text in plan.remarks)


def test_a_slur_across_a_repeat_bar_is_cut_and_remarked() -> None:
    """The note after the repeat bar is struck anew; bar and beat are named."""
    repeat = '<repeat direction="backward"/>'
    part = read(
        bar([signed("D3"), signed("E3"), signed("F3"), signed("G3", slur="start")], right=repeat),
        bar([signed("A3", slur="stop"), signed("G3"), signed("F3"), signed("E3")]),
    )
    plan = plan_bowing(part, CELLO, level="advanced")
    assert len(plan.strokes) == 8
    assert any("bar 2, beat 1" in text and "repeat" in text for text in plan.remarks)


def test_a_note_longer_than_any_bow_says_where_to_change() -> None:
    """Eight slow bars of one tied note: the remark says how long a bow lasts and where to change."""
    part = part_of([50], quarters=16, tempo_qpm=30)
    plan = plan_bowing(part, CELLO, level="beginner")
    found = [text for text in plan.remarks if "longer than one bow" in text]
    assert found
    assert re.search(r"Change bow at bar \d+, beat \d+", found[0])


def test_an_assumed_tempo_is_stated() -> None:
    """No tempo given: the plan says which it took."""
    part = part_of(SCALE, quarters=QUARTER)
    assumed = TempoMark(onset_quarters=Fraction(0), tempo_qpm=96.0, source="assumed")
    plan = plan_bowing(replace(part, tempo_marks=(assumed,)), CELLO, level="advanced")
    assert any("no tempo is given" in text and "96" in text for text in plan.remarks)


def test_empty_and_plucked_parts() -> None:
    """A part without a bowed note has no stroke; plucked notes are left out and the bow is free after them."""
    part = part_of(SCALE, quarters=QUARTER)
    plucked = tuple(replace(n, pizzicato=n.index < 4) for n in part.notes)
    plan = plan_bowing(replace(part, notes=plucked), CELLO, level="advanced")
    assert [stroke.id for stroke in plan.strokes] == ["n4", "n5", "n6", "n7"]
    assert plan.strokes[0].direction == "down"
    with pytest.raises(PinConflict, match="plucked"):
        plan_bowing(replace(part, notes=plucked), CELLO, level="advanced", pins=[BowPin(note_id="n0", direction="up")])
    silent = plan_bowing(
        replace(part, notes=tuple(replace(n, pizzicato=True) for n in part.notes)), CELLO, level="advanced"
    )
    assert silent.strokes == ()
    assert silent.total_cost == 0


def test_tremolo_leaves_the_bow_free() -> None:
    """After an unmeasured tremolo either direction follows at no price; measured tremolo counts its strokes."""
    part = part_of([50, 52, 53, 55], quarters=QUARTER)
    shaken = replace(part, notes=(replace(part.notes[0], tremolo=3), *part.notes[1:]))
    plan = plan_bowing(shaken, CELLO, level="advanced")
    assert plan.strokes[0].kind == "tremolo"
    assert plan.strokes[1].direction == plan.strokes[3].direction == "down" or plan.strokes[2].direction == "down"
    measured = replace(part, notes=(replace(part.notes[0], tremolo=1), *part.notes[1:]))
    plan = plan_bowing(measured, CELLO, level="advanced")
    assert plan.strokes[0].kind == "measured tremolo"
    # Two quavers on the first beat, down and up: the next stroke is a down-bow again.
    assert [stroke.direction for stroke in plan.strokes[:2]] == ["down", "down"]


def test_explanation_prices_the_other_direction_exactly() -> None:
    """What `explain_stroke` says the other direction costs is what pinning it costs, and the terms add up to it."""
    for part in TUNES:
        plan = plan_bowing(part, CELLO, level="intermediate")
        for stroke in plan.strokes[:6]:
            told = explain_stroke(plan, stroke.id)
            pinned = replan_bowing(plan, [BowPin(note_id=stroke.id, direction=told.other.direction)])
            assert told.other.extra_cost == pytest.approx(pinned.total_cost - plan.total_cost)
            assert told.other.extra_cost == pytest.approx(stroke.other_extra)
            assert sum(item.value for item in told.other.why) == pytest.approx(told.other.extra_cost, abs=0.06)
            assert sum(item.value for item in told.why) == pytest.approx(stroke.cost, abs=0.06)


def test_explaining_nothing_says_what_to_do() -> None:
    """Bars that are not there and beats where nothing is bowed."""
    plan = plan_bowing(part_of(SCALE, quarters=QUARTER), CELLO, level="advanced")
    with pytest.raises(InputError, match="there is no bar 99"):
        strokes_at(plan, "99")
    with pytest.raises(InputError, match="nothing is bowed"):
        strokes_at(plan, "1", Fraction(7, 3))
    assert [stroke.id for stroke in strokes_at(plan, "1", Fraction(2))] == ["n1"]


def test_bow_pins_are_read_and_refused_in_words() -> None:
    """BAR:BEAT=down|up|retake; everything else is refused with what to write."""
    part = part_of(SCALE, quarters=QUARTER)
    assert parse_bow_pin("2:1=down", part) == BowPin(note_id="n4", direction="down")
    assert parse_bow_pin(" 1:2 = Up-bow ", part) == BowPin(note_id="n1", direction="up")
    assert parse_bow_pin("2:3=retake", part) == BowPin(note_id="n6", retake=True)
    assert [is_bow_pin(text) for text in ("1:1=down", "1:1=3/D", "1:1=1", "x")] == [True, False, False, False]
    for text in ("1:1=sideways", "9:1=down", "1:1+1/2=up", "1:0/0=up", "nonsense"):
        with pytest.raises(InputError):
            parse_bow_pin(text, part)


def test_suggested_slurs_save_what_they_say_and_change_nothing() -> None:
    """A suggestion's price is the difference of the two plans; the plan itself is the one without it."""
    found = 0
    for part in TUNES:
        plain = plan_bowing(part, CELLO, level="intermediate")
        plan = plan_bowing(part, CELLO, level="intermediate", may_slur=True)
        assert plan.strokes == plain.strokes
        assert plain.suggestions == ()
        for suggestion in plan.suggestions:
            taken = plan_bowing(part, CELLO, level="intermediate", with_slurs=[suggestion])
            assert plan.total_cost - taken.total_cost == pytest.approx(suggestion.saves)
            found += 1
    assert found


def test_the_picture_is_svg_with_every_stroke_in_it() -> None:
    """Well-formed, one path a stroke, frog and tip named, nothing but ink, paper and accent."""
    for part in TUNES:
        plan = plan_bowing(part, CELLO, level="intermediate")
        text = bow_picture_svg(part, plan)
        root = ElementTree.fromstring(text)
        titles = [e.text or "" for e in root.iter("{http://www.w3.org/2000/svg}title")]
        assert sum("-bow" in title for title in titles) >= len(plan.strokes)
        assert "frog" in text
        assert set(re.findall(r"#[0-9A-Fa-f]{6}", text)) <= {"#1F1D1A", "#FCFAF5", "#0F5A8A"}
    excerpt = bow_picture_svg(TUNES[0], plan_bowing(TUNES[0], CELLO, level="advanced"), first_bar="2", last_bar="3")
    assert "bar 2, beat 1" in excerpt
    assert "bar 1, beat 1" not in excerpt


def test_the_document_keeps_its_contract() -> None:
    """The fields others lean on."""
    plan = plan_bowing(TUNES[1], CELLO, level="advanced", may_slur=True)
    document = bowing_document(plan)
    assert set(document) >= {"strokes", "suggestions"}
    strokes = document["strokes"]
    assert isinstance(strokes, list)
    wanted = {"id", "bar", "beat", "direction", "from", "to", "retake", "slur", "pinned", "cost"}
    assert all(wanted <= set(stroke) for stroke in strokes)


def test_together_is_never_dearer_than_one_after_the_other() -> None:
    """Planning fingers and bow in turn can only help."""
    for part in (TUNES[0], TUNES[3], TUNES[4]):
        both = plan_together(part, CELLO, level="intermediate")
        assert both.total_cost <= both.apart_cost
        assert both.total_cost == pytest.approx(both.fingering.total_cost + both.bowing.total_cost)
