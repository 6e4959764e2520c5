"""Single sheets that are words and no music: the line stamped on a copy, the errata slip. Units: mm, type in points."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from partwright.engraving.paper import A4, GREY, PageSize
from partwright.engraving.pdf import typeset_pdf

__all__ = ["SlipRow", "errata_slip_pdf", "stamp_page_pdf"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipRow:
    """One line of the errata slip: where, what is right, what it was mended in, when found and mended (ISO 8601)."""

    place: str
    words: str
    editions: str
    found: str
    mended: str


def stamp_page_pdf(
    line: str, *, width_mm: float, height_mm: float, from_edge_mm: float, side_mm: float, size_pt: float
) -> bytes:
    """A page of this size with nothing on it but one line at its foot, shrunk where it would not fit.

    The line is an artifact to the document's structure (ISO 32000-1, 14.8.2.2), so that laid over a tagged page it
    upsets none of its marked content.
    """
    source = f"""
#let data = json("stamp.json")
#set page(width: {width_mm:.4f}mm, height: {height_mm:.4f}mm, margin: 0mm, fill: none)
#set text(font: "Source Sans Pro", size: {size_pt}pt, fill: rgb("{GREY}"), lang: "en")
#set document(title: data.line, date: auto)
#place(bottom + center, dy: -{from_edge_mm}mm, pdf.artifact(context {{
  let room = {width_mm:.4f}mm - {2 * side_mm}mm
  let wide = measure(data.line).width
  let size = calc.min({size_pt}pt, {size_pt}pt * (room / calc.max(wide, 1pt)))
  text(size: size, data.line)
}}))
"""
    return typeset_pdf(source, {"stamp.json": json.dumps({"line": line}, ensure_ascii=False)})


def errata_slip_pdf(
    *,
    title: str,
    byline: str,
    edition: str,
    rows: Sequence[SlipRow],
    credit: Sequence[str] = (),
    page: PageSize = A4,
) -> bytes:
    """The errata slip: one page to lay into the part. Long lists are set smaller so that they stay on one page.

    Raises EngravingError where the page cannot be set.
    """
    slip = {
        "page": {"width": page.width_mm, "height": page.height_mm, "side": page.side_mm},
        "title": title,
        "byline": byline,
        "edition": edition,
        "credit": list(credit),
        "rows": [
            {"place": r.place, "words": r.words, "editions": r.editions, "found": r.found, "mended": r.mended}
            for r in rows
        ],
    }
    return typeset_pdf(_template(), {"errata.json": json.dumps(slip, ensure_ascii=False, sort_keys=True)})


@cache
def _template() -> str:
    return (resources.files("partwright.engraving") / "data" / "errata.typ").read_text(encoding="utf-8")
