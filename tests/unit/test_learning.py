"""A teacher's own hand: counts against the search's own price, what pins say, the guard, the taste file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from made_parts import part_of
from made_teachers import corrected, disagreements, hidden_taste, invented_tune, placed
from partwright.errors import InputError, NewerFormat
from partwright.fingering import (
    HandTaste,
    Pin,
    Planning,
    Taste,
    Weights,
    default_weights,
    parse_taste,
    prepare,
    read_taste,
    taste_lines,
    taste_text,
    with_taste,
)
from partwright.fingering.features import CostModel
from partwright.fingering.lattice import MovePrices, build_lattice
from partwright.fingering.learning import (
    CountBook,
    Judged,
    Standing,
    judge,
    learn_weights,
    read_standing,
    standing,
    standing_text,
)
from partwright.fingering.learning.evidence import Met, Pricing
from partwright.fingering.search import solve
from partwright.instrument import Instrument, load_instrument
from partwright.score import Part

CELLO = load_instrument("cello")
VIOLIN = load_instrument("violin")


def cost_under(planning: Planning, weights: Weights) -> float:
    """What the search says the planning's own choice costs under other weights: every other state is barred."""
    prices = MovePrices(CostModel(planning.instrument, planning.maker.hands, weights), planning.level)
    old = planning.lattice
    lattice = build_lattice(old.columns, planning.transitions, prices, plays=old.plays, contexts=old.contexts)
    only = {v: np.arange(len(c)) == planning.solution.choice[v] for v, c in enumerate(old.columns)}
    return solve(lattice, allowed=only).cost


PARTS = {
    "invented": invented_tune(3),
    "repeated": part_of([48, 50, 52, 53, 55, 57, 59, 60] * 3, slurred={0, 1, 4, 9, 13}, repeated=True),
    "chords": part_of([(43, 50), 52, (45, 52), None, 57, (50, 57), 62, 64, 62, 57], slurred={1, 4, 6}),
    "long notes": part_of([50, 57, 62, 69, 62, 57], quarters=4, tempo_qpm=60, slurred={1, 3}),
    "high": part_of([69, 71, 74, 76, 81, 78, 76, 74, 69, 57], tempo_qpm=120, slurred={0, 1, 2, 5}),
}


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("instrument", [CELLO, VIOLIN], ids=lambda one: one.name)
def test_counts_times_weights_are_the_price_of_the_search(name: str, instrument: Instrument) -> None:
    part = PARTS[name]
    if instrument is VIOLIN:
        notes = tuple(replace(n, pitch=replace(n.pitch, octave=n.pitch.octave + 2)) for n in part.notes)
        part = replace(part, notes=notes)
    planning = prepare(part, instrument)
    book = CountBook()
    counts = book.of_plan(planning)
    assert book.price(counts, planning.weights) == pytest.approx(planning.solution.cost, abs=1e-4)
    other = hidden_taste(7, instrument)
    assert book.price(counts, other) == pytest.approx(cost_under(planning, other), abs=1e-4)


def test_every_factor_of_the_table_is_found_where_it_multiplies() -> None:
    """Doubling one factor alone changes the counted price as it changes the search's: the kinds name it rightly."""
    planning = prepare(invented_tune(5), CELLO)
    book = CountBook()
    counts = book.of_plan(planning)
    plain = planning.weights
    from partwright.fingering.terms import FACTORS

    for name in FACTORS:
        doubled = plain.changed({name: 2 * plain[name]})
        assert book.price(counts, doubled) == pytest.approx(cost_under(planning, doubled), abs=1e-4), name


def lesson(part: Part, wanted: Weights, **options: object) -> Judged:
    pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=wanted)))
    return judge(prepare(part, CELLO, pins=pins), reviewed=True, **options)  # type: ignore[arg-type]


def test_a_taste_is_learned_and_carries_over_to_other_tunes() -> None:
    wanted = hidden_taste(2, CELLO)
    learned = learn_weights([lesson(invented_tune(seed), wanted) for seed in range(6)], CELLO)
    assert learned.fitted is not None
    assert learned.agreement.pins_new > learned.agreement.pins_old
    assert learned.corrections <= learned.pins
    usual = default_weights(CELLO)
    unseen = [invented_tune(seed) for seed in range(100, 106)]
    plans = [
        [placed(prepare(part, CELLO, weights=weights)) for part in unseen]
        for weights in (usual, learned.fitted.weights(usual), wanted)
    ]
    assert disagreements(plans[1], plans[2]) <= 0.7 * disagreements(plans[0], plans[2])


def test_pins_that_agree_with_the_plan_change_nothing() -> None:
    lessons = []
    for seed in range(3):
        part = invented_tune(seed)
        now = placed(prepare(part, CELLO))
        pins = [Pin(note_id=n.id, string=now[n.id][0], finger=now[n.id][1], origin="lesson") for n in part.notes[::9]]
        lessons.append(judge(prepare(part, CELLO, pins=pins), reviewed=True))
    learned = learn_weights(lessons, CELLO)
    assert learned.corrections == 0
    assert learned.fitted is None


def test_guard_holds_where_pins_have_nothing_in_common() -> None:
    """Fingers drawn by lot: no taste explains them, so on pins held back none is better than none."""
    random = np.random.default_rng(4)
    lessons = []
    for seed in range(3):
        part = invented_tune(seed)
        plain = prepare(part, CELLO)
        pins = []
        for index in random.choice(len(part.notes), 8, replace=False):
            note = part.notes[int(index)]
            column = plain.lattice.columns[plain.variable_of[plain.walk.event_of[note.id]]]
            near = [k for k in range(len(column)) if column.beyond[k] <= 0 and not column.harmonic[k].any()]
            state = int(random.choice(near))
            pin = Pin(note_id=note.id, string=int(column.string[state, 0]), finger=int(column.finger[state, 0]))
            pins.append(replace(pin, origin="lesson"))
        lessons.append(judge(prepare(part, CELLO, pins=pins), reviewed=True))
    learned = learn_weights(lessons, CELLO)
    assert learned.pins >= 20
    assert learned.fitted is None


def test_what_the_old_taste_was_learned_from_is_not_asked_of_it_again() -> None:
    part = invented_tune(1)
    wanted = hidden_taste(1, CELLO)
    pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=wanted)))
    planning = prepare(part, CELLO, pins=pins)
    known = {pin.note_id for pin in pins}
    assert judge(planning, reviewed=True).fresh
    assert not judge(planning, reviewed=True, seen=known).fresh
    assert len(judge(planning, reviewed=True, seen=known - {pins[0].note_id}).fresh) == 1


def test_printed_fingers_say_nothing_of_other_notes() -> None:
    part = part_of([50, 52, 54, 55, 57, 59])
    planning = prepare(part, CELLO, pins=[Pin(note_id="n3", finger=4, origin="source")])
    judged = judge(planning, reviewed=False)
    assert judged.stood == ()
    assert len(judged.pinned) == 1
    column = planning.lattice.columns[judged.pinned[0]]
    assert (judged.agrees[judged.pinned[0]] == (column.finger[:, 0] == 4)).all()  # the string is left open


def test_under_the_teachers_own_weights_no_other_way_costs_less() -> None:
    """By definition of the teacher; also for ways that were met under other weights, and compared with another way
    that looks the same."""
    wanted = hidden_taste(3, CELLO)
    book = CountBook()
    for seed in range(3):
        met = Met(lesson(invented_tune(seed), wanted), 0, book)
        for weights in (default_weights(CELLO), hidden_taste(8, CELLO), hidden_taste(9, CELLO)):
            assert met.search(Pricing([weights]), margin=0.03) > 0
        met.search(Pricing([wanted]), margin=0.03)
        assert len(met.comparisons) >= 5
        assert min(book.price(dict(found.more), wanted) for found in met.comparisons) > -1e-6


def test_what_was_let_stand_is_what_counts_after_the_plan_has_moved() -> None:
    part = invented_tune(6)
    then = standing(prepare(part, CELLO))
    now = prepare(part, CELLO, weights=hidden_taste(3, CELLO))
    moved = {note for note, place in standing(now).items() if place != then[note]}
    assert moved
    judged, taken = judge(now, reviewed=True, stands=then), judge(now, reviewed=True)
    choice = now.solution.choice
    against = {v for v in judged.stood if not judged.agrees[v][choice[v]]}
    assert against
    assert not any(taken.worth[v][choice[v]] for v in taken.stood)
    assert {now.variable_of[now.walk.event_of[note]] for note in moved} >= against & set(now.variable_of.values())
    assert all(judged.worth[v][choice[v]] > 0 for v in against)


def test_what_stood_comes_back_from_its_words() -> None:
    part = part_of([38, (43, 50), 52, 57, 69, 76], quarters=2)
    pins = [
        Pin(note_id="n3", string=2, finger=1, substitute=4, origin="lesson"),
        Pin(note_id="n5", string=3, finger=3, harmonic=True, origin="lesson"),
    ]
    notes = standing(prepare(part, CELLO, pins=pins))
    assert notes["n5"] == Standing(string=3, finger=3, harmonic=True)
    text = standing_text(notes, part, CELLO)
    assert "A3o" in text.split()
    assert read_standing(text, part, CELLO) == notes
    assert read_standing(text + " A1", part, CELLO) is None
    assert read_standing(text.replace("A3o", "E3o"), part, CELLO) is None
    assert read_standing(text.replace("A3o", "A7"), part, CELLO) is None
    assert read_standing("", part, CELLO) is None


def test_strings_of_one_letter_are_told_apart() -> None:
    strings = tuple(replace(s, letter="D" if s.letter == "C" else s.letter) for s in CELLO.strings)
    twice = replace(CELLO, strings=strings)
    part = part_of([38, 50])
    notes = {"n0": Standing(string=0, finger=1), "n1": Standing(string=2, finger=0)}
    first, second = (note.id for note in part.notes)
    notes = {first: notes["n0"], second: notes["n1"]}
    assert standing_text(notes, part, twice) == "D1 D'0"
    assert read_standing("D1 D'0", part, twice) == notes


def test_no_lessons_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="nothing"):
        learn_weights([], CELLO)


# The file -------------------------------------------------------------------------------------------------------------

TASTE = Taste(
    name="Ottoline Fennick",
    made="2026-11-28",
    hands=(
        HandTaste(
            instrument="cello",
            times={"shift_under_slur": 1.4, "open_string": -0.5, "shift": 2.0},
            added={"first_finger": 0.1},
            decisions=143,
            corrections=98,
            lessons=12,
            table="0a1b2c3d",
            learned_from={"3f2a9c3f2a9c": ("2:1", "11:2+1/2")},
            let_stand={"3f2a9c3f2a9c": "D1 D3-2 A3o A0 ."},
        ),
        HandTaste(instrument='my "bass"', times={}, added={}, learned_from={}),
    ),
)


def test_taste_file_comes_back_as_it_was() -> None:
    assert parse_taste(taste_text(TASTE), file="hand.toml") == TASTE


def test_taste_file_is_small_and_says_what_each_line_is() -> None:
    text = taste_text(TASTE)
    assert len(text) < 2000
    assert "shift_under_slur = 1.4  # shift under a slur" in text


def test_taste_in_words_begins_with_what_is_farthest_from_the_usual() -> None:
    lines = taste_lines(TASTE.hands[0])
    assert lines[0].startswith("open string: avoided")
    assert "shift under a slur: matters 1.4 × as much to you" in lines
    assert lines.index("shift: matters 2 × as much to you") < lines.index(
        "shift under a slur: matters 1.4 × as much to you"
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 2", "newer partwright"),
        ("format = 1", 'format = "one"', "no format number"),
        ("shift = 2 ", "shift = -2 ", "cost less than nothing"),
        ("shift = 2 ", "shift = 200 ", "20 is the most"),
        ("shift = 2 ", "shift = nan ", "is a number"),
        ("shift = 2 ", 'shift = "much" ', "is a number"),
        ("shift = 2 ", "shfit = 2 ", "Did you mean shift"),
        ("shift = 2 ", "qqqqq = 2 ", "Take the line out"),
        ("first_finger = 0.1 ", "first_finger = 50 ", "5 is the most"),
        ("decisions = 143", "decisions = -1", "whole number"),
        ("made =", "mode =", 'no setting "mode"'),
        ("lessons = 12", "lesons = 12", 'no setting "lesons"'),
        ('["2:1", "11:2+1/2"]', '"2:1"', "list of places"),
        ('"D1 D3-2 A3o A0 ."', "[1]", "text for each tune"),
        ('name = "Ottoline Fennick"', "name = 3", "text in quotes"),
        ("[hands.", "[hands", "not TOML"),
    ],
)
def test_bad_taste_is_refused_in_one_sentence(old: str, new: str, said: str) -> None:
    text = taste_text(TASTE)
    assert old in text
    with pytest.raises(InputError, match=said) as caught:
        parse_taste(text.replace(old, new, 1), file="hand.toml")
    assert str(caught.value).startswith("hand.toml")
    assert isinstance(caught.value, NewerFormat) == ("newer" in said)


def test_line_of_a_fault_is_named() -> None:
    text = taste_text(TASTE).replace("shift = 2 ", "shfit = 2 ", 1)
    line = next(n for n, row in enumerate(text.splitlines(), start=1) if row.startswith("shfit"))
    with pytest.raises(InputError, match=f"line {line}:"):
        parse_taste(text, file="hand.toml")


def test_what_is_no_taste_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        read_taste(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes('name = "Frédérique"'.encode("latin-1"))
    with pytest.raises(InputError, match="UTF-8"):
        read_taste(tmp_path / "latin.toml")
    (tmp_path / "large.toml").write_text("# " + "x" * 2_000_000, encoding="utf-8")
    with pytest.raises(InputError, match="too large"):
        read_taste(tmp_path / "large.toml")
    with pytest.raises(InputError, match="cannot be read"):
        read_taste(tmp_path)


def test_taste_weighs_an_instrument_at_every_level() -> None:
    tasted = with_taste(CELLO, TASTE)
    for name, level in CELLO.levels.items():
        usual, own = default_weights(CELLO, level), default_weights(tasted, tasted.levels[name])
        assert own["shift"] == pytest.approx(2 * usual["shift"])
        assert own["shift_under_slur"] == pytest.approx(1.4 * usual["shift_under_slur"])
        assert own["first_finger"] == pytest.approx(usual["first_finger"] + 0.1)
        assert own["crossing"] == usual["crossing"]
    assert prepare(invented_tune(1), tasted).weights["shift"] == 2 * default_weights(CELLO)["shift"]


def test_taste_of_another_instrument_changes_nothing() -> None:
    assert with_taste(VIOLIN, TASTE) == VIOLIN


def test_no_taste_makes_a_cost_a_reward() -> None:
    hand = HandTaste(instrument="cello", times={}, added={"shift": -3.0}, learned_from={})
    with pytest.raises(InputError, match='"shift" on the cello cost less than nothing'):
        with_taste(CELLO, Taste(name="x", hands=(hand,)))
