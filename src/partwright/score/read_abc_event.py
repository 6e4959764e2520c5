"""What an ABC voice is put together from while it is read: events and bars that can still change.

They are frozen at the end, when ties, tuplets, endings and words have found what they belong to.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

from partwright.score.part import Pitch
from partwright.score.written import (
    Tuplet,
    WrittenChord,
    WrittenEvent,
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenTempo,
    WrittenWords,
)

__all__ = ["AbcBar", "AbcEvent", "Remark", "drop_ties", "no_event"]

Remark = Callable[[str, str, int, int], None]
"""Gathers what was assumed or left out: key, sentence, line, column."""


@dataclass(slots=True)
class AbcEvent:
    """A note, chord or rest while it is being put together. Durations in quarter notes."""

    line: int
    column: int
    duration: Fraction
    pitches: list[Pitch] = field(default_factory=list)
    marked: list[bool] = field(default_factory=list)  # an accidental is written on this pitch
    ties: list[bool] = field(default_factory=list)
    tuplet: Tuplet | None = None
    grace: str = ""
    invisible: bool = False
    slur_starts: list[str] = field(default_factory=list)
    slur_stops: list[str] = field(default_factory=list)
    articulations: list[str] = field(default_factory=list)
    ornaments: list[str] = field(default_factory=list)
    technical: list[str] = field(default_factory=list)
    fingerings: list[str] = field(default_factory=list)
    fermata: bool = False
    arpeggiated: bool = False
    chord_symbols: list[WrittenChord] = field(default_factory=list)
    dynamic: str = ""
    wedge: str = ""
    wedge_stop: bool = False
    tempo: WrittenTempo | None = None
    words: list[WrittenWords] = field(default_factory=list)
    lyrics: list[WrittenLyric] = field(default_factory=list)
    clef: str = ""
    key: WrittenKey | None = None
    bar_index: int = 0

    @property
    def sings(self) -> bool:
        """Whether a syllable can stand under it."""
        return bool(self.pitches) and not self.grace

    def freeze(self) -> WrittenEvent:
        """The event as it is written out; it does not change any more."""
        values = {name: getattr(self, name) for name in _KEPT}
        for name in _KEPT_LISTS:
            values[name] = tuple(values[name])
        return WrittenEvent(duration_quarters=self.duration, **values)


_KEPT = tuple(
    f.name for f in dataclasses.fields(WrittenEvent) if f.name in {own.name for own in dataclasses.fields(AbcEvent)}
)
_KEPT_LISTS = tuple(f.name for f in dataclasses.fields(AbcEvent) if f.default_factory is list and f.name in _KEPT)


def no_event() -> AbcEvent:
    """An event that only gathers signs for the one to come."""
    return AbcEvent(line=0, column=0, duration=Fraction(1))


def drop_ties(event: AbcEvent) -> None:
    """None of its notes is held on."""
    event.ties = [False] * len(event.ties)


@dataclass(slots=True)
class AbcBar:
    """A bar while it is being read; `layers` are the voices laid over each other with "&"."""

    layers: list[list[AbcEvent]] = field(default_factory=lambda: [[]])
    metre: WrittenMetre | None = None
    free_metre: bool = False
    key: WrittenKey | None = None
    clef: str = ""
    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    ending: str = ""
    ending_stop: str = ""
    ending_open: bool = False
    right_line: str = ""
    left_line: str = ""
    jumps: dict[str, str] = field(default_factory=dict)
    section_before: bool = False  # a double bar, a repeat or the start stands before it
    metre_valid: WrittenMetre | None = None
    line: int = 0

    @property
    def empty(self) -> bool:
        """Whether nothing has been read into it yet."""
        return not any(self.layers)

    @property
    def length(self) -> Fraction:
        """Quarter notes of its longest layer; grace notes take no time."""
        return max(
            (sum((e.duration for e in layer if not e.grace), Fraction(0)) for layer in self.layers),
            default=Fraction(0),
        )
