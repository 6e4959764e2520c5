"""Teachers with a hidden taste, and tunes for them to correct: what learning is measured and tested on. All invented.

A teacher is a set of weights: the defaults, each multiplied by e to a normal deviate. Going through a lesson, the
teacher looks at the plan from its start and pins the first note that is not as it should be (string and finger); the
plan is made again around the pin, and so on until the whole tune is as the teacher plays it.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from made_parts import part_of
from partwright.fingering import Pin, Planning, Weights, default_weights, plan_of, prepare
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["Placed", "corrected", "disagreements", "hidden_taste", "invented_tune", "placed"]

Placed = dict[str, tuple[int, int, int | None, bool]]
"""String, finger, the finger that takes over while the note is held, and whether it is a harmonic, by the note's id."""

_SCALES = ((0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 11))
_RHYTHMS = (
    (Fraction(1),) * 4,
    (Fraction(1, 2),) * 8,
    (Fraction(1), Fraction(1, 2), Fraction(1, 2), Fraction(1), Fraction(1)),
    (Fraction(3, 2), Fraction(1, 2), Fraction(1), Fraction(1)),
    (Fraction(1, 2), Fraction(1, 2), Fraction(1), Fraction(1, 2), Fraction(1, 2), Fraction(1)),
    (Fraction(2), Fraction(1), Fraction(1)),
    (*(Fraction(1, 4),) * 4, *(Fraction(1, 2),) * 2, Fraction(1), Fraction(1)),
)


def invented_tune(seed: int, *, low: int = 36, high: int = 69) -> Part:
    """24 bars as tunes are: one key, about an octave and a half, scales, broken chords and leaps, slurs, phrases that
    return (A B A C B D). `low` and `high` bound the pitches (MIDI)."""
    random = np.random.default_rng(seed)
    tonic, scale = int(random.integers(12)), _SCALES[int(random.random() > 0.6)]
    pitches = [midi for midi in range(low, high + 1) if (midi - tonic) % 12 in scale]
    here, spread = int(random.integers(7, len(pitches) - 7)), int(random.integers(5, 9))
    least, most = max(0, here - spread), min(len(pitches) - 1, here + spread)
    tempo = float(random.integers(60, 132))

    def phrase() -> list[tuple[int, Fraction]]:
        nonlocal here
        notes = []
        for _ in range(4):
            rhythm = _RHYTHMS[int(random.integers(len(_RHYTHMS)))]
            figure, direction = random.random(), int(random.choice((-1, 1)))
            for length in rhythm:
                step = direction * (2 if figure < 0.3 else 1)
                if figure > 0.6:
                    step = int(random.choice((-4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4)))
                if not least <= here + step <= most:
                    step, direction = -step, -direction
                here = min(most, max(least, here + step))
                notes.append((pitches[here], length))
        return notes

    a, b, c = phrase(), phrase(), phrase()
    notes = [*a, *b, *a, *c, *b, *phrase()]
    slurred: set[int] = set()
    first = 0
    while first < len(notes) - 1:
        count = int(random.choice((1, 1, 2, 2, 3, 4)))
        slurred |= set(range(first, min(first + count - 1, len(notes) - 1)))
        first += count
    return part_of(
        [midi for midi, _ in notes], quarters=[length for _, length in notes], tempo_qpm=tempo, slurred=slurred
    )


def hidden_taste(seed: int, instrument: Instrument, *, spread: float = 0.5) -> Weights:
    """The default weights, each multiplied by e to a normal deviate with this spread."""
    random = np.random.default_rng(1000 + seed)
    defaults = default_weights(instrument)
    return Weights(tuple((name, weight * float(np.exp(random.normal(0, spread)))) for name, weight in defaults.values))


def placed(planning: Planning) -> Placed:
    """What can be seen of a plan: every note as in `Placed`."""
    places = ((note.note_id, note.placement) for note in plan_of(planning).notes)
    return {name: (place.string, place.finger, place.substitute, place.harmonic > 0) for name, place in places}


def corrected(
    part: Part, instrument: Instrument, wanted: Placed, *, level: str = "advanced", weights: Weights | None = None
) -> list[Pin]:
    """The pins that turn the plan under `weights` into the one wanted, in the order in which they are set."""
    pins: list[Pin] = []
    while True:
        now = placed(prepare(part, instrument, level=level, pins=pins, weights=weights))
        done = {pin.note_id for pin in pins}
        first = next((n.id for n in part.notes if now[n.id] != wanted[n.id] and n.id not in done), None)
        if first is None:
            return pins
        string, finger, after, harmonic = wanted[first]
        pins.append(
            Pin(note_id=first, string=string, finger=finger, substitute=after, harmonic=harmonic, origin="lesson")
        )


def disagreements(one: Sequence[Placed], two: Sequence[Placed]) -> int:
    """Notes whose string or finger differs."""
    return sum(a[note][:2] != b[note][:2] for a, b in zip(one, two, strict=True) for note in b)
