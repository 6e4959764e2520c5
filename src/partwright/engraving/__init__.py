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
from partwright.engraving.kept_lines import KeptLine, KeptLines, LineMarks, draw_lines
from partwright.engraving.legend import string_letters
from partwright.engraving.lettering import Used, letter
from partwright.engraving.paper import A4, GREY, INK, LETTER, PAPER, PageSize, page_size
from partwright.engraving.pdf import DocumentFacts, pages_pdf, svg_png
from partwright.engraving.placing import PlacedSystem
from partwright.engraving.prompter import prompter_html
from partwright.engraving.sheet import (
    Heading,
    engrave_excerpt_svg,
    engrave_part_pdf,
    engrave_part_svg,
    heading_from,
    svg_document,
)
from partwright.engraving.signs import glyph_definition, sign
from partwright.engraving.slips import SlipRow, errata_slip_pdf, stamp_page_pdf
from partwright.engraving.strips import LEAST_SIGN_MM, Strip, engrave_strip
from partwright.engraving.typefaces import CAP_HEIGHT, SANS, SERIF, Face, font_files, text_width
from partwright.engraving.worker import EngravingProcess, Limits

__all__ = [
    "A4",
    "CAP_HEIGHT",
    "GREY",
    "INK",
    "LEAST_SIGN_MM",
    "LETTER",
    "PAPER",
    "SANS",
    "SERIF",
    "ChartHand",
    "ChartStop",
    "DocumentFacts",
    "EngravingProcess",
    "Face",
    "Heading",
    "KeptLine",
    "KeptLines",
    "Limits",
    "LineMarks",
    "PageSize",
    "PlacedSystem",
    "SlipRow",
    "Strip",
    "Used",
    "booklet_pdf",
    "chart_scale",
    "charts_pdf",
    "charts_svg",
    "draw_lines",
    "engrave_excerpt_svg",
    "engrave_part_pdf",
    "engrave_part_svg",
    "engrave_strip",
    "errata_slip_pdf",
    "fingerboard_chart_svg",
    "font_files",
    "glyph_definition",
    "hand_at",
    "hands_of_plan",
    "heading_from",
    "letter",
    "note_name",
    "page_size",
    "pages_pdf",
    "prompter_html",
    "sign",
    "stamp_page_pdf",
    "string_letters",
    "svg_document",
    "svg_png",
    "text_width",
]
