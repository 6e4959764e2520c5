"""Lessons told in free words, each in another manner, with slips planted by hand: all are found, and nothing else.

The texts in tests/narration_talks were written as a teacher would talk, without a look at the grammar. The tunes are
invented; their fingers and bows are printed in the files, so that no change of the plan changes what is right.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from conftest import Ran

TALKS = Path(__file__).parents[1] / "narration_talks"
EXPECTED = tomllib.loads((TALKS / "expected.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_every_slip_is_found_and_nothing_else(name: str, partwright: Callable[..., Ran]) -> None:
    row = EXPECTED[name]
    ran = partwright("check", "narration", TALKS / row["score"], TALKS / f"{name}.txt", "--json")
    findings = json.loads(ran.out)["findings"]
    wrong = [[f["kind"], f["bar"], f["beat"]] for f in findings if f["verdict"] == "wrong"]
    assert wrong == row["wrong"], [f["what"] for f in findings]
    checks = [f["what"] for f in findings if f["verdict"] == "check"]
    assert len(checks) <= row["most_checks"], checks
    assert ran.code == (1 if findings else 0)
