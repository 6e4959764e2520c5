"""Reading the instrument tables: those carried in the package, or the player's own files."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path

from partwright.errors import InputError, Place
from partwright.instrument.instrument import Instrument
from partwright.instrument.levels import with_levels
from partwright.instrument.rows import did_you_mean
from partwright.instrument.tables import parse_instrument
from partwright.instrument.tuning import check_tuning

__all__ = ["instrument_names", "load_instrument", "load_instrument_file"]

_LARGEST_TABLE_BYTES = 1_000_000
_TABLES = Path(__file__).parent / "data"


@cache
def instrument_names() -> tuple[str, ...]:
    """Names of the instruments carried in the package, sorted; `load_instrument` also takes blanks for underscores."""
    return tuple(sorted(path.stem for path in _TABLES.glob("*.toml")))


def load_instrument(
    name: str,
    *,
    size: str | None = None,
    string_length_mm: float | None = None,
    tuning_midi: Sequence[int] | None = None,
    school: str | None = None,
    levels_file: Path | None = None,
) -> Instrument:
    """The instrument of this name, as the player has it.

    `size` is a trade name from the table ("3/4"); `string_length_mm` (open string, in mm) overrules it. `tuning_midi`
    gives the open strings low to high (`parse_tuning` makes it from names); `school` names the positions;
    `levels_file` holds levels of the player's own (see `with_levels`).
    Raises InputError for an unknown name or a setting that makes no sense.
    """
    return _as_owned(_carried(_key(name)), size, string_length_mm, tuning_midi, school, levels_file)


def load_instrument_file(
    path: Path,
    *,
    size: str | None = None,
    string_length_mm: float | None = None,
    tuning_midi: Sequence[int] | None = None,
    school: str | None = None,
    levels_file: Path | None = None,
) -> Instrument:
    """An instrument from a table of the player's own (docs/instruments.md); settings as for `load_instrument`.

    Raises InputError naming file, line and key.
    """
    instrument = parse_instrument(_read_text(path), file=path.name)
    return _as_owned(instrument, size, string_length_mm, tuning_midi, school, levels_file)


def _as_owned(
    instrument: Instrument,
    size: str | None,
    string_length_mm: float | None,
    tuning_midi: Sequence[int] | None,
    school: str | None,
    levels_file: Path | None,
) -> Instrument:
    if size is not None:
        instrument = _with_size(instrument, size)
    if string_length_mm is not None:
        if not 150 <= string_length_mm <= 1400:
            raise InputError(
                f"a string length of {string_length_mm:g} mm is not one of a bowed instrument",
                "Give it in millimetres, for instance 690 for a full-size cello.",
            )
        instrument = dataclasses.replace(instrument, string_length_mm=float(string_length_mm), size=size or "")
    if tuning_midi is not None:
        pitches = check_tuning(tuple(tuning_midi), instrument)
        strings = tuple(
            string if string.midi == midi else dataclasses.replace(string, midi=midi, source="the player's own tuning")
            for string, midi in zip(instrument.strings, pitches, strict=True)
        )
        instrument = dataclasses.replace(instrument, strings=strings)
    if school is not None:
        if school not in instrument.position_names:
            raise InputError(_unknown("position school", school, instrument.position_names))
        instrument = dataclasses.replace(instrument, school=school)
    if levels_file is not None:
        instrument = with_levels(instrument, _read_text(levels_file), file=levels_file.name)
    return instrument


def _with_size(instrument: Instrument, size: str) -> Instrument:
    key = size.strip().translate(_FRACTIONS).replace("full", "4/4").replace(",", ".").removesuffix("-size").strip()
    for row in instrument.sizes:
        if row.name == key:
            return dataclasses.replace(
                instrument, string_length_mm=row.string_length_mm, bow_hair_mm=row.bow_hair_mm, size=row.name
            )
    known = ", ".join(row.name for row in instrument.sizes)
    raise InputError(
        f'the table of the {instrument.name} has no size "{size}"; known are {known or "none"}',
        "Choose one of them or give the length of the open string in millimetres.",
    )


_FRACTIONS = {ord("½"): "1/2", ord("¼"): "1/4", ord("¾"): "3/4", ord("⅞"): "7/8", ord("⅛"): "1/8", ord("⅝"): "5/8"}


def _key(name: str) -> str:
    return name.strip().casefold().replace(" ", "_").replace("-", "_")


@cache
def _carried(key: str) -> Instrument:
    if key not in instrument_names():
        raise InputError(
            _unknown("instrument", key.replace("_", " "), [n.replace("_", " ") for n in instrument_names()])
        )
    text = (_TABLES / f"{key}.toml").read_text(encoding="utf-8")
    return parse_instrument(text, file=f"{key}.toml")


def _read_text(path: Path) -> str:
    place = Place(file=str(path))
    try:
        if path.stat().st_size > _LARGEST_TABLE_BYTES:
            raise InputError("is too large for a table of an instrument", "Give a file under 1 MB.", place=place)
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text", "Save it as UTF-8.", place=place) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the name and its rights.", place=place) from error


def _unknown(kind: str, name: str, known: Iterable[str]) -> str:
    return f'there is no {kind} "{name}"; {did_you_mean(name, known)}'
