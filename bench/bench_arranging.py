# ruff: noqa: E402 (the imports below need the path set above them)
"""Arranging on open music: how fast keys are ranked, and how often it is right, beside plain baselines.

    python bench/bench_arranging.py [--quick]

The music is what the reference library music21 carries. Times are processor time, as ratios against one plan in
the same run. Results go to bench/results/arranging.json.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests" / "reference"), str(ROOT / "tests")]
warnings.simplefilter("ignore")  # the reference library warns of its own old parts

from arranging_measures import (
    CHOSEN_ON_TUNE,
    agreement,
    cello_pieces,
    chorales,
    harmonised,
    moved_against_library,
    open_scores,
    printed_truth,
)

from partwright.arranging import Harmony as TuneHarmony
from partwright.arranging import KeyRanking, breaches, make_version, propose_chords, rank_keys, second_part
from partwright.bowing import plan_bowing
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import find_phrases
from partwright.lesson.bar_content import Bars

CELLO = load_instrument("cello")
CHOSEN_ON = 22
"""So many chorales were used to choose three weights; they are left out of what is measured."""


def keys(most: int) -> dict[str, Any]:
    """Where the composer's own key and octave comes, and what the ranking costs in plans."""
    places, plain, shares, ratios = [], [], [], []
    for name, part in list(cello_pieces())[:most]:
        began = time.process_time()
        ranking = rank_keys(part, CELLO)
        ranked = time.process_time() - began
        began = time.process_time()
        plan_bowing(part, CELLO, plan_fingering(part, CELLO), level="advanced")
        planned = time.process_time() - began
        place = place_of_own(ranking)
        places.append(place)
        plain.append(place_of_own(ranking, without=("away", "octave")))
        shares.append(place / len(ranking.ranking))
        ratios.append(ranked / planned)
        print(f"  {name}: own key {place} of {ranking.tried}; {ranked / planned:.1f} plans", flush=True)
    return {
        "pieces": len(places),
        "in_best_quarter_of_36": sum(place <= 9 for place in places) / len(places),
        "in_best_quarter_of_36_without_closeness": sum(place <= 9 for place in plain) / len(plain),
        "in_best_quarter_of_playable": sum(share <= 0.25 for share in shares) / len(shares),
        "first": sum(place == 1 for place in places) / len(places),
        "plans_median": statistics.median(ratios),
        "plans_worst": max(ratios),
    }


def place_of_own(ranking: KeyRanking, *, without: tuple[str, ...] = ()) -> int:
    """The place of the key the piece came in; `without`: terms left out of the price."""
    priced = sorted(
        (sum(value for name, value in choice.terms if name not in without), not choice.given)
        for choice in ranking.ranking
    )
    return next(place for place, (_, other) in enumerate(priced, start=1) if not other)


def chords(most: int) -> dict[str, Any]:
    """Agreement with printed chord symbols, and with what four voices sound, at each half beat or beat."""
    found: dict[str, Any] = {}
    for name, pairs in (
        (
            "printed chord symbols",
            [(part, printed_truth(part, harmony)) for name, part, harmony in harmonised() if name != CHOSEN_ON_TUNE],
        ),
        ("chorales", [(part, truth) for _, part, truth in list(chorales(CHOSEN_ON + most))[CHOSEN_ON:]]),
    ):
        total: Counter[str] = Counter()
        for part, truth in pairs:
            total += agreement(part, truth)
        found[name] = {key: value / total["moments"] for key, value in total.items() if key != "moments"}
        found[name] |= {"moments": total["moments"], "pieces": len(pairs)}
    return found


def transposition(most: int) -> dict[str, Any]:
    """Every note moved, against the reference library: sounding pitch, name, key signature."""
    total: Counter[str] = Counter()
    scores = 0
    for _, part in open_scores(most):
        scores += 1
        for semitones in (-5, -2, 3, 6):
            total += moved_against_library(part, semitones)
    return {
        "scores": scores,
        "notes": total["notes"],
        "same_pitch": total["same pitch"] / total["notes"],
        "same_name": total["same name"] / total["notes"],
        "plainer_name_than_the_library": total["plainer name"] / total["notes"],
        "double_accidentals": total["double"],
        "signatures": total["signatures"],
        "signatures_within_6": total["within 6"] / total["signatures"],
        "signatures_within_7": total["within 7"] / total["signatures"],
    }


def second_parts(most: int) -> dict[str, Any]:
    """Rules broken by second parts to tunes with proposed chords."""
    total: Counter[str] = Counter()
    for _, part, _ in list(chorales(most)):
        harmony = TuneHarmony(part, propose_chords(part).symbols)
        for kind in ("bass", "counter"):
            made = second_part(part, CELLO, kind=kind, level="intermediate", harmony=harmony)
            total[f"{kind} notes"] += len(made.part.notes)
            total[f"{kind} beyond level"] += len(made.plan.relaxed)
            for breach in breaches(part, made.part, harmony, bass=kind == "bass"):
                total[f"{kind}: {breach.rule}"] += 1
    return dict(sorted(total.items()))


def versions(most: int) -> dict[str, Any]:
    """What beginner versions keep of cello parts, and how many notes stay beyond the level."""
    contours, strong, beyond, before = [], [], 0, 0
    for _, part in list(cello_pieces())[:most]:
        phrases = [(a, b) for a, b in _spans(part)]
        made = make_version(part, CELLO, level="beginner", phrases=phrases)
        contours.append(made.recognition.contour)
        strong.append(made.recognition.strong_names)
        beyond += len(made.plan.relaxed)
        before += len(plan_fingering(part, CELLO, level="beginner").relaxed)
    return {
        "pieces": len(contours),
        "contour_kept_median": statistics.median(contours),
        "strong_beats_kept_median": statistics.median(strong),
        "notes_beyond_level_before": before,
        "notes_beyond_level_after": beyond,
    }


def _spans(part: Any) -> Iterator[tuple[int, int]]:
    firsts = [part.by_id[phrase.first_note_id].index for phrase in find_phrases(Bars(part))]
    if firsts:
        firsts[0] = 0
    yield from zip(firsts, [*(first - 1 for first in firsts[1:]), len(part.notes) - 1], strict=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="a few pieces of each kind")
    quick = parser.parse_args().quick
    results: dict[str, Any] = {}
    for name, work, most in (
        ("keys", keys, 6 if quick else 60),
        ("chords", chords, 10 if quick else 60),
        ("transposition", transposition, 40 if quick else 600),
        ("second_parts", second_parts, 6 if quick else 30),
        ("versions", versions, 3 if quick else 12),
    ):
        print(f"{name} …", flush=True)
        results[name] = work(most)
        print(json.dumps(results[name], indent=1), flush=True)
    if not quick:
        path = ROOT / "bench" / "results" / "arranging.json"
        path.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
