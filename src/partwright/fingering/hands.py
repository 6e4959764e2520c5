"""Every place and shape the left hand can take on an instrument, as arrays.

Units: places in semitones above the open string, lengths in mm. Shapes: (hands,) or (hands, 6), where the second
axis is the finger 0..THUMB and -1 means that finger stops nothing.

A cello hand opened back from one frame and one opened forward from the frame below put the fingers on the same places
and lie in the same place: they are one hand here, and which of the two it was is told afterwards by where it came from
(`labels`). `names` keeps both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from partwright.instrument import THUMB, HandShape, Instrument

__all__ = ["NECK", "THUMB_ZONE", "UPPER", "HandTable", "hand_table"]

NECK, UPPER, THUMB_ZONE = 0, 1, 2
_ZONES = {"neck": NECK, "upper": UPPER, "thumb": THUMB_ZONE}
_THUMB_TO_FIRST_SEMITONES = 2  # where finger 1 usually lies above the thumb; the hand moves with it


@dataclass(frozen=True, eq=False)
class HandTable:
    """All hands of one instrument. Rows are hands; see the module for units and shapes."""

    shapes: tuple[HandShape, ...]  # one per hand
    names: tuple[tuple[tuple[HandShape, int], ...], ...]  # per hand, every (shape, frame) that is this hand
    frame: NDArray[np.int64]
    zone: NDArray[np.int64]
    place: NDArray[np.int64]  # (hands, 6)
    opened: NDArray[np.bool_]  # an extended hand
    body_semitones: NDArray[np.int64]  # where the hand as a whole lies: finger 1 of the closed hand
    body_mm: NDArray[np.float64]
    span_mm: NDArray[np.float64]  # beyond the closed hand in first position
    carried: NDArray[np.int64]  # hands that an open string is taken to carry on

    @cached_property
    def by_place(self) -> dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]]:
        """For each place, the hands and fingers that stop it."""
        found: dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]] = {}
        for place in range(int(self.place.max()) + 1):
            hands, fingers = np.nonzero(self.place == place)
            if len(hands):
                found[place] = (hands, fingers)
        return found


@cache
def _hands(instrument_key: int) -> HandTable:
    return _build(_INSTRUMENTS[instrument_key])


_INSTRUMENTS: dict[int, Instrument] = {}


def hand_table(instrument: Instrument) -> HandTable:
    """The hands of this instrument, built once."""
    key = id(instrument)
    _INSTRUMENTS[key] = instrument  # keeps it alive, so that the key stays its own
    return _hands(key)


def _build(instrument: Instrument) -> HandTable:
    seen: dict[tuple[str, int, tuple[tuple[int, int], ...]], int] = {}
    names: list[list[tuple[HandShape, int]]] = []
    rows: list[tuple[HandShape, int, dict[int, int]]] = []
    for shape in instrument.shapes:
        for frame in range(shape.frame_min, shape.frame_max + 1):
            places = {
                finger: frame + offset
                for finger, offset in shape.offsets.items()
                if not (finger == 4 and shape.fourth_max is not None and frame > shape.fourth_max)
            }
            if min(places.values()) < 1:
                continue
            key = (shape.zone, frame + shape.body, tuple(sorted(places.items())))
            if key in seen:
                names[seen[key]].append((shape, frame))
                continue
            seen[key] = len(rows)
            rows.append((shape, frame, places))
            names.append([(shape, frame)])
    place = np.full((len(rows), 6), -1, dtype=np.int64)
    for index, (_, _, places) in enumerate(rows):
        for finger, semitones in places.items():
            place[index, finger] = semitones
    shapes = tuple(shape for shape, _, _ in rows)
    frame_of = np.array([frame for _, frame, _ in rows], dtype=np.int64)
    zone = np.array([_ZONES[shape.zone] for shape in shapes], dtype=np.int64)
    body = np.where(
        zone == THUMB_ZONE,
        frame_of + _THUMB_TO_FIRST_SEMITONES,
        frame_of + np.array([shape.body for shape in shapes]),
    )
    length = instrument.string_length_mm
    top = place.max(axis=1)
    low = np.where(place < 0, 999, place).min(axis=1)
    span = _mm(length, top) - _mm(length, low)
    relaxed = max(1.0, _relaxed_span_mm(instrument))
    return HandTable(
        shapes=shapes,
        names=tuple(tuple(row) for row in names),
        frame=frame_of,
        zone=zone,
        place=place,
        opened=np.array([bool(shape.extension) for shape in shapes]),
        body_semitones=body,
        body_mm=_mm(length, body),
        span_mm=np.maximum(0.0, span - relaxed),
        carried=_carried(shapes, zone, frame_of),
    )


def _relaxed_span_mm(instrument: Instrument) -> float:
    """Outer span of the first neck shape in first position (two semitones above the open string)."""
    offsets = next(shape.offsets for shape in instrument.shapes if shape.zone == "neck")
    return instrument.stop_mm(2 + max(offsets.values())) - instrument.stop_mm(2 + min(offsets.values()))


def _carried(shapes: tuple[HandShape, ...], zone: NDArray[np.int64], frame: NDArray[np.int64]) -> NDArray[np.int64]:
    """All neck hands, and in the other zones the first shape at each frame: what lies over an open string."""
    first = {z: next((s.name for s in shapes if s.zone == z), "") for z in ("upper", "thumb")}
    keep = [
        index
        for index, shape in enumerate(shapes)
        if shape.zone == "neck" or (shape.name == first[shape.zone] and frame[index] <= 19)
    ]
    return np.array(keep, dtype=np.int64)


def _mm(length_mm: float, semitones: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(length_mm * (1.0 - np.exp2(-semitones / 12.0)))


assert THUMB == 5  # the last axis of `place` is finger 0..THUMB
