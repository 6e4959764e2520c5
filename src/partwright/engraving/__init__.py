"""Part, excerpt and chart as SVG, PDF and PNG: what a player puts on the stand.

>>> from partwright.engraving import A4, page_size
>>> page_size("a4") is A4
True

A part: `engrave_part_pdf(tune, marks, heading=heading_from(tune), page=A4)`.
"""

from partwright.engraving.booklet import booklet_pdf
from partwright.engraving.charts import (
    ChartHand,
    ChartStop,
    chart_scale,
    charts_pdf,
    charts_svg,
    fingerboard_chart_svg,
    hand_at,
    hands_of_plan,
    note_name,
)
from partwright.engraving.paper import A4, GREY, INK, LETTER, PAPER, PageSize, page_size
from partwright.engraving.pdf import DocumentFacts, pages_pdf, svg_png
from partwright.engraving.prompter import prompter_html
from partwright.engraving.sheet import (
    Heading,
    engrave_excerpt_svg,
    engrave_part_pdf,
    engrave_part_svg,
    heading_from,
)
from partwright.engraving.typefaces import SANS, SERIF, font_files
from partwright.engraving.worker import EngravingProcess, Limits

__all__ = [
    "A4",
    "GREY",
    "INK",
    "LETTER",
    "PAPER",
    "SANS",
    "SERIF",
    "ChartHand",
    "ChartStop",
    "DocumentFacts",
    "EngravingProcess",
    "Heading",
    "Limits",
    "PageSize",
    "booklet_pdf",
    "chart_scale",
    "charts_pdf",
    "charts_svg",
    "engrave_excerpt_svg",
    "engrave_part_pdf",
    "engrave_part_svg",
    "fingerboard_chart_svg",
    "font_files",
    "hand_at",
    "hands_of_plan",
    "heading_from",
    "note_name",
    "page_size",
    "pages_pdf",
    "prompter_html",
    "svg_png",
]
