"""What is played before the lesson: the open strings, and the scale of the tune's key, fingered by the engine.

Units: quarter notes. The words come from `data/cautions.toml`, each with its source.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib import resources

from partwright.fingering import Pin
from partwright.instrument import Instrument
from partwright.lesson.drills import Drill
from partwright.lesson.survey import key_name
from partwright.score import (
    Part,
    Pitch,
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
)

__all__ = ["BookletWords", "SourcedText", "booklet_words", "warm_up_drills"]

_WARM_UP_QPM = 60.0
_STEPS = "CDEFGAB"
_NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_ORDER = "FCGDAEB"
_MAJOR_TONIC = "FCGDAEB"


@dataclass(frozen=True, slots=True)
class SourcedText:
    """A sentence to print and where it comes from."""

    text: str
    source: str


@dataclass(frozen=True, slots=True)
class BookletWords:
    """Warm-up and cautions, and the sentence that says what they are."""

    warm_up: tuple[SourcedText, ...]
    cautions: tuple[SourcedText, ...]
    note: str


@cache
def booklet_words() -> BookletWords:
    """The words of the table."""
    text = (resources.files("partwright.lesson") / "data" / "cautions.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    return BookletWords(
        warm_up=tuple(SourcedText(row["text"], row["source"]) for row in data["warm_up"]),
        cautions=tuple(SourcedText(row["text"], row["source"]) for row in data["caution"]),
        note=str(data["note"]),
    )


def warm_up_drills(part: Part, instrument: Instrument, *, level: str) -> tuple[Drill, ...]:
    """The open strings from low to high, and one octave of the scale up and down where the level's range holds it."""
    transpose = part.transpose_semitones
    strings = [_pitch(string.midi) for string in instrument.strings]
    clef = instrument.default_clef
    rows = [[(pitch, Fraction(4))] for pitch in strings]
    open_strings = _drill("w1", "The open strings", "Whole bows, an even sound.", rows, 0, clef, transpose, part.name)
    pins = tuple(
        Pin(note_id=f"w1n{index + 1}", finger=0, string=index, origin="drill") for index in range(len(strings))
    )
    drills = [replace(open_strings, pins=pins)]
    scale = _scale(part, instrument, level)
    if scale is not None:
        row = [*scale, *reversed(scale)]
        bars = [[(p, Fraction(1)) for p in row[at : at + 4]] for at in range(0, len(row), 4)]
        fifths = part.bars[0].fifths
        words = "Listen to every step. Begin slowly."
        drills.append(_drill("w2", "The scale of the tune", words, bars, fifths, clef, transpose, part.name))
    return tuple(drills)


def _scale(part: Part, instrument: Instrument, level: str) -> tuple[Pitch, ...] | None:
    """Eight notes from a tonic upwards, as low as the instrument has them."""
    fifths = part.bars[0].fifths
    if abs(fifths) > 7:
        return None
    minor = "minor" in key_name(part) and "major" not in key_name(part)
    letter = _MAJOR_TONIC[(fifths + 1) % 7]
    letter = _STEPS[(_STEPS.index(letter) - 2) % 7] if minor else letter
    lowest = instrument.strings[0].midi
    low, high = instrument.levels[level].range_semitones
    for octave in range(8):
        tonic = _in_key(letter, octave, fifths)
        if tonic.midi >= lowest + low and tonic.midi + 12 <= lowest + high:
            at = _STEPS.index(letter)
            return tuple(_in_key(_STEPS[(at + k) % 7], octave + (at + k) // 7, fifths) for k in range(8))
    return None


def _in_key(step: str, octave: int, fifths: int) -> Pitch:
    sharps = _SHARP_ORDER[: max(0, fifths)]
    flats = _SHARP_ORDER[::-1][: max(0, -fifths)]
    return Pitch(step, 1 if step in sharps else -1 if step in flats else 0, octave)


def _pitch(midi: int) -> Pitch:
    """An open string's pitch; strings tuned between the naturals are spelled with sharps."""
    octave, place = divmod(midi, 12)
    step = max((s for s in _STEPS if _NATURAL[s] <= place), key=lambda s: _NATURAL[s])
    return Pitch(step, place - _NATURAL[step], octave - 1)


def _drill(
    drill_id: str,
    title: str,
    words: str,
    rows: list[list[tuple[Pitch, Fraction]]],
    fifths: int,
    clef: str,
    transpose_semitones: int,
    name: str,
) -> Drill:
    bars = []
    count = 0
    for number, row in enumerate(rows, start=1):
        voice = []
        for pitch, quarters in row:
            count += 1
            tempo = WrittenTempo(tempo_qpm=Fraction(round(_WARM_UP_QPM)), shown=False) if count == 1 else None
            voice.append(
                WrittenEvent(duration_quarters=quarters, pitches=(pitch,), id=f"{drill_id}n{count}", tempo=tempo)
            )
        first = number == 1
        bars.append(
            WrittenBar(
                number=str(number),
                voices=(tuple(voice),),
                metre=WrittenMetre() if first else None,
                key=WrittenKey(fifths=fifths) if first else None,
                clef=clef if first else "",
            )
        )
    written = WrittenPart(name=name or "Part", bars=tuple(bars), transpose_semitones=transpose_semitones)
    score = WrittenScore(parts=(written,), title=title)
    return Drill(
        id=drill_id, spot=0, kind="warm_up", title=title, words=words, times=1, tempo_qpm=_WARM_UP_QPM, score=score
    )
