"""Some bars as one line for pictures that move: the drawing, and for every note where it stands and how it is marked.

Units: mm, y downwards, from the drawing's upper left corner.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partwright.engraving.boxes import Box
from partwright.engraving.legend import string_letters
from partwright.engraving.music import engrave_music
from partwright.engraving.sheet import svg_document
from partwright.engraving.worker import EngravingProcess

if TYPE_CHECKING:
    from partwright.instrument import Instrument
    from partwright.score import Mark, Tune

__all__ = ["LEAST_SIGN_MM", "Strip", "engrave_strip"]

LEAST_SIGN_MM = 1.8
"""Height of the smallest lettering in a strip: bar numbers, 2.7 mm type with figures of 0.67 em."""


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One line of music, and tight boxes (left, top, right, bottom) around each note's heads and finger, by note id."""

    first_bar_index: int
    last_bar_index: int
    svg: str
    width_mm: float
    height_mm: float
    staff_top_mm: float
    staff_bottom_mm: float
    heads: Mapping[str, tuple[tuple[float, float, float, float], ...]]


def engrave_strip(
    tune: Tune,
    marks: Sequence[Mark],
    *,
    first_bar_index: int,
    last_bar_index: int,
    width_mm: float,
    instrument: Instrument | None = None,
    staff_size: float = 1.0,
    process: EngravingProcess | None = None,
) -> Strip | None:
    """Bars (indices, both included) as one line at most `width_mm` wide; None where they need more than one line.

    Raises EngravingError.
    """
    music = engrave_music(
        tune,
        marks,
        width=width_mm * 100,
        string_letters=string_letters(instrument),
        bars=(first_bar_index, last_bar_index),
        staff_size=staff_size,
        process=process,
    )
    if len(music.systems) != 1:
        return None
    system = music.systems[0]
    left, top = min(0.0, system.box.left), system.box.top
    width, height = system.box.right + 10 - left, system.box.bottom - top
    boxes: dict[str, list[Box]] = {}
    for piece in system.heads:
        if piece.note_id is None:
            continue
        boxes.setdefault(piece.note_id, []).extend(piece.boxes)
    for sign in system.signs:
        if sign.kind == "finger" and sign.note_id in boxes:
            boxes[sign.note_id].append(sign.box)

    moved = f'<g transform="translate({-left:.0f},{-top:.0f})">{system.svg}</g>'
    return Strip(
        first_bar_index=first_bar_index,
        last_bar_index=last_bar_index,
        svg=svg_document(moved, width, height, system.used, title="", screen=False, paper=False),
        width_mm=width / 100,
        height_mm=height / 100,
        staff_top_mm=(system.staff_top - top) / 100,
        staff_bottom_mm=(system.staff_bottom - top) / 100,
        heads={note_id: tuple(_placed(box, left, top) for box in found) for note_id, found in boxes.items()},
    )


def _placed(box: Box, left: float, top: float) -> tuple[float, float, float, float]:
    """A box in mm from the drawing's corner."""
    return (
        (box.left - left) / 100,
        (box.top - top) / 100,
        (box.right - left) / 100,
        (box.bottom - top) / 100,
    )
