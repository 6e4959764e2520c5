"""What would be true where: for every claim, how far each place of the part bears it out.

Shape: (places,). Values: 1 = score and plan say the same, 0 = they say otherwise, 0.5 = it depends on how it is meant.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.language import Value
from partwright.checking.narration.places import Place, position_words
from partwright.fingering import Placement
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["AGAINST_PLAN", "Truth", "pitch_class"]

Floats = NDArray[np.float64]
UNSURE = 0.5
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

# Claims that the plan answers; all others are answered by the score.
AGAINST_PLAN = frozenset(
    {
        "finger", "same_finger", "substitute", "not_finger", "offer_finger", "offer_open", "offer_harmonic", "position",
        "string", "string_letter", "extension", "closed_bar", "harmonic", "bow", "retake",
    }
)  # fmt: skip


def pitch_class(step: str, alter: int) -> int:
    """The pitch class of a spelled note, 0 = C.

    >>> pitch_class("E", 1) == pitch_class("F", 0)
    True
    """
    return (_STEPS[step] + alter) % 12


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
            question = _QUESTIONS.get(kind)
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


Question = Callable[[Truth, Place, tuple[Value, ...]], float]


def _note(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    step, alter = str(value[0]), int(value[1])
    if alter == 9:
        if (step, 0) in place.names:
            return 1.0
        return UNSURE if any(s == step for s, _ in place.names) else 0.0
    wanted = pitch_class(step, alter)
    return 1.0 if any(pitch_class(s, a) == wanted for s, a in place.names) else 0.0


def _finger(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    if not place.placements:
        return UNSURE
    return 1.0 if any(value[0] in attack.fingers for attack in place.attacks) else 0.0


def _not_finger(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    if not place.placements:
        return UNSURE
    return 0.0 if all(attack.fingers == {value[0]} for attack in place.attacks) else 1.0


def _same_finger(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    before = truth.near(place, -1)
    if before is None or not place.placements or not before.placements:
        return UNSURE
    if place.count > 1 and len({a.fingers for a in place.attacks}) == 1:
        return 1.0
    return 1.0 if before.attacks[-1].fingers & place.attacks[0].fingers else 0.0


def _substitute(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    old, new = value
    if not place.placements:
        return UNSURE
    if any(p.finger == old and p.substitute == new for p in place.placements):
        return 1.0
    chain = list(place.attacks)
    for step in (-1, 1):
        beside = truth.near(place, step)
        if beside is not None and beside.note.midi == place.note.midi:
            chain = [*beside.attacks, *chain] if step < 0 else [*chain, *beside.attacks]
    return 1.0 if any(old in one.fingers and new in two.fingers for one, two in pairwise(chain)) else 0.0


def _offer_finger(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    finger, midi = int(value[0]), place.note.midi
    for string in truth.instrument.strings:
        semitones = midi - string.midi
        if finger == 0 and semitones == 0:
            return 1.0
        for shape in truth.instrument.shapes:
            if finger in shape.offsets and shape.frame_min <= semitones - shape.offsets[finger] <= shape.frame_max:
                return 1.0
    return 0.0


def _offer_open(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    return 1.0 if any(string.midi == place.note.midi for string in truth.instrument.strings) else 0.0


def _offer_harmonic(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    sounds = {
        string.midi + harmonic.sounds_semitones
        for string in truth.instrument.strings
        for harmonic in truth.instrument.harmonics
    }
    return 1.0 if place.note.midi in sounds else 0.0


def _position(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    number, raised = value
    best = 0.0 if place.placements else UNSURE
    for placement in place.placements:
        names = truth.position_of(placement)
        if (number, raised) in names:
            return 1.0
        if number in truth.own_numbers(placement):
            best = max(best, UNSURE)  # raised or not: that is often left out
        if placement.finger == 0 or not names:
            best = max(best, UNSURE)  # an open string is played in any position
        if truth.opened(placement):
            around = truth._positions.get(placement.frame - 1, frozenset()) | truth._positions.get(
                placement.frame + 1, frozenset()
            )
            if any(n == number for n, _ in around):
                best = max(best, UNSURE)  # schools name an opened hand by different fingers
    return best


def _string(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    strings = {p.string for p in place.placements}
    if not strings:
        return UNSURE
    all_strings = truth.instrument.strings
    match value[0]:
        case "letter":
            return 1.0 if any(all_strings[s].letter == value[1] for s in strings) else 0.0
        case "number":
            from_top = {all_strings[s].number for s in strings}
            from_below = {s + 1 for s in strings}
            return 1.0 if value[1] in from_top | from_below else 0.0
    before = truth.near(place, -1)
    if before is None or not before.placements:
        return UNSURE
    was = {p.string for p in before.placements}
    if value[0] == "same":
        return 1.0 if strings & was else UNSURE
    lower, higher = min(strings) < max(was), max(strings) > min(was)
    if (value[0] == "below" and lower) or (value[0] == "above" and higher):
        return 1.0
    return UNSURE


def _string_letter(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    return _string(truth, place, value)


def _extension(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    if not place.placements or any(p.zone != "neck" for p in place.placements):
        return UNSURE
    opened = any(truth.opened(p) for p in place.placements)
    if not value[0]:
        stretched = opened and (_opened_around(truth, place) or all(truth.stretched(p) for p in place.placements))
        return 0.0 if stretched else UNSURE if opened else 1.0
    if opened:
        return 1.0
    beside = [truth.near(place, step) for step in (-1, 1)]
    near = any(truth.opened(p) for b in beside if b is not None for p in b.placements)
    return UNSURE if near else 0.0


def _closed_bar(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    """Whether the hand is extended nowhere in the bar of the place."""
    bar = place.first.bar_index
    inside = (p for p in truth.places if p.first.bar_index == bar)
    return float(not any(truth.opened(placement) for p in inside for placement in p.placements))


def _opened_around(truth: Truth, place: Place) -> bool:
    """Whether the hand is extended on the notes on both sides too, open strings passed over: it stays so."""
    found = []
    for step in (-1, 1):
        beside = truth.near(place, step)
        while beside is not None and all(p.finger == 0 for p in beside.placements):
            beside = truth.near(beside, step)
        found.append(beside is not None and any(truth.opened(p) for p in beside.placements))
    return all(found)


def _harmonic(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    if not place.placements:
        return UNSURE
    has = any(p.harmonic > 0 for p in place.placements) or any(n.harmonic for a in place.attacks for n in a.notes)
    return 1.0 if has == bool(value[0]) else 0.0


def _count(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    if value[0] == place.count:
        return 1.0
    return UNSURE if value[0] in place.smaller_counts else 0.0


def _count_loose(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    return 1.0 if int(value[0]) in (place.count, place.count - 1) else UNSURE if place.count > int(value[0]) else 0.0


def _bow(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    strokes = [a.stroke.direction for a in place.attacks if a.stroke is not None]
    if strokes:
        return 1.0 if value[0] in strokes else 0.0
    written = [n.bow for a in place.attacks for n in a.notes if n.bow]
    if written:
        return 1.0 if value[0] in written else 0.0
    return UNSURE


def _retake(_: Truth, place: Place, __: tuple[Value, ...]) -> float:
    strokes = [a.stroke for a in place.attacks if a.stroke is not None]
    return 1.0 if any(s.retake for s in strokes) else UNSURE


def _slurred(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    before = truth.near(place, -1)
    joined = any(n.slurred_to_next or n.slur_stops for a in place.attacks for n in a.notes)
    joined = joined or (before is not None and any(n.slurred_to_next for n in before.attacks[-1].notes))
    return 1.0 if joined else 0.0


def _separate(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    before = truth.near(place, -1)
    onward = any(n.slurred_to_next for a in place.attacks for n in a.notes)
    inward = before is not None and any(n.slurred_to_next for n in before.attacks[-1].notes)
    return 0.0 if onward and inward else UNSURE if onward or inward else 1.0


def _articulation(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    wanted = str(value[0])
    notes = [n for a in place.attacks for n in a.notes]
    if wanted == "pizzicato":
        return 1.0 if any(n.pizzicato for n in notes) else 0.0
    has = {name for n in notes for name in n.articulations}
    if wanted in has:
        return 1.0
    family = {"staccato": {"staccatissimo", "spiccato", "detached-legato"}, "accent": {"strong-accent"},
              "strong-accent": {"accent"}, "staccatissimo": {"staccato"}}  # fmt: skip
    return UNSURE if has & family.get(wanted, set()) else 0.0


def _durations(place: Place) -> set[Fraction]:
    return {a.duration_quarters for a in place.attacks} | {a.struck_quarters for a in place.attacks}


def _beats(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    said = Fraction(str(value[0]))
    bar = truth.part.bars[place.first.bar_index]
    unit = Fraction(4, bar.beat_type)
    lengths = _durations(place)
    if any(said in (length / unit, length) for length in lengths):
        return 1.0
    compound = unit * 3 if bar.beats % 3 == 0 and bar.beats > 3 else unit
    total = sum((a.duration_quarters for a in place.attacks), Fraction(0))
    if any(said == length / compound for length in lengths) or said == total / unit:
        return UNSURE
    return 0.0


def _whole_bar(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    """Whether one note of the place sounds through its bar."""
    return float(any(share >= 1 for share in _shares_of_bar(truth, place)))


def _half_bar(truth: Truth, place: Place, _: tuple[Value, ...]) -> float:
    return float(Fraction(1, 2) in _shares_of_bar(truth, place))


def _shares_of_bar(truth: Truth, place: Place) -> list[Fraction]:
    bars = truth.part.bars
    return [a.duration_quarters / bars[a.notes[0].bar_index].length_quarters for a in place.attacks]


def _value(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    return 1.0 if Fraction(str(value[0])) in _durations(place) else 0.0


def _on_beat(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    beats = [a.notes[0].beat for a in place.attacks]
    if any(beat == value[0] for beat in beats):
        return 1.0
    bar = truth.part.bars[place.first.bar_index]
    if any(int(beat) == value[0] for beat in beats):
        return UNSURE
    grouped = bar.beats % 3 == 0 and bar.beats > 3 and any((beat - 1) / 3 + 1 == value[0] for beat in beats)
    return UNSURE if grouped else 0.0


def _rest(_: Truth, place: Place, __: tuple[Value, ...]) -> float:
    if any(a.rest_after for a in place.attacks):
        return 1.0
    return UNSURE if place.rest_before else 0.0


def _alternate(truth: Truth, place: Place, value: tuple[Value, ...]) -> float:
    other = (str(value[0]), value[1])
    own = place.names

    def has(step: int, names: Callable[[Place], bool]) -> bool:
        beside = truth.near(place, step)
        return beside is not None and names(beside)

    def is_other(p: Place) -> bool:
        return _note(truth, p, other) > 0.0

    def is_own(p: Place) -> bool:
        return p.names == own

    there_and_back = has(-1, is_other) and (has(1, is_other) or has(-2, is_own))
    return 1.0 if there_and_back or (has(1, is_other) and has(2, is_own)) else 0.0


_QUESTIONS: Mapping[str, Question] = {
    "note": _note, "finger": _finger, "not_finger": _not_finger, "same_finger": _same_finger, "substitute": _substitute,
    "offer_finger": _offer_finger, "offer_open": _offer_open, "offer_harmonic": _offer_harmonic, "position": _position,
    "string": _string, "string_letter": _string_letter, "extension": _extension,
    "closed_bar": _closed_bar, "harmonic": _harmonic, "count": _count,
    "count_loose": _count_loose, "bow": _bow, "retake": _retake, "slur": _slurred, "separate": _separate,
    "articulation": _articulation, "beats": _beats, "value": _value, "whole_bar": _whole_bar, "half_bar": _half_bar,
    "on_beat": _on_beat, "rest": _rest,
    "alternate": _alternate,
}  # fmt: skip
