"""From what was typed to a tune ready to be planned: of a file, or of a lesson folder.

What is typed wins over the lesson's settings; a lesson's pins and the typed ones all stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from partwright.errors import OutputError, PartwrightError, Place
from partwright.fingering import FingeringPlan, Planning, plan_of
from partwright.fingering import prepare as lay_out
from partwright.lesson import Lesson, PinEntry, Prepared, is_lesson, prepare, read_lesson, refuse_out_of_range

__all__ = ["plan_prepared", "planning_for", "read_job", "read_settings", "refuse_source"]


def read_settings(
    score: str,
    *,
    part: str | None = None,
    voice: str | None = None,
    instrument: str | None = None,
    size: str | None = None,
    string_length_mm: float | None = None,
    tuning: str | None = None,
    school: str | None = None,
    level: str | None = None,
    levels_file: str | None = None,
    taste: str | None = None,
    pins: Sequence[str] = (),
    keep_source_marks: bool | None = None,
) -> tuple[Lesson, Path]:
    """The settings for SCORE, typed ones over the lesson's, and the folder its files lie in."""
    path = Path(score)
    if is_lesson(path):
        lesson, folder = read_lesson(path), path
    else:
        lesson, folder = Lesson(tune_file=str(path)), Path()
    typed: dict[str, object] = {
        "part": part,
        "voice": voice,
        "instrument": instrument and _from_here(instrument, folder),
        "size": size,
        "string_length_mm": string_length_mm,
        "tuning": tuning,
        "school": school,
        "level": level,
        "levels_file": levels_file and str(Path(levels_file).resolve()),
        "taste": taste and str(Path(taste).resolve()),
        "source_marks": None if keep_source_marks is None else ("keep" if keep_source_marks else "ignore"),
    }
    given = {key: value for key, value in typed.items() if value is not None}
    typed_pins = tuple(PinEntry(text=text, origin="call") for text in pins)
    return replace(lesson, pins=(*lesson.pins, *typed_pins), **given), folder  # type: ignore[arg-type]


def read_job(score: str, **typed: object) -> Prepared:
    """SCORE ready to be planned. Raises InputError for anything that is not as it should be."""
    lesson, folder = read_settings(score, **typed)  # type: ignore[arg-type]
    return prepare(lesson, folder)


def planning_for(job: Prepared) -> Planning:
    """The part laid out and solved around the pins, for plans and explanations.

    What goes wrong names the tune's file. Raises NoPlan where a note lies outside the instrument.
    """
    try:
        planning = lay_out(job.part, job.instrument, level=job.level, pins=job.pins)
        refuse_out_of_range(job, plan_of(planning))
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error
    return planning


def plan_prepared(job: Prepared) -> FingeringPlan:
    """The best plan around the pins."""
    return plan_of(planning_for(job))


def refuse_source(out: Path, tune_path: Path) -> None:
    """OutputError where the result would be written over the tune itself."""
    if out.exists() and tune_path.exists() and out.samefile(tune_path):
        raise OutputError(
            "is the tune itself, which is never rewritten", "Choose another name for --out.", place=Place(file=str(out))
        )


def _from_here(instrument: str, folder: Path) -> str:
    """A table of the player's own is named from where the command is typed, not from the lesson's folder."""
    return (
        str(Path(instrument).resolve()) if instrument.casefold().endswith(".toml") and folder != Path() else instrument
    )
