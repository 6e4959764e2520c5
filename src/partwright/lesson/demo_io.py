"""The demonstration lesson carried in the package: an invented tune by an invented teacher, public domain (CC0)."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from partwright.lesson.lesson import LESSON_FILE, TUNE_FILE
from partwright.lesson.new_io import folder_from_files, refuse_taken

__all__ = ["demo_files", "write_demo"]

_NAMES = (LESSON_FILE, TUNE_FILE, "takes/lesson.vtt", "takes/bars-18-to-34.opus", "comments.csv")


def demo_files() -> dict[str, bytes]:
    """The files of the demonstration lesson, by name."""
    folder = resources.files("partwright.lesson") / "data" / "demo"
    return {name: (folder / name).read_bytes() for name in _NAMES}


def write_demo(folder: Path) -> bool:
    """Write the demonstration lesson. False where the folder holds it already; LessonError where it holds another."""
    files = demo_files()
    tune = folder / TUNE_FILE
    if (folder / LESSON_FILE).is_file() and tune.is_file() and tune.read_bytes() == files[TUNE_FILE]:
        return False
    refuse_taken(folder)
    folder_from_files(folder, files)
    return True
