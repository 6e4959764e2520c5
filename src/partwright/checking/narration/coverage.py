"""Which bars were taught, over all transcripts of a lesson; and where two passages of it contradict each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from partwright.checking.narration.follow import Following
from partwright.checking.narration.judged import Judged
from partwright.checking.narration.places import Place
from partwright.score import Part

__all__ = ["contradictions", "taught_bars", "untaught_stretches"]

_LEAST = 0.5
_LEAST_BARS = 2


def taught_bars(places: Sequence[Place], followings: Iterable[Following]) -> frozenset[int]:
    """Indices of the bars of which some note was spoken of."""
    found: set[int] = set()
    for following in followings:
        if not len(following.real):
            continue
        weight = following.posterior.sum(axis=0)
        for place in places:
            if weight[place.index] >= _LEAST:
                found |= {n.bar_index for attack in place.attacks for n in attack.notes}
    return frozenset(found)


def untaught_stretches(part: Part, taught: frozenset[int]) -> tuple[tuple[int, int], ...]:
    """Stretches of at least two bars with notes that nobody spoke of: first and last bar index."""
    with_notes = {note.bar_index for note in part.notes if note.tied_from is None}
    stretches: list[tuple[int, int]] = []
    run: list[int] = []
    for bar in part.bars:
        if bar.index in with_notes and bar.index not in taught:
            run.append(bar.index)
        elif bar.index in with_notes:
            if len(run) >= _LEAST_BARS:
                stretches.append((run[0], run[-1]))
            run = []
    if len(run) >= _LEAST_BARS:
        stretches.append((run[0], run[-1]))
    return tuple(stretches)


def contradictions(judged: Sequence[Judged], places: Sequence[Place]) -> tuple[tuple[Judged, Judged], ...]:
    """Pairs of claims of one kind about one place that say different things, where no plan says which is right.

    Where there is a plan, the one of the two that is wrong is a finding already.
    """
    kinds = ("finger", "string", "position", "extension", "harmonic")
    first: dict[tuple[int, str], Judged] = {}
    found: list[tuple[Judged, Judged]] = []
    for item in judged:
        if (
            item.place < 0
            or item.kind not in kinds
            or places[item.place].attacks[0].placements
            or item.verdict != "right"
            or item.claimed.startswith(("or ", "not "))
        ):
            continue
        before = first.setdefault((item.place, item.kind), item)
        if before.claimed != item.claimed and min(before.confidence, item.confidence) < 0.5:
            found.append((before, item))
    return tuple(found)
