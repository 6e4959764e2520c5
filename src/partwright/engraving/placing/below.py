"""Under the staff: words, and beneath everything the row of the hand with position and extension.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from partwright.engraving.annotations import Line
from partwright.engraving.boxes import Box, settle_down
from partwright.engraving.drawings import HAND_FACE, HAND_SIZE, LINE_FACE, WORDS_FACE, WORDS_SIZE, stroke, words
from partwright.engraving.lettering import letter
from partwright.engraving.placing.ground import GAP, SIDE_GAP, STAFF_GAP, Ground
from partwright.engraving.placing.spans import line_text, stretch

__all__ = ["place_hand_row", "place_words_below"]


class _HandItem(NamedTuple):
    """A label of the row (no line), or a line along it with its text."""

    left: float
    right: float
    text: str
    note_id: str
    line: Line | None
    ends: bool


def place_words_below(ground: Ground) -> None:
    """Words that belong under a note, from its head to the right."""
    for note in ground.notes:
        found = ground.at.get(note.note_id)
        for text in found.below if found is not None else ():
            drawn = words(text, WORDS_SIZE, WORDS_FACE, ground.used)
            width, height = drawn.left + drawn.right, drawn.height
            _, staff_bottom = ground.staff_of(note)
            left = note.box.left
            spans = ground.spans(left - SIDE_GAP, left + width + SIDE_GAP)
            bottom = settle_down(spans, staff_bottom + STAFF_GAP, height, GAP) + height
            svg = f'<g transform="translate({left + width / 2:.0f},{bottom:.0f})">{drawn.svg}</g>'
            ground.add("below", note.note_id, Box(left, bottom - height, left + width, bottom), svg)


def place_hand_row(ground: Ground, lines: Sequence[Line]) -> None:
    """Position and extension on one common line under the system, beneath everything that sounds."""
    items = _hand_items(ground, lines)
    if not items:
        return
    height = HAND_SIZE * 0.74
    pen = -1000.0
    laid = []
    spans: list[tuple[float, float]] = []
    for item in items:
        drawn = letter(item.text, HAND_SIZE, HAND_FACE if item.line is None else LINE_FACE)
        ground.used.add(drawn.used)
        start = max(item.left, pen + 90.0)
        end = max(item.right, start + drawn.width)
        laid.append((start, end, drawn, item))
        pen = start + drawn.width if item.line is None else end
        spans += ground.spans(start - SIDE_GAP, end + SIDE_GAP)
    baseline = settle_down(spans, ground.bottom + 110.0, height, 60.0) + height
    for start, end, drawn, item in laid:
        svg = f'<g transform="translate({start:.0f},{baseline:.0f})">{drawn.svg}</g>'
        if item.line is not None:
            y = baseline - HAND_SIZE * 0.22
            from_x = start + drawn.width + (55 if drawn.width else 0)
            svg += stroke(from_x, end, y, dashed=item.line.dashed, hook=-90 if item.ends else 0)
        kind = "hand" if item.line is None else "hand-line"
        ground.add(kind, item.note_id, Box(start, baseline - height, end, baseline), svg)


def _hand_items(ground: Ground, lines: Sequence[Line]) -> list[_HandItem]:
    """From left to right; a label before the line that begins at the same note."""
    items = []
    for note in ground.notes:
        found = ground.at.get(note.note_id)
        labels = found.hand if found is not None else ()
        items += [_HandItem(note.box.left, note.box.left, text, note.note_id, None, False) for text in labels]
    for line in lines:
        here = stretch(ground, line) if line.hand else None
        if here is not None:
            text = line_text(line, begins=here.begins)
            items.append(_HandItem(here.left, here.right, text, line.first, line, here.ends))
    return sorted(items, key=lambda item: (item.left, item.line is not None))
