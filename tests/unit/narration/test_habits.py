"""A teacher's habits: a claim between two names is given to the one this teacher's way of saying it speaks of."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib import resources

import pytest

from made_parts import part_of
from partwright.checking.narration import parse_transcript
from partwright.checking.narration.evidence import NAMES
from partwright.checking.narration.habits import tied_by_habit
from partwright.checking.narration.language import load_language
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.places import find_places
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.verdict_model import belief, load_model
from partwright.checking.narration.words import Word, spoken_words
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")
# D E F♯ G A B A G F♯ E D E; first position: open, first, third, fourth, open, first and back.
PART = part_of([50, 52, 54, 55, 57, 59, 57, 55, 54, 52, 50, 52], quarters=1)
TRUTH = Truth(PART, find_places(PART, plan_fingering(PART, CELLO, level="beginner"), None, ()), CELLO)


def _lesson(fingers: list[str]) -> tuple[list[Mention], tuple[Word, ...]]:
    """E and G in turn, each with a finger said after it, and an F sharp without one; all in one run of words."""
    said = [f"{'eg'[k % 2]} i take {finger} finger f sharp" for k, finger in enumerate(fingers)]
    words = spoken_words(parse_transcript(" ".join(said).encode()))
    mentions = list(parse_words(words, load_language()).mentions)
    assert [m.note for m in mentions] == [
        ("EG"[k // 2 % 2], None) if k % 2 == 0 else ("F", 1) for k in range(len(mentions))
    ]
    return mentions, words


def _places(size: int) -> list[int]:
    return [(1, 2, 3, 2)[k % 4] for k in range(size)]


RIGHT = ["first", "fourth"] * 4


def _fingers(mentions: Sequence[Mention]) -> list[list[int]]:
    return [[int(c.value[0]) for c in m.claims] for m in mentions]


def test_a_claim_follows_the_habit_even_where_it_is_wrong() -> None:
    """The fourth one is a slip, and true of the F sharp after it; all others show that the finger follows its note."""
    fingers = [*RIGHT[:3], "third", *RIGHT[4:]]
    mentions, words = _lesson(fingers)
    assert _fingers(mentions)[7] == [3]  # what the grammar alone makes of it
    tied = tied_by_habit(mentions, _places(len(mentions)), TRUTH, words)
    assert _fingers(tied) == [[1], [], [4], [], [1], [], [3], [], [1], [], [4], [], [1], [], [4], []]


def test_habits_never_lose_or_double_a_claim() -> None:
    mentions, words = _lesson(RIGHT)
    tied = tied_by_habit(mentions, _places(len(mentions)), TRUTH, words)
    before = sorted(c.first_word for m in mentions for c in m.claims)
    assert sorted(c.first_word for m in tied for c in m.claims) == before
    assert all(0.0 <= c.p_other <= 1.0 for m in tied for c in m.claims)


def test_a_claim_has_no_say_about_itself() -> None:
    mentions, words = _lesson(RIGHT[:1])
    assert tied_by_habit(mentions, _places(len(mentions)), TRUTH, words) == tuple(mentions)


def test_the_belief_is_halfway_between_the_judges() -> None:
    model = load_model()
    row = [0.0] * len(NAMES)
    row[0] = 1.0
    plain = sum(w * x for w, x in zip(model.weights, row, strict=True))
    trees = model.start + sum(tree.value(row) for tree in model.trees)
    assert model.logit(row) == pytest.approx((plain + trees) / 2) and plain != pytest.approx(trees)
    assert 0.0 < belief(row) < 0.5


def test_every_tree_is_whole_and_asks_what_there_is() -> None:
    source = resources.files("partwright.checking.narration") / "data" / "verdict_trees.json"
    for tree in json.loads(source.read_text(encoding="utf-8"))["trees"]:
        assert len(tree["leaves"]) == len(tree["asks"]) + 1 == 16
        assert {name for name, _ in tree["asks"]} <= set(NAMES)
