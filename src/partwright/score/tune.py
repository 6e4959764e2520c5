"""A tune as read: the source's tree, which is never changed, and the part chosen from it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lxml import etree

from partwright.score.part import Part

__all__ = ["NotePlace", "Tune"]


@dataclass(frozen=True, slots=True)
class NotePlace:
    """Where a note stands in the source: which bar, and how many <note> elements stand before it there."""

    bar_index: int
    order: int


@dataclass(frozen=True, kw_only=True)
class Tune:
    """One part of one source, with the way back from every note to its element.

    `document` belongs to the source and must not be changed; `annotate` works on a copy. For a tune that came as
    MIDI or ABC it is the MusicXML made from it.
    """

    document: etree._ElementTree
    part: Part
    part_names: tuple[str, ...]  # of all parts with music, in order
    part_index: int  # which of them `part` is
    source: Path
    source_bytes_hash: str  # SHA-256 of the file as it came, 64 hex digits
    note_places: tuple[NotePlace, ...]  # one for each note of `part`
    voice: str = ""  # as it was asked for; "" = no wish
