"""Keys by name and by signature: tonics on the line of fifths, and the interval that leads to another key.

Modes are those of MusicXML; their place against the major key of the same signature is general music theory.

>>> tonic_of(2, "major"), tonic_of(2, "minor"), tonic_of(-1, "dorian")
('D', 'B', 'G')
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from partwright.errors import InputError
from partwright.score import Part, estimate_key

__all__ = ["interval_to", "key_in_words", "mode_of", "parse_key", "tonic_midi_class", "tonic_of"]

_FIFTHS_OF_MODE = {
    "lydian": -1, "major": 0, "ionian": 0, "mixolydian": 1, "dorian": 2, "minor": 3, "aeolian": 3, "phrygian": 4,
    "locrian": 5,
}  # fmt: skip
_LINE = "FCGDAEB"
_KEY = re.compile(
    r"\s*([A-Ga-g])\s*(#|♯|b|♭|-?flat|-?sharp)?\s*[- ]?"
    r"(major|maj|minor|min|m|dorian|mixolydian|aeolian|phrygian|lydian|locrian|ionian)?\s*",
    re.IGNORECASE,
)


def tonic_of(fifths: int, mode: str) -> str:
    """The tonic of a key signature (sharps positive) in a mode, as a letter with its accidental."""
    place = fifths + _FIFTHS_OF_MODE.get(mode, 0) + 1  # F stands at -1 on the line, so at 0 here
    accidentals, letter = divmod(place, 7)
    return _LINE[letter] + ("#" * accidentals if accidentals >= 0 else "b" * -accidentals)


def tonic_midi_class(fifths: int, mode: str) -> int:
    """The tonic's pitch class, 0 = C."""
    return (7 * (fifths + _FIFTHS_OF_MODE.get(mode, 0))) % 12


def key_in_words(fifths: int, mode: str) -> str:
    """A key as it is said.

    >>> key_in_words(-3, "minor")
    'C minor'
    """
    return f"{tonic_of(fifths, mode)} {mode or 'major'}"


def mode_of(part: Part) -> str:
    """The mode the source names; where it names none, major or minor by what the notes dwell on and end on."""
    if not part.bars:
        return "major"
    if part.bars[0].mode in _FIFTHS_OF_MODE:
        return part.bars[0].mode
    notes = [note for note in part.notes if not note.grace]
    if not notes:
        return "major"
    found = estimate_key([note.midi for note in notes], [float(note.duration_quarters) for note in notes])
    if found.fifths == part.bars[0].fifths:
        return found.mode
    last = notes[-1].midi % 12
    return "minor" if last == tonic_midi_class(part.bars[0].fifths, "minor") else "major"


def interval_to(fifths: Iterable[int], semitones: int) -> int:
    """How many letters to go for a move of so many semitones, so that the key signatures stay smallest.

    `fifths` are the signatures the music has; the first decides, and of two as small (six sharps, six flats) the one
    on the side it comes from. Worked out on the line of fifths: a move of d letters and s semitones is 7 s - 12 d
    fifths.
    """
    signatures = tuple(fifths) or (0,)
    first = signatures[0]

    def size(letters: int) -> tuple[int, bool, int]:
        moved = first + 7 * semitones - 12 * letters
        return abs(moved), (moved < 0) != (first < 0), letters

    middle = round(7 * semitones / 12)
    return min(range(middle - 2, middle + 3), key=size)


def parse_key(text: str) -> tuple[int, str]:
    """Pitch class of the tonic and the mode ("" where none is said) that a text names. Raises InputError otherwise.

    >>> parse_key("Bb"), parse_key("f# minor")
    ((10, ''), (6, 'minor'))
    """
    match = _KEY.fullmatch(text)
    if match is None:
        raise InputError(f'"{text}" is no key', 'Write a letter and its sign, as in G, Bb or "F# minor".')
    letter, sign, mode = match.groups()
    sign = (sign or "").casefold().lstrip("-")
    alter = 1 if sign in ("#", "♯", "sharp") else -1 if sign else 0
    named = (mode or "").casefold() if (mode or "") != "M" else "major"
    named = {"maj": "major", "min": "minor", "m": "minor"}.get(named, named)
    return ((0, 2, 4, 5, 7, 9, 11)["CDEFGAB".index(letter.upper())] + alter) % 12, named
