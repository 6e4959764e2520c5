"""The errata slip of a lesson: what is known wrong in its editions, on one page."""

from __future__ import annotations

import datetime
from pathlib import Path

from partwright.catalogue.editions_io import read_editions
from partwright.engraving import A4, PageSize, SlipRow, errata_slip_pdf
from partwright.lesson import Erratum, credit_lines, erratum_place, read_errata, read_lesson
from partwright.lesson.saying import capital, listed

__all__ = ["errata_pdf", "slip_rows"]


def errata_pdf(folder: Path, *, today: datetime.date, page: PageSize = A4) -> bytes:
    """The slip as a PDF of one page: confirmed and mended errata, not drafts. `today` is printed on it."""
    lesson, editions = read_lesson(folder), read_editions(folder)
    latest = editions[-1] if editions else None
    current = (
        f"The current edition is {latest.number}, of {latest.date.isoformat()}." if latest else "Not released yet."
    )
    return errata_slip_pdf(
        title=(latest.title if latest else lesson.title) or folder.resolve().name,
        byline=lesson.composer,
        edition=f"As known on {today.isoformat()}. {current}",
        rows=slip_rows(read_errata(folder), tuple(edition.number for edition in editions)),
        credit=credit_lines(lesson.rights_sheet, lesson.rights),
        page=page,
    )


def slip_rows(errata: tuple[Erratum, ...], editions: tuple[int, ...]) -> tuple[SlipRow, ...]:
    """What is told to buyers, in the order of the file."""
    return tuple(
        SlipRow(
            place=capital(erratum_place(erratum)),
            words=_sentence(erratum.words),
            editions=listed([str(number) for number in editions if erratum.affects(number)]) or "–",
            found=erratum.found.isoformat() if erratum.found else "",
            mended=_mended(erratum),
        )
        for erratum in errata
        if erratum.state in ("confirmed", "fixed")
    )


def _mended(erratum: Erratum) -> str:
    if erratum.state != "fixed":
        return ""
    date = erratum.fixed.isoformat() if erratum.fixed else ""
    return f"{date}, edition {erratum.fixed_in}" if erratum.fixed_in else date


def _sentence(text: str) -> str:
    text = capital(text.strip())
    return text if text.endswith((".", "?")) else f"{text}."
