"""Tunings by name: "C2 G2 D3 G3", or letters alone where the octave goes without saying."""

from __future__ import annotations

import re

from partwright.errors import InputError
from partwright.instrument.instrument import Instrument

__all__ = ["check_tuning", "parse_tuning", "pitch_text"]

_NAME = re.compile(r"([A-Ga-g])(##|bb|x|[#b♯♭])?(-?\d)?")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ALTER = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "##": 2, "x": 2, "bb": -2}
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
# A string tuned far from its own pitch breaks or goes slack; generous, as fractional sets and fifths tunings exist.
_UP_MAX, _DOWN_MAX = 7, 12


def parse_tuning(text: str, instrument: Instrument) -> tuple[int, ...]:
    """MIDI pitches of the open strings, low to high, from names as they sound ("C2 G2 D3 G3"; C4 is middle C).

    Commas, dashes or spaces may stand between. A letter without its octave means the one nearest that string's own
    pitch. Raises InputError for a name that is none, a wrong number of strings, or a string out of its reach.
    """
    words = [word for word in re.split(r"[\s,;]+|(?<=[\d#b♯♭A-Ga-gx])[-–](?=[A-Ga-g])", text.strip()) if word]
    if len(words) != len(instrument.strings):
        usual = " ".join(pitch_text(string.midi) for string in instrument.strings)
        raise InputError(
            f'the tuning "{text.strip()}" names {len(words)} strings; the {instrument.name} has '
            f"{len(instrument.strings)}",
            f"Name them from low to high, for instance {usual}.",
        )
    pitches = []
    for word, string in zip(words, instrument.strings, strict=True):
        found = _NAME.fullmatch(word)
        if found is None:
            raise InputError(
                f'"{word}" in the tuning is no pitch', 'Write a letter, an accidental if any, and the octave: "F#2".'
            )
        step, alter, octave = found.groups()
        semitones = _STEPS[step.upper()] + _ALTER[alter or ""]
        if octave is None:
            pitches.append(semitones + 12 * round((string.midi - semitones) / 12))
        else:
            pitches.append(12 * (int(octave) + 1) + semitones)
    return check_tuning(tuple(pitches), instrument)


def check_tuning(tuning_midi: tuple[int, ...], instrument: Instrument) -> tuple[int, ...]:
    """The tuning itself (MIDI, low to high) if this instrument can take it. Raises InputError otherwise."""
    if len(tuning_midi) != len(instrument.strings) or list(tuning_midi) != sorted(set(tuning_midi)):
        raise InputError(
            f"the {instrument.name} has {len(instrument.strings)} strings, tuned from low to high",
            f"Give {len(instrument.strings)} rising pitches.",
        )
    for midi, string in zip(tuning_midi, instrument.strings, strict=True):
        if not string.midi - _DOWN_MAX <= midi <= string.midi + _UP_MAX:
            raise InputError(
                f"the {string.letter} string cannot be tuned to {pitch_text(midi)}",
                f"It bears from {pitch_text(string.midi - _DOWN_MAX)} to {pitch_text(string.midi + _UP_MAX)} at most.",
            )
    return tuning_midi


def pitch_text(midi: int) -> str:
    """A pitch by name, flats and sharps as string players meet them.

    >>> pitch_text(36), pitch_text(58)
    ('C2', 'Bb3')
    """
    return f"{_NAMES[midi % 12]}{midi // 12 - 1}"
