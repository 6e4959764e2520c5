"""Pages to PDF and PNG: the document engine and the rasteriser, given our fonts and no others.

The time stamp is fixed, so the same pages give the same bytes. Units: mm for pages, pixels for pictures.
"""

from __future__ import annotations

import datetime
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from partwright.engraving.typefaces import font_files
from partwright.errors import EngravingError

__all__ = ["DocumentFacts", "pages_pdf", "svg_png", "typeset_pdf"]

_STAMP = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
"""A fixed date: when a page was made must not make it another page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentFacts:
    """What a PDF says about itself, and what each page shows for a reader who cannot see it."""

    title: str
    authors: tuple[str, ...] = ()
    language: str = "en"
    page_words: tuple[str, ...] = ()


def pages_pdf(pages: Sequence[str], *, width_mm: float, height_mm: float, facts: DocumentFacts) -> bytes:
    """A PDF with one SVG filling each page. Raises EngravingError if the document engine refuses them."""
    if not pages:
        raise EngravingError("there is no page to print", "Give at least one page.")
    files = {f"page-{number}.svg": page for number, page in enumerate(pages, 1)}
    return typeset_pdf(_document(len(pages), width_mm, height_mm, facts), files)


def typeset_pdf(source: str, files: Mapping[str, str]) -> bytes:
    """A PDF/A-2b from a document in the document engine's language and the text files it names, SVG or data.

    It sees our fonts and no others. Same input, same bytes. Raises EngravingError if the engine refuses it.
    """
    import typst

    with tempfile.TemporaryDirectory(prefix="partwright-pages-") as name:
        folder = Path(name)
        letters = folder / "letters"  # only these: a font installed on this machine must not change the page
        letters.mkdir()
        for file in font_files():
            (letters / file.name).symlink_to(file)
        for file_name, content in files.items():
            (folder / file_name).write_text(content, encoding="utf-8")
        main = folder / "main.typ"
        main.write_text(source, encoding="utf-8")
        try:
            return bytes(
                typst.compile(
                    str(main),
                    root=str(folder),
                    font_paths=typst.Fonts(
                        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(letters)]
                    ),
                    format="pdf",
                    pdf_standards="a-2b",
                    timestamp=_STAMP,
                )
            )
        except (typst.TypstError, RuntimeError, ValueError) as error:
            raise EngravingError(
                f"the pages cannot be turned into a PDF ({str(error).splitlines()[0][:160]})",
                "Write them as SVG instead.",
            ) from error


def _document(count: int, width_mm: float, height_mm: float, facts: DocumentFacts) -> str:
    authors = ", ".join(_text(author) for author in facts.authors)
    lines = [
        f"#set document(title: {_text(facts.title)}, author: ({authors}{',' if facts.authors else ''}), date: auto)",
        f"#set page(width: {width_mm}mm, height: {height_mm}mm, margin: 0mm)",
        f"#set text(lang: {_text(facts.language)}, font: {_text('Source Serif Pro')})",
    ]
    for number in range(1, count + 1):
        words = facts.page_words[number - 1] if number <= len(facts.page_words) else f"Page {number}"
        lines.append(f'#image("page-{number}.svg", width: {width_mm}mm, height: {height_mm}mm, alt: {_text(words)})')
        if number < count:
            lines.append("#pagebreak()")
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    """A string literal of the document language: everything quoted, so that no title can be code."""
    cleaned = "".join(sign for sign in value if sign >= " ")
    return '"' + cleaned.replace("\\", "\\\\").replace('"', '\\"') + '"'


def svg_png(svg: str, width_px: int, *, background: str = "#FCFAF5") -> bytes:
    """A PNG of one of our SVGs, `width_px` wide, on paper. Raises EngravingError for one that cannot be drawn."""
    import resvg_py

    if not 1 <= width_px <= 10_000:
        raise EngravingError(f"a picture {width_px} pixels wide cannot be made", "Use 1 to 10000.")
    try:
        return bytes(
            resvg_py.svg_to_bytes(
                svg_string=svg,
                width=width_px,
                dpi=96.0,  # our sizes are in mm, which have no pixels without it
                background=background,
                skip_system_fonts=True,
                font_files=[str(path) for path in font_files()],
            )
        )
    except (ValueError, RuntimeError, OSError) as error:
        raise EngravingError("this picture cannot be drawn", "Make it again.") from error
