"""From a tune ready to be planned to the planned lesson."""

from __future__ import annotations

from partwright.bowing import BowingPlan, bow_levels, plan_bowing
from partwright.errors import PartwrightError, Place
from partwright.fingering import FingeringPlan, plan_of
from partwright.fingering import prepare as prepare_fingering
from partwright.lesson.bar_content import Bars
from partwright.lesson.phrases import find_phrases
from partwright.lesson.prepare_io import Prepared
from partwright.lesson.teaching import Teaching, plan_teaching

__all__ = ["lesson_bowing", "teach"]


def teach(job: Prepared) -> Teaching:
    """Fingers, bows, sections, hard spots, steps: all of a lesson that is not yet a page or a sound."""
    try:
        planning = prepare_fingering(job.part, job.instrument, level=job.level, pins=job.pins)
        return plan_teaching(job.lesson, planning, bowing=lesson_bowing(job, plan_of(planning)))
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error


def lesson_bowing(job: Prepared, plan: FingeringPlan, *, may_slur: bool = False) -> BowingPlan:
    """The bows of a lesson's tune around its bow pins; a level of the player's own bows like the advanced one."""
    known = [level.name for level in bow_levels()]
    level = job.level if job.level in known else "advanced"
    try:
        return plan_bowing(
            job.part,
            job.instrument,
            plan,
            level=level,
            pins=job.bow_pins,
            phrase_starts=[phrase.first_note_id for phrase in find_phrases(Bars(job.part))],
            may_slur=may_slur,
            keep_source_marks=job.lesson.source_marks == "keep",
        )
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error
