"""Fit the two judges that weigh a doubted claim of the narration check, and write them into the package.

    python bench/fit_narration.py [LESSONS]

So many made lessons (24 if not said) in each of the seen voices (a, b, d, e) and each of four conditions, on other
tunes and seeds than those of bench_narration.py; and the free talks of the hands that were used to mend the check, each
of their claims counted eight times: few, and nearer to what teachers say. Before the judges are fitted to all of them
each voice, and each hand, is left out in turn and tried on: that is what to expect of a teacher nobody met, and what
the thresholds are chosen by.
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
from talks import WITHIN_S, check_talk, talks  # noqa: E402

from partwright.checking import Finding  # noqa: E402
from partwright.checking.narration.evidence import NAMES  # noqa: E402
from partwright.files import write_atomic  # noqa: E402
from partwright.score import beat_text  # noqa: E402

CONDITIONS = {
    "clean": (0.0, True), "no stops": (0.0, False), "10 % errors": (0.1, True), "10 % errors, no stops": (0.1, False)
}  # fmt: skip
FIRST_SEED = {"a": 1700, "b": 2700, "d": 3700, "e": 4700}  # the measured lessons have seeds from 1000 to 1199
SEED_STEP = 7
DATA = ROOT / "src/partwright/checking/narration/data"
TREES_FILE, SUM_FILE = DATA / "verdict_trees.json", DATA / "verdicts.toml"
FREE = "free"
FREE_COUNTS = 8
RIDGE = 3.0
# What a planted mistake of a kind may be found as.
FOUND_AS = {"note": {"order"}, "order": {"note"}, "rhythm": {"count"}, "count": {"rhythm"}}


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


def doubted_in_talks() -> list[Doubted]:
    """The doubted claims of the free talks; left out are those near a slip of another kind."""
    found = []
    for talk in talks("hand"):
        check = check_talk(talk)
        for item in check.judged:
            when = check.words[item.first_word].start_s
            if not item.evidence or when is None:
                continue
            near = [slip for slip in talk.slips if abs(slip.time_s - when) <= WITHIN_S]
            hit = any(item.kind in {slip.kind} | FOUND_AS.get(slip.kind, set()) for slip in near)
            if hit or not near:
                found.append(Doubted(item.evidence, hit, talk.hand, FREE))
    return found


@dataclass(frozen=True)
class Judges:
    """The plain sum and the trees; the belief is halfway between their logits."""

    weights: np.ndarray
    trees: Model

    def beliefs(self, x: np.ndarray) -> np.ndarray:
        told = np.clip(self.trees.beliefs(x), 1e-9, 1 - 1e-9)
        return 1 / (1 + np.exp(-(x @ self.weights + np.log(told / (1 - told))) / 2))


def fitted(x: np.ndarray, y: np.ndarray, counts: np.ndarray) -> Judges:
    """Both judges fitted to these claims, each counted so many times."""
    weights = np.zeros(x.shape[1])
    for _ in range(30):  # a ridge logistic regression, by Newton's method
        p = 1 / (1 + np.exp(-(x @ weights)))
        bend = (x * (counts * p * (1 - p))[:, None]).T @ x + RIDGE * np.eye(x.shape[1])
        step = np.linalg.solve(bend, x.T @ (counts * (y - p)) - RIDGE * weights)
        weights += step
        if np.abs(step).max() < 1e-6:
            break
    return Judges(weights, boost(np.repeat(x, counts, axis=0), np.repeat(y, counts)))


def tried_on_others(claims: Sequence[Doubted], x: np.ndarray, y: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """The belief in each claim by judges that were fitted without its voice or hand."""
    voices = np.array([claim.voice for claim in claims])
    beliefs = np.zeros(len(claims))
    for voice in sorted(set(voices)):
        out = voices == voice
        beliefs[out] = fitted(x[~out], y[~out], counts[~out]).beliefs(x[out])
    return beliefs


def write(judges: Judges, claims: int, free: int) -> None:
    trees = [
        {
            "asks": [[NAMES[c], round(t, 5)] for c, t in zip(tree.columns, tree.thresholds, strict=True)],
            "leaves": [round(leaf, 5) for leaf in tree.leaves],
        }
        for tree in judges.trees.trees
    ]
    lines = ",\n".join(json.dumps(tree, separators=(",", ":")) for tree in trees)
    write_atomic(TREES_FILE, f'{{"start": {judges.trees.start:.5f}, "trees": [\n{lines}\n]}}\n')
    weights = [
        f"{name} = {weight:.4f}" for name, weight in zip(NAMES, judges.weights, strict=True) if abs(weight) >= 5e-5
    ]
    write_atomic(
        SUM_FILE,
        "# Weights of the evidence for a slip of the tongue (evidence.py), a logistic sum; others weigh nothing.\n"
        f"# Written by bench/fit_narration.py from {claims} doubted claims of made lessons and {free} of free talks.\n"
        "[weights]\n" + "\n".join(weights) + "\n",
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    lessons = {condition: Lessons() for condition in CONDITIONS}
    claims = [
        claim
        for voice, first in FIRST_SEED.items()
        for k in range(count)
        for condition in CONDITIONS
        for claim in doubted(voice, first + SEED_STEP * k, condition, lessons[condition])
    ]
    made = len(claims)
    claims += doubted_in_talks()
    lessons[FREE] = Lessons()
    for talk in talks("hand"):
        lessons[FREE].minutes += check_talk(talk).words[-1].start_s / 60
        lessons[FREE].planted += len(talk.slips)
    x = np.array([claim.row for claim in claims])
    y = np.array([claim.planted for claim in claims], dtype=float)
    counts = np.where(np.arange(len(claims)) < made, 1, FREE_COUNTS)
    report(claims, y, tried_on_others(claims, x, y, counts), lessons)
    write(fitted(x, y, counts), made, len(claims) - made)
    print(f"written from {made} and {len(claims) - made} doubted claims, {y.sum():.0f} of them planted")


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
