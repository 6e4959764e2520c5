"""Learn the weights of the phrase model from the training half of the folk songs and write them into its table.

    python bench/fit_phrases.py

Method: averaged structured perceptron with loss-augmented decoding over the same exact search the program uses
(Collins 2002; Taskar et al. 2005). The half is told by the songs' names (tests/reference/essen.py); the other half is
for bench_lesson.py alone. Deterministic.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "reference"))

from essen import essen_folder, is_test_song, read_songs

from partwright.lesson.bar_content import Bars
from partwright.lesson.phrases import (
    MOST_NOTES,
    PLACE_TERMS,
    STRETCH_TERMS,
    best_cuts,
    place_amounts,
    stretch_amounts,
)

TABLE = Path(__file__).resolve().parents[1] / "src" / "partwright" / "lesson" / "data" / "phrases.toml"
COUNTS = {
    "cut": "every place where a phrase ends (the price of cutting at all)",
    "rest": "a rest after the note",
    "rest_beats": "how long the rest is, in beats, at most 2",
    "long": "how long the note lasts to the next, in doublings of the tune's usual length, from -2 to 2",
    "local_boundary": "strength of the local boundary, 0 to 1 (Cambouropoulos 2001)",
    "leap": "how much wider the step to the next note is than those around it, in octaves",
    "starts_as_tune": "the next note stands in its bar where the tune's first note stands",
    "last_on_downbeat": "the last note stands on the downbeat",
    "rhythm_again": "how much of the next four lengths is as at the start of the tune",
    "melody_again": "how much of the next three steps is as at the start of the tune",
    "rhythm_stood_before": "the next four lengths followed a longer note before",
    "last_on_final": "the last note is the tune's own last note, in any octave",
    "last_of_bar": "the last note is the last of its bar",
    "whole_bars": "the phrase lasts a whole number of bars",
    "two_bars": "the phrase lasts two bars",
    "four_bars": "the phrase lasts four bars",
    "length_notes": "squared doublings between the phrase and nine notes",
    "length_beats": "squared doublings between the phrase and eight beats",
}


def main() -> None:
    folder = essen_folder()
    if folder is None:
        raise SystemExit("music21 with its corpus is needed: make install, then the development requirements.")
    songs = []
    for song in read_songs(folder):
        if is_test_song(song.name):
            continue
        bars = Bars(song.part)
        bounds = [-1, *sorted(song.ends), len(bars.events) - 1]
        if len(bars.events) == len(song.part.notes) and max(np.diff(bounds)) <= MOST_NOTES:
            songs.append((place_amounts(bars), stretch_amounts(bars), sorted(song.ends)))
    print(f"{len(songs)} songs to learn from")
    weights = learn(songs)
    lines = [
        "# What speaks for the end of a phrase, and how much. Learnt by bench/fit_phrases.py from the training half of",
        "# the Essen folk songs; what each row counts is defined in lesson/phrases.py.",
    ]
    for name, weight in zip(PLACE_TERMS + STRETCH_TERMS, weights, strict=True):
        lines += ["", f"[{name}]", f"weight = {weight:.3f}", f'counts = "{COUNTS[name]}"']
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"written: {TABLE.name}")


def learn(songs: list[tuple[np.ndarray, np.ndarray, list[int]]], *, epochs: int = 6, seed: int = 0) -> np.ndarray:
    """Averaged weights after `epochs` rounds through the songs in random order."""
    random = np.random.default_rng(seed)
    places = len(PLACE_TERMS)
    weights = np.zeros(places + len(STRETCH_TERMS))
    total, steps = np.zeros_like(weights), 0
    for epoch in range(epochs):
        for index in random.permutation(len(songs)):
            place, stretch, ends = songs[index]
            loss = np.ones(len(place))
            loss[ends] = -1.0
            found = best_cuts(place @ weights[:places] + loss, stretch @ weights[places:])
            if list(found) != ends:
                step = _amounts(place, stretch, ends) - _amounts(place, stretch, list(found))
                weights = weights * (1 - 1e-4) + 0.02 / (1 + 0.3 * epoch) * step
            total += weights
            steps += 1
    return total / steps


def _amounts(place: np.ndarray, stretch: np.ndarray, cuts: list[int]) -> np.ndarray:
    """How much of each term a way to cut has."""
    bounds = [-1, *cuts, len(stretch) - 1]
    of_stretches = sum(stretch[b, b - a - 1] for a, b in pairwise(bounds))
    return np.concatenate([place[cuts].sum(axis=0), of_stretches])


if __name__ == "__main__":
    main()
