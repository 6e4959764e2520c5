"""The score as the page gets it: leaves of systems, each drawn once and placed again only where its marks changed.

Units: mm in what goes out, hundredths of a millimetre inside. Ids in the SVG are ours alone (docs/studio_api.md has the
contract).
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import unescape

from partwright.engraving import (
    EngravingProcess,
    KeptLine,
    KeptLines,
    LineMarks,
    PlacedSystem,
    draw_lines,
    string_letters,
)
from partwright.files import content_hash
from partwright.instrument import Instrument
from partwright.score import BracketLine, Mark, Part, Tune
from partwright.studio.leaves import cut_leaves
from partwright.studio.svg_texts import recoloured

__all__ = ["WIDTHS_MM", "Score", "SystemPicture", "nearest_width"]

WIDTHS_MM = (90, 120, 150, 180, 210, 240, 300)
_MOST_LEAVES = 48  # kept drawn at a time, over all widths
_PICTURES_A_LINE = 4
_HIT = 640.0  # a target as wide as a fingertip needs: 6.4 mm is 24 px (WCAG 2.2, 2.5.8)
_GUESS_MM_A_BAR = 7.5

_ID = re.compile(r' id="([^"]*)"')
_NOTE = re.compile(r' data-note="([^"]*)"')
_BETWEEN = re.compile(r">\s+<")
_NAMESPACES = re.compile(r' (?:xmlns(?::\w+)?|xml:lang|data-id)="[^"]*"')
_ENTITIES = {"&quot;": '"', "&#10;": "\n", "&#9;": "\t", "&#13;": "\r"}


@dataclass(frozen=True, slots=True)
class SystemPicture:
    """One system drawn, its measures in mm, and where each note and bar stands."""

    key: str
    svg: str
    width_mm: float
    height_mm: float
    staff_top_mm: float
    staff_bottom_mm: float
    bars: tuple[tuple[int, float, float], ...]  # index, left, right
    notes: tuple[tuple[int, float, float], ...]  # n, x, y
    glyphs: frozenset[str]


@dataclass(slots=True)
class _Leaf:
    kept: KeptLines
    pictures: list[OrderedDict[str, SystemPicture]] = field(default_factory=list)


def nearest_width(width_mm: float) -> int:
    """The width nearest to the one asked for."""
    return min(WIDTHS_MM, key=lambda known: abs(known - width_mm))


class Score:
    """A tune's leaves at every width asked for. Call it under the lesson's lock."""

    def __init__(self, tune: Tune, section_starts: Iterable[int], process: EngravingProcess) -> None:
        self.tune = tune
        self.leaves = cut_leaves(tune.part, frozenset(section_starts))
        self._process = process
        self._drawn: OrderedDict[tuple[int, int], _Leaf] = OrderedDict()
        self._n = {note.id: note.index for note in tune.part.notes}
        self._bar_of = {note.id: note.bar_index for note in tune.part.notes}

    @property
    def part(self) -> Part:
        return self.tune.part

    def leaf_of(self, bar_index: int) -> int:
        """The leaf a bar stands on."""
        return next(k for k, (first, last) in enumerate(self.leaves) if first <= bar_index <= last)

    def height_mm(self, leaf: int, width_mm: int) -> float:
        """How high a leaf is; a guess until it has been drawn."""
        known = self._drawn.get((leaf, width_mm))
        if known is not None and all(known.pictures):
            return sum(next(reversed(line.values())).height_mm for line in known.pictures)
        first, last = self.leaves[leaf]
        return round((last - first + 1) * _GUESS_MM_A_BAR * 180 / width_mm, 1)

    def drawn_leaves(self, width_mm: int) -> tuple[int, ...]:
        """Leaves that have been drawn at this width and not yet forgotten."""
        return tuple(leaf for leaf, width in self._drawn if width == width_mm)

    def systems(
        self, leaf: int, width_mm: int, marks: Sequence[Mark], instrument: Instrument
    ) -> tuple[SystemPicture, ...]:
        """The systems of a leaf with these marks. Raises EngravingError."""
        drawn = self._leaf(leaf, width_mm)
        gathered = drawn.kept.gather(self._marks_near(marks, leaf), string_letters=string_letters(instrument))
        found = []
        for index, line in enumerate(drawn.kept.lines):
            mine = drawn.kept.marks_of(line, gathered)
            key = self._key(leaf, index, width_mm, mine)
            known = drawn.pictures[index]
            if key not in known:
                placed = drawn.kept.place(line, mine)
                known[key] = self._picture(key, f"system-{leaf}-{index}", leaf, line, placed)
                if len(known) > _PICTURES_A_LINE:
                    known.popitem(last=False)
            known.move_to_end(key)
            found.append(known[key])
        return tuple(found)

    def _marks_near(self, marks: Sequence[Mark], leaf: int) -> tuple[Mark, ...]:
        """Marks of notes on the leaf, and lines that may run over it."""
        first, last = self.leaves[leaf]
        return tuple(
            mark
            for mark in marks
            if isinstance(mark, BracketLine) or first <= self._bar_of.get(mark.note_id, -1) <= last
        )

    def _leaf(self, leaf: int, width_mm: int) -> _Leaf:
        known = self._drawn.get((leaf, width_mm))
        if known is None:
            kept = draw_lines(
                self.tune,
                width=width_mm * 100.0,
                bars=self.leaves[leaf],
                goes_on=leaf + 1 < len(self.leaves),
                process=self._process,
            )
            known = _Leaf(kept, [OrderedDict() for _ in kept.lines])
            self._drawn[leaf, width_mm] = known
            if len(self._drawn) > _MOST_LEAVES:
                self._drawn.popitem(last=False)
        self._drawn.move_to_end((leaf, width_mm))
        return known

    @staticmethod
    def _key(leaf: int, index: int, width_mm: int, marks: LineMarks) -> str:
        notes = repr(sorted(marks.notes.items()))
        return content_hash(f"{leaf} {index} {width_mm}", notes, repr(marks.lines))[:16]

    def _picture(self, key: str, name: str, leaf: int, line: KeptLine, placed: PlacedSystem) -> SystemPicture:
        left = min(0.0, placed.box.left)
        top = placed.box.top
        width, height = placed.box.right - left, placed.box.bottom - top
        body = self._ours(placed.svg)
        bars = [(index, box.left - left, box.right - left) for index, box in line.bar_boxes()]
        targets = self._targets(placed, left, top, height)
        rects = "".join(
            f'<rect class="bar-hit" data-bar-index="{index}" x="{a:.0f}" y="0" width="{max(0.0, b - a):.0f}" '
            f'height="{height:.0f}" fill="transparent"/>'
            for index, a, b in bars
        ) + "".join(
            f'<rect class="note-hit" data-n="{n}" x="{x0:.0f}" y="{y0:.0f}" width="{x1 - x0:.0f}" '
            f'height="{y1 - y0:.0f}" fill="transparent"/>'
            for n, x0, y0, x1, y1, _, _ in targets
        )
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="system" id="{name}" '
            f'viewBox="0 0 {width:.0f} {height:.0f}" width="{width / 100:.2f}mm" '
            f'height="{height / 100:.2f}mm" data-leaf="{leaf}" data-first-bar-index="{line.bars[0]}" '
            f'data-last-bar-index="{line.bars[1]}" role="group">'
            f'<g transform="translate({-left:.0f},{-top:.0f})">{body}</g>{rects}</svg>'
        )
        return SystemPicture(
            key=key,
            svg=svg,
            width_mm=round(width / 100, 2),
            height_mm=round(height / 100, 2),
            staff_top_mm=round((placed.staff_top - top) / 100, 2),
            staff_bottom_mm=round((placed.staff_bottom - top) / 100, 2),
            bars=tuple((index, round(a / 100, 2), round(b / 100, 2)) for index, a, b in bars),
            notes=tuple((n, round(x / 100, 2), round(y / 100, 2)) for n, _, _, _, _, x, y in targets),
            glyphs=frozenset(placed.used.glyphs),
        )

    def _targets(
        self, placed: PlacedSystem, left: float, top: float, height: float
    ) -> list[tuple[int, float, float, float, float, float, float]]:
        """Per note: n, the target's box, and the middle of its heads; targets meet half-way between neighbours."""
        boxes: dict[int, list[float]] = {}
        for head in placed.heads:
            n = self._n.get(head.note_id or "")
            if n is None:
                continue
            for box in head.boxes:
                known = boxes.setdefault(n, [box.left, box.top, box.right, box.bottom])
                known[0], known[1] = min(known[0], box.left), min(known[1], box.top)
                known[2], known[3] = max(known[2], box.right), max(known[3], box.bottom)
        middles = {n: ((b[0] + b[2]) / 2, (b[1] + b[3]) / 2) for n, b in boxes.items()}
        fingers = {self._n.get(sign.note_id, -1): sign.box for sign in placed.signs if sign.kind == "finger"}
        found = []
        for n, (x, y) in sorted(middles.items()):
            b = boxes[n]
            level = [other for m, other in middles.items() if m != n and abs(other[0] - x) > 100]
            before = max((o[0] for o in level if o[0] < x), default=x - 2 * _HIT)
            after = min((o[0] for o in level if o[0] > x), default=x + 2 * _HIT)
            x0 = max((x + before) / 2, min(b[0], x - _HIT / 2))
            x1 = min((x + after) / 2, max(b[2], x + _HIT / 2))
            chord = [o[1] for m, o in middles.items() if m != n and abs(o[0] - x) <= 100]
            above = max((o for o in chord if o < y), default=None)
            below = min((o for o in chord if o > y), default=None)
            sign = fingers.get(n)
            y0 = min(b[1] - 60, y - _HIT / 2, sign.top - 40 if sign is not None else y)
            y1 = max(b[3] + 60, y + _HIT / 2, sign.bottom + 40 if sign is not None else y)
            y0 = y0 if above is None else max(y0, (above + y) / 2)
            y1 = y1 if below is None else min(y1, (below + y) / 2)
            y0, y1 = max(top, y0), min(top + height, y1)
            found.append((n, x0 - left, y0 - top, x1 - left, y1 - top, x - left, y - top))
        return found

    def _ours(self, svg: str) -> str:
        """The drawing with our ids in place of the library's and the tune's."""
        svg = _NAMESPACES.sub("", _BETWEEN.sub("><", svg))
        svg = recoloured(svg)
        svg = _ID.sub(lambda found: self._renamed(unescape(found[1], _ENTITIES)), svg)
        return _NOTE.sub(lambda found: self._of_note(unescape(found[1], _ENTITIES)), svg)

    def _renamed(self, name: str) -> str:
        if name in self._n:
            return f' id="note-{self._n[name]}" data-n="{self._n[name]}"'
        if name.startswith("bar-") and name[4:].isdigit():
            return f' data-bar-index="{int(name[4:]) - 1}"'
        return ""

    def _of_note(self, name: str) -> str:
        return f' data-n="{self._n[name]}"' if name in self._n else ""
