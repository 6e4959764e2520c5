"""What the editions that were sold have at a place; their plans are made only where a finger is asked for."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from partwright.checking.reports.reports import EditionsAt
from partwright.checking.reports.weigh import EditionNote
from partwright.errors import PartwrightError
from partwright.fingering import plan_of
from partwright.fingering import prepare as lay_out
from partwright.lesson import Prepared, prepare, read_lesson
from partwright.score import Note

__all__ = ["sold_notes"]


def sold_notes(folder: Path, *, told: Callable[[str], None]) -> EditionsAt:
    """For a note of the score: the notes at its place in every edition in `folder`, oldest first.

    An edition that cannot be read, or planned where a finger is asked for, is left out and `told` of.
    """
    numbers = sorted(int(p.name) for p in (folder / "editions").glob("*") if p.name.isdigit() and p.is_dir())

    @cache
    def job_of(number: int) -> Prepared | None:
        source = folder / "editions" / str(number) / "source"
        try:
            return prepare(read_lesson(source), source)
        except PartwrightError as error:
            told(f"edition {number} was not looked into: {error}")
            return None

    @cache
    def fingers_of(number: int) -> dict[str, int]:
        job = job_of(number)
        if job is None:
            return {}
        try:
            plan = plan_of(lay_out(job.part, job.instrument, level=job.level, pins=job.pins))
        except PartwrightError as error:
            told(f"the fingers of edition {number} were not looked into: {error}")
            return {}
        return {note: planned.placement.finger for note, planned in plan.by_id.items()}

    def at(note: Note, kind: str) -> list[EditionNote]:
        found = []
        for number in numbers:
            job = job_of(number)
            for old in () if job is None else job.part.notes:
                if (old.bar, old.beat, old.grace) != (note.bar, note.beat, note.grace):
                    continue
                finger = fingers_of(number).get(old.id) if kind == "finger" else None
                alter = round(old.pitch.alter)
                found.append(EditionNote(number=number, step=old.pitch.step, alter=alter, finger=finger))
        return found

    return at
