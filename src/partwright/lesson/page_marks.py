"""The tune's own tree with the plan's marks in it, as the page settings ask."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal, cast

from lxml import etree

from partwright.fingering import FingeringPlan, fingering_marks
from partwright.instrument import Instrument
from partwright.lesson.prepare_io import Prepared
from partwright.score import Mark, Tune, annotate

if TYPE_CHECKING:
    from partwright.bowing import BowingPlan

__all__ = [
    "bowed_tree",
    "fingered_tree",
    "page_instrument",
    "page_tune",
    "plan_marks",
    "string_numeral",
    "uses_numerals",
]

_NUMERALS = ("I", "II", "III", "IV", "V", "VI")


def plan_marks(
    job: Prepared,
    plan: FingeringPlan,
    *,
    bowing: BowingPlan | None = None,
    marks: str | None = None,
    roman: bool | None = None,
) -> tuple[Mark, ...]:
    """The marks a page of this plan carries: fingers and strings, and bow signs where a bowing is given.

    `marks` and `roman` overrule the lesson's page settings.
    """
    wanted = cast(Literal["every", "needed", "none"], marks or job.lesson.marks)
    found = fingering_marks(job.part, plan, page_instrument(job, roman=roman), marks=wanted)
    if bowing is None:
        return found
    from partwright.bowing import bowing_marks

    return (*found, *bowing_marks(job.part, bowing, marks=wanted))


def fingered_tree(
    job: Prepared,
    plan: FingeringPlan,
    *,
    bowing: BowingPlan | None = None,
    marks: str | None = None,
    roman: bool | None = None,
) -> etree._ElementTree:
    """A copy of the source's tree with the marks added; nothing else of it is changed. Without a bowing, bow signs that
    `bow` has put in stay.

    Where the lesson ignores the source's own fingers, they are left out of the copy, so that no note carries two.
    """
    found = plan_marks(job, plan, bowing=bowing, marks=marks, roman=roman)
    keep: Literal["", "bows"] = "" if bowing is not None else "bows"
    return annotate(job.tune, found, replace_source_fingerings=job.lesson.source_marks == "ignore", keep=keep)


def bowed_tree(job: Prepared, bowing: BowingPlan, *, marks: str | None = None) -> etree._ElementTree:
    """A copy of the source's tree with the bow signs added; nothing else of it is changed, and fingers put in stay.

    Where the lesson ignores the source's own signs, they and its fingers are left out of the copy.
    """
    wanted = cast(Literal["every", "needed", "none"], marks or job.lesson.marks)
    from partwright.bowing import bowing_marks

    found = bowing_marks(job.part, bowing, marks=wanted)
    return annotate(job.tune, found, replace_source_fingerings=job.lesson.source_marks == "ignore", keep="fingers")


def page_tune(job: Prepared) -> Tune:
    """The tune as it is engraved: its own fingers left out where the lesson ignores them, in clefs the player reads."""
    tune = job.tune
    if job.lesson.source_marks != "keep":
        tune = replace(tune, document=annotate(tune, (), replace_source_fingerings=True))
    if job.lesson.clefs == "source":
        return tune
    from partwright.lesson.page_clefs import page_clefs
    from partwright.score import in_clefs

    clefs = page_clefs(job.part, job.instrument, job.level, job.lesson.clefs)
    return replace(tune, document=in_clefs(tune, clefs)) if clefs is not None else tune


def page_instrument(job: Prepared, *, roman: bool | None = None) -> Instrument:
    """The instrument with its strings called as the page calls them: by letter, or by number from the highest."""
    if not uses_numerals(job, roman=roman):
        return job.instrument
    strings = tuple(replace(string, letter=string_numeral(string.number)) for string in job.instrument.strings)
    return replace(job.instrument, strings=strings)


def uses_numerals(job: Prepared, *, roman: bool | None = None) -> bool:
    """Whether the page calls strings by Roman numerals; `roman` overrules the lesson."""
    return job.lesson.strings == "roman" if roman is None else roman


def string_numeral(number: int) -> str:
    """A string as a Roman numeral, I = the highest, as MusicXML counts them.

    >>> string_numeral(4)
    'IV'
    """
    return _NUMERALS[number - 1]
