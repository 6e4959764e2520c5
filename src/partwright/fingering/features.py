"""How much of each cost term a state, or a move between two states, has; and what that costs.

Units: each amount in the unit its term names in `data/terms.toml`; costs without unit. Shapes: K states of a column;
a move between columns A and B has shape (KA, KB).

Method: what a hand does when it goes to another hand depends on the two hands alone, so it is worked out once for all
pairs of hands, weighted, and gathered for each pair of columns; fingers and strings are added per pair of columns.
The price of a move is  hurry × moving + slur × crossing:  two matrices per pair of columns, whatever their context.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.columns import Column
from partwright.fingering.hands import NECK, THUMB_ZONE, UPPER, HandTable
from partwright.fingering.terms import Weights
from partwright.instrument import THUMB, Instrument

__all__ = ["FORBIDDEN", "PLAIN", "CostModel", "NoteContext"]

Floats = NDArray[np.float64]

FORBIDDEN = 1e6
"""Price of what cannot be: higher than any sum of terms, finite so that arithmetic stays exact."""

_MIDDLE_SEMITONES = 12
_FIRST_POSITION_SEMITONES = 2
_FINGER_TERMS = ("open_string", "first_finger", "second_finger", "third_finger", "fourth_finger", "thumb")
_ALSO_OVER_OPEN_STRINGS = ("height",)  # the hand lies somewhere while an open string sounds


@dataclass(frozen=True, slots=True)
class NoteContext:
    """What a note's price depends on besides the hand: `sustained` is 0 for a quick note and 1 for a long one."""

    sustained: float = 0.0


PLAIN = NoteContext()


class CostModel:
    """The prices of one instrument under one set of weights."""

    def __init__(self, instrument: Instrument, hands: HandTable, weights: Weights) -> None:
        self.instrument = instrument
        self.hands = hands
        self.weights = weights
        self.hand_moves: dict[str, Floats] = dict(_hand_moves(hands))
        self._moving = np.zeros((len(hands.frame), len(hands.frame)))
        for name, amount in self.hand_moves.items():
            self._moving += weights[name] * amount
        self._shifts = self.hand_moves["shift"] > 0
        self.hand_notes: dict[str, Floats] = dict(_hand_notes(hands, instrument))
        self._hand_cost = np.zeros(len(hands.frame))
        self._any_hand_cost = np.zeros(len(hands.frame))
        for name, amount in self.hand_notes.items():
            cost = self._any_hand_cost if name in _ALSO_OVER_OPEN_STRINGS else self._hand_cost
            cost += weights[name] * amount
        self._finger_cost = np.array([weights[name] for name in _FINGER_TERMS])
        midi = [string.midi for string in instrument.strings]
        # The place at which each string sounds the next open one; none on the highest.
        self._next_open = np.array([*np.diff(midi), 999])

    # Notes -------------------------------------------------------------------------------------------------------

    def note_amounts(self, column: Column, context: NoteContext = PLAIN) -> Iterator[tuple[str, Floats]]:
        """Each term counted at a note, with its amount for every state, (K,)."""
        stopping = column.finger.max(axis=1) > 0  # at least one note is not open
        for number, name in enumerate(_FINGER_TERMS):
            yield name, (column.finger == number).sum(axis=1).astype(float)
        for name, amount in self.hand_notes.items():
            there = amount[column.hand]
            yield name, there if name in _ALSO_OVER_OPEN_STRINGS else there * stopping
        yield "open_sustained", context.sustained * (column.finger == 0).sum(axis=1)
        yield "harmonic", (column.harmonic == 2).sum(axis=1).astype(float)
        yield "low_harmonic", self._low_harmonic(column)
        yield "high_harmonic", (column.harmonic > 2).sum(axis=1).astype(float)
        yield "reach", self._reach(column)
        past = self._past_next_string(column)
        yield "lower_string", (past >= 0).sum(axis=1).astype(float)
        yield "dull_string", np.maximum(0, past).sum(axis=1).astype(float)
        yield "barre", _laid_across(column.finger)
        yield "open_in_chord", _open_in_chord(column)
        yield "inverted_stop", _inverted(column)

    def note_cost(self, column: Column, context: NoteContext = PLAIN) -> Floats:
        """Price of each state by itself, (K,)."""
        weights = self.weights
        stopping = column.finger.max(axis=1) > 0
        cost = self._hand_cost[column.hand] * stopping + self._any_hand_cost[column.hand]
        cost += self._finger_cost[column.finger].sum(axis=1)
        past = self._past_next_string(column)
        cost += weights["lower_string"] * (past >= 0).sum(axis=1)
        cost += weights["dull_string"] * np.maximum(0, past).sum(axis=1)
        if context.sustained:
            cost += weights["open_sustained"] * context.sustained * (column.finger == 0).sum(axis=1)
        if column.harmonic.any():
            cost += weights["low_harmonic"] * self._low_harmonic(column)
            cost += weights["harmonic"] * (column.harmonic == 2).sum(axis=1)
            cost += weights["high_harmonic"] * (column.harmonic > 2).sum(axis=1)
            cost += weights["reach"] * self._reach(column)
        if len(column.midi) > 1:
            cost += weights["barre"] * _laid_across(column.finger)
            cost += weights["open_in_chord"] * _open_in_chord(column) + weights["inverted_stop"] * _inverted(column)
        return np.asarray(cost)

    def _reach(self, column: Column) -> Floats:
        """How far the fingers on harmonics reach out of the hand, in semitones, (K,)."""
        place = self.hands.place[column.hand[:, None], column.finger]
        out = np.where(column.harmonic > 0, np.maximum(0, column.stop - place), 0)
        return np.asarray(out.sum(axis=1), dtype=np.float64)

    def _past_next_string(self, column: Column) -> NDArray[np.int64]:
        """How far each note is stopped above the place that sounds the next open string, in semitones; -1 before it.

        Harmonics and the highest string are never past it. (K, n).
        """
        past = column.stop - self._next_open[column.string]
        return np.asarray(np.where(column.harmonic == 0, np.maximum(-1, past), -1))

    def _low_harmonic(self, column: Column) -> Floats:
        """Harmonics on strings below the highest, (K,)."""
        lower = column.string < len(self._next_open) - 1
        return np.asarray(((column.harmonic > 0) & lower).sum(axis=1), dtype=np.float64)

    # Moves -------------------------------------------------------------------------------------------------------

    def move_amounts(self, a: Column, b: Column, *, held: bool = False) -> Iterator[tuple[str, Floats]]:
        """Each term counted between two notes, with its amount for every pair of states, (KA, KB).

        The amounts of terms on the "time" scale already contain the factors for open strings and harmonics.
        `held`: the two columns are one note that goes on sounding (its finger may be replaced).
        """
        ease = self._ease(a, b)
        for name, amount in self.hand_moves.items():
            yield name, amount[a.hand[:, None], b.hand[None, :]] * ease
        shifts = self._shifts[a.hand[:, None], b.hand[None, :]]
        slide, hop, barre = _same_finger(a, b)
        yield "slide", (slide & shifts) * ease
        yield "creep", (slide & ~shifts) * ease
        yield "shift_across", ((hop | barre) & shifts) * ease
        distance = _string_distance(a, b)
        yield "shift_up_landing", self._landing(a, b) * ease
        yield "weak_pair", (_weak_pair(a, b) & ~shifts).astype(float)
        yield "crossing", (distance > 0).astype(float)
        yield "skipped_string", np.maximum(0, distance - 1).astype(float)
        yield "hop", np.where(shifts, 0.0, hop + 0.5 * barre)
        other = _other_finger(a, b)
        yield "refinger", np.zeros_like(ease) if held else other
        yield "substitution", other if held else np.zeros_like(ease)

    def move_cost(self, a: Column, b: Column, *, held: bool = False) -> tuple[Floats, Floats]:
        """The two price matrices of a move, (KA, KB) each: what hurry makes dearer, and what a slur makes dearer."""
        weights = self.weights
        ease = self._ease(a, b)
        pair = (a.hand[:, None], b.hand[None, :])
        moving = self._moving[pair]
        shifts = self._shifts[pair]
        slide, hop, barre = _same_finger(a, b)
        shifted = weights["slide"] * slide + weights["shift_across"] * (hop | barre)
        distance = _string_distance(a, b)
        shifted = shifted + weights["shift_up_landing"] * self._landing(a, b)
        moving = moving + np.where(shifts, shifted, weights["creep"] * slide)
        moving *= ease
        moving = moving + weights["weak_pair"] * (_weak_pair(a, b) & ~shifts)
        crossing = weights["crossing"] * (distance > 0) + weights["skipped_string"] * np.maximum(0, distance - 1)
        crossing += weights["hop"] * np.where(shifts, 0.0, hop + 0.5 * barre)
        other = _other_finger(a, b)
        if other.any():
            crossing += weights["substitution" if held else "refinger"] * other
        if held:
            crossing += FORBIDDEN * _moved(a, b)
        return moving, crossing

    def shifts(self, hand_a: int, hand_b: int) -> bool:
        """Whether going from one hand to the other is a shift."""
        return bool(self._shifts[hand_a, hand_b])

    def shift_semitones(self, a: Column, b: Column) -> Floats:
        """How far the hand goes, in semitones; 0 where it does not shift. (KA, KB)."""
        pair = (a.hand[:, None], b.hand[None, :])
        body = self.hands.body_semitones
        return np.where(self._shifts[pair], np.abs(body[pair[0]] - body[pair[1]]), 0).astype(float)

    def _landing(self, a: Column, b: Column) -> Floats:
        """How many fingers a shift upwards leaves unused below the one it lands on.

        Single stopped notes only; the thumb leaves none below it. (KA, KB), 0 where the hand does not shift upwards.
        """
        if b.finger.shape[1] > 1:
            return np.zeros((len(a), len(b)))
        pair = (a.hand[:, None], b.hand[None, :])
        rises = self.hands.body_semitones[pair[1]] > self.hands.body_semitones[pair[0]]
        finger = b.finger[:, 0]
        below = np.where((finger == 0) | (finger == THUMB) | (b.harmonic[:, 0] > 0), 0, finger - 1)
        return np.asarray((self._shifts[pair] & rises) * below[None, :].astype(float))

    def _ease(self, a: Column, b: Column) -> Floats:
        """Factor on a shift: cheaper while an open string sounds, or where a harmonic catches the hand. (KA, KB)."""
        left = np.where(a.finger.max(axis=1) == 0, self.weights["shift_from_open"], 1.0)
        right = np.where(b.harmonic.max(axis=1) > 0, self.weights["shift_to_harmonic"], 1.0)
        return left[:, None] * right[None, :]


def _hand_notes(hands: HandTable, instrument: Instrument) -> Iterator[tuple[str, Floats]]:
    """What holding each hand takes, (hands,)."""
    neck, thumb, body = hands.zone == NECK, hands.zone == THUMB_ZONE, hands.body_semitones
    yield "extended_hand", hands.opened.astype(float)
    yield "stretch", np.where(neck, 0.0, hands.span_mm)
    yield "height", np.maximum(0, body - _FIRST_POSITION_SEMITONES).astype(float)
    yield "half_position", (body < _FIRST_POSITION_SEMITONES).astype(float)
    home = np.isin(body, instrument.home_frames) if instrument.home_frames else np.ones(len(body), bool)
    yield "between_positions", (neck & ~home).astype(float)
    yield "upper_position", (hands.zone == UPPER).astype(float)
    yield "thumb_position", thumb.astype(float)
    yield "low_thumb", np.where(thumb, np.maximum(0, _MIDDLE_SEMITONES - hands.frame), 0).astype(float)


def _hand_moves(hands: HandTable) -> Iterator[tuple[str, Floats]]:
    """What going from one hand to another takes, for every pair of hands, (hands, hands)."""
    zone_a, zone_b = hands.zone[:, None], hands.zone[None, :]
    body_a, body_b = hands.body_semitones[:, None], hands.body_semitones[None, :]
    first_a, first_b = hands.place[:, 1][:, None], hands.place[:, 1][None, :]
    opens = ~hands.opened[:, None] & hands.opened[None, :]
    closes = hands.opened[:, None] & ~hands.opened[None, :]
    same_zone = zone_a == zone_b
    neck = same_zone & (zone_a == NECK)
    first_stays = neck & (opens | closes) & (first_a == first_b)
    there = np.where(same_zone, body_a == body_b, first_a == first_b)
    shift = ~there & ~first_stays
    yield "shift", shift.astype(float)
    yield "shift_distance", np.where(shift, np.abs(hands.body_mm[:, None] - hands.body_mm[None, :]), 0.0)
    yield "half_step_shift", (shift & same_zone & ~opens & ~closes & (np.abs(body_a - body_b) == 1)).astype(float)
    yield "open_hand", (neck & opens & there & ~first_stays) + 0.5 * (neck & opens & shift)
    yield "open_forward", (opens & first_stays).astype(float)
    yield "close_hand", (neck & closes & ~shift).astype(float)
    reach = np.where(hands.place >= 0, hands.place - hands.place[:, 1:2], 0)[:, 2:4]
    regrouped = np.abs(reach[:, None, :] - reach[None, :, :]).sum(axis=2)
    yield "reshape", np.where(there & ~neck, regrouped, 0).astype(float)
    yield "thumb_up", ((zone_a == THUMB_ZONE) != (zone_b == THUMB_ZONE)).astype(float)


def _same_finger(a: Column, b: Column) -> tuple[NDArray[np.bool_], ...]:
    """Per pair of states, whether a finger used in both stops another place on its string, another place on another
    string, or the same place on another string."""
    shape = (len(a), len(b))
    slide = np.zeros(shape, bool)
    hop = np.zeros(shape, bool)
    barre = np.zeros(shape, bool)
    for i in range(a.finger.shape[1]):
        for j in range(b.finger.shape[1]):
            fingers = a.finger[:, i]
            same = (fingers[:, None] == b.finger[:, j][None, :]) & (fingers[:, None] > 0)
            string = a.string[:, i][:, None] == b.string[:, j][None, :]
            stop = a.stop[:, i][:, None] == b.stop[:, j][None, :]
            slide |= same & string & ~stop
            hop |= same & ~string & ~stop
            barre |= same & ~string & stop
    return slide, hop, barre


def _weak_pair(a: Column, b: Column) -> NDArray[np.bool_]:
    """Whether the third and the fourth finger follow each other on one string (single notes)."""
    if a.finger.shape[1] > 1 or b.finger.shape[1] > 1:
        return np.zeros((len(a), len(b)), bool)
    one, two = a.finger[:, 0][:, None], b.finger[:, 0][None, :]
    pair = (np.minimum(one, two) == 3) & (np.maximum(one, two) == 4)
    pair &= a.string[:, 0][:, None] == b.string[:, 0][None, :]
    return np.array(pair, dtype=np.bool_)


def _string_distance(a: Column, b: Column) -> NDArray[np.int64]:
    low_a, high_a = a.string.min(axis=1)[:, None], a.string.max(axis=1)[:, None]
    low_b, high_b = b.string.min(axis=1)[None, :], b.string.max(axis=1)[None, :]
    apart: NDArray[np.int64] = np.maximum(low_b - high_a, low_a - high_b).clip(min=0)
    return apart


def _other_finger(a: Column, b: Column) -> Floats:
    """How many notes that both events share are stopped at the same place by another finger."""
    count = np.zeros((len(a), len(b)))
    for i, pitch in enumerate(a.midi):
        for j, other in enumerate(b.midi):
            if pitch == other:
                same = (a.string[:, i][:, None] == b.string[:, j][None, :]) & (
                    a.stop[:, i][:, None] == b.stop[:, j][None, :]
                )
                count += same & (a.finger[:, i][:, None] != b.finger[:, j][None, :])
    return count


def _moved(a: Column, b: Column) -> NDArray[np.bool_]:
    """Where a note that goes on sounding would have to be on another string or place."""
    moved = np.zeros((len(a), len(b)), bool)
    for i, pitch in enumerate(a.midi):
        for j, other in enumerate(b.midi):
            if pitch == other:
                moved |= (a.string[:, i][:, None] != b.string[:, j][None, :]) | (
                    a.stop[:, i][:, None] != b.stop[:, j][None, :]
                )
                moved |= a.harmonic[:, i][:, None] != b.harmonic[:, j][None, :]
    return moved


def _open_in_chord(column: Column) -> Floats:
    """Open strings that sound together with other notes, (K,)."""
    chord = len(column.midi) > 1
    return np.asarray((column.finger == 0).sum(axis=1) * chord, dtype=np.float64)


def _inverted(column: Column) -> Floats:
    """Pairs of notes of a chord of which the higher lies on the lower string, (K,)."""
    count = np.zeros(len(column))
    for i, one in enumerate(column.midi):
        for j, other in enumerate(column.midi):
            if one < other:
                count += column.string[:, i] > column.string[:, j]
    return count


def _laid_across(finger: NDArray[np.int64]) -> Floats:
    """Fingers that stop two notes of one chord, (K,)."""
    count = np.zeros(len(finger))
    for i in range(finger.shape[1]):
        for j in range(i + 1, finger.shape[1]):
            count += (finger[:, i] == finger[:, j]) & (finger[:, i] > 0) & (finger[:, i] != THUMB)
    return count
