"""The plain accompaniment made of chord symbols: a bass note and a chord, struck anew each bar.

This is the plain style for a lesson without an arranged score; an arranged score comes in by the same door, as
events (`accompaniment.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from partwright.score import ChordSymbol, Part, chord_notes

__all__ = ["PlainChord", "plain_chords"]

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_BASS_LOW, _CHORD_LOW, _CHORD_MIDDLE = 36, 50, 59


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainChord:
    """A chord where it is struck, in played quarters from the passage's start: bass and chord notes as MIDI."""

    start_quarters: Fraction
    length_quarters: Fraction
    bass_midi: int
    chord_midi: tuple[int, ...]


def plain_chords(part: Part, passage: tuple[int, int]) -> tuple[PlainChord, ...]:
    """The chords of a passage of the played order, each struck at its symbol and at every bar line it lasts over.

    The chord lies as near as it can to the one before it, around the middle of the keyboard.
    """
    struck: list[tuple[Fraction, ChordSymbol]] = []
    by_bar: list[list[ChordSymbol]] = [[] for _ in part.bars]
    for symbol in part.chord_symbols:
        by_bar[symbol.bar_index].append(symbol)
    holding: ChordSymbol | None = None
    first, last = passage
    played = part.played_bars
    base = played[first].start_quarters
    for number, item in enumerate(played[:last]):
        bar = part.bars[item.bar_index]
        symbols = by_bar[bar.index]
        start = item.start_quarters - base
        begins = symbols and symbols[0].onset_quarters <= bar.start_quarters
        if number >= first:
            if holding is not None and not begins:
                struck.append((start, holding))
            struck += [(start + s.onset_quarters - bar.start_quarters, s) for s in symbols]
        if symbols:
            holding = symbols[-1]
    end = played[last - 1].start_quarters - base + part.bars[played[last - 1].bar_index].length_quarters
    found = []
    centre = float(_CHORD_MIDDLE)
    for i, (at, symbol) in enumerate(struck):
        until = struck[i + 1][0] if i + 1 < len(struck) else end
        semitones = chord_notes(symbol)
        if not semitones or until <= at:
            continue
        root = _STEPS[symbol.root_step] + round(symbol.root_alter)
        bass_name = _STEPS[symbol.bass_step] + round(symbol.bass_alter) if symbol.bass_step else root
        voiced = _voiced([(root + n) % 12 for n in semitones], centre)
        centre = 0.5 * centre + 0.5 * (0.5 * sum(voiced) / len(voiced) + 0.5 * _CHORD_MIDDLE)
        found.append(
            PlainChord(
                start_quarters=at,
                length_quarters=until - at,
                bass_midi=_BASS_LOW + (bass_name - _BASS_LOW) % 12,
                chord_midi=voiced,
            )
        )
    return tuple(found)


def _voiced(classes: list[int], centre: float) -> tuple[int, ...]:
    """The close position whose middle lies nearest to `centre`; at most four notes, the fifth is the first to go."""
    if len(classes) > 4:
        classes = [classes[0], *classes[1:2], *classes[3:5]]
    best: tuple[int, ...] = ()
    for turn in range(len(classes)):
        order = classes[turn:] + classes[:turn]
        for bottom in range(_CHORD_LOW, _CHORD_LOW + 14):
            if bottom % 12 != order[0] % 12:
                continue
            notes = [bottom]
            for name in order[1:]:
                notes.append(notes[-1] + ((name - notes[-1]) % 12 or 12))
            candidate = tuple(notes)
            if not best or abs(sum(candidate) / len(candidate) - centre) < abs(sum(best) / len(best) - centre):
                best = candidate
    return best
