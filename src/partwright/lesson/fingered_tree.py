"""The tune's own tree with the plan's marks in it, as the page settings ask."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, cast

from lxml import etree

from partwright.fingering import FingeringPlan, fingering_marks
from partwright.instrument import Instrument
from partwright.lesson.prepare_io import Prepared
from partwright.score import Mark, StringMark, Tune, annotate

__all__ = ["fingered_tree", "page_tune", "plan_marks", "string_labels", "string_numeral"]

_NUMERALS = ("I", "II", "III", "IV", "V", "VI")


def plan_marks(
    job: Prepared, plan: FingeringPlan, *, marks: str | None = None, roman: bool | None = None
) -> tuple[Mark, ...]:
    """The marks a page of this plan carries. `marks` and `roman` overrule the lesson's page settings."""
    wanted = cast(Literal["every", "needed", "none"], marks or job.lesson.marks)
    found = fingering_marks(job.part, plan, job.instrument, marks=wanted)
    if roman if roman is not None else job.lesson.strings == "roman":
        found = tuple(_in_numerals(mark) for mark in found)
    return found


def fingered_tree(
    job: Prepared, plan: FingeringPlan, *, marks: str | None = None, roman: bool | None = None
) -> etree._ElementTree:
    """A copy of the source's tree with the marks added; nothing else of it is changed.

    Where the lesson ignores the source's own fingers, they are left out of the copy, so that no note carries two.
    """
    found = plan_marks(job, plan, marks=marks, roman=roman)
    return annotate(job.tune, found, replace_source_fingerings=job.lesson.source_marks == "ignore")


def page_tune(job: Prepared) -> Tune:
    """The tune as it is engraved: its own fingers left out where the lesson ignores them."""
    if job.lesson.source_marks == "keep":
        return job.tune
    return replace(job.tune, document=annotate(job.tune, (), replace_source_fingerings=True))


def string_labels(instrument: Instrument, *, roman: bool) -> dict[int, str]:
    """What each string is called on the page, by its number (1 = the highest)."""
    return {string.number: string_numeral(string.number) if roman else string.letter for string in instrument.strings}


def string_numeral(number: int) -> str:
    """A string as a Roman numeral, I = the highest, as MusicXML counts them.

    >>> string_numeral(4)
    'IV'
    """
    return _NUMERALS[number - 1]


def _in_numerals(mark: Mark) -> Mark:
    return replace(mark, letter=string_numeral(mark.number)) if isinstance(mark, StringMark) else mark
