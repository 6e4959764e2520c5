"""The ground our signs are placed on: one system, its notes, what stands there already, and what has been added.

Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from partwright.engraving.annotations import AtNote
from partwright.engraving.boxes import Box, Shapes, union
from partwright.engraving.geometry import DrawnSystem, Piece
from partwright.engraving.lettering import Used

__all__ = ["GAP", "SIDE_GAP", "STAFF_GAP", "Ground", "NoteOnStaff", "PlacedSign", "PlacedSystem", "same_column"]

GAP = 58.0  # between two signs of one note
SIDE_GAP = 40.0  # between signs of neighbouring notes
STAFF_GAP = 70.0  # between the staff and the nearest sign

_SPACE = 180.0  # one staff space at the standard size (staff 7.2 mm)
_COLUMN = 190.0  # notes whose middles are nearer than this stand under one another
_GROUP = "{http://www.w3.org/2000/svg}g"


@dataclass(frozen=True, slots=True)
class PlacedSign:
    """One sign drawn by us: what it is, for which note, its box and its SVG."""

    kind: str
    note_id: str
    box: Box
    svg: str


@dataclass(slots=True)
class PlacedSystem:
    """A system with its signs: SVG content, the box around everything, staff lines, and what fonts it uses."""

    svg: str
    box: Box
    staff_top: float
    staff_bottom: float
    measure_ids: list[str]
    signs: list[PlacedSign]
    used: Used = field(default_factory=Used)
    heads: list[Piece] = field(default_factory=list)  # noteheads, by note id
    outer: list[Piece] = field(default_factory=list)  # what the library placed further out, where it now stands


@dataclass(frozen=True, slots=True)
class NoteOnStaff:
    """A note as drawn: the middle of its head, its box, its staff; grace notes have a smaller scale.

    `below`: it belongs to a lower voice, whose signs go under the staff.
    """

    note_id: str
    x: float
    box: Box
    staff: int
    scale: float
    below: bool


def same_column(x: float, other: float) -> bool:
    """Whether two middles belong to one chord."""
    return abs(x - other) < _COLUMN


class Ground:
    """One system while its signs are placed. `inner` is what the library drew at the notes, `placed` what came after.

    `outer`: what the library placed further out; it is moved away from our signs in the end.
    """

    def __init__(self, system: DrawnSystem, at: Mapping[str, AtNote], order: Mapping[str, int]) -> None:
        self.system = system
        self.at = at
        self.order = order
        self.used = Used()
        self.used.add(system.used)
        self.signs: list[PlacedSign] = []
        self.inner = Shapes()
        self.placed = Shapes()
        self.outer: list[Piece] = []
        self.notes = _find_notes(system)
        self.right = max((b.right for b in system.measure_boxes.values()), default=0.0)
        self.top, self.bottom = (system.staves[0][0], system.staves[-1][1]) if system.staves else (0.0, 720.0)

    def staff_of(self, note: NoteOnStaff) -> tuple[float, float]:
        """Top and bottom line of the note's staff."""
        staves = self.system.staves
        return staves[note.staff] if 0 <= note.staff < len(staves) else (self.top, self.bottom)

    def staff_index(self, note_id: str) -> int:
        """Which staff a note stands on; -1 for none here."""
        return next((note.staff for note in self.notes if note.note_id == note_id), -1)

    def column(self, note: NoteOnStaff) -> list[NoteOnStaff]:
        """The notes of the chord this one belongs to, and itself."""
        return [other for other in self.notes if same_column(other.x, note.x) and other.staff == note.staff]

    def spans(self, left: float, right: float) -> list[tuple[float, float]]:
        """Top and bottom of everything that stands between two places, drawn or placed."""
        return [(b.top, b.bottom) for shapes in (self.inner, self.placed) for b in shapes.between(left, right)]

    def add(self, kind: str, note_id: str, box: Box, svg: str) -> None:
        """One more sign of ours; later ones keep clear of it."""
        self.placed.add(box)
        self.signs.append(PlacedSign(kind, note_id, box, svg))


def _find_notes(system: DrawnSystem) -> list[NoteOnStaff]:
    heads: dict[str, list[Piece]] = {}
    for piece in system.pieces:
        if piece.kind == "notehead" and piece.note_id is not None:
            heads.setdefault(piece.note_id, []).append(piece)
    lower = _in_lower_voices(system)
    found = []
    for note_id, pieces in heads.items():
        box = union([b for p in pieces for b in p.boxes])
        if box is None:
            continue
        scale = 0.78 if box.bottom - box.top < 0.85 * _SPACE else 1.0
        middle = (box.left + box.right) / 2
        found.append(NoteOnStaff(note_id, middle, box, pieces[0].staff, scale, note_id in lower))
    found.sort(key=lambda n: (n.x, n.box.top))
    return found


def _in_lower_voices(system: DrawnSystem) -> set[str | None]:
    """Ids of the notes of lower voices: they lie in a further layer of their staff and bar."""
    lower: set[str | None] = set()
    for staff in system.element.iter(_GROUP):
        if staff.get("class") != "staff":
            continue
        layers = [g for g in staff if g.get("class") == "layer"]
        for layer in layers[1:]:
            lower |= {g.get("id") for g in layer.iter() if (g.get("class") or "").split(" ")[0] == "note"}
    return lower
