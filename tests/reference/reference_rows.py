"""Rows of the shared reference tables, and pitches by name. Skips where the tables are absent."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

from conftest import REPOSITORY, shared_folder

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def midi(name: str) -> int:
    """The MIDI number of a spelled pitch: "F#3" is 54."""
    step, rest = name[0], name[1:]
    accidentals = rest.rstrip("0123456789-")
    octave = int(rest[len(accidentals) :])
    return 12 * (octave + 1) + STEPS[step] + accidentals.count("#") - accidentals.count("b")


def pitch_class(name: str) -> int:
    """0..11 of a name without octave: "A#" is 10."""
    return midi(f"{name}4") % 12


def rows(table: str) -> list[dict[str, str]]:
    """All rows of a reference table; the test is skipped where the table is absent."""
    with (shared_folder() / "reference" / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def parameters(table: str) -> list[dict[str, str]]:
    """Rows for `parametrize`: none where the shared data is absent, so that collection works everywhere."""
    path = _folder() / f"{table}.csv"
    return rows(table) if path.is_file() else []


def examples() -> list[dict[str, Any]]:
    """The worked examples, each one accepted answer; none where the shared data is absent."""
    path = _folder() / "fingered_examples.json"
    if not path.is_file():
        return []
    return list(json.loads(path.read_text(encoding="utf-8"))["examples"])


def _folder() -> Path:
    import os

    return Path(os.environ.get("PARTWRIGHT_SHARED", REPOSITORY.parent / "shared")) / "reference"
