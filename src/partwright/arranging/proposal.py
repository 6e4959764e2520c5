"""Chords for a tune that has none: a proposal, marked as one.

Method: the key is the signature's, major or minor by the notes (another one where they fit it clearly better). Each
bar (each half bar in four and in two dotted beats) may take one of the chords the key offers; what a chord is worth is
how well the notes under it fit, weighted by length and beat, plus how usual the chord is in the key, plus how usual it
is after the one before. The likeliest row of chords is found exactly by dynamic programming (A. Viterbi 1967).
Weights: `data/chords.toml`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from partwright.arranging.harmony import beat_length, key_spelling, melody, scale_classes
from partwright.arranging.keys_of import mode_of, tonic_midi_class
from partwright.score import ChordSymbol, Note, Part, estimate_key

__all__ = ["Proposal", "propose_chords"]

_CLEARLY = 0.03  # share of the time outside one scale but inside the other
_SUFFIX = {"major": "", "minor": "m", "dominant": "7", "diminished": "dim"}
_NOTES = {"major": (0, 4, 7), "minor": (0, 3, 7), "dominant": (0, 4, 7, 10), "diminished": (0, 3, 6)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Proposed chord symbols, and the sentence that says they are a proposal."""

    symbols: tuple[ChordSymbol, ...]
    remark: str


@dataclass(frozen=True, slots=True)
class _Slot:
    bar_index: int
    start: Fraction
    end: Fraction
    first_of_bar: bool


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("partwright.arranging").joinpath("data", "chords.toml").read_text(encoding="utf-8"))


def propose_chords(part: Part) -> Proposal:
    """Chord symbols for the whole part; none where it has no notes. The tonic's mode is told by the notes."""
    tune = melody(part)
    if not tune:
        return Proposal(symbols=(), remark="There is no melody to propose chords for.")
    moved, mode = _heard_key(part, tune)
    offered = [_chord(text) for text in _table()["degrees"][mode]]
    prior = list(_table()["degrees"][mode].values())
    slots = _slots(part)
    fits = [_fits(slot, part, tune, offered, mode, moved) for slot in slots]
    chosen = _best_row(slots, fits, offered, prior)
    symbols: list[ChordSymbol] = []
    before: tuple[int, str] | None = None
    for slot, index in zip(slots, chosen, strict=True):
        bar = part.bars[slot.bar_index]
        tonic = tonic_midi_class(bar.fifths + moved, mode)
        degree, kind = offered[index]
        here = ((tonic + degree) % 12, kind)
        if here == before:
            continue
        before = here
        root = key_spelling(60 + here[0], bar.fifths + moved)
        sign = {-1: "b", 0: "", 1: "#"}.get(round(root.alter), "")
        symbols.append(
            ChordSymbol(
                onset_quarters=slot.start,
                bar_index=bar.index,
                bar=bar.number,
                beat=1 + (slot.start - bar.start_quarters + bar.beat_offset_quarters) * bar.beat_type / 4,
                text=f"{root.step}{sign}{_SUFFIX[kind]}",
                root_step=root.step,
                root_alter=root.alter,
                kind=kind,
            )
        )
    remark = "These chords are a proposal made from the melody; change what you hear otherwise."
    return Proposal(symbols=tuple(symbols), remark=remark)


def _chord(text: str) -> tuple[int, str]:
    degree, kind = text.split()
    return int(degree), kind


def _slots(part: Part) -> list[_Slot]:
    found = []
    for bar in part.bars:
        half = beat_length(bar.beats, bar.beat_type)
        count = bar.nominal_quarters / half
        cuts = [bar.start_quarters]
        if count in (2, 4) and bar.length_quarters == bar.nominal_quarters and bar.nominal_quarters >= 3:
            cuts.append(bar.start_quarters + bar.nominal_quarters / 2)
        ends = [*cuts[1:], bar.end_quarters]
        found += [_Slot(bar.index, start, end, k == 0) for k, (start, end) in enumerate(zip(cuts, ends, strict=True))]
    return found


def _heard_key(part: Part, tune: Sequence[Note]) -> tuple[int, str]:
    """How many fifths the key lies from the signature, and major or minor.

    The signature is believed unless the notes fit another one clearly better (a tune printed without its signature).
    """
    mode = "minor" if mode_of(part) in ("minor", "aeolian", "dorian", "phrygian") else "major"
    printed = part.bars[0].fifths
    lengths = [float(note.duration_quarters) for note in tune]
    found = estimate_key([note.midi for note in tune], lengths)

    def foreign(fifths: int) -> float:
        scale = scale_classes(fifths)
        outside = sum(length for note, length in zip(tune, lengths, strict=True) if note.midi % 12 not in scale)
        return outside / max(sum(lengths), 1e-9)

    if any(bar.fifths != printed for bar in part.bars) or foreign(printed) - foreign(found.fifths) < _CLEARLY:
        return 0, mode
    return found.fifths - printed, found.mode


def _fits(
    slot: _Slot, part: Part, tune: Sequence[Note], offered: Sequence[tuple[int, str]], mode: str, moved: int
) -> list[float]:
    """How well each chord fits the notes that sound in the slot."""
    weights = _table()["fit"]
    bar = part.bars[slot.bar_index]
    tonic = tonic_midi_class(bar.fifths + moved, mode)
    totals = [0.0] * len(offered)
    length = float(bar.nominal_quarters) or 1.0
    for k, note in enumerate(tune):
        start, end = max(note.onset_quarters, slot.start), min(_end(tune, k, note), slot.end)
        if start >= end:
            continue
        offset = start - bar.start_quarters + bar.beat_offset_quarters
        on_beat = (offset % beat_length(bar.beats, bar.beat_type)) == 0
        accent = weights["downbeat"] if offset == 0 else weights["beat"] if on_beat else 1.0
        weight = accent * float(end - start) / length
        passing = not on_beat and _by_step(tune, k)
        for index, (degree, kind) in enumerate(offered):
            above = (note.midi - tonic - degree) % 12
            if above in _NOTES[kind]:
                value = weights["chord_tone"]
                value += weights["root"] if above == 0 else weights["seventh"] if above == 10 else 0.0
            else:
                value = weights["foreign_passing"] if passing else weights["foreign"]
            totals[index] += weight * value
    return [weights["evidence"] * total for total in totals]


def _end(tune: Sequence[Note], k: int, note: Note) -> Fraction:
    """Where a note ends, ties and all, as far as the next one lets it."""
    after = tune[k + 1].onset_quarters if k + 1 < len(tune) else note.end_quarters
    return after if note.tied_to is not None else min(note.end_quarters, after)


def _by_step(tune: Sequence[Note], k: int) -> bool:
    if not 0 < k < len(tune) - 1:
        return False
    return abs(tune[k].midi - tune[k - 1].midi) <= 2 and abs(tune[k + 1].midi - tune[k].midi) <= 2


def _best_row(
    slots: Sequence[_Slot], fits: Sequence[Sequence[float]], offered: Sequence[tuple[int, str]], prior: Sequence[float]
) -> list[int]:
    fit = _table()["fit"]
    moves = {int(key): float(value) for key, value in _table()["moves"].items()}
    count = len(offered)
    tonic = [degree == 0 for degree, _ in offered]

    def move(a: int, b: int, inside: bool) -> float:
        if a == b:
            return float(fit["stay"])
        up = (offered[b][0] - offered[a][0]) % 12
        return moves.get(up, 0.0) + (float(fit["change_inside"]) if inside else 0.0)

    across = [[move(a, b, False) for b in range(count)] for a in range(count)]
    within = [[move(a, b, True) for b in range(count)] for a in range(count)]
    best = [fits[0][b] + prior[b] * 0.5 + (fit["open"] if tonic[b] else 0.0) for b in range(count)]
    came: list[list[int]] = []
    for slot, here in zip(slots[1:], fits[1:], strict=True):
        table = across if slot.first_of_bar else within
        step, totals = [], []
        for b in range(count):
            a = max(range(count), key=lambda a, b=b: best[a] + table[a][b])  # type: ignore[misc]
            step.append(a)
            totals.append(best[a] + table[a][b] + here[b] + prior[b] * 0.5)
        came.append(step)
        best = totals
    index = max(range(count), key=lambda b: best[b] + (fit["close"] if tonic[b] else 0.0))
    row = [index]
    for step in reversed(came):
        index = step[index]
        row.append(index)
    return row[::-1]
