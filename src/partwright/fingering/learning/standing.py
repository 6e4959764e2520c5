"""A plan as the teacher let it stand: kept when a taste is learned, because the plan moves with the taste.

A lesson that was gone through says how its teacher plays every note of it. Once a taste has been learned the lesson is
planned anew, and what then stands in it has been seen by nobody: taken for approved, the taste would be taught its own
guesses. So the fingers of that day are kept beside the taste, and are what the lesson says as long as no new pin shows
that it was gone through again.

Written as one word a note, in the order of the part: the string's letter, the finger, "-" and the finger that takes
over, "o" for a natural harmonic ("D1 D3-2 A3o A0"); "." for a note that is not planned.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from partwright.fingering.planning import Planning
from partwright.instrument import THUMB, Instrument, finger_text
from partwright.score import Part

__all__ = ["Standing", "read_standing", "standing", "standing_text"]


@dataclass(frozen=True, slots=True)
class Standing:
    """What can be seen of one note: string (0 = lowest), finger, the one that takes over, harmonic or not."""

    string: int
    finger: int
    substitute: int | None = None
    harmonic: bool = False


def standing(planning: Planning) -> dict[str, Standing]:
    """Every planned note as it stands, by its id."""
    columns, choice = planning.lattice.columns, planning.solution.choice
    found: dict[str, Standing] = {}
    for index, variable in planning.variable_of.items():
        column, state = columns[variable], choice[variable]
        second = planning.substitute_of.get(variable)
        for place, note_id in enumerate(planning.walk.events[index].note_ids):
            finger = int(column.finger[state, place])
            after = None if second is None else int(columns[second].finger[choice[second], place])
            found[note_id] = Standing(
                string=int(column.string[state, place]),
                finger=finger,
                substitute=after if after != finger else None,
                harmonic=bool(column.harmonic[state, place]),
            )
    return found


def standing_text(notes: Mapping[str, Standing], part: Part, instrument: Instrument) -> str:
    """The notes of a part as words, in its order."""
    labels = _labels(instrument)
    return " ".join(_word(notes[note.id], labels) if note.id in notes else "." for note in part.notes)


def read_standing(text: str, part: Part, instrument: Instrument) -> dict[str, Standing] | None:
    """The notes by id; None where the text is not one of this part and instrument."""
    words, labels = text.split(), _labels(instrument)
    if len(words) != len(part.notes):
        return None
    found = {}
    for note, word in zip(part.notes, words, strict=True):
        if word == ".":
            continue
        read = _read_word(word, labels)
        if read is None:
            return None
        found[note.id] = read
    return found


def _labels(instrument: Instrument) -> tuple[str, ...]:
    """The strings by letter; of two with one letter the higher has a stroke."""
    labels: list[str] = []
    for string in instrument.strings:
        label = string.letter
        while label in labels:
            label += "'"
        labels.append(label)
    return tuple(labels)


def _word(note: Standing, labels: tuple[str, ...]) -> str:
    after = "" if note.substitute is None else f"-{finger_text(note.substitute)}"
    return f"{labels[note.string]}{finger_text(note.finger)}{after}{'o' if note.harmonic else ''}"


_WORD = re.compile(r"(?P<string>\D.*?)(?P<finger>[0-4T])(?:-(?P<after>[0-4T]))?(?P<harmonic>o?)")


def _read_word(word: str, labels: tuple[str, ...]) -> Standing | None:
    read = _WORD.fullmatch(word)
    if read is None or read["string"] not in labels:
        return None
    after = read["after"]
    return Standing(
        string=labels.index(read["string"]),
        finger=_finger(read["finger"]),
        substitute=None if after is None else _finger(after),
        harmonic=bool(read["harmonic"]),
    )


def _finger(text: str) -> int:
    return THUMB if text == "T" else int(text)
