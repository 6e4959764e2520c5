"""The weights of `data/keys.toml`, read once."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

__all__ = ["key_weights"]


@cache
def key_weights() -> Mapping[str, float]:
    """Weight by term; see the table for units."""
    data = tomllib.loads(files("partwright.arranging").joinpath("data", "keys.toml").read_text(encoding="utf-8"))
    return {name: float(row["weight"]) for name, row in data.items()}
