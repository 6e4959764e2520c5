"""The demonstration's catalogue: two editions of its lesson, a misprint that viewers found, and four small lessons."""

from __future__ import annotations

import contextlib
import datetime
import shutil
import sys
import tempfile
from pathlib import Path

__all__ = ["make_demo_catalogue"]

# Invented dates: the first edition, the day on which its misprint was known, the second; those of the small lessons.
_FIRST, _FOUND, _SECOND = datetime.date(2026, 11, 27), datetime.date(2026, 12, 4), datetime.date(2026, 12, 7)
_RELEASED = {"three-geese": datetime.date(2026, 10, 12), "clockmakers-gate": datetime.date(2026, 10, 30)}
_LESSONS_FOLDER = "more"
_PRODUCTS = ("part-a4", "facts")


def make_demo_catalogue(folder: Path) -> Path:
    """The catalogue beside the demonstration lesson, made where it is not there yet. Every step that is done stays."""
    from partwright.building import build_lesson
    from partwright.catalogue import CATALOGUE_FILE, open_catalogue, read_editions, release
    from partwright.cli.output import remark
    from partwright.lesson.demo_more_io import write_more_demos

    path = folder / CATALOGUE_FILE
    editions = len(read_editions(folder))
    if editions < 1:
        remark("The first edition, as it was printed: with a misprint.")
        _first_edition(folder)
    if editions < 2:
        remark("Viewers write; their comments are brought back to bars.")
        _hear_viewers(folder)
        remark("The second edition, mended.")
        release(folder, today=_SECOND, even_if_unchanged=True)
    lessons = write_more_demos(folder / _LESSONS_FOLDER)
    for lesson in lessons:
        if lesson.name in _RELEASED and not read_editions(lesson):
            release(lesson, today=_RELEASED[lesson.name])
        build_lesson(lesson, only=_PRODUCTS)
    with open_catalogue(path, create=True) as catalogue:
        for lesson in (folder, *lessons):
            catalogue.add(lesson)
    return path


def _first_edition(folder: Path) -> None:
    """Made in a folder of its own from the tune as it was then, and moved over whole."""
    from partwright.catalogue import release
    from partwright.files import write_atomic
    from partwright.lesson import LESSON_FILE, TUNE_FILE
    from partwright.lesson.demo_more_io import misprinted_tune

    for left in folder.glob(".then.*.part"):  # of a run that was killed
        shutil.rmtree(left, ignore_errors=True)
    then = Path(tempfile.mkdtemp(dir=folder, prefix=".then.", suffix=".part"))
    try:
        write_atomic(then / LESSON_FILE, (folder / LESSON_FILE).read_bytes())
        write_atomic(then / TUNE_FILE, misprinted_tune())
        release(then, today=_FIRST)
        (folder / "editions").mkdir(exist_ok=True)
        (then / "editions" / "1").rename(folder / "editions" / "1")
    finally:
        shutil.rmtree(then, ignore_errors=True)


def _hear_viewers(folder: Path) -> None:
    """What viewers wrote becomes drafts, dated as in the story; the misprint is confirmed."""
    from partwright.cli.reports import command as reports
    from partwright.lesson import change_erratum, folder_lock, read_errata

    with contextlib.redirect_stdout(sys.stderr):
        reports.main(args=[str(folder), str(folder / "comments.csv")], standalone_mode=False)
    with folder_lock(folder):
        for erratum in read_errata(folder):
            if erratum.state == "draft":
                told = (
                    {"state": "confirmed", "editions": (1,)}
                    if erratum.kind == "pitch" and erratum.where != "video"
                    else {}
                )
                change_erratum(folder, erratum.id, found=_FOUND, **told)
