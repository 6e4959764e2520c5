"""The booklet: the lesson on paper, from cover to whole part, one PDF for each size of paper.

Units: mm on paper. What it says is made in `booklet_content`; here it is drawn and handed to the document engine with
`data/booklet.typ`, which knows the look and nothing of music.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from partwright.engraving.booklet_content import (
    DifferenceBlock,
    DrillBlock,
    PhraseBlock,
    SectionContent,
    SpotContent,
    before_you_play,
    learn_facts,
    learn_points,
    section_contents,
    spot_contents,
)
from partwright.engraving.charts import fingerboard_chart_svg, hands_of_plan
from partwright.engraving.paper import A4, PageSize
from partwright.engraving.pdf import typeset_pdf
from partwright.engraving.sheet import Heading, engrave_excerpt_svg, part_pages
from partwright.lesson import Teaching, bars_printed, count_words, drill_marks, listed, plan_drill, warm_up_drills

if TYPE_CHECKING:
    from partwright.engraving.worker import EngravingProcess
    from partwright.lesson import Drill, PlannedDrill, TaughtSection
    from partwright.score import Mark, Tune

__all__ = ["booklet_pdf"]

SIDE_MM = 22.0
_INDENT_MM = 4.2  # of a group behind its hairline
_MUSIC_SIZE = 0.86
_SMALL_SIZE = 0.78
_CHART_ROOM_MM = 38.0
_CHART_GAP_MM = 7.0
_CHART_SHRINK = 0.86  # how small a chart may become so that one more stands beside it
_SVG_WIDTH = re.compile(r'<svg [^>]*?width="([0-9.]+)mm"')


def booklet_pdf(
    teaching: Teaching,
    tune: Tune,
    marks: Sequence[Mark],
    *,
    heading: Heading,
    page: PageSize = A4,
    drills: Sequence[PlannedDrill] = (),
    process: EngravingProcess | None = None,
) -> bytes:
    """The booklet of a planned lesson as PDF/A-2b. `tune` and `marks` are those of the printed part; `drills` are the
    lesson's, where they have been planned already. Same input, same bytes. Raises EngravingError."""
    drawn = _Drawn(teaching, tune, marks, page, {planned.drill.id: planned for planned in drills}, process)
    book = {
        "language": "en",
        "page": {"width": page.width_mm, "height": page.height_mm, "side": SIDE_MM, "part_side": page.side_mm},
        "title": heading.title,
        "subtitle": heading.subtitle,
        "authors": [name for name in (heading.composer, heading.arranger) if name],
        "byline": _byline(heading, teaching),
        "kind": f"A lesson for {heading.instrument.casefold()}" if heading.instrument else "A lesson",
        "level": heading.level,
        "running": " · ".join(part for part in (heading.title, heading.instrument, heading.level) if part),
        "rights": list(heading.rights),
        "incipit": drawn.incipit(),
        "facts": [list(row) for row in learn_facts(teaching)],
        "points": list(learn_points(teaching)),
        "outline": [_outline_row(section) for section in teaching.outline.sections],
        "episodes": _episode_rows(teaching),
        "before": {**before_you_play(teaching), "music": drawn.warm_up()},
        "charts": drawn.charts(),
        "sections": [drawn.section(content) for content in section_contents(teaching)],
        "spots": [drawn.spot(content) for content in spot_contents(teaching)],
        "ladder": _ladder(teaching),
        "part": drawn.part(heading),
    }
    files = {"booklet.json": json.dumps(book, ensure_ascii=False, sort_keys=True), **drawn.files}
    return typeset_pdf(_template(), files)


class _Drawn:
    """Pictures of a booklet, each written to a file the document names."""

    def __init__(
        self,
        teaching: Teaching,
        tune: Tune,
        marks: Sequence[Mark],
        page: PageSize,
        planned: Mapping[str, PlannedDrill],
        process: EngravingProcess | None,
    ) -> None:
        self.files: dict[str, str] = {}
        self._teaching, self._tune, self._marks = teaching, tune, marks
        self._page, self._planned, self._process = page, planned, process
        self._width = page.width_mm - 2 * SIDE_MM

    def incipit(self) -> dict[str, object] | None:
        """The first phrase, for the cover."""
        phrases = self._teaching.outline.phrases
        if not phrases:
            return None
        return self._excerpt(phrases[0].first_bar, phrases[0].last_bar, "The beginning of the tune")

    def warm_up(self) -> list[dict[str, object]]:
        teaching = self._teaching
        drills = warm_up_drills(teaching.part, teaching.instrument, level=teaching.plan.level)
        return [{"title": f"{d.title}. {d.words}", **self._drill(d)} for d in drills]

    def charts(self) -> dict[str, object]:
        teaching = self._teaching
        items: list[dict[str, object]] = []
        widest = _CHART_ROOM_MM
        for hand in hands_of_plan(teaching.part, teaching.plan, teaching.instrument):
            svg = fingerboard_chart_svg(teaching.instrument, hand, fifths=teaching.part.bars[0].fifths, screen=False)
            items.append(self._file(svg, "Fingerboard chart of a position"))
            widest = max(widest, _drawn_width(svg) or 0.0)
        gap = _CHART_GAP_MM
        columns = max(1, int((self._width + gap) // (_CHART_SHRINK * widest + gap)))
        room = (self._width - (columns - 1) * gap) / columns
        shrink = min(1.0, room / widest)
        for item in items:
            width = item["width"]
            assert isinstance(width, float)
            item["width"] = round(width * shrink, 2)
        return {"columns": columns, "gap": gap, "items": items}

    def section(self, content: SectionContent) -> dict[str, object]:
        return {
            "name": content.name,
            "bars": content.bars,
            "remark": content.remark,
            "blocks": [self._block(block) for block in content.blocks],
        }

    def spot(self, content: SpotContent) -> dict[str, object]:
        return {
            "title": content.title,
            "where": content.where,
            "why": content.why,
            "find": list(content.find),
            "drills": [self._drill_block(block) for block in content.drills],
        }

    def part(self, heading: Heading) -> list[dict[str, object]]:
        """The pages of the part as they are printed by themselves, without their own page numbers."""
        pages = part_pages(
            self._tune,
            self._marks,
            heading=heading,
            page=self._page,
            instrument=self._teaching.instrument,
            process=self._process,
        )
        return [self._file(svg, f"The part, page {number}: music") for number, svg in enumerate(pages, start=1)]

    def _block(self, block: PhraseBlock | DifferenceBlock) -> dict[str, object]:
        if isinstance(block, PhraseBlock):
            return {"kind": "phrase", "title": block.title, **self._excerpt(block.first, block.last, block.title)}
        half = (self._width - _INDENT_MM - 8) / 2
        excerpts = [
            {"title": title, **self._excerpt(first, last, f"Music: {title}", width_mm=half, size=_SMALL_SIZE)}
            for title, first, last in block.excerpts
        ]
        return {"kind": "difference", "text": block.text, "excerpts": excerpts}

    def _drill_block(self, block: DrillBlock) -> dict[str, object]:
        return {"title": block.title, "words": block.words, "count": block.count, **self._drill(block.drill)}

    def _drill(self, drill: Drill) -> dict[str, object]:
        teaching = self._teaching
        planned = self._planned.get(drill.id) or plan_drill(drill, teaching.instrument, level=teaching.plan.level)
        svg = engrave_excerpt_svg(
            planned.tune,
            drill_marks(planned, teaching.instrument),
            first_bar_index=0,
            last_bar_index=len(planned.tune.part.bars) - 1,
            width_mm=self._width,
            instrument=teaching.instrument,
            staff_size=_SMALL_SIZE,
            screen=False,
            process=self._process,
        )
        return self._file(svg, f"Drill {drill.id}: {drill.title}")

    def _excerpt(
        self, first: int, last: int, alt: str, *, width_mm: float | None = None, size: float = _MUSIC_SIZE
    ) -> dict[str, object]:
        svg = engrave_excerpt_svg(
            self._tune,
            self._marks,
            first_bar_index=first,
            last_bar_index=last,
            width_mm=width_mm or self._width,
            instrument=self._teaching.instrument,
            staff_size=size,
            screen=False,
            process=self._process,
        )
        return self._file(svg, alt)

    def _file(self, svg: str, alt: str) -> dict[str, object]:
        """Keep a drawing as a file; equal drawings share one. Its width in mm is the drawing's own."""
        name = next((known for known, content in self.files.items() if content == svg), None)
        if name is None:
            name = f"drawing-{len(self.files) + 1}.svg"
            self.files[name] = svg
        return {"file": name, "alt": alt, "width": _drawn_width(svg) or self._width}


def _drawn_width(svg: str) -> float | None:
    """The width in mm that a drawing names itself."""
    found = _SVG_WIDTH.search(svg)
    return float(found[1]) if found else None


def _byline(heading: Heading, teaching: Teaching) -> list[str]:
    teacher = teaching.lesson.teacher
    if teacher and teacher == heading.composer and not heading.arranger:
        return [f"composed and taught by {teacher}"]
    lines = [heading.composer] if heading.composer else []
    lines += [f"arranged by {heading.arranger}"] if heading.arranger else []
    lines += [f"taught by {teacher}"] if teacher else []
    return lines


def _outline_row(section: TaughtSection) -> dict[str, str]:
    return {
        "name": section.name,
        "bars": bars_printed((section.first_bar, section.last_bar)),
        "phrases": count_words(len(section.phrases), "phrase", "phrases"),
        "remark": section.remark,
    }


def _episode_rows(teaching: Teaching) -> list[dict[str, str]]:
    return [
        {
            "number": str(episode.number),
            "title": episode.title,
            "sections": listed(episode.sections),
            "minutes": f"about {episode.seconds / 60:.0f} minutes",
        }
        for episode in teaching.episodes
    ]


def _ladder(teaching: Teaching) -> dict[str, object]:
    rows = [
        {"name": f"Section {s.name}", "bars": bars_printed((s.first_bar, s.last_bar)).split(" ")[-1]}
        for s in teaching.outline.sections
    ]
    if len(rows) > 1:
        numbers = [bar.number for bar in teaching.part.bars if not bar.pickup]
        rows.append({"name": "The whole", "bars": f"{numbers[0]}–{numbers[-1]}"})
    rows += [
        {"name": f"Hard spot {spot.rank}", "bars": bars_printed(spot.bars).split(" ")[-1]} for spot in teaching.spots
    ]
    columns = [
        {"percent": f"{percent:g}", "qpm": f"{teaching.tempo_qpm * percent / 100:.0f}"} for percent in teaching.ladder
    ]
    return {"rows": rows, "columns": columns, "tries": teaching.lesson.tries}


@cache
def _template() -> str:
    return (resources.files("partwright.engraving") / "data" / "booklet.typ").read_text(encoding="utf-8")
