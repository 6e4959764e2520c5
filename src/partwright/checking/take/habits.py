"""What one finger does in one place every time: drifts that the plan makes visible."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.take.note import Habit, TakeNote
from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import Instrument, finger_text

__all__ = ["find_habits"]

_FEWEST = 3
_LEAST_CENTS = 9.0
_NAMES = {0: "open string", 1: "first finger", 2: "second finger", 3: "third finger", 4: "fourth finger"}


def find_habits(notes: Sequence[TakeNote], plan: FingeringPlan, instrument: Instrument) -> tuple[Habit, ...]:
    """Finger and position that are out the same way: at least three notes, a median beyond 9 cents, and eight in ten of
    them on the same side. Strongest first; a position's strings together, or one string where only it is out."""
    groups: dict[tuple[str, str, str], list[TakeNote]] = {}
    for note in notes:
        fingered = plan.by_id.get(note.note_id)
        if (
            fingered is None
            or note.cents is None
            or note.kind in ("wrong note", "missed")
            or note.pitch == "not judged"
        ):
            continue
        placement = fingered.placement
        if placement.harmonic:
            continue
        letter = instrument.strings[placement.string].letter
        finger, position = _finger(placement), _position(placement, instrument)
        if placement.semitones == 0:
            groups.setdefault((f"the open {letter} string", "", letter), []).append(note)
            continue
        groups.setdefault((finger, position, ""), []).append(note)
        groups.setdefault((finger, position, letter), []).append(note)
    found: dict[tuple[str, str, str], Habit] = {}
    for (finger, position, string), of in groups.items():
        cents = sorted(n.cents for n in of if n.cents is not None)
        if len(cents) < _FEWEST:
            continue
        middle = cents[len(cents) // 2]
        same = sum(c * middle > 0 for c in cents) / len(cents)
        if abs(middle) < _LEAST_CENTS or same < 0.8:
            continue
        bars = tuple(dict.fromkeys(n.bar for n in of))
        side = "sharp" if middle > 0 else "flat"
        where = f" in {position}" if position else ""
        on = f" on the {string} string" if string and position else ""
        words = f"{finger}{where}{on} is about {abs(middle):.0f} cents {side}, {_times(len(cents))}"
        found[finger, position, string] = Habit(
            finger=finger,
            position=position,
            string=string,
            cents=round(middle, 1),
            notes=len(cents),
            bars=bars,
            words=words[0].upper() + words[1:],
        )
    kept = [
        habit
        for (finger, position, string), habit in found.items()
        if not string or not position or (finger, position, "") not in found
    ]
    return tuple(sorted(kept, key=lambda h: -abs(h.cents) * h.notes**0.5))


def _finger(placement: Placement) -> str:
    return _NAMES.get(placement.finger, "the thumb" if finger_text(placement.finger) == "T" else "a finger")


def _position(placement: Placement, instrument: Instrument) -> str:
    return instrument.position(placement.frame, placement.zone).spoken


def _times(count: int) -> str:
    return f"on all {count} notes" if count > 3 else "three times"
