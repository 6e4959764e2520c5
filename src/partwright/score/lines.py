"""Where in its file an element stands."""

from __future__ import annotations

from lxml import etree

__all__ = ["line_of"]


def line_of(element: etree._Element) -> int | None:
    """The line of an element, from 1; None for one that was made, not read."""
    line: object = element.sourceline
    return line if isinstance(line, int) else None
