"""Engraved bars with some notes in the accent colour, as an image's address that carries the picture itself."""

from __future__ import annotations

import base64
from collections.abc import Iterable

__all__ = ["marked_image"]

_ACCENT = "#0F5A8A"


def marked_image(svg: str, note_ids: Iterable[str]) -> str:
    """A data: address of the SVG, with the elements of these ids in the accent colour."""
    rules = "".join(f'[id="{_css_text(name)}"]{{fill:{_ACCENT};color:{_ACCENT};stroke:{_ACCENT}}}' for name in note_ids)
    at = svg.index(">", svg.index("<svg")) + 1
    marked = f"{svg[:at]}<style>{rules}</style>{svg[at:]}"
    return "data:image/svg+xml;base64," + base64.b64encode(marked.encode("utf-8")).decode("ascii")


def _css_text(text: str) -> str:
    """Anything unusual as its code point, so that nothing ends the string or the rule."""
    return "".join(c if c.isalnum() or c in "-_." else f"\\{ord(c):x} " for c in text)
