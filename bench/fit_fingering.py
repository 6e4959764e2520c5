# ruff: noqa: E402 (the imports below need the path set above them)
"""Choosing the weights of the cost terms on fingered music: two thirds of the pieces, the rest is never looked at.

    python bench/fit_fingering.py cello|violin [--sweeps 3] [--hold 1.5] [--most PIECES]

One weight at a time is made smaller or larger and the change kept where it pays: notes with an accepted string and
finger count one each (scales, which practise a pattern for all keys, 0.6), what the printed fingers cost more than the
plan counts against it, and so does leaving the weight one started from (`--hold` for each factor e). The result is
printed to be read and rounded before it goes into a table: data this small cannot overrule what players know.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference")]

from fingered_corpora import cello_pieces, held_back, violin_pieces

from agreement_measures import Corpus
from partwright.fingering import Weights, default_weights, term_table
from partwright.instrument import load_instrument

WORTH = {"passages": 1.0, "scales": 0.6, "examples": 0.8, "violin": 1.0}
EXTRA = 1.5
STEPS = (0.5, 0.75, 1.3, 1.8, 2.5)
SMALL = 0.02  # weights below this are moved by addition too
LEAST_GAIN = 0.3
EITHER_SIGN = {"open_string", "half_step_shift", "first_finger", "second_finger", "slide"}


def fit(corpus: Corpus, start: Weights, *, sweeps: int, hold: float, seed: int = 0) -> Weights:
    """Better weights by coordinate search; the unit of cost, a plain shift, stays as it is."""
    names = [term.name for term in term_table() if term.name != "shift"]
    scale = {name: max(abs(start[name]), SMALL) for name in names}
    order = random.Random(seed)

    def worth(weights: Weights) -> float:
        tallies = corpus.tally(weights, full=False)
        gained = sum(WORTH[name] * tally.both for name, tally in tallies.items() if name != "all")
        strayed = sum(abs(math.log((max(abs(weights[n]), 1e-4) + 0.1 * scale[n]) / (1.1 * scale[n]))) for n in names)
        return gained - EXTRA * tallies["all"].extra - hold * strayed

    weights, best = start, worth(start)
    for sweep in range(sweeps):
        order.shuffle(names)
        changed = 0
        for name in names:
            value = weights[name]
            tries = [value * step for step in STEPS]
            if abs(value) < 0.05:
                tries += [value + 0.02, value + 0.05, value - 0.02]
            for trial in tries:
                if trial < 0 and name not in EITHER_SIGN:
                    continue
                other = weights.changed({name: trial})
                found = worth(other)
                if found > best + LEAST_GAIN:
                    best, weights, changed = found, other, changed + 1
        print(f"sweep {sweep + 1}: {changed} changes, worth {best:.1f}", flush=True)
        if not changed:
            break
    return weights


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("instrument", choices=("cello", "violin"))
    options.add_argument("--sweeps", type=int, default=3)
    options.add_argument("--hold", type=float, default=1.5)
    options.add_argument("--most", type=int, default=0, help="only so many pieces, the most densely fingered")
    chosen = options.parse_args()
    instrument = load_instrument(chosen.instrument)
    pieces = [p for p in (cello_pieces() if chosen.instrument == "cello" else violin_pieces()) if not held_back(p.key)]
    if chosen.most:
        pieces = sorted(pieces, key=lambda p: -len(p.accepted) / (30 + len(p.part.notes)))[: chosen.most]
    start = default_weights(instrument)
    found = fit(Corpus(pieces, instrument), start, sweeps=chosen.sweeps, hold=chosen.hold)
    for term in term_table():
        if abs(found[term.name] - start[term.name]) > 1e-9:
            print(f"{term.name:20} {start[term.name]:8.3f} -> {found[term.name]:8.3f}")


if __name__ == "__main__":
    main()
