"""Signs as outlines: the engraver's own music font, and the few it lacks, drawn here.

Units: outlines in font units (1000 = four staff spaces, y upwards as in SMuFL); `draw_*` results in the page's
units with y downwards. Source of the shapes: glyphs by SMuFL code point from the engraving library's data folder;
thumb sign, harmonic circle and bow signs drawn here from simple shapes, as printed (common practice, no source).
"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple
from xml.etree import ElementTree

from partwright.engraving.typefaces import library_data

__all__ = ["Glyph", "Sign", "glyph", "glyph_definition", "sign"]

MUSIC_FONTS = ("Leipzig", "Bravura")
"""The music font and where to look for what it lacks."""


class Glyph(NamedTuple):
    """One outline: path data, bounding box (left, low, right, high) and advance, in font units, y upwards."""

    path: str
    left: float
    low: float
    right: float
    high: float
    advance: float


class Sign(NamedTuple):
    """A sign drawn here: SVG content around the origin (centre of its foot), and its size in page units."""

    svg: str
    width: float
    height: float


@cache
def _boxes(font: str) -> dict[str, tuple[float, float, float, float, float]]:
    root = ElementTree.parse(library_data() / f"{font}.xml").getroot()
    boxes = {}
    for row in root.iter("g"):
        left, low = float(row.get("x", 0)), float(row.get("y", 0))
        boxes[row.get("c", "")] = (
            left,
            low,
            left + float(row.get("w", 0)),
            low + float(row.get("h", 0)),
            float(row.get("h-a-x", 0)),
        )
    return boxes


@cache
def glyph(code: str) -> Glyph | None:
    """The outline of a SMuFL code point given in upper-case hex ("E262"); None when no music font here has it."""
    if not re.fullmatch(r"[0-9A-F]{4,5}", code):
        return None
    for font in MUSIC_FONTS:
        file = library_data() / font / f"{code}.xml"
        box = _boxes(font).get(code)
        if box is not None and file.exists():
            path = ElementTree.parse(file).getroot().find(".//path")
            return Glyph(path.get("d", "") if path is not None else "", *box)
    return None


def glyph_definition(code: str) -> str:
    """The `<g>` that a page's `<use href="#sign-CODE">` refers to; empty for an unknown code."""
    shape = glyph(code)
    if shape is None:
        return ""
    return f'<g id="sign-{code}"><path transform="scale(1,-1)" d="{shape.path}"/></g>'


def use_glyph(code: str, x: float, y: float, scale: float) -> str:
    """SVG that puts a glyph's origin at (x, y); `scale` is page units per font unit."""
    return f'<use href="#sign-{code}" transform="translate({x:.0f},{y:.0f}) scale({scale:.4g})"/>'


def sign(name: str, height: float) -> Sign:
    """One of the player's signs, `height` page units high: thumb, harmonic, down-bow, up-bow.

    Raises KeyError for another name.
    """
    return _SIGNS[name](height)


def _thumb(height: float) -> Sign:
    # A small upright oval with a short tick beneath.
    stroke = height * 0.085
    ry, rx = height * 0.32 - stroke / 2, height * 0.235
    centre = -height + ry + stroke / 2
    foot = centre + ry
    svg = (
        f'<ellipse cx="0" cy="{centre:.0f}" rx="{rx:.0f}" ry="{ry:.0f}" fill="none" stroke="currentColor" '
        f'stroke-width="{stroke:.0f}"/>'
        f'<path d="M0 {foot:.0f}V0" fill="none" stroke="currentColor" stroke-width="{stroke * 1.25:.0f}"/>'
    )
    return Sign(svg, 2 * rx + stroke, height)


def _harmonic(height: float) -> Sign:
    stroke = height * 0.15
    radius = (height - stroke) / 2
    svg = (
        f'<circle cx="0" cy="{-height / 2:.0f}" r="{radius:.0f}" fill="none" stroke="currentColor" '
        f'stroke-width="{stroke:.0f}"/>'
    )
    return Sign(svg, height, height)


def _down_bow(height: float) -> Sign:
    width, stroke = height * 1.15, height * 0.12
    half = width / 2 - stroke / 2
    svg = (
        f'<path d="M{-half:.0f} 0V{-height:.0f}M{half:.0f} 0V{-height:.0f}" fill="none" stroke="currentColor" '
        f'stroke-width="{stroke:.0f}"/>'
        f'<path d="M{-width / 2:.0f} {-height:.0f}H{width / 2:.0f}V{-height * 0.55:.0f}H{-width / 2:.0f}Z"/>'
    )
    return Sign(svg, width, height)


def _up_bow(height: float) -> Sign:
    half, stroke = height * 0.36, height * 0.11
    svg = (
        f'<path d="M{-half:.0f} {-height:.0f}L0 {-stroke:.0f}L{half:.0f} {-height:.0f}" fill="none" '
        f'stroke="currentColor" stroke-width="{stroke:.0f}" stroke-linejoin="miter"/>'
    )
    return Sign(svg, 2 * half + stroke, height)


_SIGNS = {"thumb": _thumb, "harmonic": _harmonic, "down-bow": _down_bow, "up-bow": _up_bow}
