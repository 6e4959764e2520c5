"""Beams by metre: which short notes are joined, and how many lines join them.

Grouping is common practice (no source): by the beat; by the dotted beat in compound metres; by the metre's own
groups where it is additive; and a run of plain eighths is joined over half a bar of 4/4, a whole bar of 2/4, 3/4
and 3/8.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from partwright.score.written import WrittenMetre

__all__ = ["BeamedNote", "beam_groups", "beam_lines", "strong_points"]

_EIGHTH = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class BeamedNote:
    """What beaming needs of one printed note: its offset in the metre (quarters), its beams, whether it may join."""

    offset_quarters: Fraction
    lasts: Fraction
    beams: int  # 1 for an eighth, 2 for a 16th …; 0 for a quarter or longer
    rest: bool = False
    breaks_before: bool = False
    plain_eighth: bool = False


def strong_points(metre: WrittenMetre | None) -> tuple[Fraction, ...]:
    """Step lengths in quarters at which long notes are cut, strongest first: half bar, beat, half beat …"""
    if metre is None:
        return (Fraction(1), _EIGHTH, Fraction(1, 4))
    unit = Fraction(4, metre.beat_type)
    count = sum(metre.beats)
    if len(metre.beats) == 1 and metre.beat_type >= 8 and count % 3 == 0:
        beat = 3 * unit
        count //= 3
        below = (unit, unit / 2)
    else:
        beat = unit
        below = (unit / 2, unit / 4)
    half = (metre.length_quarters / 2,) if count % 2 == 0 and count > 2 else ()
    return (*half, beat, *below)


def _edges(metre: WrittenMetre | None, length: Fraction) -> list[Fraction]:
    """Starts of the beat groups of one bar (and on, if the bar is longer than its metre)."""
    if metre is None:
        steps = [Fraction(1)]
    elif len(metre.beats) > 1:
        steps = [Fraction(4 * beats, metre.beat_type) for beats in metre.beats]
    elif metre.beat_type >= 8 and metre.beats[0] % 3 == 0:
        steps = [Fraction(12, metre.beat_type)]
    elif metre.beat_type >= 8:
        steps = [Fraction(1)]
        if metre.length_quarters % 1:
            whole, rest = int(metre.length_quarters), metre.length_quarters % 1
            steps = [Fraction(1)] * whole + [rest]
            if whole and rest * metre.beat_type == 4:  # no note is left alone at the end: 7/8 is 2 + 2 + 3
                steps[-2:] = [1 + rest]
    else:
        steps = [Fraction(4, max(metre.beat_type, 4))]
    edges, at, k = [Fraction(0)], Fraction(0), 0
    while at < length:
        at += steps[k % len(steps)]
        k += 1
        edges.append(at)
    return edges


def _joined_span(metre: WrittenMetre | None) -> Fraction | None:
    """The span over which a run of plain eighths is beamed together, where it is longer than the beat."""
    if metre is None or len(metre.beats) != 1:
        return None
    shape = (metre.beats[0], metre.beat_type)
    return {(4, 4): Fraction(2), (2, 4): Fraction(2), (3, 4): Fraction(3), (2, 2): Fraction(2)}.get(shape)


def beam_groups(notes: list[BeamedNote], metre: WrittenMetre | None) -> list[list[int]]:
    """Groups of indices into `notes` that one beam joins; each has at least two members."""
    end = max((note.offset_quarters + note.lasts for note in notes), default=Fraction(0))
    edges = _edges(metre, end)
    group_of: list[int] = []
    k = 0
    for note in notes:
        while k + 1 < len(edges) and edges[k + 1] <= note.offset_quarters:
            k += 1
        group_of.append(k)
    span = _joined_span(metre)
    if span is not None:
        spans: dict[int, list[int]] = {}
        for index, note in enumerate(notes):
            spans.setdefault(int(note.offset_quarters // span), []).append(index)
        for members in spans.values():
            if all(notes[index].plain_eighth for index in members):
                for index in members:
                    group_of[index] = group_of[members[0]]
    groups: list[list[int]] = []
    current: list[int] = []
    for index, note in enumerate(notes):
        joins = note.beams > 0 and not note.rest
        if current and (not joins or note.breaks_before or group_of[index] != group_of[current[-1]]):
            groups.append(current)
            current = []
        if joins:
            current.append(index)
    groups.append(current)
    return [group for group in groups if len(group) > 1]


def beam_lines(beams: list[int]) -> list[list[str]]:
    """MusicXML beam values per note of one group, first beam first.

    >>> beam_lines([1, 2])
    [['begin'], ['end', 'backward hook']]
    """
    lines: list[list[str]] = [[] for _ in beams]
    for level in range(1, max(beams, default=0) + 1):
        for index, count in enumerate(beams):
            if count < level:
                continue
            before = index > 0 and beams[index - 1] >= level
            after = index + 1 < len(beams) and beams[index + 1] >= level
            if before and after:
                value = "continue"
            elif before:
                value = "end"
            elif after:
                value = "begin"
            else:
                value = "forward hook" if index == 0 else "backward hook"
            lines[index].append(value)
    return lines
