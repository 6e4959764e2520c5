"""A small share of the measure in bench/bench_narration.py, so that a change for the worse is seen at once.

The made teacher, the phrasings and the tunes (Ryan's Mammoth Collection, 1883, with music21) are told of there.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "narration_eval"))

measure = pytest.importorskip("measure", reason="the tunes come with music21, which is not installed")


@pytest.mark.parametrize(
    ("errors", "stops", "least_f1", "most_false"),
    [(0.0, True, 0.96, 1.0), (0.1, True, 0.88, 3.0), (0.0, False, 0.86, 3.0), (0.1, False, 0.78, 4.0)],
)
def test_planted_mistakes_are_found(errors: float, stops: bool, least_f1: float, most_false: float) -> None:
    tally = measure.Tally()
    for lesson in measure.lessons(range(6), "ab", error_rate=errors, punctuation=stops):
        measure.tally_lesson(tally, *lesson)
    assert tally.scores()["all"]["f1"] >= least_f1
    assert sum(tally.false.values()) / tally.minutes * 15 <= most_false
    assert tally.placed_right / tally.notes >= 0.95
