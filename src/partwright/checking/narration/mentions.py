"""What the teacher said, as data: mentions of notes in order, each with what was claimed of it.

Words are counted from 0 over the whole transcript. `p` is how likely it is that this was said, and said of this note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from partwright.checking.narration.language import Value

__all__ = ["BarStatement", "Claim", "Mention", "PlaceCue", "Spoken", "StructureWord"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One thing said of a note: its kind, its value, the words that say it."""

    kind: str
    value: tuple[Value, ...]
    first_word: int
    last_word: int
    p: float = 1.0
    run: int = 0  # how many numbers were said in one breath, where it is one of a run
    listed: int = -1  # the first word of the list of notes and numbers it is of: "D four, B one, C sharp three"
    other: int = 0  # -1 or 1: the mention before or after it may be meant instead …
    p_other: float = 0.0  # … and how likely that is from the words alone


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceCue:
    """Words that say where in the piece the speaker goes: a bar, a section, the beginning."""

    kind: str
    value: tuple[Value, ...]
    first_word: int
    last_word: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Mention:
    """One note spoken of. `note` is step and alteration (None: no accidental was said); None where no name was said.

    `tight`: it follows the mention before it in one breath. `flow`: notes may have been passed over before it.
    `recalls`: "the G" of a list just told; more may be said of that one.
    """

    note: tuple[str, int | None] | None
    first_word: int
    last_word: int
    p: float = 1.0
    name_first: int = -1  # the words of the name alone
    name_last: int = -1
    hint: str = ""
    tight: bool = False
    flow: bool = False
    plural: bool = False
    recalls: bool = False
    claims: tuple[Claim, ...] = ()
    cues: tuple[PlaceCue, ...] = ()

    def with_claim(self, claim: Claim) -> Mention:
        """The same mention with one more claim."""
        return replace(self, claims=(*self.claims, claim), last_word=max(self.last_word, claim.last_word))


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureWord:
    """A piece of a sentence about the form: a section, "the same as", "but the last bar", "twice".

    `mention`: how many mentions came before it.
    """

    kind: str
    value: tuple[Value, ...]
    first_word: int
    last_word: int
    mention: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BarStatement:
    """One statement. `bars` and `model`: first and last bar, by number; `model` is what they are likened to.

    `kind`: "alike" (`but`: "", "one note", "last bar", "last note" or "bar"; `but_bar`: in which, 0 for not said),
    "starts" (its first `count` notes are), "differs" (a bar is not as it was), "notes" (a bar has `count` notes; bar 0
    is the pick-up). Bars below 0 are counted from the end: "the last eight".
    """

    kind: Literal["alike", "starts", "differs", "notes"]
    bars: tuple[int, int]
    model: tuple[int, int] = (0, 0)
    but: str = ""
    but_bar: int = 0
    count: int = 0
    first_word: int
    last_word: int


@dataclass(frozen=True, kw_only=True)
class Spoken:
    """A whole transcript, understood."""

    mentions: tuple[Mention, ...]
    structure: tuple[StructureWord, ...]
    bar_statements: tuple[BarStatement, ...] = ()
    corrections: tuple[int, ...] = ()  # the words at which something said before is taken back
