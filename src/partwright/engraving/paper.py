"""Paper, ink and margins: the one look every page has. Units: mm for paper, hundredths of a millimetre inside SVG."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["A4", "GREY", "INK", "LETTER", "PAPER", "PageSize", "page_size"]

INK = "#1F1D1A"
PAPER = "#FCFAF5"
GREY = "#5E5C58"
"""Ink and paper mixed about 7 : 3; 6.4 : 1 on the paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSize:
    """A sheet and its margins, in mm."""

    name: str
    width_mm: float
    height_mm: float
    side_mm: float = 16.0
    top_mm: float = 14.0
    bottom_mm: float = 12.0


A4 = PageSize(name="A4", width_mm=210.0, height_mm=297.0)  # ISO 216
LETTER = PageSize(name="Letter", width_mm=215.9, height_mm=279.4)  # ANSI A: 8.5 × 11 in


def page_size(name: str) -> PageSize:
    """A4 or Letter by name, in any spelling a user would try. Raises InputError otherwise."""
    from partwright.errors import InputError

    key = name.casefold().replace(" ", "").replace("-", "")
    if key == "a4":
        return A4
    if key in ("letter", "usletter"):
        return LETTER
    raise InputError(f'there is no page size "{name}"', "Use A4 or Letter.")
