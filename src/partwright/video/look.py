"""Sizes, places and colours of the picture. Every format is laid out anew; nothing is cropped.

Units: pixels, from the upper left corner; all edges are even, as colour is stored at half the resolution. Lettering is
at least 3 % of the picture's shorter side high: a phone shows that side 60 to 70 mm wide, whichever way it is held.
Contrast: WCAG 2.2, relative luminance and contrast ratio (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from partwright.engraving import CAP_HEIGHT, GREY, INK, LEAST_SIGN_MM

__all__ = ["ACCENT", "FORMATS", "LEAST_GLYPH", "Layout", "Rect", "contrast_ratio", "picture_format"]

ACCENT = "#0F5A8A"
"""What is now sounding."""
COLOURS = (INK, GREY, ACCENT)
LEAST_GLYPH = 0.03
"""Least height of lettering as a part of the picture's shorter side."""
_BASE = 1080
_TEXT = 52.0  # size of the lettering for a shorter side of 1080: capitals of 34 pixels
_PX_PER_MM = 18.2  # of engraved music, for the same


@dataclass(frozen=True, slots=True)
class Rect:
    """A part of the picture."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One format of the picture and where everything stands in it."""

    name: str
    words: str
    width: int
    height: int
    title: Rect
    staff: Rect
    board: Rect
    hand: Rect
    bow: Rect

    @property
    def shorter(self) -> int:
        return min(self.width, self.height)

    @property
    def unit(self) -> float:
        """Pixels for one pixel of a picture whose shorter side is 1080."""
        return self.shorter / _BASE

    @property
    def text_size(self) -> float:
        """Size of all lettering, in pixels to the em."""
        return _TEXT * self.unit

    @property
    def px_per_mm(self) -> float:
        """Scale of the engraved music."""
        return _PX_PER_MM * self.unit

    @property
    def least_glyph_px(self) -> float:
        """Height of the smallest lettering anywhere in the picture: of our own, and of the engraved music."""
        return min(self.text_size * CAP_HEIGHT * 0.985, self.px_per_mm * LEAST_SIGN_MM)  # Source Sans is a bit lower


def _layout(name: str, words: str, width: int, height: int, **places: tuple[int, int, int, int]) -> Layout:
    scale = min(width, height) / _BASE

    def rect(x: int, y: int, right: int, bottom: int) -> Rect:
        left, top, far, low = (2 * round(v * scale / 2) for v in (x, y, right, bottom))
        return Rect(left, top, far - left, low - top)

    return Layout(
        name=name, words=words, width=width, height=height, **{key: rect(*place) for key, place in places.items()}
    )


_WIDE: Mapping[str, tuple[int, int, int, int]] = {
    "title": (56, 28, 1864, 108),
    "staff": (452, 120, 1896, 728),
    "board": (40, 120, 436, 1056),
    "hand": (476, 736, 1880, 868),
    "bow": (476, 876, 1880, 1056),
}
_SQUARE: Mapping[str, tuple[int, int, int, int]] = {
    "title": (40, 12, 1040, 84),
    "staff": (16, 88, 1064, 624),
    "board": (24, 632, 404, 1068),
    "hand": (428, 640, 1060, 836),
    "bow": (428, 860, 1060, 1060),
}
_UPRIGHT: Mapping[str, tuple[int, int, int, int]] = {
    "title": (40, 72, 1040, 148),
    "staff": (16, 168, 1064, 828),
    "board": (40, 868, 460, 1780),
    "hand": (500, 880, 1056, 1140),
    "bow": (500, 1200, 1056, 1420),
}

FORMATS: Mapping[str, Layout] = {
    layout.name: layout
    for layout in (
        _layout("wide", "1920 × 1080", 1920, 1080, **_WIDE),
        _layout("wide-2160", "3840 × 2160", 3840, 2160, **_WIDE),
        _layout("wide-720", "1280 × 720", 1280, 720, **_WIDE),
        _layout("square", "1080 × 1080", 1080, 1080, **_SQUARE),
        _layout("upright", "1080 × 1920", 1080, 1920, **_UPRIGHT),
    )
}
"""The formats by name."""


def picture_format(name: str) -> Layout:
    """The format with this name. Raises InputError for an unknown one."""
    if name not in FORMATS:
        from partwright.errors import InputError
        from partwright.nearest import nearest_sentence

        raise InputError(f'there is no picture format "{name}"', nearest_sentence(name, FORMATS))
    return FORMATS[name]


def contrast_ratio(one: str, other: str) -> float:
    """Contrast of two colours written as #RRGGBB, 1 to 21, by WCAG 2.2.

    >>> round(contrast_ratio("#000000", "#FFFFFF"), 1)
    21.0
    """
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
