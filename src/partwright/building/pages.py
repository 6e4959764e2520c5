"""The lesson's pages: what stands above and below the music."""

from __future__ import annotations

from partwright.engraving import Heading
from partwright.lesson import Prepared, string_numeral, uses_numerals

__all__ = ["page_heading"]


def page_heading(job: Prepared, *, roman: bool | None = None) -> Heading:
    """Title, names and rights as the lesson says, or as the tune says where the lesson is silent."""
    printed = job.credits
    taught = (f"Fingered by {job.lesson.teacher}.",) if job.lesson.teacher else ()
    return Heading(
        title=printed.title or job.tune.source.stem,
        subtitle=printed.subtitle,
        composer=printed.composer,
        arranger=printed.arranger,
        lyricist=printed.lyricist,
        instrument=job.instrument.name.replace("_", " ").capitalize(),
        level=job.level,
        rights=(*printed.rights, *((job.lesson.edition,) if job.lesson.edition else ())),
        legend=(*taught, *(_numeral_legend(job) if uses_numerals(job, roman=roman) else ())),
    )


def _numeral_legend(job: Prepared) -> tuple[str, ...]:
    """Two players count strings from two ends, so the page says which end is meant."""
    named = ", ".join(
        f"{string_numeral(string.number)} = {string.letter}" for string in reversed(job.instrument.strings)
    )
    return (f"Strings are numbered from the highest: {named}.",)
