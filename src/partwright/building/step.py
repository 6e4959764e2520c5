"""A step: one product of a lesson, what it is made from, and how. Steps are rows of a table, not code that calls code.

What a step is made from is a set of named inputs, each known by the hash of its content; a step runs again only
where one of these has changed, or one of its files is missing or was changed by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partwright.building.workshop import Workshop

__all__ = ["Made", "Ran", "Step"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What a step made: files by name below build/, and remarks for the person who asked."""

    files: Mapping[str, bytes | Path]  # a path: a long file the step has already written there, whole
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One product. `inputs` are names known to the workshop ("tune", "hand", …) or "step:NAME" for all that an
    earlier step made; `version` is raised when the way it is made changes and the program's version does not."""

    name: str
    words: str
    inputs: tuple[str, ...]
    make: Callable[[Workshop], Made]
    version: int = 1
    wanted: Callable[[Workshop], bool] | None = None  # None: in every lesson
    on_request: bool = False  # made only when named; what was made stays


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """How a step went: made anew and why, or found fresh."""

    step: str
    words: str
    made: bool
    why: str
    files: tuple[str, ...]
    seconds: float
    remarks: tuple[str, ...] = ()
