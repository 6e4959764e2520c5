"""The typefaces: where their files lie, how wide a word is, and what the engraving library must know of them.

Text is Source Serif, labels are Source Sans (SIL Open Font Licence, carried by two packages). Music signs are the
outlines of the engraver's own SMuFL font, drawn as paths, so that no music font need be embedded anywhere.
Units: sizes and widths in whatever unit the caller's size has; font units where the name says so.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

__all__ = [
    "CAP_HEIGHT",
    "SANS",
    "SERIF",
    "Face",
    "font_face_css",
    "font_files",
    "library_data",
    "text_metrics_xml",
    "text_width",
]

SERIF = "Source Serif Pro"
SANS = "Source Sans Pro"
CAP_HEIGHT = 0.67
"""Height of capitals and lining figures in ems; Source Serif 0.670, Source Sans 0.660 (the fonts' OS/2 tables)."""

Family = Literal["Source Serif Pro", "Source Sans Pro"]

_FOLDERS = {SERIF: ("font_source_serif_pro", "SourceSerifPro"), SANS: ("font_source_sans_pro", "SourceSansPro")}
_STYLES = {(False, False): "Regular", (True, False): "Bold", (False, True): "It", (True, True): "BoldIt"}


@dataclass(frozen=True, slots=True)
class Face:
    """One cut of a family."""

    family: str = SERIF
    bold: bool = False
    italic: bool = False


ALL_FACES = tuple(Face(family, bold, italic) for family in (SERIF, SANS) for bold, italic in _STYLES)


def font_path(face: Face) -> Path:
    """The TrueType file of this cut."""
    package, stem = _FOLDERS[face.family]
    return Path(str(resources.files(package) / "files" / f"{stem}-{_STYLES[face.bold, face.italic]}.ttf"))


def font_files() -> tuple[Path, ...]:
    """Every font file a page may ask for; PDF and PNG writers are given these and no others."""
    return tuple(font_path(face) for face in ALL_FACES)


def library_data() -> Path:
    """The engraving library's own data folder, found without loading the library."""
    return Path(str(resources.files("verovio") / "data"))


@cache
def _font(face: Face) -> Any:
    from fontTools.ttLib import TTFont

    return TTFont(io.BytesIO(font_path(face).read_bytes()), lazy=True)


@cache
def _advances(face: Face) -> dict[int, int]:
    font = _font(face)
    widths = font["hmtx"].metrics
    return {code: widths[name][0] for code, name in font.getBestCmap().items()}


@lru_cache(maxsize=20_000)
def text_width(text: str, size: float, face: Face = Face()) -> float:
    """Width of a line of text, without kerning; a sign the face lacks counts as half an em.

    >>> round(text_width("IV", 10.0), 1)
    10.4
    """
    advances = _advances(face)
    return sum(advances.get(ord(sign), 500) for sign in text) * size / 1000.0


def has_sign(sign: str, face: Face = Face()) -> bool:
    """Whether the face can draw this sign."""
    return ord(sign) in _advances(face)


def text_metrics_xml(*, bold: bool, italic: bool) -> str:
    """The serif's boxes in the form the engraving library keeps its own in, so that it lays out words in our face."""
    face = Face(SERIF, bold, italic)
    font = _font(face)
    outlines, widths = font["glyf"], font["hmtx"].metrics
    rows = []
    for code, name in sorted(font.getBestCmap().items()):
        if code < 0x20 or code > 0x25FF:
            continue
        outline = outlines[name]
        left, low = getattr(outline, "xMin", 0), getattr(outline, "yMin", 0)
        right, high = getattr(outline, "xMax", 0), getattr(outline, "yMax", 0)
        rows.append(
            f'<g c="{code:X}" x="{left}.0" y="{low}.0" w="{right - left}.0" h="{high - low}.0"'
            f' h-a-x="{widths[name][0]}.0" />'
        )
    body = "\n".join(rows)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<bounding-boxes font-family="Times" units-per-em="1000">\n{body}\n</bounding-boxes>\n'
    )


def font_face_css(texts: dict[Face, str]) -> str:
    """`@font-face` rules with just the signs used, so that a page on screen needs no installed font."""
    rules = []
    for face, text in sorted(texts.items(), key=lambda item: (item[0].family, item[0].bold, item[0].italic)):
        data = _subset(face, "".join(sorted(set(text))))
        rules.append(
            f"@font-face{{font-family:'{face.family}';font-weight:{700 if face.bold else 400};"
            f"font-style:{'italic' if face.italic else 'normal'};"
            f"src:url(data:font/woff;base64,{base64.b64encode(data).decode('ascii')}) format('woff')}}"
        )
    return "".join(rules)


@lru_cache(maxsize=64)
def _subset(face: Face, signs: str) -> bytes:
    from fontTools import subset

    options = subset.Options()
    options.drop_tables += ["GSUB", "GPOS", "GDEF"]  # reading them costs more than all the rest; widths are ours anyway
    options.hinting = False
    options.notdef_outline = True
    options.recalc_timestamp = False
    options.name_IDs = [1, 2, 13, 14]
    font = subset.load_font(io.BytesIO(font_path(face).read_bytes()), options)
    cutter = subset.Subsetter(options)
    cutter.populate(text=signs)
    cutter.subset(font)
    font.flavor = "woff"
    stream = io.BytesIO()
    font.save(stream, reorderTables=True)
    return stream.getvalue()
