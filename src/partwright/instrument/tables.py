"""An instrument from the text of its table, every key checked. Pure: the text comes from `read_instrument`."""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd, log2
from typing import Literal, cast

from partwright.errors import InputError, Place
from partwright.instrument.instrument import (
    THUMB,
    HandShape,
    Harmonic,
    Instrument,
    InstrumentSize,
    Level,
    OpenString,
    PositionName,
    Zone,
)
from partwright.instrument.rows import Row, did_you_mean, parse_toml, sentence

__all__ = ["parse_instrument", "read_level"]

_FINGERS = {"1": 1, "2": 2, "3": 3, "4": 4, "T": THUMB}
_HIGHEST_STOP = 48  # four octaves above the open string: beyond the end of any fingerboard
_CLEFS = ("bass", "tenor", "alto", "treble")


def parse_instrument(text: str, *, file: str) -> Instrument:
    """An instrument from the text of its table (docs/instruments.md tells the keys).

    Raises InputError naming file, line, key and, for a slip of the pen, the nearest known name.
    """
    top = Row(parse_toml(text, file=file), text=text, file=file)
    strings = _strings(top)
    shapes = tuple(_shape(row) for row in top.rows("shapes"))
    _unlike("shapes", [shape.name for shape in shapes], file)
    sizes = tuple(_size(row) for row in top.rows("sizes", ()))
    _unlike("sizes", [size.name for size in sizes], file)
    schools = _positions(top.row("positions"))
    harmonics = top.row("harmonics")
    levels_row = top.row("levels")
    ceiling = top.row("ceiling")
    instrument = Instrument(
        name=top.text("name"),
        strings=strings,
        string_length_mm=top.number("string_length_mm", low=150, high=1400),
        bow_hair_mm=top.number("bow_hair_mm", low=100, high=900),
        shapes=shapes,
        position_names=schools,
        school=top.text("school", among=tuple(schools)),
        harmonics=_harmonics(harmonics),
        levels={name: read_level(levels_row.row(name), name, shapes) for name in levels_row.names()},
        string_ceiling_semitones=_ceiling(ceiling, len(strings)),
        home_frames=top.wholes("home_frames", ()),
        sounds_octaves=top.whole("sounds_octaves", 0, low=-2, high=2),
        thumb_side=cast(Literal["left", "right"], top.text("thumb_side", "left", among=("left", "right"))),
        default_clef=top.text("default_clef", among=_CLEFS),
        sizes=sizes,
        weights=_weights(top),
        size=top.text("size", "", among=("", *(size.name for size in sizes))),
    )
    top.finish()
    if not instrument.levels:
        raise levels_row.error("levels is empty", "Give at least one level.")
    return instrument


def read_level(row: Row, name: str, shapes: Sequence[HandShape], like: Level | None = None) -> Level:
    """A level from its table; what is left out is taken from `like`. Raises InputError as `parse_instrument` does."""
    low, high = _pair(row, "range_semitones", like.range_semitones if like else None, 0, 96)
    known_shapes = [shape.name for shape in shapes]
    chosen = row.texts("shapes", like.shapes if like else None)
    for shape in chosen:
        if shape not in known_shapes:
            raise row.error(
                f'{row.named("shapes")} names "{shape}", which is no hand shape of this instrument',
                sentence(did_you_mean(shape, known_shapes)),
                key="shapes",
            )
    partials = row.wholes("harmonic_partials", like.harmonic_partials if like else None)
    if any(not 2 <= partial <= 16 for partial in partials):
        raise row.error(
            f"{row.named('harmonic_partials')} is {list(partials)}",
            "Partials run from 2 to 16.",
            key="harmonic_partials",
        )
    clefs = row.texts("clefs", like.clefs if like else None)
    for clef in clefs:
        if clef not in _CLEFS:
            hint = sentence(did_you_mean(clef, _CLEFS))
            raise row.error(f'{row.named("clefs")} names "{clef}", which is no clef', hint, key="clefs")
    level = Level(
        name=name,
        frame_min=row.whole("frame_min", like.frame_min if like else None, low=1, high=_HIGHEST_STOP),
        frame_max=row.whole("frame_max", like.frame_max if like else None, low=1, high=_HIGHEST_STOP),
        shapes=chosen,
        thumb=row.truth("thumb", like.thumb if like else None),
        harmonic_partials=partials,
        double_stops=row.truth("double_stops", like.double_stops if like else None),
        largest_chord=row.whole("largest_chord", like.largest_chord if like else None, low=1, high=8),
        shift_semitones_max=row.whole(
            "shift_semitones_max", like.shift_semitones_max if like else None, low=0, high=_HIGHEST_STOP
        ),
        shift_seconds_min=row.number("shift_seconds_min", like.shift_seconds_min if like else None, low=0, high=10),
        clefs=clefs,
        range_semitones=(low, high),
        weights={**(like.weights if like else {}), **_weights(row)},
        source=row.text("source", like.source if like else None),
    )
    if level.frame_min > level.frame_max:
        raise row.error(
            f"{row.path} starts at frame {level.frame_min} and ends at {level.frame_max}",
            "Give frame_min no higher than frame_max.",
            key="frame_max",
        )
    row.finish()
    return level


def _strings(top: Row) -> tuple[OpenString, ...]:
    rows = top.rows("strings")
    if not 1 <= len(rows) <= 8:
        raise top.error(f"strings lists {len(rows)} strings", "Give one to eight, lowest first.", key="strings")
    strings = []
    for row in rows:
        strings.append(
            OpenString(
                letter=row.text("letter"),
                midi=row.whole("midi", low=12, high=108),
                number=row.whole("number", low=1, high=len(rows)),
                source=row.text("source"),
            )
        )
        row.finish()
    if [s.midi for s in strings] != sorted({s.midi for s in strings}):
        raise rows[0].error("the strings do not rise from one to the next", "Write the lowest first.")
    if [s.number for s in strings] != list(range(len(strings), 0, -1)):
        raise rows[0].error("the numbers of the strings do not fall to 1", "The highest string has number 1.")
    return tuple(strings)


def _shape(row: Row) -> HandShape:
    low, high = _pair(row, "frames", None, 1, _HIGHEST_STOP)
    offsets_row = row.row("offsets")
    offsets: dict[int, int] = {}
    for finger in offsets_row.names():
        if finger not in _FINGERS:
            raise row.error(
                f'{offsets_row.path} names a finger "{finger}"', "Fingers are 1, 2, 3, 4 and T.", key="offsets"
            )
        offsets[_FINGERS[finger]] = offsets_row.whole(finger, low=-6, high=12)
    zone = row.text("zone", among=("neck", "upper", "thumb"))
    if not offsets:
        raise row.error("the shape has no fingers", "Give offsets, for instance { 1 = 0, 2 = 1 }.", key="offsets")
    if (THUMB in offsets) != (zone == "thumb"):
        raise row.error(
            f'the shape lies in zone "{zone}" and its offsets {"name" if THUMB in offsets else "lack"} T',
            'T belongs to zone "thumb", and to no other.',
            key="offsets",
        )
    in_hand_order = [offsets[finger] for finger in sorted(offsets, key=lambda f: 0 if f == THUMB else f)]
    if in_hand_order != sorted(set(in_hand_order)):
        raise row.error(
            "the fingers do not lie in their order", "Each finger lies above the one before.", key="offsets"
        )
    if low + min(offsets.values()) < 1:
        raise row.error(
            f"at frame {low} a finger would lie at or below the nut",
            f"Begin frames at {1 - min(offsets.values())}.",
            key="frames",
        )
    fourth_max = row.whole("fourth_max", low=1, high=_HIGHEST_STOP) if "fourth_max" in row else None
    shape = HandShape(
        name=row.text("name"),
        zone=cast(Zone, zone),
        offsets=offsets,
        frame_min=low,
        frame_max=high,
        extension=cast(Literal["", "back", "forward"], row.text("extension", "", among=("", "back", "forward"))),
        body=row.whole("body", 0, low=-2, high=2),
        fourth_max=fourth_max,
        words=row.text("words", ""),
        source=row.text("source"),
    )
    if fourth_max is None:
        row.whole("fourth_max", 1, low=1, high=_HIGHEST_STOP)  # a known key, though absent
    row.finish()
    return shape


def _size(row: Row) -> InstrumentSize:
    size = InstrumentSize(
        name=row.text("name"),
        string_length_mm=row.number("string_length_mm", low=150, high=1400),
        bow_hair_mm=row.number("bow_hair_mm", low=100, high=900),
        source=row.text("source"),
    )
    row.finish()
    return size


def _positions(table: Row) -> dict[str, tuple[PositionName, ...]]:
    schools: dict[str, tuple[PositionName, ...]] = {}
    for school in table.names():
        row = table.row(school)
        names = []
        for name in row.rows("names"):
            names.append(
                PositionName(
                    frame=name.whole("frame", low=1, high=_HIGHEST_STOP),
                    label=name.text("label"),
                    spoken=name.text("spoken"),
                )
            )
            name.finish()
        if len({name.frame for name in names}) < len(names):
            raise row.error(f"{row.path} names one frame twice", "Give each frame one name.", key="names")
        row.text("source")
        row.finish()
        schools[school] = tuple(names)
    if not schools:
        raise table.error("positions is empty", "Give at least one school of names.")
    return schools


def _harmonics(row: Row) -> tuple[Harmonic, ...]:
    source = row.text("source")
    partials = row.wholes("partials")
    if any(not 2 <= partial <= 16 for partial in partials):
        raise row.error(f"harmonics.partials is {list(partials)}", "Partials run from 2 to 16.", key="partials")
    row.finish()
    found = []
    for partial in partials:
        sounds = 12 * log2(partial)
        for j in range(1, partial):
            if gcd(j, partial) > 1:
                continue  # that node sounds a lower partial
            node = -12 * log2(1 - j / partial)
            found.append(
                Harmonic(
                    partial=partial,
                    node_semitones=round(node),
                    node_fraction=j / partial,
                    sounds_semitones=round(sounds),
                    cents=100 * (sounds - round(sounds)),
                    source=source,
                )
            )
    return tuple(found)


def _weights(above: Row) -> dict[str, float]:
    """Weights of cost terms that differ here; the names of the terms are for those who know them to check."""
    if "weights" not in above:
        return {}
    row = above.row("weights")
    row.text("source", "")
    weights = {name: row.number(name, low=-100, high=100) for name in row.names() if name != "source"}
    row.finish()
    return weights


def _ceiling(row: Row, strings: int) -> tuple[int, ...]:
    values = row.wholes("semitones")
    row.text("source")
    row.finish()
    if len(values) != strings or any(not 0 <= value <= _HIGHEST_STOP for value in values):
        raise row.error(
            f"ceiling.semitones is {list(values)}",
            f"Give {strings} whole numbers from 0 to {_HIGHEST_STOP}, lowest string first.",
            key="semitones",
        )
    return values


def _pair(row: Row, key: str, default: tuple[int, int] | None, low: int, high: int) -> tuple[int, int]:
    values = row.wholes(key, default)
    if len(values) != 2 or not low <= values[0] <= values[1] <= high:
        raise row.error(
            f"{row.named(key)} is {list(values)}", f"Give a lowest and a highest from {low} to {high}.", key=key
        )
    return values[0], values[1]


def _unlike(what: str, names: Sequence[str], file: str) -> None:
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise InputError(f'{what} has two rows named "{twice[0]}"', "Rename one.", place=Place(file=file))
