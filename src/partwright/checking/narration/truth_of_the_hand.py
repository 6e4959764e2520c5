"""What is true of the hand at a place: fingers, strings, positions, extensions, harmonics; answers as in `answers`."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

from partwright.checking.narration.answers import UNSURE, Question
from partwright.checking.narration.language import Value
from partwright.checking.narration.places import Place

if TYPE_CHECKING:
    from partwright.checking.narration.truth import Truth

__all__ = ["OF_THE_HAND"]


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
            around = truth.positions_around(placement)
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


OF_THE_HAND: Mapping[str, Question] = {
    "finger": _finger,
    "not_finger": _not_finger,
    "same_finger": _same_finger,
    "substitute": _substitute,
    "offer_finger": _offer_finger,
    "offer_open": _offer_open,
    "offer_harmonic": _offer_harmonic,
    "position": _position,
    "string": _string,
    "string_letter": _string_letter,
    "extension": _extension,
    "closed_bar": _closed_bar,
    "harmonic": _harmonic,
}
