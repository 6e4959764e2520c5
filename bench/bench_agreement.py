# ruff: noqa: E402 (the imports below need the path set above them)
"""How far plans agree with fingers in print, and what each cost term has to do with it.

    python bench/bench_agreement.py [--quick] [--no-violin]

Weights were chosen on two thirds of the pieces (bench/fit_fingering.py); the figures that count are those of the third
held back ("unseen"). Corpora: tests/reference/fingered_corpora.py. Results go to bench/results/agreement.json.
"""

from __future__ import annotations

import argparse
import json
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference")]

from fingered_corpora import cello_pieces, held_back, violin_pieces

from agreement_measures import Corpus, Tally, naive_hand
from made_parts import part_of
from partwright.fingering import default_weights, plan_of, prepare, term_table
from partwright.instrument import Instrument, load_instrument
from study_figures import study

STUDIES = 24


def agreement(corpus: Corpus, instrument: Instrument) -> dict[str, Any]:
    ours, naive = corpus.tally(default_weights(instrument)), naive_hand(corpus)
    return {"ours": _rows(ours), "naive_hand": _rows(naive)}


def _rows(tallies: dict[str, Tally]) -> dict[str, Any]:
    return {name: tally.row() for name, tally in tallies.items()}


def ablation(corpus: Corpus, instrument: Instrument) -> list[dict[str, Any]]:
    """Each term left out by itself (a factor set to 1): what that does to string and finger on unseen pieces."""
    weights = default_weights(instrument)
    whole = corpus.tally(weights, full=False)["all"]
    rows = []
    for term in term_table():
        without = corpus.tally(weights.changed({term.name: 1.0 if term.kind == "factor" else 0.0}), full=False)["all"]
        rows.append(
            {
                "term": term.name,
                "both_points": round(100 * (whole.both - without.both) / max(1, whole.notes), 2),
                "extra_cost": round(without.extra - whole.extra, 2),
            }
        )
    return sorted(rows, key=lambda row: (-row["both_points"], -row["extra_cost"]))


def habits(instrument: Instrument) -> dict[str, Any]:
    """What the plans of study-like music look like: a check on habits where no printed finger is at hand."""
    notes = moves = opened = extended = highest = crossings = 0
    fingers: dict[str, int] = {}
    like = None
    for seed in range(STUDIES):
        line = study(seed, lowest_midi=instrument.strings[0].midi)
        part = part_of(line, quarters=Fraction(1, 4), tempo_qpm=84.0, bar_quarters=2)
        like = prepare(part, instrument, like=like)
        before = None
        for note in plan_of(like).notes:
            place = note.placement
            midi = part.by_id[note.note_id].midi
            notes += 1
            opened += place.finger == 0
            extended += bool(instrument.shape(place.shape).extension) and place.finger > 0
            highest += place.string == max(k for k, s in enumerate(instrument.strings) if s.midi <= midi)
            crossings += before is not None and before != place.string
            before = place.string
            fingers[place.finger_text] = fingers.get(place.finger_text, 0) + 1
        chosen = like.solution.choice
        moves += sum(
            like.prices.model.shifts(
                int(like.lattice.columns[s.a].hand[chosen[s.a]]), int(like.lattice.columns[s.b].hand[chosen[s.b]])
            )
            for s in like.transitions
        )
    shares = {
        "shifts": moves,
        "open_strings": opened,
        "opened_hand": extended,
        "on_highest_string": highest,
        "crossings": crossings,
    }
    return {
        "notes": notes,
        **{name: round(count / notes, 3) for name, count in shares.items()},
        "fingers": {name: round(count / notes, 3) for name, count in sorted(fingers.items())},
    }


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--quick", action="store_true", help="without the ablation tables")
    options.add_argument("--no-violin", action="store_true", help="without the fiddle tunes")
    chosen = options.parse_args()
    results: dict[str, Any] = {}
    sets = {"cello": list(cello_pieces()), "violin": [] if chosen.no_violin else list(violin_pieces())}
    for name, pieces in sets.items():
        if not pieces:
            print(f"{name}: no fingered music at hand")
            continue
        instrument = load_instrument(name)
        for split, kept in (("tuned on", False), ("unseen", True)):
            corpus = Corpus((p for p in pieces if held_back(p.key) is kept), instrument)
            results[f"{name}, {split}"] = rows = agreement(corpus, instrument)
            print(f"{name}, {split}: {len(corpus.pieces)} pieces")
            for who, by_corpus in rows.items():
                for which, row in by_corpus.items():
                    print(
                        f"  {who:10} {which:9} {row['notes']:5} notes  string {row['string']:.3f}  "
                        f"finger {row['finger']:.3f}  both {row['both']:.3f}"
                        + (f"  within three {row['within_three']:.3f}" if who == "ours" else "")
                        + (f"  moves {row['moves']} : {row['expert_moves']}" if who == "ours" else "")
                    )
            if kept and not chosen.quick:
                some = corpus if name == "cello" else Corpus(corpus.pieces[::4], instrument)
                results[f"{name}, ablation"] = table = ablation(some, instrument)
                print("  left out            points lost   printed fingers dearer by")
                for entry in table:
                    print(f"  {entry['term']:20}{entry['both_points']:>11}{entry['extra_cost']:>15}")
    for name in ("cello", "violin", "viola", "double bass"):
        results[f"{name}, habits"] = row = habits(load_instrument(name))
        print(f"{name}, {row['notes']} notes of study-like music: {row}")
    folder = Path(__file__).parent / "results"
    (folder / "agreement.json").write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
