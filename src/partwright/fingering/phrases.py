"""Which bars are the same music, so that they get the same fingers.

Method: each bar becomes a token (its notes, lengths, slurs); a run of at least two equal bars in a row with enough
notes counts as the same phrase. Runs are found by following equal tokens from the earlier places of the first bar.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

from partwright.score import Note, Part

__all__ = ["LikeRun", "like_runs"]

_LEAST_BARS = 2
_LEAST_NOTES = 6
_MOST_CANDIDATES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class LikeRun:
    """Bars `first` … `first + length - 1` are the bars from `like` on, note for note."""

    first: int
    like: int
    length: int


def like_runs(part: Part) -> tuple[LikeRun, ...]:
    """Runs of bars that repeat earlier bars, each bar in one run at most, earlier and longer runs first."""
    by_bar: dict[int, list[Note]] = {}
    for note in part.notes:
        by_bar.setdefault(note.bar_index, []).append(note)
    tokens = [_token(by_bar.get(bar.index, ()), bar.start_quarters) for bar in part.bars]
    places: dict[Hashable, list[int]] = {}
    runs: list[LikeRun] = []
    bar = 0
    while bar < len(tokens):
        best = max(
            (LikeRun(first=bar, like=like, length=_run(tokens, like, bar)) for like in _earlier(places, tokens[bar])),
            key=lambda run: (run.length, -run.like),
            default=None,
        )
        notes = sum(len(by_bar.get(b, ())) for b in range(bar, bar + best.length)) if best else 0
        if best and best.length >= _LEAST_BARS and notes >= _LEAST_NOTES:
            runs.append(best)
            step = best.length
        else:
            step = 1
        for index in range(bar, bar + step):
            places.setdefault(tokens[index], []).append(index)
        bar += step
    return tuple(runs)


def _earlier(places: Mapping[Hashable, list[int]], token: Hashable) -> Sequence[int]:
    return places.get(token, [])[:_MOST_CANDIDATES] if token else ()


def _run(tokens: Sequence[Hashable], like: int, bar: int) -> int:
    length = 0
    while (
        bar + length < len(tokens)
        and like + length < bar
        and tokens[bar + length]
        and tokens[like + length] == tokens[bar + length]
    ):
        length += 1
    return length


def _token(notes: Sequence[Note], start: object) -> Hashable:
    """What makes two bars the same for the hand; a slur or tie out of the bar is part of it."""
    return tuple(
        (
            note.onset_quarters - start,  # type: ignore[operator]
            note.duration_quarters,
            note.midi,
            note.grace,
            note.slurred_to_next,
            note.tied_to is not None,
            note.tied_from is not None,
        )
        for note in notes
    )
