"""In which clefs a page is printed: the tune's own, or, where its player would stumble over them, others.

A lead sheet is in treble whoever shall play it. Its own clefs stay where the player reads all of them and either the
instrument's own is among them (then it was written for the instrument) or no others would save ledger lines. Otherwise
each bar is printed in the best of the clefs read at the level.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from partwright.arranging import clefs_for, ledger_lines
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["home_first", "page_clefs"]

_SAVED_LINES_A_BAR = 0.5
"""Ledger lines that must be saved in a bar, on average, before the tune's own clef is given up; common practice, no
source."""


def page_clefs(part: Part, instrument: Instrument, level: str, wish: str = "player") -> tuple[str, ...] | None:
    """A clef for every bar, or None where the part's own clefs stay (always in a part on several staves).

    `wish` is the lesson's: "player", "source", or the name of the one clef to use.
    """
    if wish == "source" or not part.notes or any(note.staff != 1 for note in part.notes):
        return None
    if wish != "player":
        return (wish,) * len(part.bars)
    read = instrument.levels[level].clefs or (instrument.default_clef,)
    own = {_plain(note.clef) for note in part.notes}
    chosen = clefs_for(part, home_first(read, instrument.default_clef))
    if own <= set(read):
        before, after = (note.clef for note in part.notes), (chosen[note.bar_index] for note in part.notes)
        saved = _lines(part, before) - _lines(part, after)
        if instrument.default_clef in own or saved <= _SAVED_LINES_A_BAR * len(part.bars):
            return None
    return chosen


def _plain(clef: str) -> str:
    """A clef without the 8 above or below it: whoever reads the one reads the other."""
    return clef.partition(" ")[0] if clef.endswith(("8vb", "8va")) else clef


def home_first(clefs: Sequence[str], home: str) -> tuple[str, ...]:
    """The clefs with the instrument's own first, where it is among them."""
    return tuple(dict.fromkeys((*(clef for clef in clefs if clef == home), *clefs)))


def _lines(part: Part, clefs: Iterable[str]) -> int:
    """The ledger lines of the whole part in these clefs, one for each note."""
    total = 0
    for note, clef in zip(part.notes, clefs, strict=True):
        octave = note.written_pitch.octave + (clef.endswith("8vb") - clef.endswith("8va"))
        total += ledger_lines(replace(note.written_pitch, octave=octave), _plain(clef))
    return total
