"""The follower against brute force: the best path and the posterior of every mention, on tunes short enough to try all.

The brute force walks every sequence of places and of "spoken of no place", with the model's own step as a matrix.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from made_parts import part_of
from partwright.checking.narration.follow import _Model, follow
from partwright.checking.narration.language import load_language
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.places import Section, find_places
from partwright.checking.narration.read_transcript import parse_transcript
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import spoken_words
from partwright.instrument import load_instrument

TEXTS = (
    "D, E, F sharp.",
    "The D, then G, then the E.",
    "E. Then B flat. F sharp twice.",
    "D. From the top. D, D.",
    "section A, the D. F sharp, E",
    "Bar one, D. Bar two. E.",
)


def _mentions(text: str) -> tuple[Mention, ...]:
    return parse_words(spoken_words(parse_transcript(text.encode())), load_language()).mentions


def _truth(midis: list[int], *, repeated: bool) -> tuple[Truth, tuple[Section, ...]]:
    part = part_of(midis, quarters=1, repeated=repeated)
    sections = (Section(name="A", first_bar_index=0, last_bar_index=len(part.bars) - 1),)
    places = find_places(part, None, None, sections)
    return Truth(part, places, load_instrument("cello")), sections


def _matrix(model: _Model, step: object, size: int) -> np.ndarray:
    """matrix[a, b]: the weight of going from a to b."""
    return np.array([model.move(row, step) for row in np.eye(size)])  # type: ignore[arg-type]


@pytest.mark.parametrize("text", TEXTS)
@pytest.mark.parametrize("repeated", [False, True])
def test_exact_best_path_and_posterior(text: str, repeated: bool) -> None:
    truth, sections = _truth([50, 52, 54, 54, 55], repeated=repeated)
    mentions = _mentions(text)
    size, count = len(truth), len(mentions)
    assert count >= 2
    model = _Model(truth, sections)
    steps = model.steps(mentions)
    start = model.start()
    moves = [_matrix(model, step, size) for step in steps]
    posterior = np.zeros((count, size))
    total, best, best_path = 0.0, -1.0, ()
    for origin in range(size):
        for ways in itertools.product(range(-1, size), repeat=count):
            weight, at = start[origin], origin
            for step, move, way in zip(steps, moves, ways, strict=True):
                if way < 0:
                    weight *= step.stray
                else:
                    weight *= move[at, way] * step.emission[way]
                    at = way
            total += weight
            for k, way in enumerate(ways):
                if way >= 0:
                    posterior[k, way] += weight
            if weight > best:
                best, best_path = weight, ways
    found = follow(mentions, truth, sections)
    np.testing.assert_allclose(found.posterior, posterior / total, atol=2e-4)
    np.testing.assert_allclose(found.real, posterior.sum(axis=1) / total, atol=2e-4)
    # Viterbi takes the dearest single step, where brute force sums parallel ways between two places (a jump to where a
    # step leads as well): its path may weigh a little less than the best sum, never more.
    weight = _weight_of(found.path, start, moves, steps)
    assert weight == pytest.approx(best, rel=0.35) or tuple(found.path) == best_path


def _weight_of(path: np.ndarray, start: np.ndarray, moves: list[np.ndarray], steps: list[object]) -> float:
    best = 0.0
    for origin in range(len(start)):
        weight, at = float(start[origin]), origin
        for step, move, way in zip(steps, moves, path, strict=True):
            if way < 0:
                weight *= step.stray  # type: ignore[attr-defined]
            else:
                weight *= float(move[at, way]) * float(step.emission[way])  # type: ignore[attr-defined]
                at = int(way)
        best = max(best, weight)
    return best


def test_going_back_is_the_step_seen_from_its_end() -> None:
    """`move_back` is the transpose of `move`, whatever the pace, the repeats and the words that announce a jump."""
    truth, sections = _truth([50, 52, 54, 54, 55, 50], repeated=True)
    model = _Model(truth, sections)
    for text in TEXTS:
        mentions = _mentions(text)
        for step in model.steps(mentions):
            forward = _matrix(model, step, len(truth))
            backward = np.array([model.move_back(row, step) for row in np.eye(len(truth))])
            np.testing.assert_allclose(forward, backward.T, atol=1e-12)
