"""Notes, bars, repeats: reading, writing and annotating a tune. Knows nothing of instruments.

>>> from partwright.score import Pitch
>>> Pitch("C", 0, 4).midi
60
"""

from partwright.score.faults import Fault, find_faults
from partwright.score.marks import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, WordsMark
from partwright.score.part import (
    Bar,
    ChordSymbol,
    Credits,
    Direction,
    LooseEnd,
    Note,
    Part,
    Pitch,
    PlayedBar,
    PlayedNote,
    SourceFingering,
    TempoMark,
    beat_text,
)
from partwright.score.read_musicxml import read_musicxml, read_tune, tune_from_tree
from partwright.score.tune import NotePlace, Tune

__all__ = [
    "Bar",
    "BracketLine",
    "ChordSymbol",
    "Credits",
    "Direction",
    "Fault",
    "FingeringMark",
    "LooseEnd",
    "Mark",
    "Note",
    "NotePlace",
    "Part",
    "Pitch",
    "PlayedBar",
    "PlayedNote",
    "SourceFingering",
    "StringMark",
    "TechnicalMark",
    "TempoMark",
    "Tune",
    "WordsMark",
    "beat_text",
    "find_faults",
    "read_musicxml",
    "read_tune",
    "tune_from_tree",
]
