"""A line on every page of a PDF, at its foot below whatever is printed there, in our letters; text that can be read
back. The rest of the file stays as it was. Units: points of 1/72 inch inside PDF, mm elsewhere.
"""

from __future__ import annotations

import io
from functools import cache

from partwright.errors import InputError

__all__ = ["page_texts", "stamp_pdf"]

_FROM_EDGE_MM = 5.0
_SIDE_MM = 10.0
_SIZE_PT = 7.5
_MM = 72 / 25.4


def stamp_pdf(data: bytes, line: str) -> bytes:
    """The PDF with `line` at the foot of every page. Same input, same bytes. Raises InputError for what is no PDF."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.errors import PyPdfError

    try:
        reader = PdfReader(io.BytesIO(data), strict=False)
        if reader.is_encrypted:
            raise InputError("the PDF is locked with a password", "Stamp the file without one.")
        writer = PdfWriter(clone_from=reader)
        writer.pdf_header = reader.pdf_header
        for page in writer.pages:
            width, height = float(page.mediabox.width), float(page.mediabox.height)
            stamp = PdfReader(io.BytesIO(_stamp(line, round(width, 2), round(height, 2)))).pages[0]
            page.merge_page(stamp)
            page.compress_content_streams(level=9)  # merging lays them open
        stream = io.BytesIO()
        writer.write(stream)
        return stream.getvalue()
    except (PyPdfError, ValueError, KeyError, RecursionError, OSError) as error:
        raise InputError(f"the PDF cannot be read ({str(error)[:120]})", "Choose another file.") from error


@cache
def _stamp(line: str, width_pt: float, height_pt: float) -> bytes:
    """One page of this size with nothing but the line on it."""
    from partwright.engraving import stamp_page_pdf

    return stamp_page_pdf(
        line,
        width_mm=width_pt / _MM,
        height_mm=height_pt / _MM,
        from_edge_mm=_FROM_EDGE_MM,
        side_mm=_SIDE_MM,
        size_pt=_SIZE_PT,
    )


def page_texts(data: bytes) -> tuple[str, ...]:
    """The text of each page of a PDF; none for what is no PDF or cannot be read."""
    from pypdf import PdfReader

    try:
        reader = PdfReader(io.BytesIO(data), strict=False)
        if reader.is_encrypted:
            return ()
        return tuple(page.extract_text() for page in reader.pages[:500])
    except Exception:  # a stranger's file: whatever is wrong with it, it has no text for us
        return ()
