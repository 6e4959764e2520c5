"""Fingered music to compare plans with: parts and accept sets, split by piece into what may be tuned on and the rest.

- scales: the 24 scales of Davidoff's Violoncell-Schule (1888, English by Miranda Wilson 2022), usual fingers and those
  without open strings (shared reference tables).
- examples: worked examples of the reference, the shift exercises left out (they practise what a player would avoid).
- passages: study-like passages composed for this project, fingers by common practice (`cello_passages.txt`).
- violin: fiddle tunes with printed fingers in Ryan's Mammoth Collection (1883), as the library music21 carries them.
  Printed are the fingers a player would not guess, above all the fourth in place of an open string.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from folk_bowings import corpus_folder, read_tunes
from numpy.typing import NDArray
from reference_rows import examples, midi, parameters

from made_parts import Sound, part_of
from partwright.fingering import Planning
from partwright.instrument import THUMB, Instrument, load_instrument
from partwright.score import Part

__all__ = ["FingeredPiece", "accepted_slots", "accepted_states", "cello_pieces", "held_back", "violin_pieces"]

Accepted = frozenset[tuple[int | None, int]]  # (string from 0 = lowest, or None for any; finger)


@dataclass(frozen=True, kw_only=True)
class FingeredPiece:
    """A part, and for some of its notes (by id) the strings and fingers that are right."""

    corpus: str
    key: str
    part: Part
    accepted: Mapping[str, Accepted]


def held_back(key: str) -> bool:
    """True for the third of the pieces that weights are never chosen on: by a hash of the name."""
    return hashlib.sha256(key.encode()).digest()[0] % 3 == 0


def cello_pieces() -> Iterator[FingeredPiece]:
    """Passages, scales and worked examples; the latter two only where the shared tables are."""
    cello = load_instrument("cello")
    yield from _passages(cello)
    yield from _scales(cello)
    for example in examples():
        if "shift" not in example["id"]:
            notes = example["notes"]
            accepted = [frozenset({(cello.string_index(n["string"]), int(n["finger"]))}) for n in notes]
            yield _piece("examples", example["id"], [midi(n["pitch"]) for n in notes], accepted)


def violin_pieces() -> Iterator[FingeredPiece]:
    """Fiddle tunes with at least one printed finger; none where the library is not installed."""
    folder = corpus_folder()
    if folder is None:
        return
    for path in sorted((folder / "ryansMammoth").glob("*.abc")):
        for tune in read_tunes(path.read_text(encoding="utf-8", errors="replace"), "ryansMammoth"):
            if tune.fingers:
                accepted = {note: frozenset({(None, finger)}) for note, finger in tune.fingers}
                yield FingeredPiece(corpus="violin", key=tune.key, part=tune.part, accepted=accepted)


def accepted_states(planning: Planning, piece: FingeredPiece) -> dict[int, NDArray[np.bool_]]:
    """For each variable with accept sets, the states that are right for all its notes, (K,); notes no hand has so are
    left out."""
    found: dict[int, NDArray[np.bool_]] = {}
    for variable, slots in accepted_slots(planning, piece).items():
        column = planning.lattice.columns[variable]
        fits = np.ones(len(column), bool)
        for slot, ways in slots.items():
            right = np.zeros(len(column), bool)
            for string, finger in ways:
                right |= (column.finger[:, slot] == finger) & (
                    np.ones(len(column), bool) if string is None else column.string[:, slot] == string
                )
            fits &= right
        if fits.any():
            found[variable] = fits
    return found


def accepted_slots(planning: Planning, piece: FingeredPiece) -> dict[int, dict[int, Accepted]]:
    """The accept sets by variable and place of the note in its chord."""
    found: dict[int, dict[int, Accepted]] = {}
    for note, ways in piece.accepted.items():
        event = planning.walk.event_of[note]
        variable = planning.variable_of.get(event)
        if variable is not None and note in planning.walk.events[event].note_ids:
            found.setdefault(variable, {}).setdefault(planning.walk.events[event].note_ids.index(note), ways)
    return found


def _piece(
    corpus: str,
    key: str,
    sounds: Sequence[Sound],
    accepted: Sequence[Accepted],
    *,
    quarters: Fraction = Fraction(1, 2),
    tempo_qpm: float = 80.0,
) -> FingeredPiece:
    """`accepted` has one set for every note, chords from low to high."""
    part = part_of(sounds, quarters=quarters, tempo_qpm=tempo_qpm)
    ways = {note.id: fingers for note, fingers in zip(part.notes, accepted, strict=True)}
    return FingeredPiece(corpus=corpus, key=key, part=part, accepted=ways)


def _scales(cello: Instrument) -> Iterator[FingeredPiece]:
    table = parameters("scales")
    for key in dict.fromkeys(row["key"] for row in table):
        rows = [row for row in table if row["key"] == key]
        accepted = [
            frozenset(
                (cello.string_index(row[f"{kind}_string"]), int(row[f"{kind}_finger"]))
                for kind in ("usual", "alt")
                if row[f"{kind}_finger"]
            )
            for row in rows
        ]
        yield _piece("scales", key, [int(row["midi"]) for row in rows], accepted)


def _passages(cello: Instrument) -> Iterator[FingeredPiece]:
    text = (Path(__file__).parent / "cello_passages.txt").read_text(encoding="utf-8")
    for line in text.splitlines():
        if not line or line.startswith("#"):
            continue
        key, quarters, tempo, notes = (field.strip() for field in line.split(";"))
        string = 0
        sounds: list[Sound] = []
        accepted: list[Accepted] = []
        for word in notes.split():
            if len(word) == 1:
                string = _string(cello, word)
                continue
            head, *others = word.split("/")
            chord = []
            for above, note in enumerate(head.split("+")):  # each note of a chord one string higher than the one before
                name, finger = note.split(".")
                chord.append(midi(name))
                ways = {(string + above, _finger(finger))} | {(_string(cello, w[0]), _finger(w[1:])) for w in others}
                accepted.append(frozenset(ways))
            sounds.append(tuple(chord) if len(chord) > 1 else chord[0])
        yield _piece("passages", key, sounds, accepted, quarters=Fraction(quarters), tempo_qpm=float(tempo))


def _string(cello: Instrument, letter: str) -> int:
    index = cello.string_index(letter)
    assert index is not None, letter
    return index


def _finger(text: str) -> int:
    return THUMB if text == "T" else int(text)
