"""From a spelled pitch to its frequency: equal temperament, pure fifths, or pure intervals above a drone.

Deviations are counted from equal temperament at the same A, in cents, along the circle of fifths: a pure fifth is
1.955 cents wider than a tempered one. Source of the ratios: the 3-limit chain of fifths and the usual 5-limit scale
(e.g. H. Helmholtz, On the Sensations of Tone, tables of intervals; values recomputed here from the ratios).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from partwright.errors import InputError
from partwright.score import Pitch

__all__ = ["A4_RANGE_HZ", "TEMPERAMENTS", "Temperament", "TemperamentName", "frequency_hz", "midi_hz", "temperament"]

TemperamentName = Literal["equal", "pythagorean", "just"]
TEMPERAMENTS: tuple[TemperamentName, ...] = ("equal", "pythagorean", "just")
A4_RANGE_HZ = (415.0, 466.0)
"""Pitches of A4 in use today, from baroque to high baroque pitch; common practice, no source."""

_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_PURE_FIFTH_CENTS = 1200 * math.log2(3 / 2) - 700
# By fifths from the drone: minor second is five fifths down, major third four fifths up.
_JUST = {
    -6: (64, 45), -5: (16, 15), -4: (8, 5), -3: (6, 5), -2: (9, 5), -1: (4, 3), 0: (1, 1),
    1: (3, 2), 2: (9, 8), 3: (5, 3), 4: (5, 4), 5: (15, 8), 6: (45, 32),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperament:
    """How pitches become frequencies. `drone` is the letter and accidental of the held note ("D", 0) for `just`."""

    name: TemperamentName = "equal"
    a4_hz: float = 440.0
    drone_step: str = "D"
    drone_alter: int = 0


def temperament(
    name: str = "equal", *, a4_hz: float = 440.0, drone_step: str = "D", drone_alter: int = 0
) -> Temperament:
    """A checked temperament. Raises InputError for an unknown name or an A4 outside 415–466 Hz."""
    if name not in TEMPERAMENTS:
        raise InputError(f'there is no temperament "{name}"', f"Known are {', '.join(TEMPERAMENTS)}.")
    low, high = A4_RANGE_HZ
    if not (math.isfinite(a4_hz) and low <= a4_hz <= high):
        raise InputError(f"A4 at {a4_hz:g} Hz is out of reach", f"Give a pitch from {low:g} to {high:g} Hz.")
    known: TemperamentName = next(known for known in TEMPERAMENTS if known == name)
    return Temperament(name=known, a4_hz=a4_hz, drone_step=drone_step, drone_alter=drone_alter)


def midi_hz(midi: float, a4_hz: float = 440.0) -> float:
    """Equal temperament.

    >>> round(midi_hz(57), 3)
    220.0
    """
    return float(a4_hz * 2.0 ** ((midi - 69.0) / 12.0))


def frequency_hz(pitch: Pitch, tuned: Temperament) -> float:
    """The frequency of a spelled pitch. A quarter tone lies midway, whatever the temperament.

    >>> round(frequency_hz(Pitch("E", 0, 4), Temperament(name="pythagorean")), 3)  # a pure fourth below A4
    330.0
    """
    semitones = 12 * (pitch.octave + 1) + _STEPS[pitch.step] + pitch.alter
    cents = _deviation_cents(pitch.step, round(pitch.alter), tuned)
    return midi_hz(semitones + cents / 100, tuned.a4_hz)


def _deviation_cents(step: str, alter: int, tuned: Temperament) -> float:
    if tuned.name == "equal":
        return 0.0
    place = _FIFTHS[step] + 7 * alter
    if tuned.name == "pythagorean":
        return (place - 3) * _PURE_FIFTH_CENTS
    drone = _FIFTHS[tuned.drone_step] + 7 * tuned.drone_alter
    from_drone = place - drone
    # The drone agrees with open strings tuned in pure fifths from A; a drone far round the circle stays tempered.
    base = (drone - 3) * _PURE_FIFTH_CENTS if abs(drone - 3) <= 4 else 0.0
    while from_drone > 6:
        from_drone -= 12
    while from_drone < -6:
        from_drone += 12
    high, low = _JUST[from_drone]
    cents = 1200 * math.log2(high / low)
    tempered = (from_drone * 700) % 1200
    return base + (cents - tempered + 600) % 1200 - 600
