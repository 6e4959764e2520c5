"""Parts and their bars as elements, the same for both layouts of MusicXML: by part and by time.

Only looks at a tree; changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from lxml import etree

__all__ = ["MeasureElement", "ScorePart", "score_parts"]


@dataclass(frozen=True, slots=True)
class MeasureElement:
    """One bar of one part: `head` carries number and implicit, `content` holds notes and marks (often the same)."""

    head: etree._Element
    content: etree._Element


@dataclass(frozen=True, slots=True)
class ScorePart:
    """One part as the part list names it, with its bars in order."""

    part_id: str
    name: str
    abbreviation: str
    measures: tuple[MeasureElement, ...]
    listed: bool = True  # False: has music, but the part list does not know it

    @property
    def label(self) -> str:
        return self.name or self.abbreviation or _one_line(self.part_id) or "unnamed part"


def score_parts(root: etree._Element) -> tuple[ScorePart, ...]:
    """Every part that has music, in the order of the music, named from the part list."""
    names: dict[str, tuple[str, str]] = {}
    for element in root.iterfind("part-list/score-part"):
        name = _one_line(element.findtext("part-name"))
        names.setdefault(element.get("id", ""), (name, _one_line(element.findtext("part-abbreviation"))))
    if root.tag == "score-timewise":
        bars: dict[str, list[MeasureElement]] = {}
        for head in root.iterfind("measure"):
            for content in head.iterfind("part"):
                bars.setdefault(content.get("id", ""), []).append(MeasureElement(head, content))
        found = list(bars.items())
    else:
        found = [
            (element.get("id", ""), [MeasureElement(head, head) for head in element.iterfind("measure")])
            for element in root.iterfind("part")
        ]
    return tuple(
        ScorePart(part_id, *names.get(part_id, ("", "")), tuple(measures), part_id in names)
        for part_id, measures in found
    )


def _one_line(text: str | None) -> str:
    return " ".join(text.split())[:80] if text else ""
