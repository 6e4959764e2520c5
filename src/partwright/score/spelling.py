"""Which key a row of pitches is in, and how its notes are spelled: for music that comes as MIDI numbers.

Key: correlation of the pitch-class durations with a profile for each of the 24 keys (C. Krumhansl, Cognitive
Foundations of Musical Pitch, 1990, chapter 4), with the profiles B. Aarden measured on folk songs (Dynamic Melodic
Expectancy, 2003); the key whose tonic is the last note is preferred a little. Spelling: the first stage of ps13
(D. Meredith, "The ps13 Pitch Spelling Algorithm", Journal of New Music Research 35(2), 2006): every note takes the
letter that most of the notes around it ask for, each of them heard as a possible tonic. ps13 leaves open whether a
stretch is written in sharps or flats; the key signature settles that.

>>> spelled([62, 66, 69, 73], fifths=2)[1].name
'F#4'
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partwright.score.part import Pitch

__all__ = ["EstimatedKey", "estimate_key", "key_name", "spelled"]

# Aarden's profiles, C to B, major and minor, as given in D. Huron's and C. Sapp's tables of key profiles.
_MAJOR = (
    17.7661,
    0.145624,
    14.9265,
    0.160186,
    19.8049,
    11.3587,
    0.291248,
    22.062,
    0.145624,
    8.15494,
    0.232998,
    4.95122,
)
_MINOR = (18.2648, 0.737619, 14.0499, 16.8599, 0.702494, 14.4362, 0.702494, 18.6161, 4.56621, 1.93186, 7.37619, 1.75623)

# ps13's own numbers: the letter steps above a tonic for each semitone, and the window of notes before and after.
_STEPS_ABOVE_TONIC = np.array([0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6])
_NOTES_BEFORE = 10
_NOTES_AFTER = 42

_LAST_NOTE = 0.05  # added to the correlation of the two keys on the last note
_SHIFTS = (-2, -1, 0, 1, 2)  # letters by which a stretch may be moved as a whole
_CHANGE = 8.0  # steps on the line of fifths: what a change of the move costs
_LETTERS = "CDEFGAB"
_NATURALS = np.array([0, 2, 4, 5, 7, 9, 11])
_LINE_OF_FIFTHS = np.array([0, 2, 4, -1, 1, 3, 5])  # C D E F G A B
_MAJOR_FIFTHS = (0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5)  # tonic pitch class to key signature; F sharp as 6 sharps
_NAMES = {
    -7: "Cb", -6: "Gb", -5: "Db", -4: "Ab", -3: "Eb", -2: "Bb", -1: "F", 0: "C", 1: "G", 2: "D", 3: "A", 4: "E",
    5: "B", 6: "F#", 7: "C#", 8: "G#", 9: "D#", 10: "A#",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedKey:
    """A key: signature (sharps positive), mode, the correlation found and that of the next best key."""

    fifths: int
    mode: str
    correlation: float
    next_correlation: float


def estimate_key(midi_numbers: Sequence[int], durations: Sequence[float]) -> EstimatedKey:
    """The key these notes, in order of time, are most likely in. Durations weigh them (any unit).

    No notes, or all pitch classes alike: C major with correlation 0.
    """
    weights = np.zeros(12)
    np.add.at(weights, np.asarray(midi_numbers, dtype=int) % 12, np.asarray(durations, dtype=float))
    if len(midi_numbers) == 0 or np.allclose(weights, weights[0]):
        return EstimatedKey(fifths=0, mode="major", correlation=0.0, next_correlation=0.0)
    scored: list[tuple[float, int, str]] = []
    for tonic in range(12):
        turned = np.roll(weights, -tonic)
        fifths = _MAJOR_FIFTHS[tonic]
        minor_fifths = _MAJOR_FIFTHS[(tonic + 3) % 12]
        ending = _LAST_NOTE if midi_numbers[-1] % 12 == tonic else 0.0
        scored.append((float(np.corrcoef(turned, _MAJOR)[0, 1]) + ending, fifths, "major"))
        scored.append((float(np.corrcoef(turned, _MINOR)[0, 1]) + ending, minor_fifths, "minor"))
    scored.sort(reverse=True)
    best, second = scored[0], scored[1]
    return EstimatedKey(fifths=best[1], mode=best[2], correlation=best[0], next_correlation=second[0])


def key_name(fifths: int, mode: str) -> str:
    """A key in words.

    >>> key_name(-3, "minor")
    'C minor'
    """
    tonic = _NAMES.get(fifths + (3 if mode == "minor" else 0), "?")
    return f"{tonic} {mode or 'major'}"


def spelled(midi_numbers: Sequence[int], *, fifths: int) -> tuple[Pitch, ...]:
    """A spelled pitch for every MIDI number, in order of onset. `fifths` is the key signature they stand under.

    Time grows with the number of notes; memory is 12 counts a note.
    """
    if len(midi_numbers) == 0:
        return ()
    numbers = np.asarray(midi_numbers, dtype=int)
    classes = numbers % 12
    count = len(classes)
    # How often each pitch class sounds in the window around each note: shape (notes, 12).
    running = np.zeros((count + 1, 12), dtype=int)
    np.add.at(running, (np.arange(1, count + 1), classes), 1)
    running = np.cumsum(running, axis=0)
    before = np.maximum(np.arange(count) - _NOTES_BEFORE, 0)
    after = np.minimum(np.arange(count) + _NOTES_AFTER, count)
    around = running[after] - running[before]
    tonics = np.arange(12)
    first_letter = _STEPS_ABOVE_TONIC[classes[0]]
    tonic_letters = (first_letter - _STEPS_ABOVE_TONIC[(classes[0] - tonics) % 12]) % 7
    implied = (_STEPS_ABOVE_TONIC[(classes[:, None] - tonics[None, :]) % 12] + tonic_letters[None, :]) % 7
    strength = np.zeros((count, 7), dtype=int)
    for letter in range(7):
        strength[:, letter] = np.where(implied == letter, around, 0).sum(axis=1)
    letters = strength.argmax(axis=1)
    return _in_key(numbers, letters, fifths)


def _in_key(numbers: np.ndarray, letters: np.ndarray, fifths: int) -> tuple[Pitch, ...]:
    """The letters moved (C, D flat, C sharp …) to where they lie nearest the key on the line of fifths.

    Not note by note: a change of the move within the piece has a price, so only stretches move together. The cheapest
    sequence of moves is found by dynamic programming.
    """
    centre = fifths + 2  # the middle of a major scale's seven notes on the line of fifths
    moved = np.stack([(letters + shift) % 7 for shift in _SHIFTS])
    alters = (numbers % 12 - _NATURALS[moved] + 6) % 12 - 6
    distances = np.abs(_LINE_OF_FIFTHS[moved] + 7 * alters - centre)
    choice = _cheapest_path(distances)
    index = np.arange(len(numbers))
    letters, alters = moved[choice, index], alters[choice, index]
    octaves = (numbers - alters - _NATURALS[letters]) // 12 - 1
    return tuple(
        Pitch(_LETTERS[letter], int(alter), int(octave))
        for letter, alter, octave in zip(letters.tolist(), alters.tolist(), octaves.tolist(), strict=True)
    )


def _cheapest_path(costs: np.ndarray) -> np.ndarray:
    """Row per column of `costs` (shape rows × columns) with the smallest sum, a change of row costing _CHANGE."""
    rows, columns = costs.shape
    came = np.zeros((rows, columns), dtype=int)
    total = costs[:, 0].astype(float)
    for column in range(1, columns):
        best = int(total.argmin())
        changes = total > total[best] + _CHANGE
        came[:, column] = np.where(changes, best, np.arange(rows))
        total = np.where(changes, total[best] + _CHANGE, total) + costs[:, column]
    path = np.zeros(columns, dtype=int)
    path[-1] = int(total.argmin())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = came[path[column], column]
    return path
