"""Spelled pitches moved by an interval: what a transposing part sounds, what a concert-pitch score prints."""

from __future__ import annotations

from partwright.score.part import Pitch

__all__ = ["Transposer", "transposed"]

_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_USUAL_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)  # letters moved for 0..11 semitones, where the source is silent


def transposed(pitch: Pitch, diatonic: int | None, semitones: int) -> Pitch:
    """`pitch` moved by `diatonic` letters (None: the usual number for the interval) and `semitones`.

    >>> transposed(Pitch("D", 0, 5), -1, -2).name  # a clarinet in B flat
    'C5'
    """
    steps = _usual(semitones) if diatonic is None else diatonic
    moved = _move(pitch, steps, semitones)
    if abs(moved.alter) > 2:  # the source's letter count does not fit its semitones
        moved = _move(pitch, _usual(semitones), semitones)
    return moved


class Transposer:
    """The same, remembered: a part has few different pitches."""

    def __init__(self) -> None:
        self._known: dict[tuple[Pitch, int | None, int], Pitch] = {}

    def sounding(self, pitch: Pitch, diatonic: int | None, semitones: int) -> Pitch:
        """What sounds for a written pitch in a part that transposes by this interval."""
        if semitones == 0 and not diatonic:
            return pitch
        key = (pitch, diatonic, semitones)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = transposed(pitch, diatonic, semitones)
        return found

    def written(self, pitch: Pitch, diatonic: int | None, semitones: int) -> Pitch:
        """What is written for a sounding pitch."""
        return self.sounding(pitch, None if diatonic is None else -diatonic, -semitones)


def _usual(semitones: int) -> int:
    octaves, rest = divmod(abs(semitones), 12)
    steps = 7 * octaves + _USUAL_STEPS[rest]
    return steps if semitones >= 0 else -steps


def _move(pitch: Pitch, steps: int, semitones: int) -> Pitch:
    place = _STEPS.index(pitch.step) + 7 * pitch.octave
    height = 12 * pitch.octave + _SEMITONES[_STEPS.index(pitch.step)] + pitch.alter + semitones
    octave, letter = divmod(place + steps, 7)
    return Pitch(_STEPS[letter], height - (12 * octave + _SEMITONES[letter]), octave)
