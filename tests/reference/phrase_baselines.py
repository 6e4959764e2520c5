"""Ways to say where phrases end, and how well each does it: for the phrase model's test and bench.

F1 of boundaries: a phrase end is right where it stands after the very note that the collection ends a phrase with;
the last note of a song, where every way is right, is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import pairwise

from essen import Song

from partwright.lesson import Bars, find_phrases

__all__ = ["at_rests", "every_four_bars", "found_ends", "scores"]


def found_ends(song: Song) -> set[int]:
    """The phrase model, as the program uses it."""
    return {phrase.last for phrase in find_phrases(Bars(song.part))[:-1]}


def every_four_bars(song: Song) -> set[int]:
    """An end before the first note at or after every fourth bar, counted from the song's own upbeat."""
    notes = song.part.notes
    length = 4 * next(bar.nominal_quarters for bar in song.part.bars)
    start = notes[0].onset_quarters
    found = set()
    boundary = start + length
    for before, after in pairwise(notes):
        if after.onset_quarters >= boundary:
            found.add(before.index)
            while boundary <= after.onset_quarters:
                boundary += length
    return found


def at_rests(song: Song) -> set[int]:
    """An end wherever a rest follows."""
    notes = song.part.notes
    return {a.index for a, b in pairwise(notes) if b.onset_quarters - a.end_quarters > Fraction(0)}


def scores(songs: Sequence[Song], way: Callable[[Song], Iterable[int]]) -> tuple[float, float, float, float]:
    """Precision, recall and F1 over all boundaries, and the mean F1 of a song."""
    hits = said = true = 0
    each = []
    for song in songs:
        ends = set(way(song))
        right = len(ends & song.ends)
        hits, said, true = hits + right, said + len(ends), true + len(song.ends)
        each.append(2 * right / max(1, len(ends) + len(song.ends)))
    return hits / max(1, said), hits / max(1, true), 2 * hits / max(1, said + true), sum(each) / max(1, len(each))
