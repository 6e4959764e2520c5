"""Strings, string length, hand shapes, positions, harmonics, levels: tables as data files.

>>> from partwright.instrument import load_instrument
>>> load_instrument("cello").strings[0].letter
'C'
"""

from partwright.instrument.instrument import (
    THUMB,
    HandShape,
    Harmonic,
    Instrument,
    InstrumentSize,
    Level,
    OpenString,
    PositionName,
    finger_text,
    stop_mm,
)
from partwright.instrument.levels import with_levels
from partwright.instrument.read_instrument import instrument_names, load_instrument, load_instrument_file
from partwright.instrument.tables import parse_instrument
from partwright.instrument.tuning import parse_tuning

__all__ = [
    "THUMB",
    "HandShape",
    "Harmonic",
    "Instrument",
    "InstrumentSize",
    "Level",
    "OpenString",
    "PositionName",
    "finger_text",
    "instrument_names",
    "load_instrument",
    "load_instrument_file",
    "parse_instrument",
    "parse_tuning",
    "stop_mm",
    "with_levels",
]
