"""Where the bar lines fall in a line that begins with a note: on it, or after a pick-up.

Every shift of the bar lines by half a beat is described by a few features, and a linear score of them turned into
probabilities (conditional logit). That length, attack and the end of a phrase mark strong beats is after D. Temperley,
The Cognition of Basic Musical Structures (2001), chapter 2; the weights were fitted on half of 452 open folk tunes
(docs/reading_abc_midi.md gives what they reach on the other half).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from partwright.score.written import WrittenMetre

__all__ = ["LEAST_CERTAINTY", "find_pickup"]

LEAST_CERTAINTY = 0.6
"""A pick-up is only written when it is at least this probable; otherwise the bar lines stay with the first note."""

_LEAST_NOTES = 12

# Feature, what it counts, and its weight. All are shares of the tune (0 to 1) or yes/no.
_WEIGHTS = {
    "length": 6.84,  # time of the notes that begin on a down-beat
    "covered": 3.17,  # bars whose down-beat has a note beginning on it
    "crossed": -2.17,  # bars whose down-beat is sounded over by a held note
    "last_down": 0.70,  # the last note begins on a down-beat
    "last_half": 0.94,  # the last note begins on the middle of a bar
    "none": -2.42,  # no pick-up at all
    "shift": -7.13,  # length of the pick-up in bars
    "on_beat": 3.98,  # notes that begin on any beat
    "full_end": 0.89,  # the last bar is full
    "tonic": 0.98,  # down-beats that have the last note's pitch class, or the fifth above it
    "half_length": 1.69,  # time of the notes that begin on the middle of a bar
}


def find_pickup(notes: Sequence[tuple[Fraction, Fraction, int]], metre: WrittenMetre) -> Fraction:
    """The pick-up these notes ask for, in quarters; 0 if the bar lines fit as they are or nothing is certain.

    `notes` are (onset, end, MIDI number) in order, the first at the start of the first bar.
    """
    length = metre.length_quarters
    compound = metre.beat_type >= 8 and len(metre.beats) == 1 and metre.beats[0] % 3 == 0
    unit = Fraction(4, metre.beat_type)
    beat = 3 * unit if compound else unit
    step = unit if compound else unit / 2
    if len(notes) < _LEAST_NOTES or length <= step:
        return Fraction(0)
    shifts = [k * step for k in range(int(length / step))]
    scores = [_score(notes, shift, length, beat) for shift in shifts]
    best = max(range(len(shifts)), key=lambda k: scores[k])
    certainty = 1 / sum(math.exp(score - scores[best]) for score in scores)
    return shifts[best] if certainty >= LEAST_CERTAINTY else Fraction(0)


def _score(notes: Sequence[tuple[Fraction, Fraction, int]], shift: Fraction, length: Fraction, beat: Fraction) -> float:
    origin = notes[0][0] + shift
    last_onset, last_end, tonic = notes[-1]
    total = float(last_end - notes[0][0])
    bars = total / float(length)
    down_time = half_time = 0.0
    down = crossed = on_beat = stable = 0
    for k, (onset, end, midi) in enumerate(notes):
        following = notes[k + 1][0] if k + 1 < len(notes) else end
        lasts = float(min(following - onset, length))
        inside = (onset - origin) % length
        if inside == 0:
            down_time += lasts
            down += 1
            stable += (midi - tonic) % 12 in (0, 7)
        elif inside + (end - onset) > length:
            crossed += 1
        if inside and 2 * inside == length:
            half_time += lasts
        on_beat += inside % beat == 0
    features = {
        "length": down_time / total,
        "covered": down / bars,
        "crossed": crossed / bars,
        "last_down": (last_onset - origin) % length == 0,
        "last_half": 2 * ((last_onset - origin) % length) == length,
        "none": shift == 0,
        "shift": float(shift / length),
        "on_beat": on_beat / len(notes),
        "full_end": (last_end - origin) % length == 0,
        "tonic": stable / max(down, 1),
        "half_length": half_time / total,
    }
    return sum(weight * features[name] for name, weight in _WEIGHTS.items())
