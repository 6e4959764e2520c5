"""Notes and fingers of whole scales, spoken as the tables have them: nothing is wrong; one finger changed: that is.

Source: shared/reference/scales.csv (usual fingers of two-octave cello scales; Davidoff 1888, tr. Wilson 2022, III.3,
and the other sources named in its rows), positions.csv for what the positions are called.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from made_parts import part_of
from partwright.checking.narration import check_narration, parse_transcript
from partwright.checking.narration.places import position_words
from partwright.fingering import FingeredNote, FingeringPlan, Placement
from partwright.instrument import Instrument, load_instrument
from partwright.score import Part

ORDINALS = ("open", "first", "second", "third", "fourth")
SPOKEN = {"#": " sharp", "b": " flat"}
KEYS = ("C major", "G major", "D major", "F major", "Bb major")


def _scale(shared: Path, key: str) -> list[dict[str, str]]:
    with (shared / "reference/scales.csv").open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["key"] == key and row["direction"] == "up"]
    return [row for row in rows if row["usual_finger"] in "01234"]


def _plan(part: Part, rows: list[dict[str, str]], cello: Instrument) -> FingeringPlan:
    """The table's own fingers as a plan; the frame plays no part in what is said here."""
    notes = []
    for note, row in zip(part.notes, rows, strict=True):
        string = cello.string_index(row["usual_string"])
        assert string is not None
        finger, semitones = int(row["usual_finger"]), int(row["usual_semitones"])
        frame = max(1, semitones - max(0, finger - 1))
        placement = Placement(
            string=string, semitones=semitones, finger=finger, frame=frame, shape="closed", zone="neck"
        )
        notes.append(FingeredNote(note_id=note.id, placement=placement))
    return FingeringPlan(notes=tuple(notes), total_cost=0.0, level="advanced")


def _name(pitch: str) -> str:
    return pitch[0] + "".join(SPOKEN[sign] for sign in pitch[1:-1])


def _spoken(part: Part, fingers: list[int]) -> str:
    said = []
    for note, finger in zip(part.notes, fingers, strict=True):
        name = _name(note.pitch.name)
        said.append(f"The {name} is {ORDINALS[finger]}{' finger' if finger else ''}.")
    return " ".join(said)


@pytest.mark.parametrize("key", KEYS)
def test_the_table_spoken_as_it_stands_is_right(shared: Path, key: str) -> None:
    rows = _scale(shared, key)
    assert len(rows) >= 8
    cello = load_instrument("cello")
    part = part_of([int(row["midi"]) for row in rows])
    plan = _plan(part, rows, cello)
    text = _spoken(part, [int(row["usual_finger"]) for row in rows])
    check = check_narration(parse_transcript(text.encode()), part, cello, plan=plan)
    assert not [f for f in check.findings if f.verdict == "wrong"]
    assert sum(j.verdict == "right" for j in check.judged) >= 2 * len(rows) - 2


@pytest.mark.parametrize("key", KEYS)
def test_one_wrong_finger_in_the_table_is_found_and_nothing_else(shared: Path, key: str) -> None:
    rows = _scale(shared, key)
    cello = load_instrument("cello")
    part = part_of([int(row["midi"]) for row in rows])
    plan = _plan(part, rows, cello)
    fingers = [int(row["usual_finger"]) for row in rows]
    changed = len(fingers) // 2
    fingers[changed] = next(f for f in (4, 3, 2, 1) if f != fingers[changed])
    check = check_narration(parse_transcript(_spoken(part, fingers).encode()), part, cello, plan=plan)
    (finding,) = [f for f in check.findings if f.verdict == "wrong"]
    note = part.notes[changed]
    assert (finding.kind, finding.bar, finding.against) == ("finger", note.bar, "plan")


def test_positions_are_called_what_the_schools_call_them(shared: Path) -> None:
    """Every frame of the reference table answers to the name the C-major school gives it."""
    cello = load_instrument("cello")
    words = position_words(cello)
    numbers = {"half": "half", "I": 1, "II": 2, "III": 3, "IV": 4, "V": 5, "VI": 6, "VII": 7}
    with (shared / "reference/positions.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            name, _, raised = row["name_c_major"].partition(" ")
            assert (numbers[name], int(raised == "raised")) in words[int(row["finger1_semitones"])], row
