"""What an instrument and the hand on it can do. Values only; the numbers live in `data/*.toml`.

Units: places on a string in semitones above the open string; lengths in mm; times in seconds.
Strings are indexed from 0 = lowest; their printed number counts from 1 = highest (MusicXML).
A *frame* is where the hand lies: the place of finger 1 of the closed hand, or of the thumb in thumb position.
Source of the distances: x = L·(1 - 2^(-n/12)), equal temperament on an ideal string.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "THUMB",
    "HandShape",
    "Harmonic",
    "Instrument",
    "InstrumentSize",
    "Level",
    "OpenString",
    "PositionName",
    "finger_text",
    "stop_mm",
]

THUMB = 5
"""The thumb as a finger number; printed "T"."""

Zone = Literal["neck", "upper", "thumb"]


def finger_text(finger: int) -> str:
    """A finger as printed: 0..4, or T for the thumb."""
    return "T" if finger == THUMB else str(finger)


def stop_mm(string_length_mm: float, semitones: float) -> float:
    """Distance from the nut to the place `semitones` above the open string, in mm.

    >>> round(stop_mm(690.0, 12), 1)
    345.0
    """
    return float(string_length_mm * (1.0 - 2.0 ** (-semitones / 12.0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenString:
    """One string, named by its letter; `number` counts from 1 = highest."""

    letter: str
    midi: int
    number: int
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandShape:
    """Where the fingers fall for a hand that lies at a frame: offsets in semitones from the frame.

    `offsets` maps finger (1..4, THUMB) to semitones; `frame_min`/`frame_max` bound the frame.
    `extension` says which way the hand is opened, if it is: "", "back" or "forward".
    """

    name: str
    zone: Zone
    offsets: Mapping[int, int]
    frame_min: int
    frame_max: int
    extension: Literal["", "back", "forward"] = ""
    body: int = 0  # from the frame to where the hand as a whole lies: 1 for an opened hand that has moved up
    fourth_max: int | None = None  # highest frame at which finger 4 may be used, where lower than frame_max
    words: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionName:
    """What one school calls a frame."""

    frame: int
    label: str  # printed: "½", "I", "IV" …
    spoken: str  # "half position", "fourth position"


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmonic:
    """A natural harmonic: touched at `node_semitones`, sounding `sounds_semitones` above the open string."""

    partial: int
    node_semitones: int  # nearest fingered place; the true node lies at `node_fraction` of the string from the nut
    node_fraction: float
    sounds_semitones: int  # nearest tempered pitch
    cents: float  # deviation of the sound from tempered
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What a player of this level may be asked to do. Limits are hard; relaxing one is always reported."""

    name: str
    frame_min: int  # lowest neck frame
    frame_max: int  # highest neck or upper frame
    shapes: tuple[str, ...]  # names of allowed hand shapes
    thumb: bool
    harmonic_partials: tuple[int, ...]
    double_stops: bool
    largest_chord: int  # notes
    shift_semitones_max: int
    shift_seconds_min: float  # least time for a shift, from the end of one note's hold to the next onset
    clefs: tuple[str, ...]
    range_semitones: tuple[int, int]  # lowest and highest sounding pitch, semitones above the lowest open string
    weights: Mapping[str, float] = field(default_factory=dict)  # of cost terms that differ at this level
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentSize:
    """A size the instrument is made in: its trade name ("3/4"), open string and usable bow hair in mm."""

    name: str
    string_length_mm: float
    bow_hair_mm: float
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One instrument as tables: strings low to high, hand shapes, position names, harmonics, levels."""

    name: str
    strings: tuple[OpenString, ...]
    string_length_mm: float
    bow_hair_mm: float
    shapes: tuple[HandShape, ...]
    position_names: Mapping[str, tuple[PositionName, ...]]  # by school
    school: str
    harmonics: tuple[Harmonic, ...]
    levels: Mapping[str, Level]
    string_ceiling_semitones: tuple[int, ...]  # highest usual stop on each string, low to high
    home_frames: tuple[int, ...] = ()  # neck frames the hand finds most surely
    sounds_octaves: int = 0  # -1: sounds an octave below the written note (double bass)
    thumb_side: Literal["left", "right"] = "left"
    default_clef: str = "bass"
    sizes: tuple[InstrumentSize, ...] = ()  # largest first
    weights: Mapping[str, float] = field(default_factory=dict)  # of cost terms that differ on this instrument
    size: str = ""  # the one `string_length_mm` belongs to; "" for a length of the player's own

    def string_index(self, letter: str) -> int | None:
        """Index of the string with this letter, counted from 0 = lowest; None if there is none."""
        for index, string in enumerate(self.strings):
            if string.letter.casefold() == letter.casefold():
                return index
        return None

    def stop_mm(self, semitones: float) -> float:
        """Distance from the nut in mm on this instrument's string length."""
        return stop_mm(self.string_length_mm, semitones)

    def shape(self, name: str) -> HandShape:
        """The shape with this name. Raises KeyError for an unknown one."""
        for shape in self.shapes:
            if shape.name == name:
                return shape
        raise KeyError(name)

    def position(self, frame: int, zone: Zone = "neck", school: str | None = None) -> PositionName:
        """What the chosen school calls this frame; thumb frames and frames beyond the table are named by semitones."""
        if zone != "thumb":
            for name in self.position_names[school or self.school]:
                if name.frame == frame:
                    return name
        label = f"T{frame}" if zone == "thumb" else f"+{frame}"
        spoken = (
            f"thumb position, thumb {frame} semitones above the open string"
            if zone == "thumb"
            else (f"first finger {frame} semitones above the open string")
        )
        return PositionName(frame=frame, label=label, spoken=spoken)
