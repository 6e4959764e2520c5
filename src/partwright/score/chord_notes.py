"""The notes of a chord symbol, in semitones above its root. Kinds are MusicXML 4.0's; their notes are the trade's usual
ones (common practice, no source)."""

from __future__ import annotations

from partwright.score.part import ChordSymbol

__all__ = ["chord_notes"]

_KINDS: dict[str, tuple[int, ...]] = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "augmented": (0, 4, 8), "diminished": (0, 3, 6),
    "dominant": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "diminished-seventh": (0, 3, 6, 9), "augmented-seventh": (0, 4, 8, 10), "half-diminished": (0, 3, 6, 10),
    "major-minor": (0, 3, 7, 11), "major-sixth": (0, 4, 7, 9), "minor-sixth": (0, 3, 7, 9),
    "dominant-ninth": (0, 4, 7, 10, 14), "major-ninth": (0, 4, 7, 11, 14), "minor-ninth": (0, 3, 7, 10, 14),
    "dominant-11th": (0, 7, 10, 14, 17), "major-11th": (0, 7, 11, 14, 17), "minor-11th": (0, 3, 7, 10, 14, 17),
    "dominant-13th": (0, 4, 10, 14, 21), "major-13th": (0, 4, 11, 14, 21), "minor-13th": (0, 3, 10, 14, 21),
    "suspended-second": (0, 2, 7), "suspended-fourth": (0, 5, 7), "power": (0, 7), "pedal": (0,),
    "Neapolitan": (0, 4, 7), "Italian": (0, 4, 10), "French": (0, 4, 6, 10), "German": (0, 4, 7, 10),
}  # fmt: skip
_DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 12, 9: 14, 10: 16, 11: 17, 12: 19, 13: 21}


def chord_notes(symbol: ChordSymbol) -> tuple[int, ...]:
    """Semitones above the root, rising; () for "no chord" and for text that could not be read as a chord.

    >>> from fractions import Fraction
    >>> chord_notes(ChordSymbol(onset_quarters=Fraction(0), bar_index=0, bar="1", beat=Fraction(1), text="Dm7",
    ...                         root_step="D", kind="minor-seventh"))
    (0, 3, 7, 10)
    """
    if not symbol.root_step or symbol.kind == "none":
        return ()
    notes = set(_KINDS.get(symbol.kind, (0, 4, 7)))
    for value, alter, what in symbol.degrees:
        degree = _DEGREES.get(value)
        if degree is None:
            continue
        near = {note for note in notes if note and (note - degree) % 12 in (0, 1, 11)}
        if what == "subtract":
            notes -= near
        elif what == "alter":
            notes = (notes - near) | {degree + round(alter)}
        else:
            notes.add(degree + round(alter))
    return tuple(sorted(notes))
