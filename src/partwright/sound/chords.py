"""A chord symbol's notes, and the plain accompaniment made of them: a bass note and a chord, struck anew each bar.

This is the plain style for a lesson without an arranged score; an arranged score comes in by the same door, as
events (`accompaniment.py`). Kinds are MusicXML's; their notes are the trade's usual ones (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from partwright.score import ChordSymbol, Part

__all__ = ["PlainChord", "chord_semitones", "plain_chords"]

_KINDS: dict[str, tuple[int, ...]] = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "augmented": (0, 4, 8), "diminished": (0, 3, 6),
    "dominant": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "diminished-seventh": (0, 3, 6, 9), "augmented-seventh": (0, 4, 8, 10), "half-diminished": (0, 3, 6, 10),
    "major-minor": (0, 3, 7, 11), "major-sixth": (0, 4, 7, 9), "minor-sixth": (0, 3, 7, 9),
    "dominant-ninth": (0, 4, 7, 10, 14), "major-ninth": (0, 4, 7, 11, 14), "minor-ninth": (0, 3, 7, 10, 14),
    "dominant-11th": (0, 7, 10, 14, 17), "major-11th": (0, 7, 11, 14, 17), "minor-11th": (0, 3, 7, 10, 14, 17),
    "dominant-13th": (0, 4, 10, 14, 21), "major-13th": (0, 4, 11, 14, 21), "minor-13th": (0, 3, 10, 14, 21),
    "suspended-second": (0, 2, 7), "suspended-fourth": (0, 5, 7), "power": (0, 7), "pedal": (0,),
    "Neapolitan": (0, 4, 7), "Italian": (0, 4, 10), "French": (0, 4, 6, 10), "German": (0, 4, 7, 10),
}  # fmt: skip
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 12, 9: 14, 10: 16, 11: 17, 12: 19, 13: 21}
_BASS_LOW, _CHORD_LOW, _CHORD_MIDDLE = 36, 50, 59


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainChord:
    """A chord where it is struck, in played quarters from the passage's start: bass and chord notes as MIDI."""

    start_quarters: Fraction
    length_quarters: Fraction
    bass_midi: int
    chord_midi: tuple[int, ...]


def chord_semitones(symbol: ChordSymbol) -> tuple[int, ...]:
    """Semitones above the root, rising; () for "no chord" and kinds that have no notes of their own.

    >>> chord_semitones(ChordSymbol(onset_quarters=Fraction(0), bar_index=0, bar="1", beat=Fraction(1), text="Dm7",
    ...                             root_step="D", kind="minor-seventh"))
    (0, 3, 7, 10)
    """
    if not symbol.root_step or symbol.kind == "none":
        return ()
    notes = set(_KINDS.get(symbol.kind, (0, 4, 7)))
    for value, alter, what in symbol.degrees:
        degree = _DEGREES.get(value)
        if degree is None:
            continue
        changed = degree + round(alter)
        near = {n for n in notes if abs((n - degree) % 12) in (0, 1, 11) and n != 0}
        if what == "subtract":
            notes -= near
        elif what == "alter":
            notes = (notes - near) | {changed}
        else:
            notes.add(changed)
    return tuple(sorted(notes))


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
        semitones = chord_semitones(symbol)
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
