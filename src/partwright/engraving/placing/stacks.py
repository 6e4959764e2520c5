"""The signs of single notes, stacked outwards: finger, harmonic circle, string letter; then bow sign and words.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.engraving.annotations import AtNote, Line
from partwright.engraving.boxes import Box, settle_down, settle_up
from partwright.engraving.drawings import (
    BOW_HEIGHT,
    HARMONIC_HEIGHT,
    STRING_FACE,
    STRING_SIZE,
    WORDS_FACE,
    WORDS_SIZE,
    Drawing,
    finger,
    player_sign,
    words,
)
from partwright.engraving.placing.ground import GAP, SIDE_GAP, STAFF_GAP, Ground, NoteOnStaff, same_column
from partwright.engraving.placing.spans import place_lines_above

__all__ = ["place_stacks"]

_DASH_GAP = 130.0  # before a guide finger's dash


def place_stacks(ground: Ground, lines: Sequence[Line]) -> None:
    """Every kind of sign at all notes before the next kind, so that like signs keep the same height."""
    pen = {note.note_id: _outside(ground, note) for note in ground.notes}
    for note in ground.notes:
        _chord_edge(ground, note, pen)
    for kind in ("finger", "harmonic", "string"):
        for note in ground.notes:
            _place_kind(ground, kind, note, pen)
    place_lines_above(ground, lines)
    for kind in ("bow", "above"):
        for note in ground.notes:
            _place_kind(ground, kind, note, pen)


def _outside(ground: Ground, note: NoteOnStaff) -> float:
    """Where the innermost sign of a note may begin: outside the staff, beyond its head and stem."""
    top, bottom = ground.staff_of(note)
    reach = 125.0 * note.scale
    near = ground.inner.between(note.x - reach, note.x + reach)
    if note.below:
        edge = max(bottom, note.box.bottom)
        return edge + STAFF_GAP
    edge = min(top, note.box.top)
    for box in near:  # stems and beams of this very note, reaching up from it
        if box.bottom > note.box.top - 20 and box.top < edge and box.bottom - box.top > 150:
            edge = box.top
    return edge - (STAFF_GAP if edge >= top - 1 else GAP)


def _chord_edge(ground: Ground, note: NoteOnStaff, pen: dict[str, float]) -> None:
    """Notes of one chord share a column: their signs stack on it from the lowest note upwards."""
    group = [other for other in ground.column(note) if other.below == note.below]
    if len(group) > 1:
        edge = max if note.below else min
        pen[note.note_id] = edge(pen[o.note_id] for o in group)


def _place_kind(ground: Ground, kind: str, note: NoteOnStaff, pen: dict[str, float]) -> None:
    found = ground.at.get(note.note_id)
    if found is None or (kind == "bow" and _bow_given(ground, note, found)):
        return
    for svg, left, right, height in _drawings(ground, kind, found, note):
        reach = 118.0 * note.scale
        column = ground.inner.between(note.x - max(reach, left), note.x + max(reach, right))
        # A guide's dash must not read as the dash of a substitution, so it keeps further from its neighbour.
        before = _DASH_GAP if kind == "finger" and found.guide else SIDE_GAP
        others = ground.placed.between(note.x - left - before, note.x + right + SIDE_GAP)
        spans = [(b.top, b.bottom) for b in (*column, *others)]
        if note.below:
            bottom = settle_down(spans, pen[note.note_id], height, GAP) + height
            pen[note.note_id] = bottom + GAP
        else:
            bottom = settle_up(spans, pen[note.note_id], height, GAP)
            pen[note.note_id] = bottom - height - GAP
        box = Box(note.x - left, bottom - height, note.x + right, bottom)
        ground.add(kind, note.note_id, box, f'<g transform="translate({note.x:.0f},{bottom:.0f})">{svg}</g>')


def _bow_given(ground: Ground, note: NoteOnStaff, found: AtNote) -> bool:
    """Whether another note of the same chord already shows this stroke: a chord is one stroke."""
    return any(
        sign.kind == "bow"
        and same_column((sign.box.left + sign.box.right) / 2, note.x)
        and ground.at[sign.note_id].bow == found.bow
        and ground.staff_index(sign.note_id) == note.staff
        for sign in ground.signs
    )


def _drawings(ground: Ground, kind: str, found: AtNote, note: NoteOnStaff) -> list[Drawing]:
    scale = note.scale
    if kind == "finger":
        fingers = found.fingers or ([""] if found.guide else [])
        return [finger(text, scale, ground.used, guide=found.guide and i == 0) for i, text in enumerate(fingers)]
    if kind == "harmonic" and found.harmonic == "natural":
        return [player_sign("harmonic", HARMONIC_HEIGHT * scale)]
    if kind == "string" and found.string:
        return [words(found.string, STRING_SIZE * scale, STRING_FACE, ground.used)]
    if kind == "bow" and found.bow:
        return [player_sign(found.bow, BOW_HEIGHT * scale)]
    if kind == "above":
        return [words(text, WORDS_SIZE, WORDS_FACE, ground.used) for text in found.above]
    return []
