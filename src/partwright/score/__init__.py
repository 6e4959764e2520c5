"""Notes, bars, repeats: reading, writing and annotating a tune. Knows nothing of instruments.

>>> from partwright.score import Pitch
>>> Pitch("C", 0, 4).midi
60
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names
from partwright.score.annotate import annotate, strip_marks, with_note_ids
from partwright.score.chord_notes import chord_notes
from partwright.score.faults import Fault, fault_remarks, find_faults
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
from partwright.score.read_musicxml import read_musicxml, tune_from_tree
from partwright.score.read_tune import read_tune, tune_from_bytes
from partwright.score.spell import transposed
from partwright.score.tune import NotePlace, Tune
from partwright.score.write_musicxml import musicxml_bytes, mxl_bytes, write_musicxml

if TYPE_CHECKING:
    from partwright.score.chord_text import chord_from_text
    from partwright.score.composing import compose_musicxml
    from partwright.score.converted import Converted
    from partwright.score.musicxml_elements import CLEFS
    from partwright.score.reclef import in_clefs
    from partwright.score.spelling import EstimatedKey, estimate_key, key_name
    from partwright.score.written import (
        WrittenBar,
        WrittenChord,
        WrittenEvent,
        WrittenKey,
        WrittenMetre,
        WrittenPart,
        WrittenScore,
        WrittenTempo,
        WrittenWords,
    )

__getattr__ = lazy_names(
    __name__,
    {
        "chord_text": ("chord_from_text",),
        "composing": ("compose_musicxml",),
        "converted": ("Converted",),
        "musicxml_elements": ("CLEFS",),
        "reclef": ("in_clefs",),
        "spelling": ("EstimatedKey", "estimate_key", "key_name"),
        "written": (
            "WrittenBar",
            "WrittenChord",
            "WrittenEvent",
            "WrittenKey",
            "WrittenMetre",
            "WrittenPart",
            "WrittenScore",
            "WrittenTempo",
            "WrittenWords",
        ),
    },
)

__all__ = [
    "CLEFS",
    "Bar",
    "BracketLine",
    "ChordSymbol",
    "Converted",
    "Credits",
    "Direction",
    "EstimatedKey",
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
    "WrittenBar",
    "WrittenChord",
    "WrittenEvent",
    "WrittenKey",
    "WrittenMetre",
    "WrittenPart",
    "WrittenScore",
    "WrittenTempo",
    "WrittenWords",
    "annotate",
    "beat_text",
    "chord_from_text",
    "chord_notes",
    "compose_musicxml",
    "estimate_key",
    "fault_remarks",
    "find_faults",
    "in_clefs",
    "key_name",
    "musicxml_bytes",
    "mxl_bytes",
    "read_musicxml",
    "read_tune",
    "strip_marks",
    "transposed",
    "tune_from_bytes",
    "tune_from_tree",
    "with_note_ids",
    "write_musicxml",
]
