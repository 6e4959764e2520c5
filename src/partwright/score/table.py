"""The notes of a part as a NumPy structured array, for the engines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from partwright.score.part import Part

__all__ = ["NOTE_COLUMNS", "note_table"]

NOTE_COLUMNS = np.dtype(
    [
        ("onset_quarters", "f8"),
        ("duration_quarters", "f8"),
        ("midi", "i2"),
        ("written_midi", "i2"),
        ("bar_index", "i4"),
        ("beat", "f8"),
        ("staff", "i2"),
        ("chord", "?"),
        ("grace", "?"),
        ("tied_from", "i4"),  # index of the note held over into this one; -1 = none
        ("tied_to", "i4"),
        ("slurred_to_next", "?"),
        ("tempo_qpm", "f4"),  # in force at the onset in written order
        ("dynamic", "f4"),
        ("pizzicato", "?"),
        ("string_number", "i2"),  # 0 = not said
        ("tremolo", "i2"),
        ("fermata", "?"),
    ]
)
"""Columns of `Part.table`; quarters, semitones and indices as in `Note`."""


def note_table(part: Part) -> npt.NDArray[np.void]:
    """One row per written note, in order. Shape (notes,); read-only."""
    indices = {note.id: note.index for note in part.notes}
    marks = part.tempo_marks
    at = 0
    rows = []
    for note in part.notes:
        while at + 1 < len(marks) and marks[at + 1].onset_quarters <= note.onset_quarters:
            at += 1
        rows.append(
            (
                float(note.onset_quarters),
                float(note.duration_quarters),
                note.pitch.midi,
                note.written_pitch.midi,
                note.bar_index,
                float(note.beat),
                note.staff,
                note.chord,
                bool(note.grace),
                -1 if note.tied_from is None else indices[note.tied_from],
                -1 if note.tied_to is None else indices[note.tied_to],
                note.slurred_to_next,
                marks[at].tempo_qpm,
                note.dynamic,
                note.pizzicato,
                note.string_number or 0,
                note.tremolo,
                note.fermata,
            )
        )
    table = np.array(rows, dtype=NOTE_COLUMNS)
    table.flags.writeable = False
    return table
