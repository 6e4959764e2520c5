"""The library's text set again in our faces, and music signs inside text as outlines.

The library names a face by a style sheet that no PDF writer reads, and lays several runs end to end by the reader's
own font. Here every run gets its computed place and its face by name.
Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from lxml import etree

from partwright.engraving.boxes import Box
from partwright.engraving.lettering import Used
from partwright.engraving.signs import glyph
from partwright.engraving.typefaces import SERIF, Face, has_sign, text_width

__all__ = ["rewrite_text", "text_extent"]

SVG = "http://www.w3.org/2000/svg"
_USE, _TEXT, _TSPAN = (f"{{{SVG}}}{name}" for name in ("use", "text", "tspan"))
_BOLD = frozenset({"voltaBracket", "ending", "reh", "tempo", "multiRestNum"})
_ITALIC = frozenset({"dir", "dynam", "tupletNum"})


@dataclass(slots=True)
class _Run:
    text: str
    size: float
    face: Face
    music: bool
    break_to: tuple[float, float] | None = None


def rewrite_text(text: Any, kinds: tuple[str, ...], used: Used) -> list[Box]:
    """Replace one `<text>` by runs at computed places; returns their boxes and notes in `used` what they are set in.

    `kinds` are the library's classes from the outermost group to the text's own.
    """
    runs = list(_runs(text, kinds, size=0.0, weight=None, style=None, music=False))
    anchor = text.get("text-anchor", "start")
    x, y = float(text.get("x", 0)), float(text.get("y", 0))
    parent = text.getparent()
    if "voltaBracket" in kinds and runs and runs[-1].text[-1:].isdigit():
        runs[-1].text += "."  # an ending's number is printed with a full stop
    lines: list[tuple[float, float, list[_Run]]] = [(x, y, [])]
    for run in runs:
        if run.break_to is not None:
            lines.append((*run.break_to, []))
        if run.text:
            lines[-1][2].append(run)
    boxes: list[Box] = []
    index = parent.index(text)
    parent.remove(text)
    new: list[Any] = []
    for line_x, line_y, spoken in lines:
        line = _trimmed(spoken)
        width = sum(_run_width(run) for run in line)
        left = line_x - (width if anchor == "end" else width / 2 if anchor == "middle" else 0)
        if len(line) == 1 and not line[0].music and anchor != "start":
            # One run needs no sum of widths: the reader's own kerning then cannot shift it.
            elements, run_boxes = _place_run(used, line[0], left, line_y)
            elements[0].set("x", f"{line_x:.0f}")
            elements[0].set("text-anchor", anchor)
            new += elements
            boxes += run_boxes
            continue
        for run in line:
            elements, run_boxes = _place_run(used, run, left, line_y)
            new += elements
            boxes += run_boxes
            left += _run_width(run)
    for offset, element in enumerate(new):
        parent.insert(index + offset, element)
    return boxes


def _trimmed(line: list[_Run]) -> list[_Run]:
    kept = [run for run in line if run.text]
    for word, music in pairwise(kept):  # "Andante" and a metronome mark are two words
        if music.music and not word.music and "\uec00" <= music.text[0] <= "\uecff" and not word.text.endswith(" "):
            word.text += "\u00a0\u00a0"
    if kept:
        kept[0].text = kept[0].text.lstrip()
        kept[-1].text = kept[-1].text.rstrip()
    return [run for run in kept if run.text]


def _runs(
    node: Any, kinds: tuple[str, ...], *, size: float, weight: str | None, style: str | None, music: bool
) -> Iterator[_Run]:
    size = float((node.get("font-size") or f"{size}").removesuffix("px")) or size
    weight = node.get("font-weight") or weight
    style = node.get("font-style") or style
    family = node.get("font-family")
    music = music if family is None else family in ("Leipzig", "Bravura", "VerovioText")
    break_to = None
    if node.tag == _TSPAN and node.get("y") is not None:
        break_to = (float(node.get("x", 0)), float(node.get("y", 0)))
    if break_to is not None:
        yield _Run("", size, Face(), False, break_to)
    if node.text and node.text.strip("\n\r\t") and (len(node) == 0 or node.text.strip()):
        yield from _split_music(node.text, size, _face(kinds, weight, style), music)
    for child in node:
        if child.tag != _TSPAN:
            continue
        yield from _runs(child, kinds, size=size, weight=weight, style=style, music=music)


def _face(kinds: tuple[str, ...], weight: str | None, style: str | None) -> Face:
    found = set(kinds)
    bold = (weight == "bold") if weight else bool(found & _BOLD)
    italic = (style in ("italic", "oblique")) if style else bool(found & _ITALIC)
    return Face(SERIF, bold, italic)


_TEXT_SIGNS = {"♯": "E262", "♭": "E260", "♮": "E261", "\U0001d12a": "E263", "\U0001d12b": "E264"}


def _split_music(text: str, size: float, face: Face, music: bool) -> Iterator[_Run]:
    for part in re.split("([\ue000-\uf8ff♯♭♮\U0001d12a\U0001d12b]+)", text):
        if not part:
            continue
        if music or "\ue000" <= part[0] <= "\uf8ff":
            yield _Run(part, size, face, True)
        elif part[0] in _TEXT_SIGNS:
            yield _Run("".join(chr(int(_TEXT_SIGNS[s], 16)) for s in part), size * 1.25, face, True)
        else:
            known = "".join(sign if has_sign(sign, face) else "\ufffd" if not sign.isspace() else " " for sign in part)
            yield _Run(known, size, face, False)


def _run_width(run: _Run) -> float:
    if not run.music:
        return text_width(run.text, run.size, run.face)
    total = 0.0
    for sign in run.text:
        shape = glyph(f"{ord(sign):04X}")
        total += (shape.advance if shape else 250.0) * run.size / 1000
    return total


def _place_run(used: Used, run: _Run, left: float, y: float) -> tuple[list[Any], list[Box]]:
    if not run.music:
        element = etree.Element(_TEXT)
        element.set("x", f"{left:.0f}")
        element.set("y", f"{y:.0f}")
        element.set("font-size", f"{run.size:.0f}")
        element.set("font-family", run.face.family)
        if run.face.bold:
            element.set("font-weight", "700")
        if run.face.italic:
            element.set("font-style", "italic")
        element.set("{http://www.w3.org/XML/1998/namespace}space", "preserve")
        element.text = run.text
        used.texts.setdefault(run.face, set()).update(run.text)
        top, bottom = text_extent(run.text, run.size)
        return [element], [Box(left, y - top, left + text_width(run.text, run.size, run.face), y + bottom)]
    elements, boxes = [], []
    for sign in run.text:
        code = f"{ord(sign):04X}"
        shape = glyph(code)
        if shape is None:
            continue
        scale = run.size / 1000
        element = etree.Element(_USE)
        element.set("href", f"#sign-{code}")
        element.set("transform", f"translate({left:.0f},{y:.0f}) scale({scale:.4g})")
        used.glyphs.add(code)
        elements.append(element)
        boxes.append(
            Box(left + shape.left * scale, y - shape.high * scale, left + shape.right * scale, y - shape.low * scale)
        )
        left += shape.advance * scale
    return elements, boxes


_DESCENDERS = frozenset("gjpqyQJ,;()[]{}|/ßſfƒçş")


def text_extent(text: str, size: float) -> tuple[float, float]:
    """How far a line of text reaches above and below its baseline (figures and capitals 0.67 em, tails 0.24 em)."""
    low = all(sign in "acemnorsuvwxz.,–-—·" for sign in text)
    return (0.49 if low else 0.74) * size, (0.24 if any(s in _DESCENDERS for s in text) else 0.015) * size
