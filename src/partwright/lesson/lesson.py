"""What a lesson holds: the teacher's decisions as values. Reading is in `read_settings`, writing in `write_lesson`.

Units: string length in mm, tempo in quarter notes per minute, practice speeds in per cent of it, pitch of A4 in Hz.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from partwright.lesson.rights import NOTHING_WRITTEN, RightsSheet

__all__ = ["FORMAT", "LESSON_FILE", "TUNE_FILE", "Episode", "Lesson", "PinEntry", "Section"]

FORMAT = 1
"""The version of the folder's format this program writes, and the newest it reads."""

LESSON_FILE = "lesson.toml"
TUNE_FILE = "tune.musicxml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of bars that is taught as one, named as on the page."""

    name: str
    first_bar: str
    last_bar: str
    remark: str = ""
    line: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One recording of the lesson: what it is called and which sections it teaches, by name."""

    title: str
    sections: tuple[str, ...]
    line: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PinEntry:
    """A pin as the teacher wrote it: "BAR:BEAT=FINGER[/STRING]", and the line it stands on."""

    text: str
    line: int | None = None
    origin: Literal["lesson", "call"] = "lesson"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """The content of lesson.toml. An empty text means: as the tune says, or none."""

    format: int = FORMAT
    title: str = ""
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    teacher: str = ""
    rights: tuple[str, ...] = ()  # credit in the maker's own words, instead of what the sheet says
    rights_sheet: RightsSheet = NOTHING_WRITTEN
    tune_file: str = TUNE_FILE
    part: str = ""
    voice: str = ""
    instrument: str = "cello"
    size: str = ""  # a trade name from the instrument's table, as in "3/4"; empty = full size
    level: str = "advanced"
    levels_file: str = ""  # levels of the player's own, in the lesson's folder
    string_length_mm: float | None = None
    tuning: str = ""  # pitches low to high, as in "C2 G2 D3 A3"; empty = the usual tuning
    school: str = ""
    taste: str = ""  # a learned taste (.toml) in the lesson's folder; empty = as the table of costs has it
    tempo_qpm: float | None = None
    practice_percent: tuple[float, ...] = (60.0, 80.0)
    a4_hz: float = 440.0
    temperament: Literal["equal", "pythagorean", "just"] = "equal"
    chord_sound: Literal["plucked", "struck", "held"] = "plucked"
    sound_format: Literal["flac", "mp3", "m4a", "opus"] = "flac"
    sound_font: str = ""  # a General MIDI sound font of the player's own for the accompaniment; empty = our voices
    count: Literal["click", "spoken"] = "click"
    paper: tuple[str, ...] = ("a4", "letter")
    marks: Literal["every", "needed", "none"] = "needed"
    strings: Literal["letters", "roman"] = "letters"
    clefs: Literal["player", "source", "bass", "tenor", "alto", "treble"] = "player"
    source_marks: Literal["keep", "ignore"] = "keep"
    teaching_order: tuple[str, ...] = ()  # names of sections as they are taught; empty = as they stand in the tune
    tries: int = 3  # how often a step is played before the next one
    speaking_wpm: float = 130.0  # words a minute, for the prompter's speed and the length of the lesson
    levels: tuple[str, ...] = ()  # levels that get a version of their own; empty = none
    undo: tuple[str, ...] = ()  # rewriting steps that shall not be made, as "beginner: octave 18-23"
    second: str = ""  # a second part: bass, counter or drone; empty = none
    second_level: str = ""  # who plays it; empty = the lesson's own level
    style: str = ""  # of the accompaniment; empty = none, "auto" = by the metre
    links: tuple[str, ...] = ()  # lines under "More" in the text below a video
    hands_area: tuple[float, ...] = ()  # left, top, right, bottom in per cent of the footage: nothing is put over it
    sections: tuple[Section, ...] = ()
    episodes: tuple[Episode, ...] = ()
    pins: tuple[PinEntry, ...] = ()
    catalogue_id: str = ""  # what the lesson is known by, wherever its folder lies; empty = in no catalogue yet
    price: str = ""  # as in "6.50 EUR"
    summary: str = ""  # a sentence or two for the sales sheet
    language: str = "en"  # of the words, ISO 639-1
    tags: tuple[str, ...] = ()
    sell: tuple[str, ...] = ()  # products an edition holds, by name; empty = everything but video
    edition: str = ""  # printed at the foot, as in "Edition 2, 2026-12-01"; set by a release, never in lesson.toml

    def sound_font_in(self, folder: Path) -> Path | None:
        """The sound font's path, where one is named; a bare name lies in the lesson's folder."""
        return folder / self.sound_font if self.sound_font else None
