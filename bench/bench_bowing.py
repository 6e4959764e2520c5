# ruff: noqa: E402 (the imports below need the path set above them)
"""How fast the bow is planned, beside the fingering of the same part in the same run; how well it agrees with print.

    python bench/bench_bowing.py [--quick]

Ratios travel from machine to machine, seconds don't. Results go to bench/results/bowing.json. The agreement is measured
on the third of the open tunes that was never used for choosing weights (`tests/reference/folk_bowings.py`).
"""

from __future__ import annotations

import argparse
import itertools
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference")]

from folk_bowings import FolkTune, alternating, corpus_folder, corpus_tunes, unseen

from made_parts import part_of
from partwright.bowing import BowPin, plan_bowing, plan_together, replan_bowing
from partwright.errors import PartwrightError
from partwright.fingering import Pin, plan_fingering
from partwright.instrument import load_instrument
from partwright.score import Part

CELLO = load_instrument("cello")
VIOLIN = load_instrument("violin")
LEVEL = "intermediate"


def seconds(work: Callable[[], Any], times: int = 3) -> float:
    """Processor seconds of the quickest of several runs."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def varied_part(count: int, seed: int = 1, bar_quarters: int = 4) -> Part:
    """A tune of mixed rhythms with rests and slurs, moving by steps and small leaps."""
    random = np.random.default_rng(seed)
    figures = ([1, 1, 1, 1], [0.5] * 8, [1.5, 0.5, 1, 1], [2, 1, 1], [0.75, 0.25, 0.75, 0.25, 1, 1], [2, 2], [4])
    lengths: list[Fraction] = []
    while len(lengths) < count:
        lengths += [Fraction(x) for x in figures[int(random.integers(len(figures)))]]
    here, sounds = 50, []
    steps = random.choice((-5, -4, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 4, 5), count)
    rests = random.random(count) < 0.04
    for step, rest in zip(steps, rests, strict=True):
        here = here + int(step) if 38 <= here + int(step) <= 69 else here - int(step)
        sounds.append(None if rest else here)
    joined = np.flatnonzero((random.random(count) < 0.3) & ~rests & ~np.append(rests[1:], True))
    slurred = {int(k) for k in joined if lengths[k] <= 1}
    return part_of(sounds, quarters=lengths[:count], tempo_qpm=96, slurred=slurred, bar_quarters=bar_quarters)


def beside_fingering(count: int) -> dict[str, float]:
    part = varied_part(count)
    assert part.played_bars
    assert len(part.table)
    fingering = plan_fingering(part, CELLO, level=LEVEL)
    finger = seconds(lambda: plan_fingering(part, CELLO, level=LEVEL))
    bow = seconds(lambda: plan_bowing(part, CELLO, fingering, level=LEVEL))
    return {"notes": count, "fingering_s": finger, "bowing_s": bow, "bowing_over_fingering": bow / finger}


def growth_row(count: int) -> dict[str, float]:
    """One size, in this process: time and peak memory. Long bars, as a part may not have more than 20,000."""
    part = varied_part(count, bar_quarters=80)
    assert part.played_bars
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    began = time.process_time()
    plan = plan_bowing(part, CELLO, level=LEVEL)
    taken = time.process_time() - began
    return {
        "notes": count,
        "strokes": len(plan.strokes),
        "us_per_note": taken / count * 1e6,
        "part_mb": before,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def growth(sizes: list[int]) -> list[dict[str, float]]:
    rows = []
    for size in sizes:
        done = subprocess.run(
            [sys.executable, __file__, "--one-size", str(size)], capture_output=True, text=True, check=True
        )
        rows.append(json.loads(done.stdout))
    for row in rows:
        row["times_the_smallest"] = row["us_per_note"] / rows[0]["us_per_note"]
    return rows


def replanning(count: int, pins: int = 15) -> dict[str, Any]:
    part = varied_part(count)
    plan = plan_bowing(part, CELLO, level=LEVEL)
    random = np.random.default_rng(3)
    ratios, same = [], True
    for s in random.choice(len(plan.strokes), pins, replace=False).tolist():
        stroke = plan.strokes[s]
        pin = BowPin(note_id=stroke.id, direction="up" if stroke.direction == "down" else "down")
        quick = seconds(lambda pin=pin: replan_bowing(plan, [pin]), 1)
        afresh = seconds(lambda pin=pin: plan_bowing(part, CELLO, level=LEVEL, pins=[pin]), 1)
        same = same and replan_bowing(plan, [pin]) == plan_bowing(part, CELLO, level=LEVEL, pins=[pin])
        ratios.append(afresh / quick)
    return {
        "notes": count,
        "pins": pins,
        "median_ratio": statistics.median(ratios),
        "least_ratio": min(ratios),
        "same_plan": same,
    }


def agreement(tunes: list[FolkTune]) -> dict[str, Any]:
    counted = {"plan": 0, "each bar anew": 0, "alternation carried on": 0}
    total = strokes = hooks = retakes = 0
    for tune in tunes:
        plan = plan_bowing(tune.part, VIOLIN, level=LEVEL)
        by_bar, carried = alternating(tune.part, by_bar=True), alternating(tune.part, by_bar=False)
        for note_id, direction in tune.printed:
            counted["plan"] += plan.by_note[note_id].direction == direction
            counted["each bar anew"] += by_bar[note_id] == direction
            counted["alternation carried on"] += carried[note_id] == direction
        total += len(tune.printed)
        strokes += len(plan.strokes)
        hooks += sum(stroke.hook for stroke in plan.strokes)
        retakes += sum(stroke.retake for stroke in plan.strokes)
    shares = {name: value / total for name, value in counted.items()}
    return {"tunes": len(tunes), "marks": total, **shares, "strokes": strokes, "hooks": hooks, "retakes": retakes}


def halved(tunes: list[FolkTune]) -> dict[str, Any]:
    """Decisions that change when the cell of the bow is halved."""
    strokes = changed = touched = 0
    for tune in tunes:
        one, two = (plan_bowing(tune.part, VIOLIN, level=LEVEL, cells=cells) for cells in (24, 48))
        differ = sum(a.direction != b.direction for a, b in zip(one.strokes, two.strokes, strict=True))
        strokes, changed, touched = strokes + len(one.strokes), changed + differ, touched + (differ > 0)
    return {"tunes": len(tunes), "strokes": strokes, "changed": changed, "tunes_touched": touched}


def joint_gap(passages: int, notes: int = 5) -> dict[str, Any]:
    """Fingers and bow in turn against the best of every choice of strings, on short passages."""
    random = np.random.default_rng(11)
    gaps, apart = [], []
    for _ in range(passages):
        here, sounds = int(random.integers(48, 62)), []
        for step in random.choice((-7, -5, -2, 2, 5, 7), notes):
            here = here + int(step) if 45 <= here + int(step) <= 66 else here - int(step)
            sounds.append(here)
        slurred = {k for k in range(notes - 1) if random.random() < 0.25}
        part = part_of(sounds, quarters=Fraction(1, 4), tempo_qpm=110, slurred=slurred)
        both = plan_together(part, CELLO, level=LEVEL)
        best = both.total_cost
        choices = [
            [k for k in range(4) if 0 <= midi - CELLO.strings[k].midi <= CELLO.string_ceiling_semitones[k]]
            for midi in sounds
        ]
        for strings in itertools.product(*choices):
            pins = [Pin(note_id=f"n{k}", string=string) for k, string in enumerate(strings)]
            try:
                fingering = plan_fingering(part, CELLO, level=LEVEL, pins=pins)
            except PartwrightError:
                continue
            if fingering.relaxed or fingering.unplayable:
                continue
            bowing = plan_bowing(part, CELLO, fingering, level=LEVEL)
            best = min(best, fingering.total_cost + bowing.total_cost)
        gaps.append(both.total_cost - best)
        apart.append(both.apart_cost - best)
    return {
        "passages": passages,
        "notes": notes,
        "at_the_optimum": sum(gap < 1e-9 for gap in gaps),
        "mean_gap": statistics.mean(gaps),
        "largest_gap": max(gaps),
        "mean_gap_fingers_first": statistics.mean(apart),
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="small sizes only")
    parser.add_argument("--one-size", type=int, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one_size:
        print(json.dumps(growth_row(given.one_size)))
        return
    quick = given.quick
    results: dict[str, Any] = {
        "beside_fingering": beside_fingering(2_000 if quick else 10_000),
        "replanning": replanning(2_000 if quick else 10_000),
        "growth": growth([1_000, 10_000] if quick else [1_000, 10_000, 100_000, 1_000_000]),
        "joint_gap": joint_gap(4 if quick else 20),
    }
    folder = corpus_folder()
    if folder is not None:
        tunes = list(corpus_tunes(folder))
        kept_back = [tune for tune in tunes if unseen(tune)]
        fitted = [tune for tune in tunes if not unseen(tune)]
        step = 10 if quick else 1
        results["agreement_unseen"] = agreement(kept_back[::step])
        results["agreement_fitted"] = agreement(fitted[::step])
        results["halved_cell"] = halved(fitted[:: 60 if quick else 12])
    for name, value in results.items():
        print(name)
        for row in value if isinstance(value, list) else [value]:
            print("   ", "  ".join(f"{k} {v:.4g}" if isinstance(v, float) else f"{k} {v}" for k, v in row.items()))
    if not quick:
        path = ROOT / "bench" / "results" / "bowing.json"
        path.parent.mkdir(exist_ok=True)
        path.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
