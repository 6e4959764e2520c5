"""What would be true where: for every claim, how far each place of the part bears it out.

Shape: (places,). Values as in `answers`; the questions themselves are in `truth_of_the_hand` and `truth_of_the_page`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.answers import UNSURE
from partwright.checking.narration.language import Value
from partwright.checking.narration.places import Place, position_words
from partwright.checking.narration.truth_of_the_hand import OF_THE_HAND
from partwright.checking.narration.truth_of_the_page import OF_THE_PAGE
from partwright.fingering import Placement
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["AGAINST_PLAN", "Truth"]

Floats = NDArray[np.float64]

# Claims that the plan answers; all others are answered by the score.
AGAINST_PLAN = frozenset(
    {
        "finger", "same_finger", "substitute", "not_finger", "offer_finger", "offer_open", "offer_harmonic", "position",
        "string", "string_letter", "extension", "closed_bar", "harmonic", "bow", "retake",
    }
)  # fmt: skip


class Truth:
    """All places of a part and what can be asked of them. Answers are kept: lessons repeat themselves."""

    def __init__(self, part: Part, places: Sequence[Place], instrument: Instrument) -> None:
        self.part = part
        self.places = tuple(places)
        self.instrument = instrument
        self._known: dict[tuple[str, tuple[Value, ...]], Floats] = {}
        self._positions = position_words(instrument)
        own = replace(instrument, position_names={instrument.school: instrument.position_names[instrument.school]})
        self._own_numbers = {f: frozenset(n for n, _ in names) for f, names in position_words(own).items()}
        self._ways = {shape.name: shape.extension for shape in instrument.shapes if shape.extension}

    def __len__(self) -> int:
        return len(self.places)

    def note(self, step: str, alter: int | None) -> Floats:
        """Where this note is. A bare letter is half true of a note with an accidental."""
        return self._ask("note", (step, 9 if alter is None else alter))

    def claim(self, kind: str, value: tuple[Value, ...]) -> Floats:
        """How far each place bears this claim out."""
        return self._ask(kind, value)

    def _ask(self, kind: str, value: tuple[Value, ...]) -> Floats:
        key = (kind, value)
        if key not in self._known:
            question = OF_THE_HAND.get(kind) or OF_THE_PAGE.get(kind)
            answers = [UNSURE if question is None else question(self, place, value) for place in self.places]
            self._known[key] = np.array(answers, dtype=np.float64)
        return self._known[key]

    def near(self, place: Place, step: int) -> Place | None:
        """The place so many further on in the written order."""
        index = place.index + step
        return self.places[index] if 0 <= index < len(self.places) else None

    def struck(self, names: frozenset[tuple[str, int]], bars: range) -> int:
        """How often a note of these names is struck in these bars, by index."""
        return sum(
            attack.notes[0].bar_index in bars
            for place in self.places
            if place.names == names and place.first.bar_index < bars.stop
            for attack in place.attacks
        )

    def opened(self, placement: Placement) -> bool:
        """Whether the hand is extended."""
        return placement.shape in self._ways

    def stretched(self, placement: Placement) -> bool:
        """Whether this very finger is the one that stretches: the first back, the others forward."""
        way = self._ways.get(placement.shape, "")
        return (way == "back" and placement.finger == 1) or (way == "forward" and placement.finger > 1)

    def own_numbers(self, placement: Placement) -> frozenset[int | str]:
        """The numbers the player's own school gives the hand's place, raised or not."""
        if placement.zone == "thumb":
            return frozenset({"thumb"})
        return self._own_numbers.get(placement.frame, frozenset())

    def position_of(self, placement: Placement) -> frozenset[tuple[int | str, int]]:
        """What the schools may call the hand's place."""
        if placement.zone == "thumb":
            return frozenset({("thumb", 0)})
        return self._positions.get(placement.frame, frozenset())

    def positions_around(self, placement: Placement) -> frozenset[tuple[int | str, int]]:
        """What the schools may call the hand's place half a tone lower or higher."""
        return frozenset().union(*(self._positions.get(placement.frame + away, ()) for away in (-1, 1)))
