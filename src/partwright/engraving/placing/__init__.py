"""Where a player looks for it: fingers, strings, bows and the hand's row placed around the notes without collisions.

Order outwards from the note: finger (with a guide dash), harmonic circle, string letter, lines over several notes,
bow sign; then what the engraving library placed above (dynamics, chord symbols, endings, tempo), pushed out as far as
needed. Under the staff, beneath everything else, runs the row of the hand: position and extension.
Units: hundredths of a millimetre, y downwards.
Method: a sign starts at its note and moves outwards to the first height where its box meets no other shape; as slurs
and beams are known as true shapes, a finger finds its place under an arch where there is room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from partwright.engraving.annotations import AtNote, Line
from partwright.engraving.boxes import Box, union
from partwright.engraving.geometry import DrawnSystem
from partwright.engraving.placing.below import place_hand_row, place_words_below
from partwright.engraving.placing.ground import Ground, PlacedSign, PlacedSystem
from partwright.engraving.placing.joining import draw_arpeggios, mark_glissandi
from partwright.engraving.placing.outer import OUTER_RANK, place_bar_number, push_outer
from partwright.engraving.placing.stacks import place_stacks

__all__ = ["PlacedSign", "PlacedSystem", "place_system"]


def place_system(
    system: DrawnSystem,
    notes: Mapping[str, AtNote],
    lines: Sequence[Line],
    *,
    note_order: Mapping[str, int],
    bar_number: str = "",
) -> PlacedSystem:
    """Draw all signs of one system. `note_order` ranks note ids; `bar_number` is printed over the clef when given."""
    ground = Ground(system, notes, note_order)
    _fill(ground)
    place_stacks(ground, lines)
    push_outer(ground)
    place_bar_number(ground, bar_number)
    place_words_below(ground)
    place_hand_row(ground, lines)
    mark_glissandi(ground)
    draw_arpeggios(ground)
    return _finish(ground)


def _fill(ground: Ground) -> None:
    """What the library drew: at the notes, further out, and the staves themselves."""
    for piece in ground.system.pieces:
        if piece.kind in OUTER_RANK:
            ground.outer.append(piece)
        else:
            for box in piece.boxes:
                ground.inner.add(box)
    for staff_top, staff_bottom in ground.system.staves:
        ground.inner.add(Box(-1000.0, staff_top, ground.right, staff_bottom))


def _finish(ground: Ground) -> PlacedSystem:
    from lxml import etree

    boxes = [p.box for p in ground.system.pieces] + [s.box for s in ground.signs]
    boxes += list(ground.system.measure_boxes.values())
    around = union(boxes)
    assert around is not None
    drawn = "".join(f'<g class="pw-{s.kind}" data-note="{_attribute(s.note_id)}">{s.svg}</g>' for s in ground.signs)
    body = etree.tostring(ground.system.element, encoding="unicode")
    return PlacedSystem(
        svg=body + drawn,
        box=around,
        staff_top=ground.top,
        staff_bottom=ground.bottom,
        measure_ids=ground.system.measure_ids,
        signs=ground.signs,
        used=ground.used,
        heads=[p for p in ground.system.pieces if p.kind == "notehead"],
        outer=ground.outer,
    )


def _attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
