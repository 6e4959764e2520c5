"""Tempo marks of a part from everything that says a tempo: metronome marks, playback tempi, words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.score.parse_directions import Metronome
from partwright.score.part import TempoMark
from partwright.score.tempo_words import ASSUMED_QPM, beat_quarters, is_a_tempo, is_first_tempo, words_to_bpm

__all__ = ["TempoSaying", "is_tempo", "tempo_marks"]

MAX_QPM = 1000.0
_SAME_QPM = 0.5  # two statements of one tempo may differ by rounding


@dataclass(frozen=True, slots=True)
class TempoSaying:
    """One thing said about tempo. `beats`, `beat_type` and `bar` are those of the bar it stands in."""

    onset_quarters: Fraction
    kind: Literal["metronome", "sound-tempo", "words"]
    bar: str
    beats: int
    beat_type: int
    text: str = ""
    value: float = 0.0
    metronome: Metronome | None = None


def tempo_marks(
    sayings: Sequence[TempoSaying], *, grace_quarters: Fraction
) -> tuple[tuple[TempoMark, ...], frozenset[tuple[Fraction, str]], list[str]]:
    """Tempo marks in time order, the words that were used up by them, and remarks.

    At one place a metronome mark goes before a playback tempo, and that before words. A first tempo within
    `grace_quarters` of the beginning holds from the beginning; with none there the tempo is assumed.
    """
    marks: list[TempoMark] = []
    used: set[tuple[Fraction, str]] = set()
    remarks: list[str] = []
    base = ASSUMED_QPM  # the last tempo printed, for "a tempo"
    places: dict[Fraction, list[TempoSaying]] = {}
    for saying in sayings:
        places.setdefault(saying.onset_quarters, []).append(saying)
    for onset in sorted(places):
        here = places[onset]
        current = marks[-1].tempo_qpm if marks else ASSUMED_QPM
        words = [s.text for s in here if s.kind == "words" and is_tempo(s.text)]
        text = ", ".join(dict.fromkeys(words))
        found = _from_metronome(here, current, remarks)
        source: Literal["metronome", "sound", "words"] = "metronome"
        played = _from_sound(here, remarks)
        if found is None:
            found, source = played, "sound"
        elif played is not None and abs(played - found) > max(_SAME_QPM, 0.01 * found):
            remarks.append(
                f"Bar {here[0].bar}: the metronome mark says {found:g} quarter notes a minute, "
                f"the playback {played:g}; the mark is used."
            )
        if found is None and words:
            found = _from_words(words, here[0], base, marks[0].tempo_qpm if marks else ASSUMED_QPM)
            source = "words"
        if found is None:
            continue
        used.update((onset, word) for word in words)
        if source != "sound" or words:
            base = found
        marks.append(TempoMark(onset_quarters=onset, tempo_qpm=found, source=source, words=text))
    if not marks or marks[0].onset_quarters > grace_quarters:
        where = "is given" if not marks else "is given at the beginning"
        remarks.append(f"No tempo {where}: {ASSUMED_QPM:g} quarter notes a minute assumed.")
        marks.insert(0, TempoMark(onset_quarters=Fraction(0), tempo_qpm=ASSUMED_QPM, source="assumed"))
    elif marks[0].onset_quarters > 0:
        first = marks[0]
        marks[0] = TempoMark(
            onset_quarters=Fraction(0), tempo_qpm=first.tempo_qpm, source=first.source, words=first.words
        )
    return tuple(marks), frozenset(used), remarks


def is_tempo(text: str) -> bool:
    """Whether words say a tempo we know how to read."""
    return is_a_tempo(text) or is_first_tempo(text) or words_to_bpm(text) is not None


def _from_metronome(here: Sequence[TempoSaying], current: float, remarks: list[str]) -> float | None:
    for saying in here:
        mark = saying.metronome
        if saying.kind != "metronome" or mark is None:
            continue
        if mark.per_minute is not None:
            found = float(mark.unit_quarters) * mark.per_minute
        elif mark.equals_quarters is not None:
            found = current * float(mark.equals_quarters / mark.unit_quarters)  # the old unit lasts as long as the new
        else:
            continue
        if 0 < found <= MAX_QPM:
            return found
        remarks.append(f"Bar {saying.bar}: a metronome mark of {found:g} quarter notes a minute is not used.")
    return None


def _from_sound(here: Sequence[TempoSaying], remarks: list[str]) -> float | None:
    for saying in here:
        if saying.kind != "sound-tempo":
            continue
        if 0 < saying.value <= MAX_QPM:
            return saying.value
        remarks.append(f"Bar {saying.bar}: a playback tempo of {saying.text!r} is not used.")
    return None


def _from_words(words: Sequence[str], here: TempoSaying, base: float, first: float) -> float | None:
    for text in words:
        bpm = words_to_bpm(text)
        if bpm is not None:
            return bpm * beat_quarters(here.beats, here.beat_type)
        if is_first_tempo(text):
            return first
        if is_a_tempo(text):
            return base
    return None
