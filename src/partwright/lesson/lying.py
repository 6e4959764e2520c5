"""How a tune lies for an instrument, at a glance: too high, too low, in clefs its player does not read.

No plan is made for it; `partwright keys` weighs every key by its real plan.
"""

from __future__ import annotations

from math import ceil

from partwright.instrument import Instrument
from partwright.lesson.page_clefs import page_clefs
from partwright.score import Part

__all__ = ["lying_remarks"]

_HIGH_SEMITONES = 7
"""A fifth above the open highest string, where the neck ends and the hand leaves it; common practice, no source."""
_OCTAVES = {1: "an octave", 2: "two octaves", 3: "three octaves"}


def lying_remarks(part: Part, instrument: Instrument, level: str) -> tuple[str, ...]:
    """What a player would say on seeing the tune, each with what to do about it; () where it lies well enough."""
    pitches = sorted(note.midi for note in part.notes if note.tied_from is None)
    if not pitches:
        return ()
    found = []
    lowest, neck = instrument.strings[0].midi, instrument.strings[-1].midi + _HIGH_SEMITONES
    name = instrument.name.replace("_", " ")
    if below := sum(midi < lowest for midi in pitches):
        notes = "a note lies" if below == 1 else f"{below} notes lie"
        found.append(f"{notes} below the lowest string of the {name}. {_moved(ceil((lowest - pitches[0]) / 12))}")
    elif (middle := pitches[len(pitches) // 2]) > neck:
        octaves = min(ceil((middle - neck) / 12), (pitches[0] - lowest) // 12)
        found.append(f"lies high for the {name}: half the notes are beyond the neck. {_moved(-octaves)}")
    clefs = page_clefs(part, instrument, level)
    if clefs is not None:
        own = dict.fromkeys(note.clef for note in part.notes)
        found.append(
            f"printed in {' and '.join(dict.fromkeys(clefs))} clef; the tune itself is in {' and '.join(own)} "
            '([page] clefs = "source" keeps that)'
        )
    return tuple(found)


def _moved(octaves: int) -> str:
    keys = "partwright keys says in which key it lies well."
    if not octaves:
        return keys[0].upper() + keys[1:]
    way = "higher" if octaves > 0 else "lower"
    far = _OCTAVES.get(abs(octaves), f"{abs(octaves)} octaves")
    return f"{far[0].upper()}{far[1:]} {way}: partwright new with --octave {octaves}; {keys}"
