"""What can go wrong, by situation, and where.

    PartwrightError
    ├── InputError            the file or the call is bad (exit 2)
    │   ├── ScoreError        a tune that cannot be read or makes no sense
    │   ├── LessonError       lesson.toml or its folder
    │   ├── AudioError        a recording that cannot be read
    │   ├── PinConflict       pins that contradict each other or the hand
    │   └── NewerFormat       made by a newer partwright
    ├── NoPlan                nothing playable exists
    ├── EngravingError        the engraver cannot draw this tune (exit 2)
    └── OutputError           a file cannot be written (exit 2)

Each prints one sentence in three parts: where, what, what to do.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

__all__ = [
    "AudioError",
    "EngravingError",
    "InputError",
    "LessonError",
    "NewerFormat",
    "NoPlan",
    "OutputError",
    "PartwrightError",
    "PinConflict",
    "Place",
    "ScoreError",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where in the user's own terms something is: file and line, or bar and beat.

    >>> str(Place(file="tune.musicxml", bar="12", beat="3"))
    'tune.musicxml, bar 12, beat 3'
    """

    file: str | None = None
    line: int | None = None
    bar: str | None = None
    beat: str | None = None
    note_id: str | None = None

    def __str__(self) -> str:
        parts = []
        if self.file is not None:
            parts.append(self.file)
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.bar is not None:
            parts.append(f"bar {self.bar}")
        if self.beat is not None:
            parts.append(f"beat {self.beat}")
        return ", ".join(parts)

    def filled(self, other: Place) -> Place:
        """This place with what it does not know taken from `other`."""
        known = {k: v for k, v in dataclasses.asdict(self).items() if v is not None}
        return dataclasses.replace(other, **known)


class PartwrightError(Exception):
    """One sentence: where, what, what to do. `place` travels as data and is filled in on the way up."""

    exit_code = 2

    def __init__(self, what: str, todo: str = "", *, place: Place | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.todo = todo
        self.place = place or Place()

    def at(self, place: Place) -> PartwrightError:
        """The same error with the parts of its place that were unknown filled in from `place`."""
        self.place = self.place.filled(place)
        return self

    def __str__(self) -> str:
        where = str(self.place)
        text = f"{where}: {self.what}" if where else self.what
        text = text if text.endswith((".", "?")) else text + "."
        return f"{text} {self.todo}" if self.todo else text


class InputError(PartwrightError):
    """The input or the call is bad."""


class ScoreError(InputError):
    """A tune that cannot be read, or that makes no musical sense."""


class LessonError(InputError):
    """lesson.toml or the lesson's folder is not as it should be."""


class AudioError(InputError):
    """A recording that cannot be read, or holds nothing that can be used."""


class PinConflict(InputError):
    """Pins that contradict each other or the hand; none is ever dropped silently."""


class NewerFormat(InputError):
    """A file made by a newer partwright than this one."""


class NoPlan(PartwrightError):
    """Nothing playable exists for a note or a passage."""


class OutputError(PartwrightError):
    """A result cannot be written; what was there before is still there."""


class EngravingError(PartwrightError):
    """The engraver cannot draw a tune, or the page asked for; nothing was written."""
