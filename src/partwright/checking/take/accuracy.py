"""How exact the check is, as it was measured: what the page tells its reader."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

__all__ = ["accuracy_words"]


@cache
def accuracy_words() -> tuple[str, ...]:
    """Sentences for the foot of the report, with the figures of the last measurement."""
    text = (resources.files("partwright.checking.take") / "data" / "accuracy.toml").read_text(encoding="utf-8")
    figures = tomllib.loads(text)
    return tuple(sentence.format(**figures["figures"]) for sentence in figures["sentences"])
