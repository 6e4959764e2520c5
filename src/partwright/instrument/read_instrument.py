"""Reading the instrument tables: those carried in the package, or one of the player's own.

Errors name the table, the key and the nearest known name.
"""

from __future__ import annotations

import dataclasses
import difflib
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from math import gcd, log2
from typing import Any, cast

from partwright.errors import InputError, Place
from partwright.instrument.instrument import (
    THUMB,
    HandShape,
    Harmonic,
    Instrument,
    Level,
    OpenString,
    PositionName,
)

__all__ = ["instrument_names", "load_instrument", "parse_instrument"]

_FINGERS = {"1": 1, "2": 2, "3": 3, "4": 4, "T": THUMB}


def instrument_names() -> tuple[str, ...]:
    """Names of the instruments carried in the package, sorted."""
    folder = resources.files("partwright.instrument") / "data"
    return tuple(sorted(item.name[:-5] for item in folder.iterdir() if item.name.endswith(".toml")))


def load_instrument(
    name: str,
    *,
    string_length_mm: float | None = None,
    tuning_midi: Sequence[int] | None = None,
    school: str | None = None,
) -> Instrument:
    """The instrument of this name, with the player's own string length, tuning (low to high) and position school.

    Raises InputError for an unknown name or a setting that makes no sense.
    """
    instrument = _carried(name)
    if string_length_mm is not None:
        if not 150 <= string_length_mm <= 1400:
            raise InputError(
                f"a string length of {string_length_mm:g} mm is not one of a bowed instrument",
                "Give it in millimetres, for instance 690 for a full-size cello.",
            )
        instrument = dataclasses.replace(instrument, string_length_mm=float(string_length_mm))
    if tuning_midi is not None:
        if len(tuning_midi) != len(instrument.strings) or list(tuning_midi) != sorted(set(tuning_midi)):
            raise InputError(
                f"the {name} has {len(instrument.strings)} strings, tuned from low to high",
                f"Give {len(instrument.strings)} rising pitches.",
            )
        strings = tuple(
            dataclasses.replace(string, midi=midi, source="the player's own tuning")
            for string, midi in zip(instrument.strings, tuning_midi, strict=True)
        )
        instrument = dataclasses.replace(instrument, strings=strings)
    if school is not None:
        if school not in instrument.position_names:
            raise InputError(_unknown("position school", school, instrument.position_names))
        instrument = dataclasses.replace(instrument, school=school)
    return instrument


@cache
def _carried(name: str) -> Instrument:
    key = name.casefold().replace(" ", "_").replace("-", "_")
    if key not in instrument_names():
        raise InputError(_unknown("instrument", name, instrument_names()))
    text = (resources.files("partwright.instrument") / "data" / f"{key}.toml").read_text(encoding="utf-8")
    return parse_instrument(text, file=f"{key}.toml")


def parse_instrument(text: str, *, file: str) -> Instrument:
    """An instrument from the text of its table. Raises InputError naming file and key."""
    try:
        data = tomllib.loads(text)
        return _instrument(data)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML: {error}", "Mend the line it names.", place=Place(file=file)) from error
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"the instrument table lacks or misstates {error}",
            "Compare it with docs/instruments.md.",
            place=Place(file=file),
        ) from error


def _instrument(data: dict[str, Any]) -> Instrument:
    return Instrument(
        name=str(data["name"]),
        strings=tuple(OpenString(**row) for row in data["strings"]),
        string_length_mm=float(data["string_length_mm"]),
        bow_hair_mm=float(data["bow_hair_mm"]),
        shapes=tuple(_shape(row) for row in data["shapes"]),
        position_names={
            school: tuple(PositionName(**row) for row in table["names"]) for school, table in data["positions"].items()
        },
        school=str(data["school"]),
        harmonics=_harmonics(data["harmonics"]["partials"], str(data["harmonics"]["source"])),
        levels={name: _level(name, row) for name, row in data["levels"].items()},
        string_ceiling_semitones=tuple(int(n) for n in data["ceiling"]["semitones"]),
        sounds_octaves=int(data["sounds_octaves"]),
        default_clef=str(data["default_clef"]),
    )


def _shape(row: dict[str, Any]) -> HandShape:
    low, high = row["frames"]
    return HandShape(
        name=row["name"],
        zone=row["zone"],
        offsets={_FINGERS[finger]: int(offset) for finger, offset in row["offsets"].items()},
        frame_min=int(low),
        frame_max=int(high),
        extension=row.get("extension", ""),
        fourth_max=row.get("fourth_max"),
        words=row.get("words", ""),
        source=row["source"],
    )


def _level(name: str, row: dict[str, Any]) -> Level:
    values = {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}
    return Level(name=name, **cast(Any, values))


def _harmonics(partials: Sequence[int], source: str) -> tuple[Harmonic, ...]:
    rows = []
    for partial in partials:
        sounds = 12 * log2(partial)
        for j in range(1, partial):
            if gcd(j, partial) > 1:
                continue  # that node sounds a lower partial
            node = -12 * log2(1 - j / partial)
            rows.append(
                Harmonic(
                    partial=partial,
                    node_semitones=round(node),
                    node_fraction=j / partial,
                    sounds_semitones=round(sounds),
                    cents=100 * (sounds - round(sounds)),
                    source=source,
                )
            )
    return tuple(rows)


def _unknown(kind: str, name: str, known: Sequence[str] | Any) -> str:
    near = difflib.get_close_matches(name.casefold(), list(known), n=1)
    hint = f"; did you mean {near[0]}?" if near else f"; known are {', '.join(sorted(known))}"
    return f'there is no {kind} "{name}"{hint}'
