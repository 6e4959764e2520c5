"""Which clef each bar is printed in: the fewest ledger lines, and no change of clef that does not pay.

Method: dynamic programming over the bars; a bar costs its ledger lines, a change of clef costs `_CHANGE`. The first
clef named is the instrument's own: two ledger lines in it cost next to nothing, and other clefs a little in themselves.
Source of the staves: general music theory. The prices: common practice, no source (a player minds a clef that lasts
for a bar or two more than a few ledger lines).
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.arranging.cheapest import cheapest_row
from partwright.score import Part, Pitch

__all__ = ["clefs_for", "ledger_lines"]

_CHANGE = 8.0
_FREE_LINES = 2
_OTHER_CLEF = 1.0
_STEPS = "CDEFGAB"
# Diatonic place (7 × octave + letter) of the lowest line of each staff.
_LOWEST_LINE = {
    "treble": 7 * 4 + 2, "alto": 7 * 3 + 3, "tenor": 7 * 3 + 1, "bass": 7 * 2 + 4, "bass-8": 7 * 1 + 4,
    "treble-8": 7 * 3 + 2,
}  # fmt: skip


def ledger_lines(pitch: Pitch, clef: str) -> int:
    """How many ledger lines a written pitch needs in a clef.

    >>> ledger_lines(Pitch("C", 0, 4), "bass"), ledger_lines(Pitch("C", 0, 4), "tenor")
    (1, 0)
    """
    place = 7 * pitch.octave + _STEPS.index(pitch.step) - _LOWEST_LINE[clef]
    return max(0, (-place) // 2, (place - 8) // 2)


def clefs_for(part: Part, clefs: Sequence[str]) -> tuple[str, ...]:
    """A clef for every bar, out of those the player reads."""
    known = [clef for clef in clefs if clef in _LOWEST_LINE] or ["bass"]
    prices = [[_OTHER_CLEF * k for k in range(len(known))] for _ in part.bars]
    octaves = part.transpose_semitones // 12
    for note in part.notes:
        written = Pitch(note.pitch.step, note.pitch.alter, note.pitch.octave - octaves)
        for k, clef in enumerate(known):
            lines = ledger_lines(written, clef)
            free = lines <= _FREE_LINES and k == 0
            prices[note.bar_index][k] += 0.05 * lines if free else lines if lines < 3 else 2.0 * lines
    opening = [0.0 if k == 0 else 0.5 for k in range(len(known))]  # of equal ones the first clef named
    row = cheapest_row([opening, *prices], lambda _, a, b: _CHANGE if a != b else 0.0)
    return tuple(known[k] for k in row[1:])
