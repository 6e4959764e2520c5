"""MIDI melodies against the reference library (music21): it exports folk tunes of its corpus, we read them back.

Exact files, and copies humanised with a normal deviate of 0.015 quarter on every press and release (seeded). Pitches
and printed onsets must be the tune's; so must spelling and, most of the time, key signature and pick-up.
"""

from __future__ import annotations

import copy
import warnings
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import pytest

from partwright.score.read_midi import midi_to_musicxml
from partwright.score.spelling import estimate_key, spelled
from score_checks import corpus_abc, humanised, library_score, sounds, without_signs

FOLDERS = ("essenFolksong", "oneills1850", "airdsAirs", "ryansMammoth")
SIGMA_QUARTERS = 0.015


@dataclass(frozen=True)
class Exported:
    """A tune as the library wrote it to MIDI, and what it was."""

    name: str
    data: bytes
    onsets: tuple[tuple[Fraction, int], ...]
    names: tuple[tuple[str, int], ...]
    fifths: int | None
    pickup: Fraction


@cache
def exported(count: int, seed: int) -> tuple[Exported, ...]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import meter, midi, stream

        found = []
        for name, text in corpus_abc(FOLDERS, count=count, seed=seed):
            try:
                part = library_score(without_signs(text, ties=False))
                part = part.parts[0] if part.parts else part
                bars = part.getElementsByClass("Measure")
                metres = list(part.recurse().getElementsByClass("TimeSignature"))
                notes = [note for note in part.flatten().notes if note.isNote and not note.duration.isGrace]
                key = part.recurse().getElementsByClass("KeySignature").first()
            except Exception:
                continue  # the library refuses a few tunes
            if len(metres) != 1 or len(notes) < 16 or not len(bars):
                continue
            flat = stream.Part()
            flat.insert(0, meter.TimeSignature(metres[0].ratioString))
            for note in notes:
                flat.insert(note.offset, copy.deepcopy(note))
            first, full = bars[0].duration.quarterLength, metres[0].barDuration.quarterLength
            start = Fraction(notes[0].offset).limit_denominator(96)
            found.append(
                Exported(
                    name=name,
                    data=midi.translate.streamToMidiFile(flat).writestr(),
                    onsets=tuple(
                        (Fraction(note.offset).limit_denominator(96) - start, int(note.pitch.midi)) for note in notes
                    ),
                    names=tuple((note.pitch.step, int(note.pitch.alter)) for note in notes),
                    fifths=key.sharps if key else None,
                    pickup=Fraction(first).limit_denominator(96) if first < full else Fraction(0),
                )
            )
    return tuple(found)


def wrong_notes(tune: Exported, data: bytes) -> tuple[int, bool]:
    """How many notes have another pitch or printed onset, and whether the first bar is as long as the tune's."""
    tree = midi_to_musicxml(data, file=tune.name).tree
    heard = sounds(tree)
    start = heard[0][0]
    ours = [(onset - start, midi) for onset, _, midi in heard]
    wrong = len(set(ours) ^ set(tune.onsets))
    measure = tree.find(".//measure")
    assert measure is not None
    divisions = int(measure.findtext(".//divisions", "1"))
    length = sum(Fraction(int(d.text or 0), divisions) for d in measure.findall("note/duration"))
    return wrong, (length if measure.get("implicit") else 0) == tune.pickup


def check(count: int, seed: int, *, least_tunes: float, least_pickups: float) -> None:
    tunes = exported(count, seed)
    assert len(tunes) > 0.75 * count
    for sigma in (0.0, SIGMA_QUARTERS):
        results = [
            wrong_notes(tune, humanised(tune.data, seed=k, sigma_quarters=sigma) if sigma else tune.data)
            for k, tune in enumerate(tunes)
        ]
        perfect = sum(wrong == 0 for wrong, _ in results) / len(tunes)
        wrong_share = sum(wrong for wrong, _ in results) / sum(2 * len(tune.onsets) for tune in tunes)
        assert perfect >= least_tunes, (sigma, perfect)
        assert wrong_share < 0.005, (sigma, wrong_share)
        assert sum(pickup for _, pickup in results) / len(tunes) >= least_pickups


def test_corpus_tunes_come_back_exact_and_humanised() -> None:
    check(40, 21, least_tunes=0.9, least_pickups=0.65)


@pytest.mark.slow
def test_hundreds_of_corpus_tunes_come_back() -> None:
    check(400, 22, least_tunes=0.94, least_pickups=0.72)


def test_spelling_and_key_of_folk_tunes() -> None:
    """Spelling of the tune's own notes under its own signature; the key by its notes alone."""
    tunes = [tune for tune in exported(40, 21) if tune.fifths is not None]
    right = total = keys = 0
    for tune in tunes:
        numbers = [midi for _, midi in tune.onsets]
        names = [(pitch.step, int(pitch.alter)) for pitch in spelled(numbers, fifths=tune.fifths or 0)]
        right += sum(ours == theirs for ours, theirs in zip(names, tune.names, strict=True))
        total += len(names)
        durations = [float(b[0] - a[0]) for a, b in zip(tune.onsets, tune.onsets[1:], strict=False)] + [1.0]
        keys += estimate_key(numbers, durations).fifths == tune.fifths
    assert right / total > 0.995
    assert keys / len(tunes) > 0.75
