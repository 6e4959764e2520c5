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
    Level,
    OpenString,
    PositionName,
    finger_text,
    stop_mm,
)
from partwright.instrument.read_instrument import instrument_names, load_instrument

__all__ = [
    "THUMB",
    "HandShape",
    "Harmonic",
    "Instrument",
    "Level",
    "OpenString",
    "PositionName",
    "finger_text",
    "instrument_names",
    "load_instrument",
    "stop_mm",
]
