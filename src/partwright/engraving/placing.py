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
from dataclasses import dataclass, field

from partwright.engraving.annotations import AtNote, Line
from partwright.engraving.boxes import Box, Shapes, settle_down, settle_up, union
from partwright.engraving.drawings import (
    BOW_HEIGHT,
    HAND_FACE,
    HAND_SIZE,
    HARMONIC_HEIGHT,
    LINE_FACE,
    NUMBER_FACE,
    NUMBER_SIZE,
    STRING_FACE,
    STRING_SIZE,
    WORDS_FACE,
    WORDS_SIZE,
    Drawing,
    finger,
    player_sign,
    stroke,
    words,
)
from partwright.engraving.geometry import DrawnSystem, Piece
from partwright.engraving.lettering import Used, letter
from partwright.engraving.typefaces import CAP_HEIGHT

__all__ = ["PlacedSign", "PlacedSystem", "place_system"]

SPACE = 180.0
"""One staff space at the standard size (staff 7.2 mm)."""

GAP = 58.0  # between two signs of one note
SIDE_GAP = 40.0  # between signs of neighbouring notes
OUTER_GAP = 75.0  # between our signs and what stands further out
DASH_GAP = 130.0  # before a guide finger's dash
STAFF_GAP = 70.0  # between the staff and the nearest sign


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


@dataclass(slots=True)
class _Note:
    note_id: str
    x: float
    box: Box
    staff: int
    scale: float = 1.0
    below: bool = False


def place_system(
    system: DrawnSystem,
    notes: Mapping[str, AtNote],
    lines: Sequence[Line],
    *,
    note_order: Mapping[str, int],
    bar_number: str = "",
) -> PlacedSystem:
    """Draw all signs of one system. `note_order` ranks note ids; `bar_number` is printed over the clef when given."""
    return _Placing(system, notes, lines, note_order, bar_number).run()


class _Placing:
    def __init__(
        self,
        system: DrawnSystem,
        notes: Mapping[str, AtNote],
        lines: Sequence[Line],
        note_order: Mapping[str, int],
        bar_number: str,
    ) -> None:
        self.system = system
        self.at = notes
        self.lines = lines
        self.order = note_order
        self.bar_number = bar_number
        self.used = Used()
        self.used.add(system.used)
        self.signs: list[PlacedSign] = []
        self.inner = Shapes()  # what the library drew at the notes
        self.placed = Shapes()  # what we have put around them
        self.outer: list[Piece] = []
        self.notes = self._find_notes()

    def run(self) -> PlacedSystem:
        top, bottom = self._staff_edges()
        for piece in self.system.pieces:
            if piece.kind in _OUTER_RANK:
                self.outer.append(piece)
            else:
                for box in piece.boxes:
                    self.inner.add(box)
        for staff_top, staff_bottom in self.system.staves:
            right = max((b.right for b in self.system.measure_boxes.values()), default=0.0)
            self.inner.add(Box(-1000.0, staff_top, right, staff_bottom))
        tops = {n.note_id: self._outside(n) for n in self.notes}
        self._place_stacks(tops)
        self._push_outer()
        self._place_bar_number()
        self._place_below()
        self._place_hand_row()
        self._mark_glissandi()
        self._draw_arpeggios()
        return self._finish(top, bottom)

    # What is there -------------------------------------------------------------------------------------------------

    def _find_notes(self) -> list[_Note]:
        heads: dict[str, list[Piece]] = {}
        lowest_stems = {}
        for piece in self.system.pieces:
            if piece.note_id is None:
                continue
            if piece.kind == "notehead":
                heads.setdefault(piece.note_id, []).append(piece)
            elif piece.kind == "stem":
                lowest_stems[piece.note_id] = piece.box
        found = []
        for note_id, pieces in heads.items():
            box = union([b for p in pieces for b in p.boxes])
            if box is None:
                continue
            scale = 0.78 if box.bottom - box.top < 0.85 * SPACE else 1.0
            found.append(_Note(note_id, (box.left + box.right) / 2, box, pieces[0].staff, scale))
        found.sort(key=lambda n: (n.x, n.box.top))
        self._second_voices(found)
        return found

    def _second_voices(self, found: list[_Note]) -> None:
        """A lower voice's signs go under the staff: its notes lie in the second layer of their staff and bar."""
        lower = set()
        for staff in self.system.element.iter("{http://www.w3.org/2000/svg}g"):
            if staff.get("class") != "staff":
                continue
            layers = [g for g in staff if g.get("class") == "layer"]
            for layer in layers[1:]:
                lower |= {g.get("id") for g in layer.iter() if (g.get("class") or "").split(" ")[0] == "note"}
        for note in found:
            note.below = note.note_id in lower

    def _staff_edges(self) -> tuple[float, float]:
        if not self.system.staves:
            return 0.0, 720.0
        return self.system.staves[0][0], self.system.staves[-1][1]

    def _staff_of(self, note: _Note) -> tuple[float, float]:
        staves = self.system.staves
        return staves[note.staff] if 0 <= note.staff < len(staves) else self._staff_edges()

    def _outside(self, note: _Note) -> float:
        """Where the innermost sign of a note may begin: outside the staff, beyond its head and stem."""
        top, bottom = self._staff_of(note)
        reach = 125.0 * note.scale
        near = self.inner.between(note.x - reach, note.x + reach)
        if note.below:
            edge = max(bottom, note.box.bottom)
            return edge + STAFF_GAP
        edge = min(top, note.box.top)
        for box in near:  # stems and beams of this very note, reaching up from it
            if box.bottom > note.box.top - 20 and box.top < edge and box.bottom - box.top > 150:
                edge = box.top
        return edge - (STAFF_GAP if edge >= top - 1 else GAP)

    # Signs at single notes -----------------------------------------------------------------------------------------

    def _place_stacks(self, edges: dict[str, float]) -> None:
        pen = dict(edges)
        ordered = self.notes
        for note in ordered:
            self._chord_edge(note, pen)
        for kind in ("finger", "harmonic", "string"):
            for note in ordered:
                self._place_kind(kind, note, pen)
        self._place_lines_above()
        for note in ordered:
            self._place_kind("bow", note, pen)
        for note in ordered:
            self._place_kind("above", note, pen)

    def _chord_edge(self, note: _Note, pen: dict[str, float]) -> None:
        """Notes of one chord share a column: their signs stack on it from the lowest note upwards."""
        group = [o for o in self.notes if abs(o.x - note.x) < 190 and o.staff == note.staff and o.below == note.below]
        if len(group) > 1:
            edge = max if note.below else min
            pen[note.note_id] = edge(pen[o.note_id] for o in group)

    def _place_kind(self, kind: str, note: _Note, pen: dict[str, float]) -> None:
        found = self.at.get(note.note_id)
        if found is None or (kind == "bow" and self._bow_given(note, found)):
            return
        for svg, left, right, height in self._drawings(kind, found, note):
            reach = 118.0 * note.scale
            column = self.inner.between(note.x - max(reach, left), note.x + max(reach, right))
            # A guide's dash must not read as the dash of a substitution, so it keeps further from its neighbour.
            before = DASH_GAP if kind == "finger" and found.guide else SIDE_GAP
            others = self.placed.between(note.x - left - before, note.x + right + SIDE_GAP)
            spans = [(b.top, b.bottom) for b in (*column, *others)]
            if note.below:
                bottom = settle_down(spans, pen[note.note_id], height, GAP) + height
                pen[note.note_id] = bottom + GAP
            else:
                bottom = settle_up(spans, pen[note.note_id], height, GAP)
                pen[note.note_id] = bottom - height - GAP
            box = Box(note.x - left, bottom - height, note.x + right, bottom)
            self._add(kind, note.note_id, box, f'<g transform="translate({note.x:.0f},{bottom:.0f})">{svg}</g>')

    def _bow_given(self, note: _Note, found: AtNote) -> bool:
        """Whether another note of the same chord already shows this stroke: a chord is one stroke."""
        return any(
            sign.kind == "bow" and abs((sign.box.left + sign.box.right) / 2 - note.x) < 190
            and self.at[sign.note_id].bow == found.bow and self._staff_index(sign.note_id) == note.staff
            for sign in self.signs
        )  # fmt: skip

    def _staff_index(self, note_id: str) -> int:
        return next((n.staff for n in self.notes if n.note_id == note_id), -1)

    def _add(self, kind: str, note_id: str, box: Box, svg: str) -> None:
        self.placed.add(box)
        self.signs.append(PlacedSign(kind, note_id, box, svg))

    def _drawings(self, kind: str, found: AtNote, note: _Note) -> list[Drawing]:
        scale = note.scale
        if kind == "finger":
            fingers = found.fingers or ([""] if found.guide else [])
            return [finger(text, scale, self.used, guide=found.guide and i == 0) for i, text in enumerate(fingers)]
        if kind == "harmonic" and found.harmonic == "natural":
            return [player_sign("harmonic", HARMONIC_HEIGHT * scale)]
        if kind == "string" and found.string:
            return [words(found.string, STRING_SIZE * scale, STRING_FACE, self.used)]
        if kind == "bow" and found.bow:
            return [player_sign(found.bow, BOW_HEIGHT * scale)]
        if kind == "above":
            return [words(text, WORDS_SIZE, WORDS_FACE, self.used) for text in found.above]
        return []

    # Lines over several notes --------------------------------------------------------------------------------------

    def _stretch(self, line: Line) -> tuple[float, float, bool, bool] | None:
        """Where a line runs in this system: left, right, does it begin here, does it end here."""
        first, last = self.order.get(line.first), self.order.get(line.last)
        if first is None or last is None:
            return None
        first, last = min(first, last), max(first, last)
        inside = [n for n in self.notes if first <= self.order.get(n.note_id, -1) <= last]
        if not inside:
            return None
        ranks = [self.order[n.note_id] for n in inside]
        begins, ends = min(ranks) == first, max(ranks) == last
        left = min(n.box.left for n in inside) - (0 if begins else 120)
        right = max(n.box.right for n in inside)
        if not ends:  # it goes on in the next line, so it runs to the end of this one
            right = max(right, max((b.right for b in self.system.measure_boxes.values()), default=right) - 40)
        return left, right, begins, ends

    def _place_lines_above(self) -> None:
        top, _ = self._staff_edges()
        for line in self.lines:
            found = None if line.hand else self._stretch(line)
            if found is None:
                continue
            left, right, begins, ends = found
            text = line.text if begins else f"({line.text})" if line.text else ""
            drawn = letter(text, STRING_SIZE, STRING_FACE)
            self.used.add(drawn.used)
            right = max(right, left + drawn.width)
            height = STRING_SIZE * 0.95
            spans = [
                (b.top, b.bottom)
                for shapes in (self.inner, self.placed)
                for b in shapes.between(left - SIDE_GAP, right + SIDE_GAP)
            ]
            bottom = settle_up(spans, top - STAFF_GAP, height, GAP)
            baseline = bottom - STRING_SIZE * 0.24
            start = left + drawn.width + (60 if text else 0)
            svg = f'<g transform="translate({left:.0f},{baseline:.0f})">{drawn.svg}</g>' + stroke(
                start, right, baseline - STRING_SIZE * 0.22, dashed=line.dashed, hook=80 if ends else 0
            )
            self._add("line", line.first, Box(left, bottom - height, right, bottom), svg)

    # What the library placed further out ---------------------------------------------------------------------------

    def _push_outer(self) -> None:
        """Move dynamics, chord symbols, endings and tempo outwards until nothing touches."""
        top, bottom = self._staff_edges()
        middle = (top + bottom) / 2
        above = [p for p in self.outer if (p.box.top + p.box.bottom) / 2 < middle]
        under = [p for p in self.outer if p not in above]
        for direction, pieces in ((-1, above), (1, under)):
            groups: dict[tuple[int, str], list[Piece]] = {}
            for index, piece in enumerate(sorted(pieces, key=lambda p: (_OUTER_RANK[p.kind], p.box.left))):
                row = piece.kind if piece.kind in _ROWS else f"{piece.kind}{index}"
                groups.setdefault((_OUTER_RANK[piece.kind], row), []).append(piece)
            for _, group in sorted(groups.items(), key=lambda item: (item[0][0], item[1][0].box.left)):
                self._push_group(group, direction)

    def _push_group(self, group: list[Piece], direction: int) -> None:
        shift = 0.0
        settled = False
        while not settled:
            settled = True
            for piece in group:
                for box in piece.boxes:
                    moved = Box(box.left, box.top + shift, box.right, box.bottom + shift)
                    near = self.placed.between(box.left - 60, box.right + 60)
                    if shift:
                        near = near + self.inner.between(box.left - 30, box.right + 30)
                    spans = [(b.top, b.bottom) for b in near]
                    height = box.bottom - box.top
                    if direction < 0:
                        more = settle_up(spans, moved.bottom, height, OUTER_GAP) - moved.bottom
                    else:
                        more = settle_down(spans, moved.top, height, OUTER_GAP) - moved.top
                    if abs(more) > 0.5:
                        shift += more
                        settled = False
        for piece in group:
            if shift:
                piece.element.set("transform", f"translate(0,{shift:.0f})")
                piece.boxes = [Box(b.left, b.top + shift, b.right, b.bottom + shift) for b in piece.boxes]
            for box in piece.boxes:
                self.placed.add(box)

    def _place_bar_number(self) -> None:
        if not self.bar_number:
            return
        top, _ = self._staff_edges()
        drawn = letter(self.bar_number, NUMBER_SIZE, NUMBER_FACE)
        self.used.add(drawn.used)
        height = NUMBER_SIZE * CAP_HEIGHT
        spans = [
            (b.top, b.bottom) for shapes in (self.inner, self.placed) for b in shapes.between(-40.0, drawn.width + 60.0)
        ]
        bottom = settle_up(spans, top - 110.0, height, GAP)
        svg = f'<g transform="translate(0,{bottom:.0f})">{drawn.svg}</g>'
        self._add("bar-number", "", Box(0.0, bottom - height, drawn.width, bottom), svg)

    # Under the staff -----------------------------------------------------------------------------------------------

    def _place_below(self) -> None:
        for note in self.notes:
            found = self.at.get(note.note_id)
            for text in found.below if found is not None else ():
                drawn = words(text, WORDS_SIZE, WORDS_FACE, self.used)
                width, height = drawn.left + drawn.right, drawn.height
                _, staff_bottom = self._staff_of(note)
                left = note.box.left
                spans = [
                    (b.top, b.bottom)
                    for shapes in (self.inner, self.placed)
                    for b in shapes.between(left - SIDE_GAP, left + width + SIDE_GAP)
                ]
                bottom = settle_down(spans, staff_bottom + STAFF_GAP, height, GAP) + height
                box = Box(left, bottom - height, left + width, bottom)
                self._add(
                    "below",
                    note.note_id,
                    box,
                    f'<g transform="translate({left + width / 2:.0f},{bottom:.0f})">{drawn.svg}</g>',
                )

    def _place_hand_row(self) -> None:
        """Position and extension on one common line under the system, beneath everything that sounds."""
        _, staff_bottom = self._staff_edges()
        items: list[tuple[float, float, str, str, Line | None, bool]] = []  # left, right, text, note id, line, ends
        for note in self.notes:
            found = self.at.get(note.note_id)
            labels = found.hand if found is not None else ()
            items += [(note.box.left, note.box.left, text, note.note_id, None, False) for text in labels]
        for span in self.lines:
            stretch = self._stretch(span) if span.hand else None
            if stretch is not None:
                left, right, begins, ends = stretch
                text = span.text if begins else f"({span.text})" if span.text else ""
                items.append((left, right, text, span.first, span, ends))
        if not items:
            return
        items.sort(key=lambda item: (item[0], item[4] is not None))
        height = HAND_SIZE * 0.74
        pen = -1000.0
        laid = []
        spans: list[tuple[float, float]] = []
        for left, right, text, note_id, line, ends in items:
            face = HAND_FACE if line is None else LINE_FACE
            drawn = letter(text, HAND_SIZE, face)
            self.used.add(drawn.used)
            start = max(left, pen + 90.0)
            end = max(right, start + drawn.width)
            laid.append((start, end, drawn, note_id, line, ends))
            pen = start + drawn.width if line is None else end
            spans += [
                (b.top, b.bottom)
                for shapes in (self.inner, self.placed)
                for b in shapes.between(start - SIDE_GAP, end + SIDE_GAP)
            ]
        baseline = settle_down(spans, staff_bottom + 110.0, height, 60.0) + height
        for start, end, drawn, note_id, line, ends in laid:
            svg = f'<g transform="translate({start:.0f},{baseline:.0f})">{drawn.svg}</g>'
            if line is not None:
                y = baseline - HAND_SIZE * 0.22
                from_x = start + drawn.width + (55 if drawn.width else 0)
                svg += stroke(from_x, end, y, dashed=line.dashed, hook=-90 if ends else 0)
            kind = "hand" if line is None else "hand-line"
            self._add(kind, note_id, Box(start, baseline - height, end, baseline), svg)

    # Last things ---------------------------------------------------------------------------------------------------

    def _mark_glissandi(self) -> None:
        """Words along a sliding line, where there is room for them."""
        lines = [p for p in self.system.pieces if p.kind == "gliss"]
        for note, text in [(n, self.at[n.note_id].glissando) for n in self.notes if n.note_id in self.at]:
            if not text:
                continue
            near = [p for p in lines if 0 <= p.box.left - note.box.left < 900]
            if not near:
                continue
            line = min(near, key=lambda p: p.box.left)
            drawn = letter(text, 250.0, WORDS_FACE, anchor="middle")
            if line.box.right - line.box.left < drawn.width + 80:
                continue
            self.used.add(drawn.used)
            x = (line.box.left + line.box.right) / 2
            spans = [
                (b.top, b.bottom)
                for shapes in (self.inner, self.placed)
                for b in shapes.between(x - drawn.width / 2, x + drawn.width / 2)
                if b.bottom - b.top < 700
            ]
            bottom = settle_up(spans, line.box.top - 20, 190.0, 30.0)
            box = Box(x - drawn.width / 2, bottom - 190.0, x + drawn.width / 2, bottom)
            self._add(
                "gliss", note.note_id, box, f'<g transform="translate({x:.0f},{bottom - 55:.0f})">{drawn.svg}</g>'
            )

    def _draw_arpeggios(self) -> None:
        """A wavy line left of a chord, from its lowest to its highest note, clear of its accidentals."""
        done: set[float] = set()
        for note in self.notes:
            found = self.at.get(note.note_id)
            if found is None or not found.arpeggiate or any(abs(note.x - x) < 190 for x in done):
                continue
            done.add(note.x)
            chord = [n for n in self.notes if abs(n.x - note.x) < 190 and n.staff == note.staff]
            top, bottom = min(n.box.top for n in chord), max(n.box.bottom for n in chord)
            ids = {n.note_id for n in chord}
            beside = [p.box.left for p in self.system.pieces if p.kind == "accid" and p.note_id in ids]
            x = min([n.box.left for n in chord] + beside) - 85.0
            waves = max(2, round((bottom - top) / 110.0))
            step = (bottom - top) / waves
            path = "".join(f"q{34 if i % 2 else -34} {step / 2:.0f} 0 {step:.0f}" for i in range(waves))
            svg = f'<path d="M{x:.0f} {top:.0f}{path}" fill="none" stroke="currentColor" stroke-width="22"/>'
            self._add("arpeggio", note.note_id, Box(x - 30, top, x + 30, bottom), svg)

    def _finish(self, top: float, bottom: float) -> PlacedSystem:
        from lxml import etree

        boxes = [p.box for p in self.system.pieces] + [s.box for s in self.signs]
        boxes += list(self.system.measure_boxes.values())
        around = union(boxes)
        assert around is not None
        drawn = "".join(f'<g class="pw-{s.kind}" data-note="{_attribute(s.note_id)}">{s.svg}</g>' for s in self.signs)
        body = etree.tostring(self.system.element, encoding="unicode")
        return PlacedSystem(
            svg=body + drawn,
            box=around,
            staff_top=top,
            staff_bottom=bottom,
            measure_ids=self.system.measure_ids,
            signs=self.signs,
            used=self.used,
            heads=[p for p in self.system.pieces if p.kind == "notehead"],
            outer=self.outer,
        )


_OUTER_RANK = {
    kind: rank
    for rank, kinds in enumerate(
        (
            ("fermata", "trill", "turn", "mordent", "caesura"),
            ("dynam", "hairpin", "pedal"),
            ("octave", "bracketSpan"),
            ("dir", "repeatMark", "fb"),
            ("harm",),
            ("voltaBracket",),
            ("tempo",),
            ("reh",),
        )
    )
    for kind in kinds
}
_ROWS = frozenset({"harm", "voltaBracket"})


def _attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
