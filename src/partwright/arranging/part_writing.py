"""Rules of two-part writing, as a checker that any second part can be put to.

Sources (public domain, from memory; chapter numbers not looked up again):
- J. J. Fux, Gradus ad Parnassum (1725), first species: consecutive fifths and octaves.
- E. Prout, Harmony: its Theory and Practice (1889), rules of part-writing: consecutive fifths and octaves, those by
  contrary motion (a fifth, then a twelfth) among them; crossing of parts; leaps of augmented intervals; a large leap
  left in the opposite direction.
- P. Goetschius, The Theory and Practice of Tone-Relations (1892): a leap turns back by step.
- chord notes on strong beats: Fux, second species (the downbeat is a consonance), applied to the chord that holds.

Units: quarter notes, MIDI.
"""

from __future__ import annotations

import itertools
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.arranging.harmony import Harmony, melody, strong_beats
from partwright.score import Note, Part

__all__ = ["LARGE_LEAP_SEMITONES", "Breach", "breaches", "sounding_at", "strong_moments"]

LARGE_LEAP_SEMITONES = 5  # larger than a perfect fourth

Rule = Literal["parallel fifths", "parallel octaves", "crossing", "foreign on a strong beat", "leap not turned"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Breach:
    """One rule broken, and where."""

    rule: Rule
    bar: str
    beat: Fraction
    words: str


def strong_moments(part: Part) -> tuple[Fraction, ...]:
    """Onsets of all strong beats of the part, in written order."""
    found = []
    for bar in part.bars:
        for offset in strong_beats(bar.beats, bar.beat_type):
            onset = bar.start_quarters + offset - bar.beat_offset_quarters
            if bar.start_quarters <= onset < bar.end_quarters:
                found.append(onset)
    return tuple(found)


def sounding_at(tune: Sequence[Note], onset: Fraction) -> Note | None:
    """The note that sounds at a moment; None in a rest. `tune` in order, one note at a time."""
    index = bisect_right(tune, onset, key=lambda note: note.onset_quarters) - 1
    if index < 0:
        return None
    note = tune[index]
    if onset < note.end_quarters or note.tied_to is not None:
        return note
    return None


def breaches(tune_part: Part, second: Part, harmony: Harmony, *, bass: bool = False) -> tuple[Breach, ...]:
    """Every rule the second part breaks against the tune, in order.

    A bass may lie apart from the tune as it likes and may leap by fourth, fifth and octave between chord roots
    (Prout); all other rules hold for it too.
    """
    tune, line = melody(tune_part), melody(second)
    found: list[Breach] = []

    def breach(rule: Rule, onset: Fraction, words: str) -> None:
        bar = tune_part.bar_at(onset)
        beat = 1 + (onset - bar.start_quarters + bar.beat_offset_quarters) * bar.beat_type / 4
        found.append(Breach(rule=rule, bar=bar.number, beat=beat, words=words))

    moments = strong_moments(tune_part)
    for one, two in itertools.pairwise(moments):
        pairs = [(sounding_at(tune, at), sounding_at(line, at)) for at in (one, two)]
        (a, c), (b, d) = pairs
        if a is None or b is None or c is None or d is None or a.midi == b.midi or c.midi == d.midi:
            continue
        first, then = (a.midi - c.midi) % 12, (b.midi - d.midi) % 12
        if first == then == 7:
            breach("parallel fifths", two, f"{c.pitch.name} {d.pitch.name} under {a.pitch.name} {b.pitch.name}")
        if first == then == 0:
            breach("parallel octaves", two, f"{c.pitch.name} {d.pitch.name} under {a.pitch.name} {b.pitch.name}")
    for note in line:
        for other in (sounding_at(tune, note.onset_quarters), *(n for n in tune if _begins_within(n, note))):
            if other is not None and other.midi < note.midi:
                breach("crossing", max(note.onset_quarters, other.onset_quarters),
                       f"{note.pitch.name} above the tune's {other.pitch.name}")  # fmt: skip
                break
    strong = set(moments)
    for note in line:
        span = harmony.at(note.onset_quarters)
        if note.onset_quarters in strong and span is not None and note.midi % 12 not in span.classes:
            breach("foreign on a strong beat", note.onset_quarters, f"{note.pitch.name} in {span.symbol.text}")
    for x, y, z in zip(line, line[1:], line[2:], strict=False):
        leap, after = y.midi - x.midi, z.midi - y.midi
        if abs(leap) <= LARGE_LEAP_SEMITONES or y.onset_quarters - x.end_quarters > 0:
            continue
        if bass and abs(leap) in (7, 12):
            continue
        if after != 0 and (leap > 0) == (after > 0):
            breach("leap not turned", z.onset_quarters, f"{x.pitch.name} {y.pitch.name} {z.pitch.name}")
    order = {bar.number: bar.index for bar in reversed(tune_part.bars)}
    return tuple(sorted(found, key=lambda b: (order.get(b.bar, 0), b.beat)))


def _begins_within(note: Note, span: Note) -> bool:
    return span.onset_quarters < note.onset_quarters < span.end_quarters
