"""Lines of music kept as the library drew them, so that fingers and bows can change without asking it again.

The library sees only the music, and the music of a tune never changes; what changes are our signs around the notes.
So some bars are drawn once, and each line of them is placed again as often as its marks change.
Units: hundredths of a millimetre, y downwards. Bars are counted from 0.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

from partwright.engraving.annotations import AtNote, Line, gather
from partwright.engraving.boxes import Box
from partwright.engraving.geometry import DrawnSystem, Piece
from partwright.engraving.music import bar_widths, draw_systems, even_breaks, line_starts, render_copy
from partwright.engraving.placing import PlacedSystem, place_system
from partwright.engraving.render_copy import RenderCopy
from partwright.engraving.worker import EngravingProcess, shared_process

if TYPE_CHECKING:
    from partwright.score import Mark, Tune

__all__ = ["KeptLine", "KeptLines", "LineMarks", "draw_lines"]


_FULL = 0.97
"""A line this full reaches the margin."""


@dataclass(frozen=True, slots=True)
class LineMarks:
    """What is printed around the notes of some bars: by note id, and the lines over several notes.

    Two of them that are equal give the same picture.
    """

    notes: Mapping[str, AtNote]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class KeptLine:
    """One line as the library drew it."""

    bars: tuple[int, int]
    note_ids: tuple[str, ...]
    drawn: DrawnSystem
    bar_number: str
    originals: tuple[tuple[Piece, list[Box], str | None], ...]  # what placing moves, and where it stood

    def bar_boxes(self) -> tuple[tuple[int, Box], ...]:
        """Each bar's index and the box around its staves."""
        return tuple((_bar_index(name), box) for name, box in self.drawn.measure_boxes.items())


@dataclass(frozen=True, slots=True)
class KeptLines:
    """Some bars as drawn lines. Not for two threads at once: placing moves what stands outside the staff."""

    lines: tuple[KeptLine, ...]
    copy: RenderCopy
    order: Mapping[str, int]  # rank of each note id of the whole part

    def gather(self, marks: Sequence[Mark], *, string_letters: Mapping[int, str]) -> LineMarks:
        """The marks and the source's own signs, brought together, for these bars."""
        mine = set(self.copy.note_order)
        notes, lines = gather(marks, self.copy.signs, string_letters=string_letters)
        return LineMarks({note_id: at for note_id, at in notes.items() if note_id in mine}, lines)

    def marks_of(self, line: KeptLine, marks: LineMarks) -> LineMarks:
        """Of these marks those that this line shows."""
        ranks = [self.order[note_id] for note_id in line.note_ids if note_id in self.order]
        if not ranks:
            return LineMarks({}, ())
        first, last = min(ranks), max(ranks)
        return LineMarks(
            {note_id: marks.notes[note_id] for note_id in line.note_ids if note_id in marks.notes},
            tuple(
                span
                for span in marks.lines
                if span.first in self.order
                and span.last in self.order
                and min(self.order[span.first], self.order[span.last]) <= last
                and max(self.order[span.first], self.order[span.last]) >= first
            ),
        )

    def place(self, line: KeptLine, marks: LineMarks) -> PlacedSystem:
        """The line with its signs."""
        for piece, boxes, transform in line.originals:
            piece.boxes = list(boxes)
            if transform is None:
                piece.element.attrib.pop("transform", None)
            else:
                piece.element.set("transform", transform)
        return place_system(
            line.drawn, copy.deepcopy(dict(marks.notes)), marks.lines, note_order=self.order, bar_number=line.bar_number
        )


def draw_lines(
    tune: Tune,
    *,
    width: float,
    bars: tuple[int, int],
    staff_size: float = 1.0,
    goes_on: bool = False,
    process: EngravingProcess | None = None,
) -> KeptLines:
    """Bars `bars` (both included) as lines `width` wide. `goes_on`: more bars follow, so the last line is full too.

    Raises EngravingError for what cannot be drawn.
    """
    engine = process or shared_process()
    made = render_copy(tune, bars=bars)
    drawn = draw_systems(engine, made, width=width, staff_size=staff_size, breaks="auto")
    widths = bar_widths(drawn)
    breaks = even_breaks(widths, width)
    if breaks or (goes_on and sum(widths[-1]) < _FULL * width):
        made = render_copy(tune, bars=bars, new_systems=line_starts(drawn, breaks or _as_they_are(widths)))
        more = {"minLastJustification": 0.0} if goes_on else {}
        drawn = draw_systems(engine, made, width=width, staff_size=staff_size, breaks="encoded", more=more)
    return KeptLines(
        lines=tuple(_kept(system, made) for system in drawn if system.measure_ids),
        copy=made,
        order={note.id: note.index for note in tune.part.notes},
    )


def _as_they_are(widths: Sequence[Sequence[float]]) -> tuple[int, ...]:
    """Indices of the bars that begin a line now."""
    starts = accumulate(len(line) for line in widths)
    return tuple(starts)[:-1]


def _kept(system: DrawnSystem, made: RenderCopy) -> KeptLine:
    indices = [_bar_index(name) for name in system.measure_ids]
    ids = dict.fromkeys(p.note_id for p in system.pieces if p.kind == "notehead" and p.note_id is not None)
    number = made.bar_numbers.get(system.measure_ids[0], "")
    return KeptLine(
        bars=(indices[0], indices[-1]),
        note_ids=tuple(ids),
        drawn=system,
        bar_number=number if number not in ("0", "1") else "",
        originals=tuple((piece, list(piece.boxes), piece.element.get("transform")) for piece in system.pieces),
    )


def _bar_index(measure_id: str) -> int:
    return int(measure_id.rpartition("-")[2]) - 1
