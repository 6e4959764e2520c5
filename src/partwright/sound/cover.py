"""The picture a player shows beside the sound: the title on paper, in our own type."""

from __future__ import annotations

from html import escape
from importlib.resources import files

__all__ = ["cover_png"]

_SIZE = 600
_INK, _PAPER = "#1F1D1A", "#FCFAF5"


def cover_png(title: str, subtitle: str = "", *, footer: str = "") -> bytes:
    """A square PNG, 600 pixels wide. Long titles are broken into lines and set smaller."""
    import resvg_py

    lines = _lines(title or "Practice", 16)
    size = 62 if len(lines) <= 3 else 46
    top = 190
    words = [
        f'<text x="56" y="{top + i * size * 1.2:.0f}" font-family="Source Serif Pro" font-size="{size}" fill="{_INK}">'
        f"{escape(line)}</text>"
        for i, line in enumerate(lines)
    ]
    below = top + (len(lines) - 1) * size * 1.2 + 56
    if subtitle:
        words.append(
            f'<text x="56" y="{below:.0f}" font-family="Source Serif Pro" font-style="italic" font-size="32" '
            f'fill="{_INK}">{escape(subtitle[:36])}</text>'
        )
    if footer:
        words.append(
            f'<text x="56" y="540" font-family="Source Sans Pro" font-size="24" fill="{_INK}">'
            f"{escape(footer[:44])}</text>"
        )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_SIZE}" height="{_SIZE}" viewBox="0 0 {_SIZE} {_SIZE}">'
        f'<rect width="{_SIZE}" height="{_SIZE}" fill="{_PAPER}"/>'
        f'<rect x="56" y="84" width="72" height="2" fill="{_INK}"/>{"".join(words)}</svg>'
    )
    faces = [
        str(files(package) / "files" / name)
        for package, name in (
            ("font_source_serif_pro", "SourceSerifPro-Regular.ttf"),
            ("font_source_serif_pro", "SourceSerifPro-It.ttf"),
            ("font_source_sans_pro", "SourceSansPro-Regular.ttf"),
        )
    ]
    made = resvg_py.svg_to_bytes(
        svg_string=svg, font_files=faces, skip_system_fonts=True, font_family="Source Serif Pro"
    )
    return bytes(made)


def _lines(text: str, width: int) -> list[str]:
    """Words in lines of at most about `width` characters, five lines at most."""
    found: list[str] = []
    for word in text.split():
        if found and len(found[-1]) + 1 + len(word) <= width:
            found[-1] += f" {word}"
        else:
            found.append(word[: width + 8])
    return found[:5]
