"""The live check of one sentence: what is false of its bars is told, what is true is let alone."""

from __future__ import annotations

import re

import pytest

from partwright.lesson import LESSON_FILE, OWN_SCRIPT_FILE, write_demo
from partwright.studio.plan_state import PlanState, plan_state
from partwright.studio.said import said_findings

OTHER = {"first": "second", "second": "third", "third": "fourth", "fourth": "first"}


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> PlanState:
    """The plan of the demonstration lesson."""
    folder = tmp_path_factory.mktemp("said") / "demo"
    write_demo(folder)
    texts = {LESSON_FILE: (folder / LESSON_FILE).read_text(encoding="utf-8"), OWN_SCRIPT_FILE: None}
    return plan_state(folder, texts)


@pytest.mark.parametrize(
    ("text", "bar", "beat", "right"),
    [  # bar 0 has A2 with the first finger on G; bar 1 begins on the open D; bar 16 has G sharp with the fourth finger
        ("The pick-up, beat 3: The A, third finger on the G string, first position.", "0", "3", "first finger"),
        ("Bar 1, beat 1: The D, first finger on the D string.", "1", "1", "open string"),
        ("The G sharp is first finger here.", "16", "1", "fourth finger"),
    ],
)
def test_a_false_finger_is_told_with_the_right_one(
    state: PlanState, text: str, bar: str, beat: str, right: str
) -> None:
    found = said_findings(state, text, (bar, bar))["findings"]
    assert [(f["verdict"], f["bar"], f["beat"], f["right"]) for f in found] == [("wrong", bar, beat, right)]
    assert text[found[0]["first_char"] : found[0]["last_char"]].endswith("finger")


def test_what_the_program_says_itself_is_never_called_wrong(state: PlanState) -> None:
    told = [(s.text, said_findings(state, s.text, s.bars)["findings"]) for s in state.script if s.bars]
    assert len(told) > 100
    assert [text for text, found in told if any(f["verdict"] == "wrong" for f in found)] == []


def test_nearly_every_false_finger_in_the_script_is_found(state: PlanState) -> None:
    planted = found = 0
    for sentence in state.script:
        for match in re.finditer(r"\b(first|second|third|fourth)(?= finger on)", sentence.text):
            text = sentence.text[: match.start()] + OTHER[match[1]] + sentence.text[match.end() :]
            planted += 1
            found += any(f["kind"] == "finger" for f in said_findings(state, text, sentence.bars)["findings"])
    assert planted > 50
    assert found / planted >= 0.9, f"{found} of {planted}"


def test_digits_that_are_no_numbers_are_words(state: PlanState) -> None:
    assert said_findings(state, "as in the note ³ below", ("1", "³")) == {"findings": [], "claims": []}
