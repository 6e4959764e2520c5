"""Small lessons for a catalogue, quick to build and release. All invented."""

from __future__ import annotations

import datetime
from pathlib import Path

from made_tunes import small_tune, write_lesson_folder

__all__ = ["BARS", "DAY", "make_lesson", "settings_text", "tune_of"]

DAY = datetime.date(2026, 11, 28)
BARS = ("D3:1 F#3:1 A3:1 F#3:1", "G3:2 E3:2", "A2:1 C#3:1 E3:1 G3:1", "D3:4")


def settings_text(
    name: str,
    *,
    title: str = "",
    status: str = "own-work",
    sell: str = '["fingered"]',
    rights: str = "",
    more: str = "",
    level: str = "intermediate",
) -> str:
    """A lesson.toml with a rights sheet and an id; `sell` is quick to make."""
    return (
        f'format = 1\ntitle = "{title or name.capitalize()}"\ncomposer = "Invented"\n'
        f'[instrument]\nlevel = "{level}"\n[page]\npaper = ["a4"]\n'
        f'[rights]\nstatus = "{status}"\nreason = "Made for a test."\n{rights}\n'
        f'[catalogue]\nid = "{name}"\nsell = {sell}\n{more}\n'
    )


def tune_of(bars: tuple[str, ...] = BARS, title: str = "Tune") -> str:
    return small_tune(*bars, title=title)


def make_lesson(folder: Path, name: str = "", *, bars: tuple[str, ...] = BARS, **settings: str) -> Path:
    """A lesson folder, its id the folder's name if none is given."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    return write_lesson_folder(folder, tune_of(bars), settings_text(name or folder.name, **settings))
