"""The thresholds of the take check, read once from the table beside it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources

__all__ = ["judging"]


@cache
def judging() -> Mapping[str, Mapping[str, float]]:
    """Thresholds by group and name; the unit is the end of each name."""
    text = (resources.files("partwright.checking.take") / "data" / "judging.toml").read_text(encoding="utf-8")
    return {group: {key: float(value) for key, value in rows.items()} for group, rows in tomllib.loads(text).items()}
