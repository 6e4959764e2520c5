"""Lines over several notes: how far they run in this system, and those that stand above the staff.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from partwright.engraving.annotations import Line
from partwright.engraving.boxes import Box, settle_up
from partwright.engraving.drawings import STRING_FACE, STRING_SIZE, stroke
from partwright.engraving.lettering import letter
from partwright.engraving.placing.ground import GAP, SIDE_GAP, STAFF_GAP, Ground

__all__ = ["Stretch", "line_text", "place_lines_above", "stretch"]


class Stretch(NamedTuple):
    """Where a line runs in this system, and whether it begins and ends here."""

    left: float
    right: float
    begins: bool
    ends: bool


def stretch(ground: Ground, line: Line) -> Stretch | None:
    """The stretch of a line in this system; None where none of its notes stands here."""
    first, last = ground.order.get(line.first), ground.order.get(line.last)
    if first is None or last is None:
        return None
    first, last = min(first, last), max(first, last)
    inside = [n for n in ground.notes if first <= ground.order.get(n.note_id, -1) <= last]
    if not inside:
        return None
    ranks = [ground.order[n.note_id] for n in inside]
    begins, ends = min(ranks) == first, max(ranks) == last
    left = min(n.box.left for n in inside) - (0 if begins else 120)
    right = max(n.box.right for n in inside)
    if not ends:  # it goes on in the next line, so it runs to the end of this one
        right = max(right, ground.right - 40)
    return Stretch(left, right, begins, ends)


def line_text(line: Line, *, begins: bool) -> str:
    """What is written at the start of a line: in brackets where it comes from the system before.

    >>> line_text(Line(first="n1", last="n9", text="sul G", dashed=False, hand=False), begins=False)
    '(sul G)'
    """
    return line.text if begins or not line.text else f"({line.text})"


def place_lines_above(ground: Ground, lines: Sequence[Line]) -> None:
    """Lines that stand above the staff: a string held, a finger kept down."""
    for line in lines:
        found = None if line.hand else stretch(ground, line)
        if found is None:
            continue
        text = line_text(line, begins=found.begins)
        drawn = letter(text, STRING_SIZE, STRING_FACE)
        ground.used.add(drawn.used)
        left, right = found.left, max(found.right, found.left + drawn.width)
        height = STRING_SIZE * 0.95
        spans = ground.spans(left - SIDE_GAP, right + SIDE_GAP)
        bottom = settle_up(spans, ground.top - STAFF_GAP, height, GAP)
        baseline = bottom - STRING_SIZE * 0.24
        start = left + drawn.width + (60 if text else 0)
        svg = f'<g transform="translate({left:.0f},{baseline:.0f})">{drawn.svg}</g>' + stroke(
            start, right, baseline - STRING_SIZE * 0.22, dashed=line.dashed, hook=80 if found.ends else 0
        )
        ground.add("line", line.first, Box(left, bottom - height, right, bottom), svg)
