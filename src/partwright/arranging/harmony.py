"""The harmony of a tune as spans of time: which notes belong to the chord that holds. Units: quarter notes, MIDI."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction

from partwright.score import ChordSymbol, Note, Part, Pitch, beat_text, chord_notes

__all__ = ["Harmony", "Span", "beat_length", "melody", "scale_classes", "strong_beats", "unread_chords"]

_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A chord from where it begins to where the next one does. Pitch classes: 0 = C."""

    start_quarters: Fraction
    end_quarters: Fraction
    symbol: ChordSymbol
    root: int
    bass: int
    classes: frozenset[int]

    def spelled(self, midi: int, fifths: int) -> Pitch:
        """A pitch by the name it has in this chord, or in the key if it is no note of the chord."""
        root = Pitch(self.symbol.root_step, self.symbol.root_alter, 4)
        above = (midi - root.midi) % 12
        letters = {0: 0, 1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 4, 7: 4, 8: 4, 9: 5, 10: 6, 11: 6}[above]
        if self.symbol.kind == "diminished-seventh" and above == 9:
            letters = 6
        if midi % 12 not in self.classes:
            return key_spelling(midi, fifths)
        step = "CDEFGAB"[("CDEFGAB".index(root.step) + letters) % 7]
        natural = Pitch(step, 0, 4).midi
        alter = (midi - natural + 6) % 12 - 6
        if abs(alter) > 1:
            return key_spelling(midi, fifths)
        return Pitch(step, alter, (midi - alter) // 12 - 1)


def key_spelling(midi: int, fifths: int) -> Pitch:
    """A pitch as a key spells it: its own notes by their names, the others raised in sharp keys, lowered in flat ones.

    >>> key_spelling(61, 2).name, key_spelling(61, -4).name
    ('C#4', 'Db4')
    """
    best: tuple[int, Pitch] | None = None
    for place in range(fifths - 6, fifths + 11):  # the line of fifths around the key, F of C major at -1
        if (7 * place) % 12 != midi % 12:
            continue
        accidentals, letter = divmod(place + 1, 7)
        distance = abs(place - (fifths + 2))
        octave = (midi - accidentals) // 12 - 1
        pitch = Pitch("FCGDAEB"[letter], accidentals, octave)
        if best is None or distance < best[0]:
            best = (distance, pitch)
    assert best is not None  # seventeen places of the line hold every pitch class
    return best[1]


class Harmony:
    """The chords of a part, found by time."""

    def __init__(self, part: Part, symbols: tuple[ChordSymbol, ...] | None = None) -> None:
        self.part = part
        read = [s for s in (part.chord_symbols if symbols is None else symbols) if chord_notes(s)]
        read.sort(key=lambda symbol: symbol.onset_quarters)
        end = part.bars[-1].end_quarters if part.bars else Fraction(0)
        spans = []
        for k, symbol in enumerate(read):
            after = read[k + 1].onset_quarters if k + 1 < len(read) else end
            root = Pitch(symbol.root_step, symbol.root_alter, 4).midi % 12
            bass = Pitch(symbol.bass_step, symbol.bass_alter, 4).midi % 12 if symbol.bass_step else root
            spans.append(
                Span(
                    start_quarters=symbol.onset_quarters,
                    end_quarters=max(after, symbol.onset_quarters),
                    symbol=symbol,
                    root=root,
                    bass=bass,
                    classes=frozenset((root + above) % 12 for above in chord_notes(symbol)) | {bass},
                )
            )
        self.spans = tuple(spans)
        self._starts = [span.start_quarters for span in spans]

    def at(self, onset_quarters: Fraction) -> Span | None:
        """The chord that holds at this moment; None before the first."""
        index = bisect_right(self._starts, onset_quarters) - 1
        return self.spans[index] if index >= 0 else None


def melody(part: Part) -> tuple[Note, ...]:
    """The notes of the tune one after the other: the highest of each moment, graces and tied continuations left out."""
    found: list[Note] = []
    for note in sorted(part.notes, key=lambda n: (n.onset_quarters, -n.midi)):
        if note.grace or note.tied_from is not None:
            continue
        if found and found[-1].onset_quarters == note.onset_quarters:
            continue
        found.append(note)
    return tuple(found)


def scale_classes(fifths: int, mode: str = "major") -> frozenset[int]:
    """Pitch classes of the key signature; in minor the raised sixth and seventh too."""
    tonic = (7 * fifths) % 12
    classes = {(tonic + step) % 12 for step in _MAJOR_SCALE}
    if mode in ("minor", "aeolian"):
        minor = (tonic + 9) % 12
        classes |= {(minor + 9) % 12, (minor + 11) % 12}
    return frozenset(classes)


def beat_length(beats: int, beat_type: int) -> Fraction:
    """One felt beat in quarters: a dotted one in 6/8, 9/8, 12/8 (common practice, no source)."""
    unit = Fraction(4, beat_type)
    return 3 * unit if beat_type >= 8 and beats % 3 == 0 and beats > 3 else unit


def strong_beats(beats: int, beat_type: int) -> tuple[Fraction, ...]:
    """Where in a bar the strong beats are, in quarters: the first, and the middle of a bar of four (general theory)."""
    unit = beat_length(beats, beat_type)
    count = Fraction(4 * beats, beat_type) / unit
    if count == 4:
        return (Fraction(0), 2 * unit)
    return (Fraction(0),) if count < 4 or count.denominator != 1 else (Fraction(0), 3 * unit)


def unread_chords(part: Part) -> tuple[str, ...]:
    """A remark for each chord symbol that could not be read as a chord; its text stays on the page."""
    return tuple(
        f'bar {symbol.bar}, beat {beat_text(symbol.beat)}: "{symbol.text}" is not read as a chord; it is kept as text'
        for symbol in part.chord_symbols
        if not symbol.root_step and symbol.kind != "none" and symbol.text
    )
