"""Lines of text as SVG: placed by our own measure of the face, with ♯ ♭ ♮ as outlines (the text faces lack them).

Units: the page's own (hundredths of a millimetre); y is the baseline.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape

from partwright.engraving.signs import glyph, use_glyph
from partwright.engraving.typefaces import CAP_HEIGHT, SERIF, Face, has_sign, text_width

__all__ = ["Lettering", "Used", "letter", "wrap"]

Anchor = Literal["start", "middle", "end"]

_ACCIDENTALS = {"♯": "E262", "♭": "E260", "♮": "E261"}
_CONTROL = re.compile("[\x00-\x1f\x7f\ufffe\uffff]")


@dataclass(slots=True)
class Used:
    """Which signs of which faces and which glyphs a drawing uses, so that a page can carry just those."""

    texts: dict[Face, set[str]] = field(default_factory=dict)
    glyphs: set[str] = field(default_factory=set)

    def add(self, other: Used) -> None:
        """Take in what another drawing uses."""
        for face, signs in other.texts.items():
            self.texts.setdefault(face, set()).update(signs)
        self.glyphs |= other.glyphs


@dataclass(frozen=True, slots=True)
class Lettering:
    """One line of text drawn at the origin's baseline: SVG, where it begins, how wide it is."""

    svg: str
    left: float
    width: float
    used: Used


def letter(
    text: str,
    size: float,
    face: Face = Face(SERIF),  # noqa: B008 (a frozen value)
    *,
    x: float = 0.0,
    y: float = 0.0,
    anchor: Anchor = "start",
    fill: str | None = None,
    spacing: float = 0.0,
) -> Lettering:
    """Draw one line. `spacing` is added between letters (small capitals); an unknown sign becomes a box, it
    never vanishes."""
    used = Used()
    runs = [part for part in re.split("([♯♭♮]+)", _CONTROL.sub("", text)) if part]
    total = sum(_width(run, size, face, spacing) for run in runs)
    left = x - (total if anchor == "end" else total / 2 if anchor == "middle" else 0.0)
    pieces = []
    pen = left
    # One run alone is anchored, so that the reader's own kerning cannot shift it; several are laid end to end.
    alone = len(runs) == 1 and runs[0][0] not in _ACCIDENTALS and anchor != "start"
    for run in runs:
        if run[0] in _ACCIDENTALS:
            for sign in run:
                code = _ACCIDENTALS[sign]
                shape = glyph(code)
                scale = size * _ACCIDENTAL_SCALE / 1000
                pieces.append(use_glyph(code, pen + size * 0.06, y - size * CAP_HEIGHT * 0.46, scale))
                used.glyphs.add(code)
                pen += (shape.advance if shape else 250) * scale + size * 0.08
            continue
        shown = "".join(s if has_sign(s, face) else "\ufffd" for s in run)
        used.texts.setdefault(face, set()).update(shown)
        weight = ' font-weight="700"' if face.bold else ""
        style = ' font-style="italic"' if face.italic else ""
        hold = f' text-anchor="{anchor}"' if alone else ""
        space = f' letter-spacing="{spacing:.0f}"' if spacing else ""
        place = x if alone else pen
        pieces.append(
            f'<text x="{place:.0f}" y="{y:.0f}" font-family="{face.family}" font-size="{size:.0f}"'
            f'{weight}{style}{space}{hold} xml:space="preserve">{escape(shown)}</text>'
        )
        pen += _width(run, size, face, spacing)
    svg = "".join(pieces)
    if fill is not None:
        svg = f'<g fill="{fill}" color="{fill}">{svg}</g>'
    return Lettering(svg, left, total, used)


_ACCIDENTAL_SCALE = 1.15


def _width(run: str, size: float, face: Face, spacing: float) -> float:
    if run[0] in _ACCIDENTALS:
        total = 0.0
        for sign in run:
            shape = glyph(_ACCIDENTALS[sign])
            total += (shape.advance if shape else 250) * size * _ACCIDENTAL_SCALE / 1000 + size * 0.08
        return total
    return text_width(run, size, face) + spacing * len(run)


def line_width(text: str, size: float, face: Face = Face(SERIF)) -> float:  # noqa: B008 (a frozen value)
    """Width of one line as `letter` would draw it."""
    return letter(text, size, face).width


def wrap(text: str, size: float, width: float, face: Face = Face(SERIF)) -> tuple[str, ...]:  # noqa: B008
    """Break a text into lines no wider than `width`; a single word that is wider is cut.

    >>> wrap("one two", 100.0, 200.0)
    ('one', 'two')
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line_width(longer, size, face) <= width or not line:
            line = longer
        else:
            lines.append(line)
            line = word
        while line_width(line, size, face) > width and len(line) > 1:
            cut = len(line)
            while cut > 1 and line_width(line[:cut], size, face) > width:
                cut -= 1
            lines.append(line[:cut])
            line = line[cut:]
    if line:
        lines.append(line)
    return tuple(lines)
