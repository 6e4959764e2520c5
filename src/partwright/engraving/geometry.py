"""From the engraving library's SVG to systems with true boxes: what stands where on the page.

Units: hundredths of a millimetre (the library's inner units when its page is given in tenths of a millimetre and
its scale is 100), y downwards. Shapes: a `Box` is (left, top, right, bottom).

Method: the library writes few kinds of shapes (paths of lines and cubic curves, polygons, rectangles, ellipses,
glyph uses, text). Each is measured, curves in short pieces so that a slur leaves the room under its arch free. Text
is rewritten as one element per run at its computed place, in our own faces, and music signs inside text as outlines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from lxml import etree

from partwright.engraving.boxes import Box, union
from partwright.engraving.lettering import Used
from partwright.engraving.retype import rewrite_text
from partwright.engraving.signs import glyph

__all__ = ["DrawnSystem", "Piece", "read_drawing"]

SVG = "http://www.w3.org/2000/svg"
_G, _TEXT = f"{{{SVG}}}g", f"{{{SVG}}}text"
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
_COMMAND = re.compile(r"([MLC])([^MLCZz]*)")
_TRANSLATE = re.compile(r"translate\(\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s*\)(?:\s*scale\(\s*(-?[\d.]+))?")


@dataclass(slots=True)
class Piece:
    """One drawn thing: its class in the library's words, its element, and the boxes that make up its shape."""

    kind: str
    element: Any
    boxes: list[Box]
    note_id: str | None = None  # of the note, rest or chord it belongs to
    staff: int = 0  # index of the staff in the system, from 0 = top
    measure_id: str | None = None

    @property
    def box(self) -> Box:
        """The box around the whole piece."""
        found = union(self.boxes)
        assert found is not None
        return found


@dataclass(slots=True)
class DrawnSystem:
    """One line of music, its staves' top and bottom lines, and every piece on it."""

    element: Any
    pieces: list[Piece]
    staves: list[tuple[float, float]]  # y of top and bottom line, by staff index
    measure_ids: list[str]
    measure_boxes: dict[str, Box]
    used: Used = field(default_factory=Used)


# Elements that are placed as a whole and may be moved outwards as a whole.
OUTER = frozenset(
    {
        "harm",
        "tempo",
        "dir",
        "dynam",
        "reh",
        "voltaBracket",
        "fermata",
        "trill",
        "turn",
        "mordent",
        "octave",
        "hairpin",
        "pedal",
        "repeatMark",
        "bracketSpan",
        "fb",
        "caesura",
    }
)
_INNER = frozenset(
    {
        "notehead",
        "stem",
        "flag",
        "accid",
        "dots",
        "artic",
        "beam",
        "beamSpan",
        "slur",
        "tie",
        "tuplet",
        "tupletNum",
        "tupletBracket",
        "rest",
        "mRest",
        "multiRest",
        "multiRestNum",
        "clef",
        "keySig",
        "keyAccid",
        "meterSig",
        "barLine",
        "arpeg",
        "gliss",
        "bTrem",
        "fTrem",
        "breath",
        "ledgerLines",
        "label",
        "labelAbbr",
        "grpSym",
        "syl",
        "verse",
        "lv",
        "ornam",
        "staffLines",
        "stemMod",
        "note",
    }
)


def read_drawing(svg: str) -> list[DrawnSystem]:
    """The systems of one SVG from the library, in order."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True, remove_comments=True)
    root = etree.fromstring(svg.encode("utf-8"), parser)
    return [_read_system(element) for element in [g for g in root.iter(_G) if g.get("class") == "system"]]


def _read_system(element: Any) -> DrawnSystem:
    system = DrawnSystem(element=element, pieces=[], staves=[], measure_ids=[], measure_boxes={})
    for milestone in [e for e in element.iter(_G) if "ilestone" in e.get("class", "") and not e.findall(f".//{_TEXT}")]:
        if "placeholder" in milestone.get("class", "") or "milestoneEnd" in milestone.get("class", "").lower():
            _remove(milestone)
    for hidden in [e for e in element.iter(_G) if "placeholder" in e.get("class", "") or _is_number(e)]:
        _remove(hidden)  # bar numbers are ours
    _walk(system, element, kinds=(), note_id=None, staff=-1, measure_id=None)
    return system


def _is_number(element: Any) -> bool:
    return str(element.get("class", "")).startswith("mNum")


def _remove(element: Any) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _walk(
    system: DrawnSystem,
    group: Any,
    *,
    kinds: tuple[str, ...],
    note_id: str | None,
    staff: int,
    measure_id: str | None,
) -> None:
    kind = (group.get("class") or "").split(" ")[0]
    element_id = group.get("id")
    if kind == "measure":
        measure_id = element_id
        system.measure_ids.append(element_id or "")
        staff = -1
    elif kind in ("note", "rest", "mRest", "chord", "multiRest"):
        note_id = element_id if kind != "chord" else note_id
    kinds = (*kinds, kind)
    boxes: list[Box] = []
    staff_index = 0
    for child in list(group):
        if child.tag == _G:
            inner = staff
            if (child.get("class") or "").split(" ")[0] == "staff":
                inner = staff_index
                staff_index += 1
            _walk(system, child, kinds=kinds, note_id=note_id, staff=inner, measure_id=measure_id)
        elif child.tag == _TEXT:
            boxes += rewrite_text(child, kinds, system.used)
        else:
            boxes += _shape_boxes(system, child)
    if kind == "staff" and measure_id is not None:
        _note_staff(system, staff, measure_id, boxes)
        return
    if not boxes:
        return
    outer = next((k for k in kinds if k in OUTER), None)
    if outer is not None:
        owner = group
        while (owner.get("class") or "").split(" ")[0] != outer:
            owner = owner.getparent()
        for piece in system.pieces:
            if piece.element is owner:
                piece.boxes += boxes
                return
        system.pieces.append(Piece(outer, owner, boxes, note_id, staff, measure_id))
        return
    name = next((k for k in reversed(kinds) if k in _INNER), kind)
    system.pieces.append(Piece(name, group, boxes, note_id, staff, measure_id))


def _note_staff(system: DrawnSystem, staff: int, measure_id: str, boxes: list[Box]) -> None:
    around = union(boxes)
    if around is None:
        return
    if staff >= len(system.staves):
        system.staves.append((around.top, around.bottom))
    before = system.measure_boxes.get(measure_id)
    known = [around] if before is None else [around, before]
    whole = union(known)
    assert whole is not None
    system.measure_boxes[measure_id] = whole


# Shapes ------------------------------------------------------------------------------------------------------------


def _shape_boxes(system: DrawnSystem, element: Any) -> list[Box]:
    name = etree.QName(element).localname
    if name == "use":
        return _use_boxes(system, element)
    if element.get("stroke-width") is not None:
        element.set("stroke", "currentColor")  # the library leaves this to a style sheet, which no PDF writer reads
    half = float(element.get("stroke-width", 0)) / 2
    if name == "path":
        return list(_path_boxes(element.get("d", ""), half))
    if name in ("polygon", "polyline"):
        numbers = [float(n) for n in _NUMBER.findall(element.get("points", ""))]
        points = list(zip(numbers[::2], numbers[1::2], strict=False))
        return _outline_boxes(points, half, closed=name == "polygon")
    if name == "rect":
        x, y, w, h = (float(element.get(key, 0)) for key in ("x", "y", "width", "height"))
        return [Box(x - half, y - half, x + w + half, y + h + half)]
    if name in ("ellipse", "circle"):
        cx, cy = float(element.get("cx", 0)), float(element.get("cy", 0))
        rx = float(element.get("rx", element.get("r", 0))) + half
        ry = float(element.get("ry", element.get("r", 0))) + half
        return [Box(cx - rx, cy - ry, cx + rx, cy + ry)]
    return []


def _use_boxes(system: DrawnSystem, element: Any) -> list[Box]:
    target = element.get("href") or element.get("{http://www.w3.org/1999/xlink}href") or ""
    code = target.lstrip("#").split("-")[0].upper()
    found = _TRANSLATE.search(element.get("transform", ""))
    shape = glyph(code)
    for key in list(element.attrib):
        if key.endswith("href"):
            del element.attrib[key]
    element.set("href", f"#sign-{code}")
    if found is None or shape is None:
        return []
    system.used.glyphs.add(code)
    x, y, scale = float(found[1]), float(found[2]), float(found[3] or 1)
    return [
        Box(x + shape.left * scale, y - shape.high * scale, x + shape.right * scale, y - shape.low * scale),
    ]


def _path_boxes(data: str, half: float) -> Iterator[Box]:
    here = (0.0, 0.0)
    for command, rest in _COMMAND.findall(data):
        numbers = [float(n) for n in _NUMBER.findall(rest)]
        if command == "C":
            for i in range(0, len(numbers) - 5, 6):
                yield from _curve_boxes(here, numbers[i : i + 6], half)
                here = (numbers[i + 4], numbers[i + 5])
        else:
            for i in range(0, len(numbers) - 1, 2):
                there = (numbers[i], numbers[i + 1])
                if command == "L" or i > 0:
                    yield from _segment_boxes(here, there, half)
                here = there


def _curve_boxes(start: tuple[float, float], numbers: list[float], half: float) -> Iterator[Box]:
    (x0, y0), (x1, y1, x2, y2, x3, y3) = start, numbers
    pieces = 20
    before = start
    for k in range(1, pieces + 1):
        t = k / pieces
        s = 1 - t
        x = s**3 * x0 + 3 * s * s * t * x1 + 3 * s * t * t * x2 + t**3 * x3
        y = s**3 * y0 + 3 * s * s * t * y1 + 3 * s * t * t * y2 + t**3 * y3
        yield Box(
            min(before[0], x) - half, min(before[1], y) - half, max(before[0], x) + half, max(before[1], y) + half
        )
        before = (x, y)


def _segment_boxes(a: tuple[float, float], b: tuple[float, float], half: float) -> Iterator[Box]:
    # A slanting line is cut into short pieces, so that its box does not claim the room beside it.
    slant = min(abs(b[0] - a[0]), abs(b[1] - a[1]))
    pieces = min(40, max(1, int(slant // 60)))
    for k in range(pieces):
        x0, y0 = a[0] + (b[0] - a[0]) * k / pieces, a[1] + (b[1] - a[1]) * k / pieces
        x1, y1 = a[0] + (b[0] - a[0]) * (k + 1) / pieces, a[1] + (b[1] - a[1]) * (k + 1) / pieces
        yield Box(min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half)


def _outline_boxes(points: list[tuple[float, float]], half: float, *, closed: bool) -> list[Box]:
    if len(points) == 4 and closed:
        # A beam: a band between two slanting lines.
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = points
        upper = list(_segment_boxes((ax, ay), (bx, by), half))
        lower = list(_segment_boxes((dx, dy), (cx, cy), half))
        if len(upper) == len(lower):
            joined = []
            for u, low in zip(upper, lower, strict=True):
                both = union([u, low])
                assert both is not None
                joined.append(both)
            return joined
        return upper + lower
    pairs = list(pairwise(points))
    if closed and len(points) > 2:
        pairs.append((points[-1], points[0]))
    return [box for a, b in pairs for box in _segment_boxes(a, b, half)]
