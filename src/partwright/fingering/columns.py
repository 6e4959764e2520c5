"""Everything the left hand could do at one sounding event: a column of the lattice.

An event is one note or one chord. A state of its column is one hand with a string, a finger and a place for every
note of the event. Units: places in semitones above the open string. Shapes: K states, n notes, S strings.

Levels: each state carries how far it goes beyond what the level allows; only the states that go least far are kept,
so that a limit gives way only where nothing else exists, and then by the least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from partwright.fingering.hands import NECK, HandTable, hand_table
from partwright.instrument import THUMB, HandShape, Instrument, Level

__all__ = ["LIMITS", "Column", "ColumnMaker"]

Ints = NDArray[np.int64]

# What may give way, cheapest first: (name, rank of the first step beyond, words). One rank is added per further step.
LIMITS: tuple[tuple[str, float, str], ...] = (
    ("harmonics", 1.0, "a natural harmonic"),
    ("hand shapes", 5.0, "a hand shape the level does not use"),
    ("extensions", 10.0, "an extended hand"),
    ("low position", 20.0, "a position below those of the level"),
    ("string ceiling", 30.0, "a place higher on its string than is usual"),
    ("position", 100.0, "a position above those of the level"),
    ("thumb position", 400.0, "thumb position"),
    ("double stops", 800.0, "notes at the same time"),
)
# Davidoff 1888, III.1: the harmonic in the middle of the string touched with 3, the hand still in fourth position.
_REACHING_FINGER = 3
_REACH_SEMITONES = 3

_RANK = {name: rank for name, rank, _ in LIMITS}


@dataclass(frozen=True, eq=False)
class Column:
    """The states of one event. `midi` in the order of the event's notes; arrays as in the module's docstring."""

    midi: tuple[int, ...]
    hand: Ints  # (K,)
    string: Ints  # (K, n), 0 = lowest
    finger: Ints  # (K, n)
    stop: Ints  # (K, n)
    harmonic: Ints  # (K, n) partial, 0 = none
    beyond: NDArray[np.float64]  # (K,) rank of how far the state goes beyond the level, 0 = within

    def __len__(self) -> int:
        return len(self.hand)

    def keep(self, mask: NDArray[np.bool_] | Ints) -> Column:
        """The column narrowed to some of its states."""
        return Column(
            midi=self.midi,
            hand=self.hand[mask],
            string=self.string[mask],
            finger=self.finger[mask],
            stop=self.stop[mask],
            harmonic=self.harmonic[mask],
            beyond=self.beyond[mask],
        )


class ColumnMaker:
    """Makes columns for one instrument and level, each distinct set of pitches once."""

    def __init__(self, instrument: Instrument, level: Level) -> None:
        self.instrument = instrument
        self.level = level
        self.hands: HandTable = hand_table(instrument)
        self._beyond_hand = _hands_beyond(self.hands, level)
        self._full: dict[tuple[int, ...], Column] = {}
        self._kept: dict[tuple[int, ...], Column] = {}

    def within(self, midi: Sequence[int]) -> Column:
        """The states that go least beyond the level; none (length 0) if the pitches cannot be had at all."""
        key = tuple(midi)
        if key not in self._kept:
            column = self.everything(key)
            self._kept[key] = column.keep(column.beyond == column.beyond.min()) if len(column) else column
        return self._kept[key]

    def everything(self, midi: Sequence[int]) -> Column:
        """Every state the instrument has for these pitches, whatever the level."""
        key = tuple(midi)
        if key not in self._full:
            self._full[key] = self._single(key[0]) if len(key) == 1 else self._chord(key)
        return self._full[key]

    def _single(self, midi: int) -> Column:
        rows: list[tuple[Ints, Ints, int, int, int]] = []
        for string, open_string in enumerate(self.instrument.strings):
            semitones = midi - open_string.midi
            if semitones == 0:
                rows.append((self.hands.carried, np.zeros(len(self.hands.carried), np.int64), string, 0, 0))
                continue
            if semitones > 0 and semitones in self.hands.by_place:
                hands, fingers = self.hands.by_place[semitones]
                rows.append((hands, fingers, string, semitones, 0))
            for harmonic in self.instrument.harmonics:
                if harmonic.sounds_semitones != semitones or harmonic.node_semitones not in self.hands.by_place:
                    continue
                node = harmonic.node_semitones
                hands, fingers = self.hands.by_place[node]
                plain = np.isin(hands, self.hands.carried)  # the shape of the other fingers does not matter
                rows.append((hands[plain], fingers[plain], string, node, harmonic.partial))
                if harmonic.partial == 2:
                    hands = self._reaching(node)
                    rows.append((hands, np.full(len(hands), _REACHING_FINGER), string, node, harmonic.partial))
        size = [len(row[0]) for row in rows]
        if not rows:
            return _empty((midi,))
        hand = np.concatenate([row[0] for row in rows])
        string_of = np.repeat([row[2] for row in rows], size)
        stop = np.repeat([row[3] for row in rows], size)
        partial = np.repeat([row[4] for row in rows], size)
        beyond = self._beyond_hand[hand] + self._beyond_string(string_of, stop, partial)
        return Column(
            midi=(midi,),
            hand=hand,
            string=string_of[:, None],
            finger=np.concatenate([row[1] for row in rows])[:, None],
            stop=stop[:, None],
            harmonic=partial[:, None],
            beyond=beyond,
        )

    def _reaching(self, node: int) -> Ints:
        """Closed neck hands whose third finger reaches out to touch a node it does not lie over."""
        hands = self.hands
        short = node - hands.place[:, _REACHING_FINGER]
        able = (hands.zone == NECK) & ~hands.opened & (hands.place[:, _REACHING_FINGER] > 0)
        return np.flatnonzero(able & (short > 0) & (short <= _REACH_SEMITONES))

    def _beyond_string(self, string: Ints, stop: Ints, partial: Ints) -> NDArray[np.float64]:
        ceiling = np.array(self.instrument.string_ceiling_semitones)[string]
        over = np.maximum(0, stop - ceiling)
        beyond = np.where(over > 0, _RANK["string ceiling"] + over, 0.0)
        allowed = np.isin(partial, [0, *self.level.harmonic_partials])
        return np.asarray(beyond + np.where(allowed, 0.0, _RANK["harmonics"] + partial / 10))

    def _chord(self, midi: tuple[int, ...]) -> Column:
        """One hand, a string of its own for each note, the strings side by side."""
        count, strings = len(midi), self.instrument.strings
        hands: list[int] = []
        rows: list[tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]] = []
        options = [
            [(s, m - strings[s].midi) for s in range(len(strings)) if 0 <= m - strings[s].midi <= 40] for m in midi
        ]
        for choice in product(*options):
            used = [string for string, _ in choice]
            if len(set(used)) < count or max(used) - min(used) != count - 1:
                continue
            for hand, fingers in self._hands_for(choice):
                hands.append(hand)
                rows.append((tuple(used), fingers, tuple(semitones for _, semitones in choice)))
        if not rows:
            return _empty(midi)
        hand_of = np.array(hands, dtype=np.int64)
        string = np.array([row[0] for row in rows], dtype=np.int64)
        finger = np.array([row[1] for row in rows], dtype=np.int64)
        stop = np.array([row[2] for row in rows], dtype=np.int64)
        beyond = self._beyond_hand[hand_of].copy()
        for note in range(count):
            beyond += self._beyond_string(string[:, note], stop[:, note], np.zeros(len(rows), np.int64))
        if count > self.level.largest_chord or not self.level.double_stops:
            beyond += _RANK["double stops"] + count
        return Column(
            midi=midi,
            hand=hand_of,
            string=string,
            finger=finger,
            stop=stop,
            harmonic=np.zeros_like(stop),
            beyond=beyond,
        )

    def _hands_for(self, choice: Sequence[tuple[int, int]]) -> list[tuple[int, tuple[int, ...]]]:
        """Hands and fingers that stop all these (string, semitones) at once.

        A finger stops one string, or lies across two neighbouring ones at the same place (the thumb too).
        """
        stopped = [(index, string, place) for index, (string, place) in enumerate(choice) if place > 0]
        if not stopped:
            return [(int(hand), (0,) * len(choice)) for hand in self.hands.carried]
        found: list[tuple[int, tuple[int, ...]]] = []
        places = [place for _, _, place in stopped]
        if any(place not in self.hands.by_place for place in places):
            return found
        able = set(self.hands.by_place[places[0]][0].tolist())
        for place in places[1:]:
            able &= set(self.hands.by_place[place][0].tolist())
        for hand in sorted(able):
            row = self.hands.place[hand]
            fingers = [0] * len(choice)
            for index, _, place in stopped:
                fingers[index] = int(np.flatnonzero(row == place)[0])
            laid: dict[int, list[int]] = {}
            for index, string, _ in stopped:
                laid.setdefault(fingers[index], []).append(string)
            if all(len(on) == 1 or (len(on) == 2 and abs(on[0] - on[1]) == 1) for on in laid.values()):
                found.append((hand, tuple(fingers)))
        return found


def _hands_beyond(hands: HandTable, level: Level) -> NDArray[np.float64]:
    """How far each hand goes beyond the level. Shape (hands,)."""
    beyond = np.zeros(len(hands.frame))
    for index, names in enumerate(hands.names):
        beyond[index] = min(_rank(shape, frame, level) for shape, frame in names)
    return beyond


def _rank(shape: HandShape, frame: int, level: Level) -> float:
    if shape.zone == "thumb":
        return 0.0 if level.thumb and shape.name in level.shapes else _RANK["thumb position"] + frame
    rank = 0.0
    if frame > level.frame_max:
        rank += _RANK["position"] + frame - level.frame_max
    elif shape.zone == "upper" and shape.name not in level.shapes:
        rank += _RANK["position"] + 1
    if frame < level.frame_min:
        rank += _RANK["low position"] + level.frame_min - frame
    if shape.zone == "neck" and shape.name not in level.shapes:
        rank += _RANK["extensions" if shape.extension else "hand shapes"]
    return rank


def _empty(midi: tuple[int, ...]) -> Column:
    none, count = np.zeros(0, np.int64), len(midi)
    wide = np.zeros((0, count), np.int64)
    return Column(midi=midi, hand=none, string=wide, finger=wide, stop=wide, harmonic=wide, beyond=np.zeros(0))


assert THUMB == 5
