"""More demonstration lessons for a small catalogue, and the demonstration tune as first printed: with a misprint.

All tunes, names and licences are invented; the tunes are dedicated to the public domain (CC0 1.0).
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from partwright.lesson.demo_io import demo_files
from partwright.lesson.lesson import LESSON_FILE, TUNE_FILE
from partwright.lesson.new_io import folder_from_files

__all__ = ["MORE_DEMOS", "misprinted_tune", "write_more_demos"]

MORE_DEMOS: tuple[str, ...] = ("three-geese", "clockmakers-gate", "salt-stair", "ferrymans-bell")


def write_more_demos(folder: Path) -> tuple[Path, ...]:
    """Write the small lessons below this folder, each unless it is there; their folders, in a fixed order."""
    home = resources.files("partwright.lesson") / "data" / "demo_more"
    found = []
    for name in MORE_DEMOS:
        path = folder / name
        if not (path / LESSON_FILE).is_file():
            folder_from_files(path, {file: (home / name / file).read_bytes() for file in (LESSON_FILE, TUNE_FILE)})
        found.append(path)
    return tuple(found)


def misprinted_tune() -> bytes:
    """The demonstration tune with C instead of C sharp in bar 32, as its first edition had it."""
    text = demo_files()[TUNE_FILE].decode("utf-8")
    sign = "<alter>1</alter>"
    at = text.index(sign, text.index('<measure number="32"'))
    return (text[:at] + text[at + len(sign) :]).encode("utf-8")
