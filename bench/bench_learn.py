# ruff: noqa: E402 (the imports below need the path set above them)
"""How soon a teacher's hidden taste is learned, how long that takes, and that planning with a taste takes no longer.

    python bench/bench_learn.py [--teachers N] [--quick]

A simulated teacher is the default weights, each multiplied by e to a normal deviate of 0.5 (two in three between 0.6
and 1.65 times). The teacher goes through one invented tune of 24 bars after another and pins the first note whose
string or finger is not as it should be, until the whole tune is. After whole tunes with at most so many corrections the
program learns from all of them, and the next tune is planned with what it learned, as in use (a lesson learned from
earlier says how it stood then, and a lesson without a pin says nothing, as in `partwright learn`). Beside it the figure
for learning once only, from tunes all planned by the defaults. What is reported:

    disagreements  notes of unseen tunes whose string or finger is not the teacher's
    vanished       1 - disagreements under the learned taste / disagreements under the defaults, over all unseen tunes

Unseen tunes are invented ones, and four movements of string quartets (cello parts; Haydn, Mozart) that music21's corpus
carries, where it is installed. Ratios travel from machine to machine, seconds don't; they are of processor time, on one
core. Results go to bench/results/learn.json.
"""

from __future__ import annotations

import argparse
import json
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import sys
import time
import warnings
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from made_teachers import Placed, corrected, disagreements, hidden_taste, invented_tune, placed
from partwright.files import write_atomic
from partwright.fingering import Pin, Planning, Weights, default_weights, prepare
from partwright.fingering.learning import Judged, Standing, judge, learn_weights, standing
from partwright.instrument import load_instrument
from partwright.score import Part, read_tune

CELLO = load_instrument("cello")
USUAL = default_weights(CELLO)
MOVEMENTS = ("mozart/k155/movement1.mxl", "mozart/k155/movement2.mxl", "mozart/k156/movement1.mxl",
             "haydn/opus74no1/movement2.mxl")  # fmt: skip
RESULTS = ROOT / "bench" / "results" / "learn.json"
GOALS = {20: 0.5, 100: 0.85}


def open_parts() -> list[Part]:
    """Cello parts of quartets from music21's corpus; none where it is not installed."""
    import importlib.util

    found = importlib.util.find_spec("music21")
    if found is None or found.origin is None:
        return []
    corpus = Path(found.origin).parent / "corpus"
    parts = []
    for name in MOVEMENTS:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for part in ("Violoncello", "Cello", "4"):
                try:
                    parts.append(read_tune(corpus / name, part=part, voice="all").part)
                    break
                except Exception:
                    continue
    return parts


def plans(parts: list[Part], weights: Weights) -> list[Placed]:
    found, like = [], None
    for part in parts:
        like = prepare(part, CELLO, weights=weights, like=like)
        found.append(placed(like))
    return found


Corrected = tuple[Part, list[Pin]]
Stood = list[dict[str, Standing]]


def stood_so_far(lessons: list[Corrected], weights: Weights) -> Stood:
    """These lessons as they stand under the taste of the moment, when their teacher is content with them."""
    found, like = [], None
    for part, pins in lessons:
        like = prepare(part, CELLO, pins=pins, weights=weights, like=like)
        found.append(standing(like))
    return found


def judged(lessons: list[Corrected], weights: Weights, stood: Stood) -> list[Judged]:
    """The lessons that have pins (the program takes no others for gone through) as they are planned now; the first were
    learned from already, and `stood` says how they stood then."""
    found, like = [], None
    for number, (part, pins) in enumerate(lessons):
        if not pins:
            continue
        like = prepare(part, CELLO, pins=pins, weights=weights, like=like)
        known = number < len(stood)
        seen = {pin.note_id for pin in pins} if known else None
        found.append(judge(like, reviewed=True, seen=seen, stands=stood[number] if known else None))
    return found


def one_teacher(number: int, steps: list[int], unseen: list[Part], usual: list[Placed]) -> dict[str, Any]:
    taste = hidden_taste(number, CELLO)
    wanted = plans(unseen, taste)
    before = disagreements(usual, wanted)
    weights, curve = USUAL, []
    lessons: list[Corrected] = []
    stood: Stood = []
    corrections = 0
    for step in steps:
        while True:  # whole tunes only: what a teacher has not come to yet has not been let stand
            part = invented_tune(1000 * number + len(lessons))
            pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=taste)), weights=weights)
            if corrections + len(pins) > step:
                break
            corrections += len(pins)
            lessons.append((part, pins))
        if not corrections:
            curve.append({"at_most": step, "corrections": 0, "lessons": len(lessons), "vanished": 0.0})
            continue
        found = judged(lessons, weights, stood)
        began = time.process_time()
        learned = learn_weights(found, CELLO)
        seconds = time.process_time() - began
        if learned.fitted is not None:
            stood += stood_so_far(lessons[len(stood) :], weights)
            weights = learned.fitted.weights(USUAL)
        now = plans(unseen, weights)
        curve.append(
            {
                "at_most": step,
                "corrections": corrections,
                "lessons": len(lessons),
                "accepted": learned.fitted is not None,
                "vanished": 1 - disagreements(now, wanted) / before,
                "learning_s": seconds,
                "rounds": learned.rounds,
                "settled": learned.settled,
            }
        )
    return {"teacher": number, "disagreements": before, "notes": sum(map(len, wanted)), "curve": curve}


def at_one_go(number: int, most: int, unseen: list[Part], usual: list[Placed]) -> dict[str, Any]:
    """The same teacher, but the program learns once only, from tunes that were all planned by the defaults."""
    taste = hidden_taste(number, CELLO)
    wanted = plans(unseen, taste)
    lessons: list[Corrected] = []
    corrections = 0
    while True:
        part = invented_tune(1000 * number + len(lessons))
        pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=taste)))
        if corrections + len(pins) > most:
            break
        corrections += len(pins)
        lessons.append((part, pins))
    learned = learn_weights(judged(lessons, USUAL, []), CELLO)
    weights = USUAL if learned.fitted is None else learned.fitted.weights(USUAL)
    vanished = 1 - disagreements(plans(unseen, weights), wanted) / disagreements(usual, wanted)
    return {"teacher": number, "corrections": corrections, "lessons": len(lessons), "vanished": vanished}


def fifty_lessons() -> dict[str, Any]:
    """Learning from fifty lessons with all their corrections, and planning with and without what was learned."""
    taste = hidden_taste(0, CELLO)
    lessons = []
    for seed in range(50):
        part = invented_tune(50_000 + seed)
        lessons.append((part, corrected(part, CELLO, placed(prepare(part, CELLO, weights=taste)))))
    found = judged(lessons, USUAL, [])
    began = time.process_time()
    learned = learn_weights(found, CELLO)
    seconds = time.process_time() - began
    assert learned.fitted is not None
    own = learned.fitted.weights(USUAL)
    parts = [part for part, _ in lessons[:12]]
    pairs = [(planning_seconds(parts, own), planning_seconds(parts, USUAL)) for _ in range(7)]
    return {
        "lessons": len(lessons),
        "notes": sum(len(part.notes) for part, _ in lessons),
        "decisions": learned.pins,
        "learning_s": seconds,
        "rounds": learned.rounds,
        "comparisons": learned.comparisons,
        "settled": learned.settled,
        "planning_ratio": statistics.median(a / b for a, b in pairs),
    }


def planning_seconds(parts: list[Part], weights: Weights) -> float:
    began = time.process_time()
    like: Planning | None = None
    for part in parts:
        like = prepare(part, CELLO, weights=weights, like=like)
    return time.process_time() - began


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--teachers", type=int, default=5, help="how many simulated teachers")
    options.add_argument("--quick", action="store_true", help="two teachers, 20 corrections, no fifty lessons")
    chosen = options.parse_args()
    steps = [20] if chosen.quick else [10, 20, 35, 50, 75, 100]
    unseen = [invented_tune(900_000 + seed) for seed in range(12)] + open_parts()
    usual = plans(unseen, USUAL)
    teachers = []
    for number in range(2 if chosen.quick else chosen.teachers):
        teachers.append(row := one_teacher(number, steps, unseen, usual))
        shown = "  ".join(f"{p['at_most']} ({p['corrections']}): {p['vanished']:.2f}" for p in row["curve"])
        print(f"teacher {number}: {row['disagreements']} of {row['notes']} notes differ;  {shown}", flush=True)
    curve = []
    for index, step in enumerate(steps):
        vanished = [row["curve"][index]["vanished"] for row in teachers]
        goal = GOALS.get(step)
        curve.append({"corrections": step, "mean": statistics.mean(vanished), "median": statistics.median(vanished),
                      "least": min(vanished), "goal": goal})  # fmt: skip
        wanted = f"   (goal: {goal})" if goal else ""
        print(f"{step:>4} corrections: {curve[-1]['mean']:.2f} vanished, median {curve[-1]['median']:.2f}, "
              f"least {min(vanished):.2f}{wanted}")  # fmt: skip
    results: dict[str, Any] = {"unseen_tunes": len(unseen), "curve": curve, "teachers": teachers}
    if not chosen.quick:
        results["fifty_lessons"] = row = fifty_lessons()
        print(f"{row['lessons']} lessons, {row['decisions']} decisions: {row['learning_s']:.1f} s of one core "
              f"(goal: 60); planning with the taste takes {row['planning_ratio']:.2f} × the time")  # fmt: skip
        write_atomic(RESULTS, json.dumps(results, indent=1) + "\n")
        results["at_one_go"] = rows = [at_one_go(n, steps[-1], unseen, usual) for n in range(chosen.teachers)]
        mean = statistics.mean(row["vanished"] for row in rows)
        print(f"learned once, from at most {steps[-1]} corrections of the usual plan: {mean:.2f} vanished")
        write_atomic(RESULTS, json.dumps(results, indent=1) + "\n")


if __name__ == "__main__":
    main()
