"""Our instrument tables against tables outside the project, row by row, each row naming its own source.

Outside: the reference tables (Davidoff, Violoncell-Schule 1888, English by Miranda Wilson 2022; Grove's Dictionary,
2nd ed., art. Fingering; acoustics of the ideal string) and music21, which knows the open strings of the four
instruments. What a row calls "as read earlier" or "no source" is compared with the width the row itself gives.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from reference_rows import midi, parameters, pitch_class, rows

from partwright.instrument import THUMB, Instrument, load_instrument

CELLO = load_instrument("cello")
# How the tables print what the reference writes in ASCII.
LABELS = {"half": "½", "I 1/2": "I½", "II raised": "II♯", "III raised": "III♯", "III 1/2": "III½", "IV 1/2": "IV½"}
LABELS |= {"V raised": "V♯", "V 1/2": "V½", "VI raised": "VI♯"}


def span_mm(instrument: Instrument, low: int, high: int) -> float:
    return instrument.stop_mm(high) - instrument.stop_mm(low)


# Strings ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", parameters("instruments"), ids=lambda r: f"{r['instrument']}-{r['letter']}")
def test_open_strings(row: dict[str, str]) -> None:
    """instruments.csv: letter, sounding pitch, order from below and above, whether it sounds as written."""
    instrument = load_instrument(row["instrument"])
    string = instrument.strings[int(row["order_from_low"]) - 1]
    assert string.letter == row["letter"]
    assert string.midi == int(row["midi"]) == midi(row["sounding_pitch"])
    assert string.number == int(row["order_from_high"])
    assert ("I", "II", "III", "IV")[string.number - 1] == row["roman_highest_is_I"]
    assert instrument.sounds_octaves == (-1 if row["sounds"] == "an octave lower than written" else 0)


@pytest.mark.parametrize(
    ("name", "theirs"),
    [("violin", "Violin"), ("viola", "Viola"), ("cello", "Violoncello"), ("double bass", "Contrabass")],
)
def test_open_strings_as_a_reference_library_has_them(name: str, theirs: str) -> None:
    """music21: its instruments' string pitches (the double bass as it sounds)."""
    import music21

    known = getattr(music21.instrument, theirs)()
    assert [s.midi for s in load_instrument(name).strings] == [p.midi for p in known.stringPitches]
    if name == "double bass":
        assert known.transposition.semitones == 12 * load_instrument(name).sounds_octaves


# Positions -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", parameters("positions"), ids=lambda r: r["finger1_semitones"])
def test_position_names_in_both_schools(row: dict[str, str]) -> None:
    """positions.csv: Davidoff II.1, II.9, III.1; naming by C major after Grove."""
    frame = int(row["finger1_semitones"])
    for school, column in (("c-major", "name_c_major"), ("davidoff", "name_davidoff")):
        named = CELLO.position(frame, "neck", school)
        assert named.label == LABELS.get(row[column], row[column]), school


@pytest.mark.parametrize("row", parameters("positions"), ids=lambda r: r["finger1_semitones"])
def test_first_finger_sounds_the_note_the_position_table_gives(row: dict[str, str]) -> None:
    """positions.csv: the note of finger 1 on every string."""
    frame = int(row["finger1_semitones"])
    for string in CELLO.strings:
        assert (string.midi + frame) % 12 == pitch_class(row[f"pc_on_{string.letter}"])


@pytest.mark.parametrize("row", parameters("positions"), ids=lambda r: r["finger1_semitones"])
def test_which_fingers_a_position_has(row: dict[str, str]) -> None:
    """positions.csv, column hand (Davidoff II.9, III.1): the fourth finger up to 8 semitones, three fingers above."""
    frame = int(row["finger1_semitones"])
    # "4th only across to a higher string" is a reach of the hand that shapes on one string need not have.
    closed = [
        s for s in CELLO.shapes if s.zone != "thumb" and s.extension == "" and s.frame_min <= frame <= s.frame_max
    ]
    has_fourth = any(4 in s.offsets for s in closed)
    if row["hand"].startswith("three fingers"):
        assert not has_fourth
        assert any(3 in s.offsets for s in closed)
    else:
        assert has_fourth


# Hand shapes -----------------------------------------------------------------------------------------------------

FIRST_POSITION, THUMB_AT_THE_MIDDLE = 2, 12
OUR_SHAPES = {
    "closed": "closed",
    "extended back (finger 1 moves back)": "extended back",
    "extended forward (fingers 2-4 move up)": "extended forward",
}


@pytest.mark.parametrize(
    "row", [r for r in parameters("hand_shapes") if r["fingers"] != "T3"], ids=lambda r: r["shape"]
)
def test_hand_shapes(row: dict[str, str]) -> None:
    """hand_shapes.csv: fingers, steps between them, outer span in semitones and in mm on 690 mm (Davidoff)."""
    shape = CELLO.shape(OUR_SHAPES.get(row["shape"], row["shape"]))
    fingers = [int(f) for f in row["fingers"]]
    assert sorted(shape.offsets) == fingers
    places = [shape.offsets[f] for f in fingers]
    assert [b - a for a, b in pairwise(places)] == [int(n) for n in row["semitones_between"].split("-")]
    assert places[-1] - places[0] == int(row["outer_span_semitones"])
    # The examples: four fingers in first position (a forward hand keeps finger 1 there, a backward one finger 4 of it);
    # three fingers from the middle of the string.
    frame = FIRST_POSITION if 4 in shape.offsets else THUMB_AT_THE_MIDDLE
    assert span_mm(CELLO, frame + places[0], frame + places[-1]) == pytest.approx(
        float(row["span_mm_690_example"]), abs=0.06
    )


@pytest.mark.parametrize(
    "row", [r for r in parameters("hand_shapes") if r["fingers"] == "1234"], ids=lambda r: r["shape"]
)
def test_where_four_finger_hands_can_lie(row: dict[str, str]) -> None:
    """hand_shapes.csv: lowest and highest place of finger 1 (Davidoff I.11, II.5, II.9: half position is not extended).

    The three-finger rows give 2..8 there, but their example lies at 12 and positions.csv starts three fingers at 9, so
    those two columns cannot be places of finger 1; they are tested by `test_which_fingers_a_position_has`.
    """
    shape = CELLO.shape(OUR_SHAPES[row["shape"]])
    assert shape.frame_min + shape.offsets[1] == int(row["finger1_min"])
    assert shape.frame_max + shape.offsets[1] == int(row["finger1_max"])


def test_thumb_frame() -> None:
    """hand_shapes.csv, thumb frame ("as read earlier"): thumb to 3 a fourth, a fifth across two strings."""
    (row,) = [r for r in rows("hand_shapes") if r["fingers"] == "T3"]
    frames = [s for s in CELLO.shapes if s.zone == "thumb"]
    usual = [s for s in frames if s.offsets[3] - s.offsets[THUMB] == int(row["outer_span_semitones"])]
    middle = int(row["finger1_min"])
    assert len(usual) >= 3
    for shape in usual:
        assert shape.frame_min <= middle <= shape.frame_max
        thumb, third = middle + shape.offsets[THUMB], middle + shape.offsets[3]
        assert span_mm(CELLO, thumb, third) == pytest.approx(float(row["span_mm_690_example"]), abs=0.06)
    for low, high in pairwise(CELLO.strings):
        assert high.midi - low.midi == 7


# Distances -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", [r for r in parameters("geometry") if r["quantity"] == "stop_mm_cello_690"], ids=lambda r: r["semitones"]
)
def test_places_on_a_690_mm_string(row: dict[str, str]) -> None:
    """geometry.csv: x = L·(1 - 2^(-n/12)), printed to 0.1 mm."""
    assert CELLO.stop_mm(int(row["semitones"])) == pytest.approx(float(row["value"]), abs=0.051)


def test_lengths_the_table_takes_from_the_trade() -> None:
    """geometry.csv, "about": string length, usable hair; Davidoff's first finger in first position, by eye."""
    value = {r["quantity"]: float(r["value"]) for r in rows("geometry") if not r["semitones"]}
    assert CELLO.string_length_mm == pytest.approx(value["cello_string_length"], rel=0.02)
    assert CELLO.bow_hair_mm == pytest.approx(value["cello_bow_usable_hair"], rel=0.05)
    # Davidoff I.5 says about 65 mm, which is a whole tone on a string of 596 mm; by calculation 75 mm on 690 mm. His
    # figure tells a beginner where to put the hand down, so only the size of it is compared.
    assert CELLO.stop_mm(2) == pytest.approx(value["first_finger_first_position_A"], rel=0.2)


@pytest.mark.parametrize(
    ("quantity", "low", "high"),
    [("span_closed_I", 2, 5), ("span_extended_back_I", 1, 5), ("span_extended_forward_I", 2, 6)],
)
def test_spans_in_first_position(quantity: str, low: int, high: int) -> None:
    """geometry.csv: 97.8, 134.4 and 126.8 mm."""
    (row,) = [r for r in rows("geometry") if r["quantity"] == quantity]
    assert span_mm(CELLO, low, high) == pytest.approx(float(row["value"]), abs=0.06)


@pytest.mark.parametrize("row", parameters("harmonics"), ids=lambda r: f"{r['partial']}-{r['node_fraction_from_nut']}")
def test_natural_harmonics(row: dict[str, str]) -> None:
    """harmonics.csv: node, place in mm, sounding interval and its distance from tempered tuning, for every node."""
    top, bottom = row["node_fraction_from_nut"].split("/")
    fraction = int(top) / int(bottom)
    for instrument in (CELLO, load_instrument("violin"), load_instrument("viola"), load_instrument("double bass")):
        (found,) = [h for h in instrument.harmonics if h.node_fraction == pytest.approx(fraction, abs=1e-9)]
        assert found.partial == int(row["partial"])
        assert found.node_semitones == round(float(row["semitones_above_open"]))
        assert found.sounds_semitones == round(float(row["sounds_semitones_above_open"]))
        assert found.cents == pytest.approx(float(row["cents_from_tempered"]), abs=0.06)
    assert CELLO.string_length_mm * fraction == pytest.approx(float(row["mm_from_nut_690"]), abs=0.051)


def test_no_node_is_missing_or_invented() -> None:
    """harmonics.csv lists every node of partials 2 to 6."""
    theirs = {r["node_fraction_from_nut"] for r in rows("harmonics")}
    ours = {f"{round(h.node_fraction * h.partial)}/{h.partial}" for h in CELLO.harmonics}
    assert ours == theirs


# Levels ----------------------------------------------------------------------------------------------------------

# What an item of the order of study asks of a level: frames it must reach (Davidoff's names), shapes, thumb, shift.
ASKS: dict[str, dict[str, object]] = {
    "first position, closed hand": {"frames": [2], "shapes": ["closed"]},
    "C, G, F major in first position": {"notes": ["C2", "D4"]},
    "extended first position; Bb, Eb major, g, c minor": {"frames": [2], "shapes": ["extended back"]},
    "fourth position (taught first of the positions)": {"frames": [7]},
    "shifts I-IV": {"shift": 5},
    "raised first position (I 1/2); D, A, E major low": {"frames": [3]},
    "half position": {"frames": [1]},
    "second, third, III 1/2 positions": {"frames": [4, 5, 6]},
    "IV 1/2 position": {"frames": [8]},
    "V to VII, three-finger shapes": {"frames": [9, 10, 11, 12], "shapes": ["three-finger 1+1", "three-finger 2+2"]},
    "all major and minor scales, two octaves": {"notes": ["C2", "B4"]},
    "thumb position": {"thumb": True},
    "grade 1: G, D major one octave from the open string; a natural minor; C major two octaves": {
        "notes": ["C2", "D4"]
    },
}
STAGES = ("beginner", "intermediate", "advanced")


def meets(level_name: str, ask: dict[str, object]) -> bool:
    level = CELLO.levels[level_name]
    frames, shapes, notes = ask.get("frames", []), ask.get("shapes", []), ask.get("notes", [])
    assert isinstance(frames, list)
    assert isinstance(shapes, list)
    assert isinstance(notes, list)
    low, high = level.range_semitones
    return (
        all(level.frame_min <= frame <= level.frame_max for frame in frames)
        and set(shapes) <= set(level.shapes)
        and all(low <= midi(n) - CELLO.strings[0].midi <= high for n in notes)
        and (level.thumb or not ask.get("thumb"))
        and level.shift_semitones_max >= int(str(ask.get("shift", 0)))
    )


@pytest.mark.parametrize(
    "row", [r for r in parameters("difficulty") if r["kind"] != "bow"], ids=lambda r: r["item"][:24]
)
def test_levels_follow_the_order_of_study(row: dict[str, str]) -> None:
    """difficulty.csv (Davidoff's order, an exam board's grade 1): the stage may use it, every stage above too."""
    ask = ASKS[row["item"]]
    first = STAGES.index(row["stage"])
    for stage in STAGES[first:]:
        assert meets(stage, ask), stage


@pytest.mark.parametrize(
    "row",
    [r for r in parameters("difficulty") if r["kind"] in ("position", "shift", "position/keys")],
    ids=lambda r: r["item"][:24],
)
def test_levels_below_do_not_have_it_yet(row: dict[str, str]) -> None:
    """difficulty.csv: a position belongs to its stage, not to one before it."""
    for stage in STAGES[: STAGES.index(row["stage"])]:
        assert not meets(stage, ASKS[row["item"]]), stage


@pytest.mark.parametrize(
    "scale",
    [
        ["G2", "A2", "B2", "C3", "D3", "E3", "F#3", "G3"],
        ["D3", "E3", "F#3", "G3", "A3", "B3", "C#4", "D4"],
        ["A2", "B2", "C3", "D3", "E3", "F3", "G3", "A3"],
        ["C2", "D2", "E2", "F2", "G2", "A2", "B2", "C3", "D3", "E3", "F3", "G3", "A3", "B3", "C4"],
    ],
    ids=["G", "D", "a", "C"],
)
def test_grade_one_scales_lie_under_a_beginners_hand(scale: list[str]) -> None:
    """difficulty.csv, order 18 (exam board, grade 1): these scales need no more than the beginner's shapes."""
    level = CELLO.levels["beginner"]
    places = {0}
    for name in level.shapes:
        shape = CELLO.shape(name)
        for frame in range(max(level.frame_min, shape.frame_min), min(level.frame_max, shape.frame_max) + 1):
            places |= {frame + offset for offset in shape.offsets.values()}
    for note in scale:
        assert any(midi(note) - string.midi in places for string in CELLO.strings), note
