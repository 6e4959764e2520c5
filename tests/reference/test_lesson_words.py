"""Landmarks and position words of a lesson against the reference tables: harmonics.csv, positions.csv, instruments.csv.

harmonics.csv is computed from the ideal string (node at j/k of the string sounds partial k); positions.csv names its
sources row by row.
"""

from __future__ import annotations

import csv
import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from made_parts import part_of
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import Bars, find_landmarks
from partwright.lesson.landmarks import harmonic_node_semitones
from partwright.lesson.saying import position_said
from partwright.score import Part

CELLO = load_instrument("cello")


def table(shared: Path, name: str) -> list[dict[str, str]]:
    with (shared / "reference" / name).open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_nodes_lie_where_the_reference_says(shared: Path) -> None:
    rows = {(row["partial"], row["node_fraction_from_nut"]): row for row in table(shared, "harmonics.csv")}
    compared = 0
    for harmonic in CELLO.harmonics:
        fraction = Fraction(harmonic.node_fraction).limit_denominator(12)
        row = rows.get((str(harmonic.partial), str(fraction)))
        if row is None:
            continue
        assert harmonic_node_semitones(harmonic) == pytest.approx(float(row["semitones_above_open"]), abs=0.006)
        compared += 1
    assert compared >= 5


def _landmarks(part: Part, level: str = "advanced"):  # type: ignore[no-untyped-def]
    plan = plan_fingering(part, CELLO, level=level)
    bars = Bars(part)
    for k in range(len(bars.events)):
        for mark in find_landmarks(bars, plan, CELLO, k):
            yield mark, part.by_id[mark.note_id], plan.by_id[mark.note_id].placement


@given(st.lists(st.integers(36, 74), min_size=6, max_size=14))
@settings(max_examples=25, deadline=None)
def test_every_landmark_is_true_on_the_instrument(pitches: list[int]) -> None:
    """Each landmark is worked out again from string pitches and the harmonic series (general acoustics)."""
    nodes = {12.0: 12, 7.02: 19, 19.02: 19, 4.98: 24, 24.0: 24}  # place touched -> semitones sounding, harmonics.csv
    for mark, note, place in _landmarks(part_of(pitches, quarters=1)):
        strings = {s.letter: s.midi for s in CELLO.strings}
        if mark.kind == "open string":
            assert (strings[mark.string] - note.midi) % 12 == 0
            assert mark.sounds_midi == strings[mark.string]
            assert ("same note" in mark.words) == (strings[mark.string] == note.midi)
            above = re.search(r"(an octave|(\d) octaves) (above|below)", mark.words)
            if above:
                octaves = int(above[2] or 1) * (1 if above[3] == "above" else -1)
                assert note.midi - strings[mark.string] == 12 * octaves
        elif mark.kind == "harmonic":
            own = CELLO.strings[place.string]
            assert own.letter == mark.string
            touched = place.semitones if mark.words.startswith("Touch") else 12
            near = [sounds for node, sounds in nodes.items() if abs(node - touched) <= 0.2]
            assert mark.sounds_midi is not None
            assert mark.sounds_midi - own.midi in near
            if "an octave higher" in mark.words:
                assert mark.sounds_midi == note.midi + 12
        elif mark.kind == "guide finger":
            earlier = mark.string
            assert CELLO.strings[place.string].letter == earlier
        elif mark.kind == "neck joint":
            assert place.frame == 7


def test_neck_joint_is_the_last_position_with_the_thumb_behind_the_neck(shared: Path) -> None:
    """positions.csv, column hand: Davidoff 1888, tr. Wilson 2022 II.1, II.9, III.1."""
    behind = [int(r["finger1_semitones"]) for r in table(shared, "positions.csv") if r["hand"] == "thumb behind neck"]
    joints = {p.frame for m, _, p in _landmarks(part_of(list(range(57, 70)), quarters=1)) if m.kind == "neck joint"}
    assert joints <= {max(behind)}


@pytest.mark.parametrize("school, column", [("c-major", "name_c_major"), ("davidoff", "name_davidoff")])
def test_position_words_are_those_of_the_reference(shared: Path, school: str, column: str) -> None:
    """The "III raised" of the table is said "raised third position"; Davidoff's half numbers lie a half step above."""
    spoken = {"I": "first", "II": "second", "III": "third", "IV": "fourth", "V": "fifth", "VI": "sixth",
              "VII": "seventh", "half": "half"}  # fmt: skip
    cello = load_instrument("cello", school=school)
    from partwright.fingering import Placement

    for row in table(shared, "positions.csv"):
        name = row[column]
        raised = name.endswith(("raised", "1/2"))
        word = spoken[name.split()[0]]
        expected = f"raised {word} position" if raised else f"{word} position"
        frame = int(row["finger1_semitones"])
        place = Placement(string=3, semitones=frame, finger=1, frame=frame, shape="closed", zone="neck")
        assert position_said(place, cello) == expected


def test_cautions_are_the_sourced_ones(shared: Path) -> None:
    """The figures of the booklet's cautions are those of safety_copyright.csv, with its sources."""
    from partwright.lesson import booklet_words

    rows = {row["id"]: row for row in table(shared, "safety_copyright.csv")}
    said = " ".join(item.text for item in booklet_words().cautions)
    low, high = re.findall(r"\d+", rows["prmd"]["value"])
    assert f"{low} to {high} in a hundred" in said
    assert "85 dB(A) for eight hours" in said
    assert rows["noise"]["value"] == "85 dBA for 8 h"
    assert "every 3 dB more halves" in said
    assert rows["noise_exchange"]["value"] == "3 dB"
    assert "four hours at 88" in said
    assert (rows["noise_88"]["value"], rows["noise_100"]["value"]) == ("4 h", "0.25 h")
    assert "a quarter of an hour at 100" in said
    assert booklet_words().note == f"These are {rows['caution']['fact']}."
    assert all(item.source for item in (*booklet_words().warm_up, *booklet_words().cautions))
