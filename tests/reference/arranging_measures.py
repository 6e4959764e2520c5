"""Measures of arranging on open music, shared by tests and bench: music21's corpus (scores that the library carries).

Nothing here is learnt from: weights are set by hand and these pieces are only measured on.
"""

from __future__ import annotations

import dataclasses
import warnings
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

from partwright.arranging import Harmony, interval_to, mode_of, move_part, propose_chords, tonic_midi_class
from partwright.errors import PartwrightError
from partwright.score import Note, Part, read_tune

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21

CORPUS = Path(music21.__file__).parent / "corpus"
_CELLO_NAMES = ("Violoncello", "Cello", "Violoncell", "4")
_QUARTETS = ("haydn", "mozart", "beethoven")
_LEAD_SHEETS = ("leadSheet/fosterBrownHair.mxl", "leadSheet/berlinAlexandersRagtime.mxl")
CHOSEN_ON_TUNE = "fosterBrownHair"
"""The tune on which, with 22 chorales, three weights of the proposal were chosen: not to be measured on."""
_BOOK_WITH_CHORDS = ("nottingham-dataset/reelsa-c.abc", ("80", "81"))


def cello_pieces() -> Iterator[tuple[str, Part]]:
    """The cello parts of the string quartets, the first 64 bars of each movement, played straight through."""
    for folder in _QUARTETS:
        for path in sorted([*(CORPUS / folder).rglob("*.mxl"), *(CORPUS / folder).rglob("*.xml")]):
            for name in _CELLO_NAMES:
                try:
                    part = first_bars(read_tune(path, part=name, voice="all").part, 64)
                except PartwrightError:
                    continue
                if len(part.notes) >= 30:
                    yield str(path.relative_to(CORPUS)), part
                break


def first_bars(part: Part, count: int) -> Part:
    """The first bars of a part without repeats and jumps, which may lead out of them."""
    if len(part.bars) <= count:
        return part
    plain = {
        "repeat_start": False, "repeat_end": False, "endings": (), "ending_starts": False, "ending_stops": False,
        "segno": False, "dal_segno": False, "da_capo": False, "to_coda": False, "coda": False, "fine": False,
    }  # fmt: skip
    bars = tuple(dataclasses.replace(bar, **plain) for bar in part.bars[:count])
    ids = {note.id for note in part.notes if note.bar_index < count}
    notes = tuple(
        dataclasses.replace(note, tied_to=note.tied_to if note.tied_to in ids else None)
        for note in part.notes
        if note.bar_index < count
    )
    marks = tuple(mark for mark in part.tempo_marks if mark.onset_quarters < bars[-1].end_quarters)
    return dataclasses.replace(part, bars=bars, notes=notes, tempo_marks=marks, chord_symbols=(), directions=())


def open_scores(most: int) -> Iterator[tuple[str, Part]]:
    """One part of each open score that can be read, up to `most`: chorales first, then everything else."""
    paths = sorted((CORPUS / "bach").glob("*.mxl"))
    paths += sorted(path for path in CORPUS.rglob("*.mxl") if path.parent.name != "bach")
    paths += sorted((CORPUS / "ryansMammoth").glob("*.abc"))
    given = 0
    for path in paths:
        if given == most:
            return
        try:
            part = read_tune(path, part="1", voice="all").part
        except PartwrightError:
            continue
        if part.notes and part.bars:
            given += 1
            yield path.name, part


def harmonised() -> Iterator[tuple[str, Part, Harmony]]:
    """Tunes with printed chord symbols."""
    tunes = [read_tune(CORPUS / name).part for name in _LEAD_SHEETS]
    book, numbers = _BOOK_WITH_CHORDS
    tunes += [read_tune(CORPUS / book, part=number).part for number in numbers]
    names = [*(Path(name).stem for name in _LEAD_SHEETS), *(f"{Path(book).stem} {number}" for number in numbers)]
    for name, part in zip(names, tunes, strict=True):
        yield name, dataclasses.replace(part, chord_symbols=()), Harmony(part)


def chorales(most: int) -> Iterator[tuple[str, Part, list[tuple[Fraction, int, str]]]]:
    """Bach's chorales: the soprano, and root and quality of what all four voices sound, as the reference library names
    them. Chords of fewer than three notes, and those that are neither major nor minor in kind, are left out."""
    given = 0
    for path in sorted((CORPUS / "bach").glob("bwv*.mxl")):
        if given == most:
            return
        try:
            soprano = read_tune(path, part="1", voice="all").part
            voices = [read_tune(path, part=str(n), voice="all").part for n in (1, 2, 3, 4)]
        except PartwrightError:
            continue
        if any(bar.repeat_end for bar in soprano.bars) or not soprano.notes:
            continue
        given += 1
        yield path.stem, soprano, _sounding_chords(soprano, voices)


def _sounding_chords(soprano: Part, voices: list[Part]) -> list[tuple[Fraction, int, str]]:
    found = []
    for bar in soprano.bars:
        onset = bar.start_quarters
        while onset < bar.end_quarters:
            pitches = [note.pitch for voice in voices if (note := _at(voice, onset)) is not None]
            if len({pitch.midi % 12 for pitch in pitches}) >= 3:
                chord = music21.chord.Chord([pitch.name.replace("b", "-") for pitch in pitches])
                quality = {"major": "major", "minor": "minor", "diminished": "minor"}.get(chord.quality)
                if (quality and chord.isTriad()) or chord.isDominantSeventh() or chord.isSeventh():
                    found.append((onset, chord.root().pitchClass, quality or "major"))
            onset += 1
    return found


def _at(part: Part, onset: Fraction) -> Note | None:
    return next((n for n in part.notes if not n.grace and n.onset_quarters <= onset < n.end_quarters), None)


def agreement(part: Part, truth: list[tuple[Fraction, int, str]]) -> Counter[str]:
    """Moments at which root, and root with quality, are those of the reference: ours and two baselines."""
    mode = "minor" if mode_of(part) in ("minor", "aeolian", "dorian") else "major"
    ours = Harmony(part, propose_chords(part).symbols)
    counted: Counter[str] = Counter()
    for onset, root, quality in truth:
        bar = part.bar_at(onset)
        tonic = tonic_midi_class(bar.fifths, mode)
        span = ours.at(onset)
        if span is None:
            continue
        guesses: dict[str, tuple[int, str]] = {
            "proposal": (span.root, quality_of(span.symbol.kind)),
            "tonic everywhere": (tonic, mode),
            "nearest triad": nearest_triad(part, bar, mode, tonic),
        }
        counted["moments"] += 1
        for name, (guessed, kind) in guesses.items():
            counted[f"{name}: root"] += guessed == root
            counted[f"{name}: root and quality"] += guessed == root and kind == quality
    return counted


def quality_of(kind: str) -> str:
    """Major or minor, by the third."""
    return "minor" if kind.startswith(("minor", "half", "diminished")) else "major"


def nearest_triad(part: Part, bar: Any, mode: str, tonic: int) -> tuple[int, str]:
    """The triad of the key that holds most of the bar's time; of equal ones the one nearest to the tonic in fifths."""
    degrees = (
        [(0, "major"), (7, "major"), (5, "major"), (9, "minor"), (2, "minor"), (4, "minor")]
        if mode == "major"
        else [(0, "minor"), (7, "major"), (5, "minor"), (8, "major"), (3, "major"), (10, "major")]
    )
    time: Counter[int] = Counter()
    for note in part.notes:
        if note.bar_index == bar.index:
            time[note.midi % 12] += note.duration_quarters  # type: ignore[assignment]

    def held(degree: int, kind: str) -> Fraction:
        third = 4 if kind == "major" else 3
        return sum((Fraction(time[(tonic + degree + step) % 12]) for step in (0, third, 7)), Fraction(0))

    degree, kind = max(degrees, key=lambda pair: held(*pair))
    return (tonic + degree) % 12, kind


def printed_truth(part: Part, harmony: Harmony) -> list[tuple[Fraction, int, str]]:
    """Printed chord symbols at every half beat."""
    found = []
    onset = harmony.spans[0].start_quarters
    while onset < part.bars[-1].end_quarters:
        span = harmony.at(onset)
        if span is not None:
            found.append((onset, span.root, quality_of(span.symbol.kind)))
        onset += Fraction(1, 2)
    return found


def moved_against_library(part: Part, semitones: int) -> Counter[str]:
    """How a part moved by so many semitones compares with what music21 makes of it by the same interval."""
    moved = move_part(part, semitones)
    letters = interval_to([bar.fifths for bar in part.bars], semitones)
    interval = music21.interval.intervalFromGenericAndChromatic(_generic(letters), semitones)
    counted: Counter[str] = Counter()
    for was, now in zip(part.notes, moved.notes, strict=True):
        if was.pitch.alter != round(was.pitch.alter):
            continue
        theirs = _library_moved(was.pitch.name, interval)
        counted["notes"] += 1
        counted["same pitch"] += theirs[1] == now.pitch.midi
        counted["same name"] += theirs[0] == now.pitch.name
        signature = part.bars[was.bar_index].fifths + 7 * semitones - 12 * letters
        counted["plainer name"] += theirs[0] != now.pitch.name and (
            "##" in theirs[0] or "bb" in theirs[0] or abs(signature) > 7
        )
        counted["double"] += abs(now.pitch.alter) >= 2
    for bar in moved.bars:
        counted["signatures"] += 1
        counted["within 6"] += abs(bar.fifths) <= 6
        counted["within 7"] += abs(bar.fifths) <= 7
    return counted


_MOVED: dict[tuple[str, str], tuple[str, int]] = {}


def _library_moved(name: str, interval: Any) -> tuple[str, int]:
    key = (name, interval.directedName)
    if key not in _MOVED:
        pitch = music21.pitch.Pitch(name.replace("b", "-")).transpose(interval)
        _MOVED[key] = (pitch.nameWithOctave.replace("-", "b"), pitch.midi)
    return _MOVED[key]


def _generic(letters: int) -> int:
    """Letters to go, as the library counts intervals: a unison is 1, a second 2, downwards negative."""
    return letters + 1 if letters >= 0 else letters - 1
