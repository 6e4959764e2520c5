"""The lesson's pages: what stands above the music, and how strings are called on it."""

from __future__ import annotations

from partwright.engraving import Heading
from partwright.lesson import Prepared, string_labels

__all__ = ["page_heading", "page_labels"]


def page_heading(job: Prepared, *, roman: bool | None = None) -> Heading:
    """Title, names and rights as the lesson says, or as the tune says where the lesson is silent."""
    printed = job.credits
    taught = f"fingered by {job.lesson.teacher}" if job.lesson.teacher else ""
    return Heading(
        title=printed.title or job.tune.source.stem,
        subtitle=printed.subtitle,
        composer=printed.composer,
        arranger=printed.arranger or taught,
        lyricist=printed.lyricist,
        instrument=job.instrument.name.replace("_", " ").capitalize(),
        level=job.level,
        rights=printed.rights,
        legend=_numeral_legend(job) if _roman(job, roman) else (),
    )


def page_labels(job: Prepared, *, roman: bool | None = None) -> dict[int, str]:
    """What each string is called on the page, by its number (1 = the highest)."""
    return string_labels(job.instrument, roman=_roman(job, roman))


def _roman(job: Prepared, roman: bool | None) -> bool:
    return job.lesson.strings == "roman" if roman is None else roman


def _numeral_legend(job: Prepared) -> tuple[str, ...]:
    """Two players count strings from two ends, so the page says which end is meant."""
    named = ", ".join(
        f"{string_labels(job.instrument, roman=True)[string.number]} = {string.letter}"
        for string in reversed(job.instrument.strings)
    )
    return (f"Strings are numbered from the highest: {named}.",)
