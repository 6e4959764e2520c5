"""The player's signs as drawings around a note's middle: finger with thumb and guide dash, words, lines.

Units: hundredths of a millimetre, y downwards; a drawing's origin is the middle of its foot.
"""

from __future__ import annotations

from typing import NamedTuple

from partwright.engraving.lettering import Used, letter
from partwright.engraving.retype import text_extent
from partwright.engraving.signs import sign
from partwright.engraving.typefaces import CAP_HEIGHT, SANS, SERIF, Face

__all__ = ["Drawing", "finger", "player_sign", "stroke", "words"]

FINGER_SIZE = 330.0
STRING_SIZE = 290.0
HAND_SIZE = 300.0
BOW_HEIGHT = 200.0
WORDS_SIZE = 340.0
NUMBER_SIZE = 270.0
LINE_WEIGHT = 16.0
FINGER_FACE = Face(SERIF, bold=True)
STRING_FACE = Face(SERIF, italic=True)
HAND_FACE = Face(SERIF, bold=True)  # a Roman one in a sans face is a mere bar
LINE_FACE = Face(SANS)
WORDS_FACE = Face(SERIF, italic=True)
NUMBER_FACE = Face(SANS)
HARMONIC_HEIGHT = 120.0
_THUMB_RATIO = 1.4  # the thumb's sign beside a digit's height


class Drawing(NamedTuple):
    """SVG, how far it reaches to the left and to the right of the note's middle, and its height."""

    svg: str
    left: float
    right: float
    height: float


def player_sign(name: str, height: float) -> Drawing:
    """A sign drawn by this program (see `signs`)."""
    drawn = sign(name, height)
    return Drawing(drawn.svg, drawn.width / 2, drawn.width / 2, drawn.height)


def words(text: str, size: float, face: Face, used: Used) -> Drawing:
    """One line of words, centred, its tails above the foot."""
    drawn = letter(text, size, face, anchor="middle")
    used.add(drawn.used)
    above, below = text_extent(text, size)
    svg = drawn.svg if below < 10 else f'<g transform="translate(0,{-below:.0f})">{drawn.svg}</g>'
    return Drawing(svg, drawn.width / 2, drawn.width / 2, above + below)


def finger(text: str, scale: float, used: Used, *, guide: bool) -> Drawing:
    """A finger, with the thumb's sign for T and a dash before a guide finger; `scale` is less than 1 at grace notes."""
    size = FINGER_SIZE * scale
    height = size * CAP_HEIGHT
    parts: list[tuple[str, float]] = []
    for token in _tokens(text):
        if token == "T":
            thumb = sign("thumb", height * _THUMB_RATIO)
            parts.append((thumb.svg, thumb.width))
        else:
            drawn = letter(token, size, FINGER_FACE, anchor="middle")
            used.add(drawn.used)
            parts.append((drawn.svg, drawn.width))
    if "T" in text:
        height *= _THUMB_RATIO
    between = size * 0.04
    width = sum(part_width for _, part_width in parts) + max(0, len(parts) - 1) * between
    pen = -width / 2
    pieces = []
    for svg, part_width in parts:
        pieces.append(f'<g transform="translate({pen + part_width / 2:.0f},0)">{svg}</g>')
        pen += part_width + between
    if not guide:
        return Drawing("".join(pieces), width / 2, width / 2, height)
    dash, space = size * 0.3, size * 0.07
    y, start = -size * CAP_HEIGHT * 0.5, -width / 2 - space - dash
    pieces.append(
        f'<path d="M{start:.0f} {y:.0f}h{dash:.0f}" fill="none" stroke="currentColor" '
        f'stroke-width="{size * 0.075:.0f}"/>'
    )
    return Drawing("".join(pieces), width / 2 + dash + space, max(width / 2, 1.0), height)


def stroke(left: float, right: float, y: float, *, dashed: bool, hook: float) -> str:
    """A line over several notes; `hook` is the length of its end, downwards positive, 0 for none."""
    if right - left < 60:
        return ""
    pen = f'fill="none" stroke="currentColor" stroke-width="{LINE_WEIGHT:.0f}"'
    dash = ' stroke-dasharray="90 70"' if dashed else ""
    svg = f'<path d="M{left:.0f} {y:.0f}H{right:.0f}" {pen}{dash}/>'
    return svg + (f'<path d="M{right:.0f} {y:.0f}v{hook:.0f}" {pen}/>' if hook else "")


def _tokens(text: str) -> list[str]:
    """The thumb's letter apart from what stands around it.

    >>> _tokens("T–12")
    ['T', '–12']
    """
    tokens: list[str] = []
    for character in text:
        if character == "T" or not tokens or tokens[-1] == "T":
            tokens.append(character)
        else:
            tokens[-1] += character
    return tokens
