"""The bowed voices as data: where the body resonates, how bright the bow is, how fast a string speaks."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from partwright.instrument import Instrument

__all__ = ["BowedVoice", "bowed_voice", "bowed_voices"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BowedVoice:
    """One bowed instrument's sound. `resonances`: (frequency in Hz, quality, gain in dB)."""

    name: str
    lowest_midi: int
    cutoff_hz: tuple[float, float]
    attack_seconds: float
    bow_place: float
    resonances: tuple[tuple[float, float, float], ...]


@cache
def bowed_voices() -> tuple[BowedVoice, ...]:
    """All voices of `data/bowed.toml`."""
    data = tomllib.loads(files("partwright.sound").joinpath("data", "bowed.toml").read_text(encoding="utf-8"))
    return tuple(
        BowedVoice(
            name=name,
            lowest_midi=row["lowest_midi"],
            cutoff_hz=(row["cutoff_hz"][0], row["cutoff_hz"][1]),
            attack_seconds=row["attack_s"],
            bow_place=row["bow_place"],
            resonances=tuple((f, q, g) for f, q, g in row["resonances"]),
        )
        for name, row in data.items()
    )


def bowed_voice(instrument: Instrument | None = None) -> BowedVoice:
    """The voice of this name; for an instrument of the player's own the one whose lowest string lies nearest."""
    voices = bowed_voices()
    if instrument is None:
        return voices[0]
    for voice in voices:
        if voice.name == instrument.name:
            return voice
    return min(voices, key=lambda voice: abs(voice.lowest_midi - instrument.strings[0].midi))
