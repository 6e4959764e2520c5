"""Whole ticks instead of fractions while a part is read, and the way back.

One tick is 1/`resolution` of a quarter note; the resolution is the least common multiple of all divisions in the
document, so that every duration is a whole number of ticks. Whole numbers are many times faster than `Fraction`.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.lines import line_of

__all__ = ["MAX_DIVISIONS", "Ticks", "divisions_of", "find_resolution", "number_of"]

MAX_DIVISIONS = 1_000_000
"""MusicXML advises at most 16,383; files with somewhat more exist, files with 10**14 are damaged."""
_MAX_RESOLUTION = 10**12


class Ticks:
    """Ticks to quarter notes, remembered, as most positions recur."""

    __slots__ = ("_known", "resolution")

    def __init__(self, resolution: int) -> None:
        self.resolution = resolution
        self._known: dict[int, Fraction] = {}

    def quarters(self, ticks: int) -> Fraction:
        known = self._known.get(ticks)
        if known is None:
            known = self._known[ticks] = Fraction(ticks, self.resolution)
        return known


def number_of(text: str | None) -> Fraction | None:
    """A MusicXML decimal as an exact fraction; None if the text is none."""
    if text is None:
        return None
    text = text.strip()
    if not text or len(text) > 40 or "/" in text or "_" in text or "e" in text or "E" in text:
        return None
    try:
        return Fraction(text)
    except ValueError:
        return None


def divisions_of(element: etree._Element, *, file: str, bar: str | None = None) -> Fraction:
    """Divisions of a quarter note. Raises ScoreError outside 0 < divisions <= MAX_DIVISIONS."""
    value = number_of(element.text)
    if value is None or value <= 0 or value > MAX_DIVISIONS:
        raise ScoreError(
            f"divisions {(element.text or '').strip()[:30]!r} makes no sense (a whole number up to {MAX_DIVISIONS:,})",
            "Export the tune again.",
            place=Place(file=file, line=line_of(element), bar=bar),
        )
    return value


def find_resolution(root: etree._Element, *, file: str) -> int:
    """Ticks per quarter note in which every duration of the document is whole."""
    resolution = 20_160  # so that note values and tuplets alone are whole too, where a file forgets its divisions
    seen: set[str | None] = set()
    for element in root.iter("divisions"):
        if element.text in seen:
            continue
        seen.add(element.text)
        resolution = lcm(resolution, divisions_of(element, file=file).numerator)
        if resolution > _MAX_RESOLUTION:
            raise ScoreError(
                "the divisions of a quarter note change too often to have a common measure",
                "Export the tune again.",
                place=Place(file=file, line=line_of(element)),
            )
    return resolution
