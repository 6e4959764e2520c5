"""Notes, bars, repeats: reading, writing and annotating a tune. Knows nothing of instruments.

>>> from partwright.score import Pitch
>>> Pitch("C", 0, 4).midi
60
"""

from partwright.score.marks import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, WordsMark
from partwright.score.part import (
    Bar,
    ChordSymbol,
    Credits,
    Direction,
    Note,
    Part,
    Pitch,
    PlayedBar,
    PlayedNote,
    SourceFingering,
    TempoMark,
    beat_text,
)

__all__ = [
    "Bar",
    "BracketLine",
    "ChordSymbol",
    "Credits",
    "Direction",
    "FingeringMark",
    "Mark",
    "Note",
    "Part",
    "Pitch",
    "PlayedBar",
    "PlayedNote",
    "SourceFingering",
    "StringMark",
    "TechnicalMark",
    "TempoMark",
    "WordsMark",
    "beat_text",
]
