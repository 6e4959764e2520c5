"""One lesson as planned from its texts: what everything on the page is drawn from. An edit makes another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from partwright.bowing import BowingPlan, replan_bowing
from partwright.errors import LessonError, Place
from partwright.fingering import FingeringPlan, Planning, plan_of, replan
from partwright.fingering import prepare as prepare_fingering
from partwright.lesson import (
    ERRATA_FILE,
    LESSON_FILE,
    OWN_SCRIPT_FILE,
    Lesson,
    Outline,
    Prepared,
    Sentence,
    Teaching,
    lesson_bowing,
    make_outline,
    make_script,
    parse_lesson,
    parse_script,
    plan_marks,
    plan_teaching,
    prepare,
    refuse_out_of_range,
)
from partwright.score import Mark, Note, Part
from partwright.studio.edit_texts import pin_comments
from partwright.studio.history_io import HISTORY_FILE, Texts, texts_version
from partwright.studio.pin_rows import PinRow, finger_places, pin_rows

__all__ = ["PlanState", "plan_state"]

Known = TypeVar("Known")
_MOST_SHARED = 24


@dataclass(frozen=True, eq=False)
class PlanState:
    """A lesson's texts and the plan they lead to."""

    folder: Path
    texts: Texts
    version: str
    job: Prepared
    planning: Planning
    plan: FingeringPlan
    bowing: BowingPlan
    marks: tuple[Mark, ...]
    shared: dict[object, Any] = field(default_factory=dict, repr=False)  # what is known of the tune, whatever the plan
    said: dict[tuple[str, tuple[str, ...]], dict[str, Any]] = field(default_factory=dict, repr=False)  # by sentence

    @property
    def lesson(self) -> Lesson:
        return self.job.lesson

    @property
    def part(self) -> Part:
        return self.job.part

    @cached_property
    def pins(self) -> tuple[PinRow, ...]:
        """The lines of [pins]."""
        return pin_rows(self.job, pin_comments(self.texts[LESSON_FILE] or ""))

    @property
    def finger_places(self) -> tuple[str, ...]:
        """Where a finger pin of each note is written."""
        return self._of_tune("places", lambda: finger_places(self.part))

    @cached_property
    def pinned_n(self) -> Mapping[str, frozenset[int]]:
        """Notes with a pin, by its kind."""
        return {
            kind: frozenset(row.note.index for row in self.pins if row.note is not None and row.kind == kind)
            for kind in ("finger", "bow")
        }

    @property
    def outline(self) -> Outline:
        """Sections, phrases, and what returns."""
        sections = tuple((s.name, s.first_bar, s.last_bar, s.remark) for s in self.lesson.sections)
        return self._of_tune(("outline", sections), lambda: make_outline(self.part, sections=self.lesson.sections))

    @cached_property
    def teaching(self) -> Teaching:
        """The planned lesson."""
        return plan_teaching(self.lesson, self.planning, bowing=self.bowing)

    @cached_property
    def made_script(self) -> tuple[Sentence, ...]:
        """What the program would say."""
        return make_script(self.teaching)

    @cached_property
    def script(self) -> tuple[Sentence, ...]:
        """What is said: the teacher's own script where there is one."""
        own = self.texts[OWN_SCRIPT_FILE]
        return self.made_script if own is None else parse_script(own, self.made_script)

    def _of_tune(self, key: object, make: Callable[[], Known]) -> Known:
        """What depends on the tune alone, made once for all plans of it."""
        if key not in self.shared:
            if len(self.shared) > _MOST_SHARED:
                self.shared.clear()
            self.shared[key] = make()
        found: Known = self.shared[key]
        return found

    def head_of(self, note: Note) -> Note:
        """The note a held one continues."""
        while note.tied_from is not None and note.tied_from in self.part.by_id:
            note = self.part.by_id[note.tied_from]
        return note


def plan_state(folder: Path, texts: Texts, like: PlanState | None = None) -> PlanState:
    """The plan these texts lead to. What `like` has worked out of the same tune is used again; the result is the same.

    Raises InputError for what is wrong in them, NoPlan where nothing can be played.
    """
    text = texts[LESSON_FILE]
    if text is None:
        raise LessonError("holds no lesson.toml", "Start a lesson in it.", place=Place(file=folder.name))
    if any("\ud800" <= c <= "\udfff" for value in texts.values() if value is not None for c in value):
        raise LessonError("is not UTF-8 text", "Save it again as UTF-8.", place=Place(file=LESSON_FILE))
    lesson = parse_lesson(text)
    _confined(folder, lesson)
    job = prepare(lesson, folder, like=None if like is None else like.job)
    if like is not None and job.tune is not like.job.tune:
        like = None
    planning = _planning(job, like)
    plan = like.plan if like is not None and planning is like.planning else plan_of(planning)
    refuse_out_of_range(job, plan)
    bowing = _bowing(job, plan, like)
    marks = plan_marks(job, plan, bowing=bowing)
    return PlanState(
        folder=folder, texts=dict(texts), version=texts_version(texts), job=job, planning=planning, plan=plan,
        bowing=bowing, marks=marks, shared={} if like is None else like.shared,
    )  # fmt: skip


_OWN = (LESSON_FILE, OWN_SCRIPT_FILE, HISTORY_FILE, ERRATA_FILE, "reports.json", "build", "takes", "editions")
"""What the studio reads and writes in a lesson; a link out of the folder would lead it elsewhere."""


def _confined(folder: Path, lesson: Lesson) -> None:
    """Every file the lesson names lies in its folder, and nothing in it is a link out of it."""
    home = folder.resolve()

    def inside(name: str) -> bool:
        try:
            return (folder / name).resolve().is_relative_to(home)
        except (OSError, ValueError, RuntimeError):
            return False

    named = [lesson.tune_file, lesson.levels_file, lesson.sound_font, lesson.taste]
    if lesson.instrument.casefold().endswith(".toml"):
        named.append(lesson.instrument)
    for name in filter(None, named):
        if not inside(name):
            raise LessonError(
                f'names a file outside its folder ("{name}")', "Copy it into the lesson's folder.",
                place=Place(file=LESSON_FILE),
            )  # fmt: skip
    for name in _OWN:
        if not inside(name):
            raise LessonError(
                "is a link out of the lesson's folder", "Put the real thing in its place.", place=Place(file=name)
            )


def _planning(job: Prepared, like: PlanState | None) -> Planning:
    if like is None:
        return prepare_fingering(job.part, job.instrument, level=job.level, pins=job.pins)
    old = like.planning
    if job.instrument is like.job.instrument and job.level == old.level.name:
        if set(job.pins) == set(old.pins):
            return old
        added = [pin for pin in job.pins if pin not in old.pins]
        if len(added) == 1 and len(job.pins) == len(old.pins) + 1:
            return replan(old, added[0])
    return prepare_fingering(job.part, job.instrument, level=job.level, pins=job.pins, like=old)


def _bowing(job: Prepared, plan: FingeringPlan, like: PlanState | None) -> BowingPlan:
    if like is not None and _bowed_alike(job, like):
        old = like.bowing
        strings = {note.note_id: note.placement.string for note in plan.notes}
        problem = old.problem
        if problem is not None and problem.strings == strings:
            return old if problem.pins == job.bow_pins else replan_bowing(old, job.bow_pins)
        if problem is not None:
            return replan_bowing(old, job.bow_pins, strings=strings)
    return lesson_bowing(job, plan)


def _bowed_alike(job: Prepared, like: PlanState) -> bool:
    """Whether all but the strings and the pins is what the bows were planned with before."""
    return (
        job.instrument is like.job.instrument
        and job.level == like.job.level
        and job.lesson.source_marks == like.lesson.source_marks
    )
