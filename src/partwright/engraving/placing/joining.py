"""Signs that stand between notes or before a chord: the words of a glissando, the wave of an arpeggio.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from partwright.engraving.boxes import Box, settle_up
from partwright.engraving.drawings import WORDS_FACE
from partwright.engraving.lettering import letter
from partwright.engraving.placing.ground import Ground, same_column

__all__ = ["draw_arpeggios", "mark_glissandi"]


def mark_glissandi(ground: Ground) -> None:
    """Words along a sliding line, where there is room for them."""
    lines = [p for p in ground.system.pieces if p.kind == "gliss"]
    for note, text in [(n, ground.at[n.note_id].glissando) for n in ground.notes if n.note_id in ground.at]:
        if not text:
            continue
        near = [p for p in lines if 0 <= p.box.left - note.box.left < 900]
        if not near:
            continue
        line = min(near, key=lambda p: p.box.left)
        drawn = letter(text, 250.0, WORDS_FACE, anchor="middle")
        if line.box.right - line.box.left < drawn.width + 80:
            continue
        ground.used.add(drawn.used)
        x = (line.box.left + line.box.right) / 2
        near_by = ground.spans(x - drawn.width / 2, x + drawn.width / 2)
        spans = [(top, bottom) for top, bottom in near_by if bottom - top < 700]  # not the staff the line lies on
        bottom = settle_up(spans, line.box.top - 20, 190.0, 30.0)
        box = Box(x - drawn.width / 2, bottom - 190.0, x + drawn.width / 2, bottom)
        svg = f'<g transform="translate({x:.0f},{bottom - 55:.0f})">{drawn.svg}</g>'
        ground.add("gliss", note.note_id, box, svg)


def draw_arpeggios(ground: Ground) -> None:
    """A wavy line left of a chord, from its lowest to its highest note, clear of its accidentals."""
    done: set[float] = set()
    for note in ground.notes:
        found = ground.at.get(note.note_id)
        if found is None or not found.arpeggiate or any(same_column(note.x, x) for x in done):
            continue
        done.add(note.x)
        chord = ground.column(note)
        top, bottom = min(n.box.top for n in chord), max(n.box.bottom for n in chord)
        ids = {n.note_id for n in chord}
        beside = [p.box.left for p in ground.system.pieces if p.kind == "accid" and p.note_id in ids]
        x = min([n.box.left for n in chord] + beside) - 85.0
        waves = max(2, round((bottom - top) / 110.0))
        step = (bottom - top) / waves
        path = "".join(f"q{34 if i % 2 else -34} {step / 2:.0f} 0 {step:.0f}" for i in range(waves))
        svg = f'<path d="M{x:.0f} {top:.0f}{path}" fill="none" stroke="currentColor" stroke-width="22"/>'
        ground.add("arpeggio", note.note_id, Box(x - 30, top, x + 30, bottom), svg)
