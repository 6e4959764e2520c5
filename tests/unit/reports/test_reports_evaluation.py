"""A share of the measure in bench/bench_reports.py. The third set (c) is only ever looked at as totals."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

for folder in ("narration_eval", "reports_eval"):
    sys.path.insert(0, str(Path(__file__).parents[2] / folder))

pytest.importorskip("measure", reason="the tunes come with music21, which is not installed")
measure_reports = pytest.importorskip("measure_reports")


@pytest.mark.parametrize("voices", ["ab", "c"])
def test_comments_are_told_apart_and_brought_back_to_the_note(voices: str) -> None:
    counts = measure_reports.measured(range(7100, 7108), voices, 30)
    assert counts.macro_f1 >= 0.93
    assert counts.place_share >= 0.87
    assert counts.right[False, "right"] <= 1
