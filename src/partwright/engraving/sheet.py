"""A part as pages: title block, systems, legend, rights, running footer; each page one self-contained SVG.

Units: mm in page sizes, hundredths of a millimetre inside. The printed page has no background; the one for the
screen is paper-coloured and carries the few letters it needs of our faces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partwright.engraving.legend import marks_legend, string_letters
from partwright.engraving.lettering import Used, letter, wrap
from partwright.engraving.music import EngravedMusic, engrave_music
from partwright.engraving.pagination import LEAST_GAP, NATURAL_GAP, WIDEST_GAP, LineBox, paginate, space_out
from partwright.engraving.paper import A4, GREY, INK, PAPER, PageSize
from partwright.engraving.pdf import DocumentFacts, pages_pdf
from partwright.engraving.placing import PlacedSystem
from partwright.engraving.signs import glyph_definition
from partwright.engraving.typefaces import SANS, SERIF, Face, font_face_css
from partwright.engraving.worker import EngravingProcess

if TYPE_CHECKING:
    from partwright.instrument import Instrument
    from partwright.score import Mark, Tune

__all__ = [
    "Heading",
    "engrave_excerpt_svg",
    "engrave_part_pdf",
    "engrave_part_svg",
    "heading_from",
    "part_pages",
    "sheet_footer",
    "sheet_head",
    "svg_document",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above and below the music."""

    title: str
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    lyricist: str = ""
    instrument: str = ""  # "Cello"
    level: str = ""  # "intermediate"
    rights: tuple[str, ...] = ()
    legend: tuple[str, ...] = ()  # sentences on the marks used, beyond those that follow from the marks


def heading_from(tune: Tune, *, instrument: str = "", level: str = "") -> Heading:
    """The heading the source itself gives; the file's name where it has no title."""
    found = tune.part.credits
    return Heading(
        title=found.title or tune.source.stem,
        subtitle=found.subtitle,
        composer=found.composer,
        arranger=found.arranger,
        lyricist=found.lyricist,
        instrument=instrument or tune.part.name,
        level=level,
        rights=found.rights,
    )


TITLE_SIZE, SUBTITLE_SIZE, NAMES_SIZE, LABEL_SIZE, SMALL_SIZE = 810.0, 466.0, 388.0, 340.0, 290.0
_TITLE = Face(SERIF, bold=True)
_PLAIN = Face(SERIF)
_ITALIC = Face(SERIF, italic=True)
_LABEL = Face(SANS)
_LABEL_BOLD = Face(SANS, bold=True)


@dataclass(frozen=True, slots=True)
class _Block:
    """Some drawn lines and the height they take."""

    svg: str
    height: float
    used: Used


def engrave_part_svg(
    tune: Tune,
    marks: Sequence[Mark] = (),
    *,
    heading: Heading,
    page: PageSize = A4,
    instrument: Instrument | None = None,
    staff_size: float = 1.0,
    process: EngravingProcess | None = None,
) -> tuple[str, ...]:
    """The part as one SVG per page, for the screen. Same input, same bytes. Raises EngravingError."""
    return _pages(tune, marks, heading, page, instrument, staff_size, process, screen=True)


def engrave_part_pdf(
    tune: Tune,
    marks: Sequence[Mark] = (),
    *,
    heading: Heading,
    page: PageSize = A4,
    instrument: Instrument | None = None,
    staff_size: float = 1.0,
    process: EngravingProcess | None = None,
) -> bytes:
    """The part as a PDF/A-2b to print: the same pages without the paper's colour. Raises EngravingError."""
    pages = _pages(tune, marks, heading, page, instrument, staff_size, process, screen=False)
    authors = tuple(name for name in (heading.composer, heading.arranger) if name)
    words = tuple(f"{heading.title}, page {number} of {len(pages)}: music" for number in range(1, len(pages) + 1))
    facts = DocumentFacts(title=heading.title, authors=authors, page_words=words)
    return pages_pdf(pages, width_mm=page.width_mm, height_mm=page.height_mm, facts=facts)


def part_pages(
    tune: Tune,
    marks: Sequence[Mark] = (),
    *,
    heading: Heading,
    page: PageSize = A4,
    instrument: Instrument | None = None,
    process: EngravingProcess | None = None,
) -> tuple[str, ...]:
    """The printed pages without footers, for a document that numbers its own pages. Raises EngravingError."""
    return _pages(tune, marks, heading, page, instrument, 1.0, process, screen=False, footers=False)


def engrave_excerpt_svg(
    tune: Tune,
    marks: Sequence[Mark] = (),
    *,
    first_bar_index: int,
    last_bar_index: int,
    width_mm: float,
    instrument: Instrument | None = None,
    staff_size: float = 1.0,
    screen: bool = True,
    process: EngravingProcess | None = None,
) -> str:
    """Some bars as one SVG just as high as they need; for booklets, drills, lessons and the studio.

    Bars are counted from 0, both included. `screen` embeds the letters used; a document engine that is given our
    font files does without. Raises EngravingError.
    """
    width = width_mm * 100
    music = engrave_music(
        tune,
        marks,
        width=width,
        string_letters=string_letters(instrument),
        bars=(first_bar_index, last_bar_index),
        staff_size=staff_size,
        process=process,
    )
    used, pieces, top = Used(), [], 30.0
    right = width
    for system in music.systems:
        pieces.append(_system_svg(system, 0.0, top - system.box.top))
        used.add(system.used)
        top += system.box.bottom - system.box.top + 420.0
        right = max(right, system.box.right)
    height = top - 420.0 + 30.0
    return svg_document("".join(pieces), right, height, used, title="", screen=screen, paper=False)


def _pages(
    tune: Tune,
    marks: Sequence[Mark],
    heading: Heading,
    page: PageSize,
    instrument: Instrument | None,
    staff_size: float,
    process: EngravingProcess | None,
    *,
    screen: bool,
    footers: bool = True,
) -> tuple[str, ...]:
    width = (page.width_mm - 2 * page.side_mm) * 100
    head = sheet_head(heading, width)
    foot = _foot(heading, (*marks_legend(marks, instrument), *heading.legend), width)
    full = (page.height_mm - page.top_mm - page.bottom_mm) * 100 - FOOTER
    running = 620.0
    first_room = full - head.height - foot.height

    def lay_out(size: float) -> tuple[EngravedMusic, list[LineBox], tuple[tuple[int, int], ...]]:
        made = engrave_music(
            tune,
            marks,
            width=width,
            string_letters=string_letters(instrument),
            staff_size=size,
            for_print=True,
            process=process,
        )
        boxes = [_line_box(system, made) for system in made.systems]
        return made, boxes, paginate(boxes, first_room, full - running)

    music, lines, ranges = lay_out(staff_size)
    if len(ranges) > 1 and _fill(lines[ranges[-1][0] :], full - running) < _THIN_LAST_PAGE:
        needed = sum(line.height + LEAST_GAP for line in lines)
        room = first_room + (len(ranges) - 2) * (full - running)
        # A smaller staff takes fewer and lower lines; about the square of its size says whether trying is worth it.
        for smaller in [size for size in _SMALLER if needed * size * size < room * 1.04][:2]:
            other = lay_out(staff_size * smaller)
            if len(other[2]) < len(ranges):
                music, lines, ranges = other
                break
    total = len(ranges)
    left, top = page.side_mm * 100, page.top_mm * 100
    pages = []
    gap = (NATURAL_GAP + WIDEST_GAP) / 2
    for number, (first, end) in enumerate(ranges, 1):
        used = Used()
        parts = []
        start = top + (head.height if number == 1 else running)
        if number == 1:
            parts.append(f'<g transform="translate({left:.0f},{top:.0f})">{head.svg}</g>')
            used.add(head.used)
            below = top + full - foot.height
            parts.append(f'<g transform="translate({left:.0f},{below:.0f})">{foot.svg}</g>')
            used.add(foot.used)
        systems = music.systems[first:end]
        room = first_room if number == 1 else full - running
        heights = [line.height for line in lines[first:end]]
        tops = space_out(heights, room, widest=min(gap, WIDEST_GAP) if number == total else WIDEST_GAP)
        if len(tops) > 1:
            gap = tops[1] - heights[0]
        for system, offset in zip(systems, tops, strict=True):
            parts.append(_system_svg(system, left, start + offset - system.box.top))
            used.add(system.used)
        if footers:
            footer = sheet_footer(heading, width, number, total)
            parts.append(f'<g transform="translate({left:.0f},{top + full + FOOTER:.0f})">{footer.svg}</g>')
            used.add(footer.used)
        title = f"{heading.title}, page {number} of {total}"
        pages.append(
            svg_document(
                "".join(parts),
                page.width_mm * 100,
                page.height_mm * 100,
                used,
                title=title,
                screen=screen,
                paper=screen,
            )
        )
    return tuple(pages)


FOOTER = 700.0
_THIN_LAST_PAGE = 0.45
_SMALLER = (0.96, 0.92, 0.88)
"""Staff sizes tried when a slightly smaller one saves a page that would be nearly empty (7.2 mm down to 6.3 mm)."""


def _fill(lines: Sequence[LineBox], room: float) -> float:
    return sum(line.height for line in lines) / room


def _line_box(system: PlacedSystem, music: EngravedMusic) -> LineBox:
    rests = music.copy.rest_edges
    start = rests.get(system.measure_ids[0], (False, False))[0] if system.measure_ids else False
    end = rests.get(system.measure_ids[-1], (False, False))[1] if system.measure_ids else False
    return LineBox(system.box.bottom - system.box.top, start, end)


def _system_svg(system: PlacedSystem, x: float, y: float) -> str:
    return f'<g transform="translate({x:.0f},{y:.0f})">{system.svg}</g>'


def sheet_head(heading: Heading, width: float) -> _Block:
    """Title block: title and subtitle in the middle, the player's line on the left, names on the right."""
    used, pieces = Used(), []
    y = 0.0
    for line in wrap(heading.title, TITLE_SIZE, width, _TITLE) or ("",):
        y += TITLE_SIZE * 1.02
        drawn = letter(line, TITLE_SIZE, _TITLE, x=width / 2, y=y, anchor="middle")
        pieces.append(drawn.svg)
        used.add(drawn.used)
    if heading.subtitle:
        y += 120
        for line in wrap(heading.subtitle, SUBTITLE_SIZE, width, _ITALIC):
            y += SUBTITLE_SIZE * 1.15
            drawn = letter(line, SUBTITLE_SIZE, _ITALIC, x=width / 2, y=y, anchor="middle")
            pieces.append(drawn.svg)
            used.add(drawn.used)
    y += 180
    left_lines = [(part, face) for part, face in ((heading.instrument, _LABEL_BOLD), (heading.level, _LABEL)) if part]
    right_lines = [
        *([heading.composer] if heading.composer else []),
        *([f"arr. {heading.arranger}"] if heading.arranger else []),
        *([f"words: {heading.lyricist}"] if heading.lyricist else []),
    ]
    step = NAMES_SIZE * 1.28
    right_lines = [piece for text in right_lines for piece in wrap(text, NAMES_SIZE, width * 0.6, _PLAIN)]
    rows = max(len(right_lines), 1 if left_lines else 0)
    for row, text in enumerate(right_lines):
        drawn = letter(text, NAMES_SIZE, _PLAIN, x=width, y=y + step * (row + 1), anchor="end")
        pieces.append(drawn.svg)
        used.add(drawn.used)
    pen = 0.0
    for text, face in left_lines:
        drawn = letter(text, LABEL_SIZE, face, x=pen, y=y + step * max(rows, 1))
        pieces.append(drawn.svg)
        used.add(drawn.used)
        pen += drawn.width + LABEL_SIZE * 0.6
    y += step * rows
    return _Block("".join(pieces), y + 480, used)


def _foot(heading: Heading, legend: Sequence[str], width: float) -> _Block:
    """Legend and rights, at the bottom of the first page."""
    used, pieces = Used(), []
    lines = [
        *(piece for text in (" ".join(legend),) if text for piece in wrap(text, SMALL_SIZE, width, _LABEL)),
        *(piece for text in heading.rights for piece in wrap(text, SMALL_SIZE, width, _LABEL)),
    ]
    if not lines:
        return _Block("", 0.0, used)
    step = SMALL_SIZE * 1.35
    y = 260.0
    for line in lines:
        y += step
        drawn = letter(line, SMALL_SIZE, _LABEL, y=y, fill=GREY)
        pieces.append(drawn.svg)
        used.add(drawn.used)
    return _Block("".join(pieces), y + 60, used)


def sheet_footer(heading: Heading, width: float, number: int, total: int) -> _Block:
    """The line at the foot of a page: title, instrument and level on the left (cut where too long), page on the right.

    `width` in hundredths of a mm; page `number` (from 1) of `total`.
    """
    used = Used()
    who = " · ".join(part for part in (heading.title, heading.instrument, heading.level) if part)
    if len(wrap(who, SMALL_SIZE, width - 1600, _LABEL)) > 1:
        who = wrap(who, SMALL_SIZE, width - 1700, _LABEL)[0] + " …"
    left = letter(who, SMALL_SIZE, _LABEL, fill=GREY)
    right = letter(f"{number} / {total}", SMALL_SIZE, _LABEL, x=width, anchor="end", fill=GREY)
    used.add(left.used)
    used.add(right.used)
    rule = f'<path d="M0 {-SMALL_SIZE * 1.25:.0f}H{width:.0f}" stroke="{GREY}" stroke-width="8" fill="none"/>'
    return _Block(rule + left.svg + right.svg, SMALL_SIZE, used)


def svg_document(
    content: str, width: float, height: float, used: Used, *, title: str, screen: bool, paper: bool
) -> str:
    """One SVG around drawn content, with the glyphs it uses; for the screen also the letters."""
    from xml.sax.saxutils import escape

    definitions = "".join(glyph_definition(code) for code in sorted(used.glyphs))
    css = font_face_css({face: "".join(sorted(signs)) for face, signs in used.texts.items()}) if screen else ""
    style = f"<style>{css}</style>" if css else ""
    sheet = f'<rect width="{width:.0f}" height="{height:.0f}" fill="{PAPER}"/>' if paper else ""
    named = f"<title>{escape(title)}</title>" if title else ""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'width="{width / 100:.2f}mm" height="{height / 100:.2f}mm" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'fill="{INK}" color="{INK}">{named}{style}<defs>{definitions}</defs>{sheet}{content}</svg>\n'
    )
