"""What the steps of one build share: the tune, the plan and the marks, each made at most once and only when asked for.

`fingerprint` names the inputs steps may have. To add one: a row in `_FINGERPRINTS`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import cache, cached_property
from importlib import metadata, resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING

from partwright import __version__
from partwright.bowing import BowingPlan
from partwright.errors import InputError, PartwrightError, Place
from partwright.files import content_hash, file_hash
from partwright.fingering import FingeringPlan, Planning, plan_of
from partwright.fingering import prepare as prepare_fingering
from partwright.lesson import (
    OWN_SCRIPT_FILE,
    Lesson,
    PlannedDrill,
    Prepared,
    Sentence,
    Teaching,
    credit_lines,
    lesson_bowing,
    lesson_script,
    lesson_versions,
    plan_drill,
    plan_marks,
    plan_teaching,
    prepare,
    refuse_out_of_range,
)
from partwright.score import Mark

if TYPE_CHECKING:
    from partwright.arranging import Version

__all__ = ["BUILD_FOLDER", "Workshop", "program_hash"]

BUILD_FOLDER = "build"
TAKES_FOLDER = "takes"
_TRANSCRIPT_ENDINGS = frozenset({".vtt", ".srt", ".sbv", ".txt"})
_FILM_ENDINGS = frozenset({".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".mts"})
_SOUND_ENDINGS = (".wav", ".flac", ".mp3", ".m4a", ".aac", ".ogg", ".opus", ".aif", ".aiff")

# What the lesson's fields decide: fields of `Lesson` by the input they belong to.
_FIELDS: Mapping[str, tuple[str, ...]] = {
    "hand": (
        "instrument",
        "size",
        "level",
        "string_length_mm",
        "tuning",
        "school",
        "taste",
        "source_marks",
    ),
    "edition": ("edition",),
    "marks": ("marks", "strings", "clefs"),
    "paper": ("paper",),
    "arranging": ("levels", "undo", "second", "second_level", "style"),
    "tempo": ("tempo_qpm", "practice_percent"),
    "sound": ("a4_hz", "temperament", "chord_sound", "sound_format", "sound_font", "count"),
    "sections": ("sections",),
    "video": ("links", "hands_area"),
    "teaching": ("teaching_order", "tries", "speaking_wpm", "episodes"),
}


class Workshop:
    """One lesson being built. Values are computed when a step first asks for them."""

    def __init__(self, folder: Path, lesson: Lesson, build_folder: Path | None = None) -> None:
        self.folder = folder
        self.lesson = lesson
        self.build_folder = build_folder or folder / BUILD_FOLDER

    @cached_property
    def backing(self) -> Path | None:
        """The player's own recording to play along with, where the folder holds one."""
        found = sorted(
            path
            for path in self.folder.glob("backing.*")
            if path.suffix.casefold() in _SOUND_ENDINGS and path.is_file()
        )
        return found[0] if found else None

    @cached_property
    def sound_font(self) -> Path | None:
        """The player's own sound font for the accompaniment, where the lesson names one."""
        return self.lesson.sound_font_in(self.folder)

    @cached_property
    def transcripts(self) -> tuple[Path, ...]:
        """What was said in the takes, where their transcripts are there."""
        return _takes(self, _TRANSCRIPT_ENDINGS)

    @cached_property
    def recordings(self) -> tuple[Path, ...]:
        """What was played in the takes, as sound alone; a film is checked on request."""
        return _takes(self, frozenset(_SOUND_ENDINGS))

    @cached_property
    def footage(self) -> tuple[Path, ...]:
        """The recorded lesson: films in takes/, with or without a transcript of the same name beside them."""
        return _takes(self, _FILM_ENDINGS)

    @cached_property
    def prepared(self) -> Prepared:
        """Tune, instrument and pins."""
        return prepare(self.lesson, self.folder)

    @cached_property
    def planning(self) -> Planning:
        """The part laid out and solved, for what asks why."""
        job = self.prepared
        try:
            return prepare_fingering(job.part, job.instrument, level=job.level, pins=job.pins)
        except PartwrightError as error:
            raise error.at(Place(file=str(job.tune_path))) from error

    @cached_property
    def bowing(self) -> BowingPlan:
        """The best bows for the planned fingers."""
        return lesson_bowing(self.prepared, self.plan)

    @cached_property
    def teaching(self) -> Teaching:
        """The planned lesson: sections, hard spots, drills, steps, episodes."""
        return plan_teaching(self.lesson, self.planning, bowing=self.bowing)

    @cached_property
    def drills(self) -> tuple[PlannedDrill, ...]:
        """The lesson's drills, fingered and bowed."""
        teaching = self.teaching
        return tuple(plan_drill(d, teaching.instrument, level=self.prepared.level) for d in teaching.drills)

    @cached_property
    def script(self) -> tuple[Sentence, ...]:
        """What to say: the teacher's own script where the folder holds one, else the one made."""
        return lesson_script(self.teaching, self.folder)

    @cached_property
    def versions(self) -> Mapping[str, Version]:
        """The tune for each level the lesson names."""
        return lesson_versions(self.prepared)

    @cached_property
    def plan(self) -> FingeringPlan:
        """The best plan around the pins."""
        job = self.prepared
        try:
            plan = plan_of(self.planning)
            refuse_out_of_range(job, plan)
        except PartwrightError as error:
            raise error.at(Place(file=str(job.tune_path))) from error
        return plan

    @cached_property
    def marks(self) -> tuple[Mark, ...]:
        """The marks of fingers and bow as the page settings ask."""
        return plan_marks(self.prepared, self.plan, bowing=self.bowing)

    def fingerprint(self, name: str) -> str:
        """The hash of an input's content. Raises KeyError for a name no row knows."""
        if name in _FIELDS:
            decided = json.dumps([_plain(getattr(self.lesson, key)) for key in _FIELDS[name]])
            return content_hash(decided, _sound_font(self)) if name == "sound" else content_hash(decided)
        return _FINGERPRINTS[name](self)


def _tune(workshop: Workshop) -> str:
    path = workshop.folder / workshop.lesson.tune_file
    return content_hash(_bytes(path), workshop.lesson.part, workshop.lesson.voice)


def _credits(workshop: Workshop) -> str:
    """What is printed of the credits; what else stands in the rights sheet makes no page another one."""
    lesson = workshop.lesson
    lines = credit_lines(lesson.rights_sheet, lesson.rights)
    names = (lesson.title, lesson.subtitle, lesson.composer, lesson.arranger, lesson.teacher)
    return content_hash(json.dumps([*names, *lines, bool(lesson.rights_sheet.status)]))


def _pins(workshop: Workshop) -> str:
    return content_hash(*(pin.text for pin in workshop.lesson.pins))


def _own_tables(workshop: Workshop) -> str:
    """Tables of the player's own: an instrument's, levels, or a taste."""
    lesson = workshop.lesson
    names = [name for name in (lesson.levels_file, lesson.taste) if name]
    if lesson.instrument.casefold().endswith(".toml"):
        names.append(lesson.instrument)
    return content_hash(*(_bytes(workshop.folder / name) for name in names))


@cache
def program_hash() -> str:
    """The hash of this program: its version, every file of it, and the versions of what draws for it."""
    root = resources.files("partwright")
    chunks: list[str | bytes] = [__version__]
    chunks.extend(
        f"{library} {metadata.version(library)}"
        for library in ("verovio", "typst", "numpy", "lxml", "scipy", "av", "mido")
    )
    _gather(root, "", chunks)
    return content_hash(*chunks)


def _takes(workshop: Workshop, endings: frozenset[str]) -> tuple[Path, ...]:
    folder = workshop.folder / TAKES_FOLDER
    return tuple(sorted(p for p in folder.glob("*") if p.suffix.casefold() in endings and p.is_file()))


def _transcripts(workshop: Workshop) -> str:
    chunks: list[str | bytes] = []
    for path in _takes(workshop, _TRANSCRIPT_ENDINGS | {".json"}):
        chunks += [path.name, _bytes(path)]
    return content_hash(*chunks)


def _footage(workshop: Workshop) -> str:
    return content_hash(*(f"{path.name} {file_hash(path)}" for path in workshop.footage))


def _recordings(workshop: Workshop) -> str:
    return content_hash(*(f"{path.name} {file_hash(path)}" for path in workshop.recordings))


def _own_script(workshop: Workshop) -> str:
    path = workshop.folder / OWN_SCRIPT_FILE
    return content_hash(_bytes(path)) if path.is_file() else ""


def _backing(workshop: Workshop) -> str:
    path = workshop.backing
    return content_hash(path.name, _bytes(path)) if path is not None else ""


def _sound_font(workshop: Workshop) -> str:
    path = workshop.sound_font
    if path is None:
        return ""
    if not path.is_file():
        raise InputError("is not there", "Check the sound font's name in lesson.toml.", place=Place(file=str(path)))
    try:
        return file_hash(path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the sound font.", place=Place(file=str(path))) from error


_FINGERPRINTS: Mapping[str, Callable[[Workshop], str]] = {
    "tune": _tune,
    "credits": _credits,
    "pins": _pins,
    "own tables": _own_tables,
    "script of your own": _own_script,
    "backing": _backing,
    "transcripts": _transcripts,
    "footage": _footage,
    "recordings": _recordings,
    "program": lambda _: program_hash(),
}


def _gather(folder: Traversable, prefix: str, chunks: list[str | bytes]) -> None:
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        if item.is_dir():
            if item.name != "__pycache__":
                _gather(item, f"{prefix}{item.name}/", chunks)
        elif not item.name.endswith(".pyc"):
            chunks += [prefix + item.name, item.read_bytes()]


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise InputError("is not there", "Check the name in lesson.toml.", place=Place(file=str(path))) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the file.", place=Place(file=str(path))) from error


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        return {key: item for key, item in asdict(value).items() if key != "line"}  # type: ignore[call-overload]
    return value
