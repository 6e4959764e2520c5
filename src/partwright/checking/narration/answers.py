"""How a place answers a claim: 1 = score and plan say the same, 0 = they say otherwise, or `UNSURE`."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from partwright.checking.narration.language import Value
from partwright.checking.narration.places import Place

if TYPE_CHECKING:
    from partwright.checking.narration.truth import Truth

__all__ = ["UNSURE", "Question", "pitch_class"]

UNSURE = 0.5  # it depends on how it is meant
Question = Callable[["Truth", Place, tuple[Value, ...]], float]

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def pitch_class(step: str, alter: int) -> int:
    """The pitch class of a spelled note, 0 = C.

    >>> pitch_class("E", 1) == pitch_class("F", 0)
    True
    """
    return (_STEPS[step] + alter) % 12
