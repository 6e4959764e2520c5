"""Fit the trees that weigh a doubted claim of the narration check on made lessons, and write them into the package.

    python bench/fit_narration.py [LESSONS]

So many lessons (36 if not said) in each of the seen voices (a, b, d, e) and each of four conditions, on other tunes and
seeds than those of bench_narration.py. Before the trees are fitted to all of them they are fitted four times to three
voices and tried on the fourth: that is what to expect of a teacher nobody met, and what the thresholds are chosen by.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from narration_trees import Model, boost

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "narration_eval"))

from measure import belongs, check_lesson, make_lesson  # noqa: E402

from partwright.checking import Finding  # noqa: E402
from partwright.checking.narration.evidence import NAMES  # noqa: E402
from partwright.files import write_atomic  # noqa: E402
from partwright.score import beat_text  # noqa: E402

CONDITIONS = {
    "clean": (0.0, True), "no stops": (0.0, False), "10 % errors": (0.1, True), "10 % errors, no stops": (0.1, False)
}  # fmt: skip
FIRST_SEED = {"a": 1700, "b": 2700, "d": 3700, "e": 4700}  # the measured lessons have seeds from 1000 to 1199
SEED_STEP = 7
TARGET = ROOT / "src/partwright/checking/narration/data/verdict_trees.json"


@dataclass(frozen=True)
class Doubted:
    """One doubted claim: its evidence, whether a mistake was planted there, and in what kind of lesson."""

    row: tuple[float, ...]
    planted: bool
    voice: str
    condition: str


@dataclass
class Lessons:
    minutes: float = 0.0
    planted: int = 0


def doubted(voice: str, seed: int, condition: str, lessons: Lessons) -> list[Doubted]:
    """The doubted claims of one lesson. Left out: those in a sentence with a mistake of another kind, or a lost one."""
    errors, stops = CONDITIONS[condition]
    tune, statements, text, _ = make_lesson(seed, voice, error_rate=errors, punctuation=stops)
    check = check_lesson(tune, text)
    planted = [s.planted for s in statements if s.planted is not None]
    lessons.minutes += statements[-1].end_s / 60
    lessons.planted += sum(p.audible for p in planted)
    found = []
    for item in check.judged:
        if not item.evidence:
            continue
        note = check.places[item.place].first
        finding = Finding(
            kind=item.kind, verdict="wrong", what="", bar=note.bar, beat=beat_text(note.beat),
            time_s=check.words[item.first_word].start_s,
        )  # fmt: skip
        here = [p for p in planted if belongs(finding, p)]
        if any(p.kind == item.kind and p.audible for p in here) or not here:
            found.append(Doubted(item.evidence, bool(here), voice, condition))
    return found


def tried_on_others(claims: Sequence[Doubted], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The belief in each claim by trees that were fitted without its voice."""
    voices = np.array([claim.voice for claim in claims])
    beliefs = np.zeros(len(claims))
    for voice in FIRST_SEED:
        out = voices == voice
        beliefs[out] = boost(x[~out], y[~out]).beliefs(x[out])
    return beliefs


def write(model: Model) -> None:
    trees = [
        {
            "asks": [[NAMES[c], round(t, 5)] for c, t in zip(tree.columns, tree.thresholds, strict=True)],
            "leaves": [round(leaf, 5) for leaf in tree.leaves],
        }
        for tree in model.trees
    ]
    lines = ",\n".join(json.dumps(tree, separators=(",", ":")) for tree in trees)
    write_atomic(TARGET, f'{{"start": {model.start:.5f}, "trees": [\n{lines}\n]}}\n')


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 36
    lessons = {condition: Lessons() for condition in CONDITIONS}
    claims = [
        claim
        for voice, first in FIRST_SEED.items()
        for k in range(count)
        for condition in CONDITIONS
        for claim in doubted(voice, first + SEED_STEP * k, condition, lessons[condition])
    ]
    x = np.array([claim.row for claim in claims])
    y = np.array([claim.planted for claim in claims], dtype=float)
    report(claims, y, tried_on_others(claims, x, y), lessons)
    write(boost(x, y))
    print(f"{TARGET.name} written from {len(claims)} doubted claims, {y.sum():.0f} of them planted")


def report(claims: Sequence[Doubted], y: np.ndarray, beliefs: np.ndarray, lessons: dict[str, Lessons]) -> None:
    """For each threshold what is called wrong, on voices left out of the fit."""
    condition_of = np.array([claim.condition for claim in claims])
    for condition, told in lessons.items():
        for least in (0.4, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95):
            said = (condition_of == condition) & (beliefs >= least)
            false = float((said & (y == 0)).sum())
            print(
                f"{condition:22} from {least}: {15 * false / told.minutes:5.2f} false in 15 min, "
                f"{(said & (y == 1)).sum() / told.planted:.3f} of the mistakes"
            )


if __name__ == "__main__":
    main()
