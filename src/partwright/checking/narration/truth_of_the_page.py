"""What is true of the page at a place: notes, counts, lengths, rests, strokes and marks; answers as in `answers`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from partwright.checking.narration.answers import UNSURE, Question, pitch_class
from partwright.checking.narration.language import Value
from partwright.checking.narration.places import Place

if TYPE_CHECKING:
    from partwright.checking.narration.truth import Truth

__all__ = ["OF_THE_PAGE"]


def _note(_: Truth, place: Place, value: tuple[Value, ...]) -> float:
    step, alter = str(value[0]), int(value[1])
    if alter == 9:
        if (step, 0) in place.names:
            return 1.0
        return UNSURE if any(s == step for s, _ in place.names) else 0.0
    wanted = pitch_class(step, alter)
    return 1.0 if any(pitch_class(s, a) == wanted for s, a in place.names) else 0.0


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


OF_THE_PAGE: Mapping[str, Question] = {
    "note": _note,
    "count": _count,
    "count_loose": _count_loose,
    "bow": _bow,
    "retake": _retake,
    "slur": _slurred,
    "separate": _separate,
    "articulation": _articulation,
    "beats": _beats,
    "value": _value,
    "whole_bar": _whole_bar,
    "half_bar": _half_bar,
    "on_beat": _on_beat,
    "rest": _rest,
    "alternate": _alternate,
}
