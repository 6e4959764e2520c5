"""Starting a lesson folder: it appears whole or not at all, and the tune goes in byte for byte."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from partwright.arranging import move_part, semitones_to, written_part, written_score, written_tune
from partwright.errors import LessonError, OutputError, Place
from partwright.files import write_atomic
from partwright.lesson.lesson import LESSON_FILE, TUNE_FILE, Lesson
from partwright.lesson.lying import lying_remarks
from partwright.lesson.prepare_io import prepare_instrument
from partwright.lesson.survey import Survey, survey_part
from partwright.lesson.write_lesson import lesson_text
from partwright.score import Tune, read_tune, write_musicxml

__all__ = ["folder_from_files", "new_lesson"]

_PLAIN = {".xml", ".musicxml"}
_AS_IT_CAME = "tune-as-it-came.musicxml"


def new_lesson(
    folder: Path, tune_path: Path, lesson: Lesson, *, key: str | None = None, octaves: int = 0
) -> tuple[Lesson, Survey]:
    """Make the folder from a tune and the settings in `lesson`; what the tune says fills what they leave open.

    A plain MusicXML file is copied byte for byte; any other kind is converted once and the original kept beside it.
    With `key` or `octaves` the chosen part is written out in that key (`semitones_to` says how far), and the original
    is kept beside it.
    """
    refuse_taken(folder)
    tune = read_tune(tune_path, part=lesson.part or None, voice=lesson.voice or None)
    remarks = tune.part.remarks
    original = _tune_files(tune_path)
    if semitones := semitones_to(tune.part, key, octaves):
        tune = _in_another_key(tune, semitones, lesson)
        lesson = replace(lesson, part="", voice="")  # the new file holds that part alone
        original = {_AS_IT_CAME if name == TUNE_FILE else name: content for name, content in original.items()}
    remarks += (*tune.part.remarks, *lying_remarks(tune.part, prepare_instrument(lesson, Path()), lesson.level))
    survey = survey_part(replace(tune.part, remarks=tuple(dict.fromkeys(remarks))))
    printed = tune.part.credits
    filled = replace(
        lesson,
        title=lesson.title or printed.title or tune_path.stem,
        subtitle=lesson.subtitle or printed.subtitle,
        composer=lesson.composer or printed.composer,
        arranger=lesson.arranger or printed.arranger,
        rights=lesson.rights or printed.rights,
        sections=lesson.sections or survey.sections,
    )
    folder_from_files(folder, {LESSON_FILE: lesson_text(filled).encode("utf-8")} | original, tune)
    return filled, survey


def _in_another_key(tune: Tune, semitones: int, lesson: Lesson) -> Tune:
    """The tune's part written out anew, in the clefs of the lesson's level."""
    instrument = prepare_instrument(lesson, Path())
    clefs = instrument.levels[lesson.level].clefs or (instrument.default_clef,)
    moved = move_part(tune.part, semitones)
    return written_tune(written_score([written_part(moved, clefs=clefs)], moved), name=TUNE_FILE)


def _tune_files(tune_path: Path) -> dict[str, bytes]:
    suffix = tune_path.suffix.casefold()
    return {TUNE_FILE if suffix in _PLAIN else f"tune{suffix}": tune_path.read_bytes()}


def folder_from_files(folder: Path, files: Mapping[str, bytes], tune: Tune | None = None) -> None:
    """Make a folder with these files, whole or not at all. A tune not among them is written from its tree."""
    temporary: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}.", suffix=".part"))
        for name, content in files.items():
            (temporary / name).parent.mkdir(parents=True, exist_ok=True)
            write_atomic(temporary / name, content)
        if tune is not None and TUNE_FILE not in files:
            write_musicxml(tune.document, temporary / TUNE_FILE)
        temporary.chmod(0o755)
        temporary.rename(folder)
        temporary = None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be made ({reason})", "Choose another place; nothing was changed.", place=Place(file=str(folder))
        ) from error
    finally:
        if temporary is not None:
            shutil.rmtree(temporary, ignore_errors=True)


def refuse_taken(folder: Path) -> None:
    """LessonError where the folder's name is taken by anything but an empty folder."""
    if (folder / LESSON_FILE).exists():
        raise LessonError(
            "is a lesson already", "Choose another name, or build it: partwright build.", place=Place(file=str(folder))
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise LessonError("is there already and not empty", "Choose another name.", place=Place(file=str(folder)))
