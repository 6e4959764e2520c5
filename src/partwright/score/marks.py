"""Marks to add to a copy of the source: fingers, strings, bows, words. Plain data; `write_musicxml` puts them in.

Everything added carries an id beginning with `pw-`, so that `strip_marks` can take it out again and give back
the source, canonical form equal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["BracketLine", "FingeringMark", "Mark", "StringMark", "TechnicalMark", "WordsMark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FingeringMark:
    """A finger on a note: "0".."4" or "T". With `substitute`, the finger that takes over on the held note."""

    note_id: str
    finger: str
    substitute: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StringMark:
    """The string a note is played on. `number` as in MusicXML: 1 = the highest."""

    note_id: str
    number: int
    letter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TechnicalMark:
    """A MusicXML technical element without content: up-bow, down-bow, open-string, thumb-position, harmonic.

    `harmonic` is written with its <natural/> child.
    """

    note_id: str
    element: Literal["up-bow", "down-bow", "open-string", "thumb-position", "harmonic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WordsMark:
    """Words at a note: a position label, a string letter, "lift"."""

    note_id: str
    text: str
    placement: Literal["above", "below"] = "above"
    role: Literal["position", "string", "extension", "bow", "remark"] = "remark"


@dataclass(frozen=True, slots=True, kw_only=True)
class BracketLine:
    """A line over a range of notes with a text at its start: how long an extension or a string lasts."""

    first_note_id: str
    last_note_id: str
    text: str = ""
    line: Literal["dashes", "bracket"] = "dashes"
    role: Literal["extension", "string", "guide"] = "extension"


Mark = FingeringMark | StringMark | TechnicalMark | WordsMark | BracketLine
