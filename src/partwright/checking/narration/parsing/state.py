"""One understanding of the words so far: the note spoken of, the claims that wait for a note, what is finished."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from partwright.checking.narration.language import Value
from partwright.checking.narration.mentions import Claim, Mention, PlaceCue

__all__ = ["NOTES", "PLACES", "WEAK", "Head", "State", "Waiting", "claimed", "group_of", "put_away"]

NOTES = frozenset({"note", "note_hint", "note_open", "plural", "plural_loose", "plural_bare", "lost"})
WEAK = frozenset({"ordinal", "digit", "string_letter", "extension", "rest", "slur"})
PLACES = frozenset({"section", "bar", "bars", "passage", "restart", "recap", "end", "bar_of"})
_GROUP = {
    "ordinal": "finger", "digit": "finger", "open": "finger", "same_finger": "finger", "digits": "finger",
    "string_letter": "string", "string_below": "string", "string_above": "string", "string_same": "string",
    "no_extension": "extension",
    "closed_bar": "extension", "not_harmonic": "harmonic", "times": "count", "separate": "slur",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Waiting:
    """A claim that waits for its note; its worth is in the score already and is given back if it finds none."""

    kind: str
    values: tuple[tuple[Value, ...], ...]  # several only for a run of finger numbers
    first: int
    last: int
    worth: float
    right: float
    stopped: bool = False  # a sentence has ended since, or another claim came between: nothing ties it any closer


@dataclass(frozen=True, slots=True)
class Head:
    """What is spoken of just now."""

    mention: Mention
    kind: str  # note, finger, lost, place
    groups: frozenset[str]
    again: frozenset[str] = frozenset()  # groups a correction may still replace


@dataclass(slots=True)
class State:
    """One way to understand the words so far."""

    score: float
    done: Any = None  # (state before, Mention) pairs, last first
    count: int = 0
    head: Head | None = None
    pending: tuple[Waiting, ...] = ()
    left: float = 0.0
    stopped: bool = False  # a sentence has ended since the last note or claim
    run: int = 0
    light: bool = False
    last: str = ""  # head, claim, pending
    last_group: str = ""
    correcting: int = 0
    cues: tuple[PlaceCue, ...] = ()
    form: Any = None  # (before, StructureWord)

    def key(self) -> tuple[object, ...]:
        """What two understandings must have in common for the better one to stand for both."""
        head = self.head
        return (
            None if head is None else (head.kind, head.groups),
            tuple((p.kind, len(p.values)) for p in self.pending),
            min(self.run, 8), self.last, self.correcting > 0, self.light,
        )  # fmt: skip


def group_of(kind: str) -> str:
    """Kinds of which a note takes one only go by one name: a finger is a finger, however it is said."""
    return _GROUP.get(kind, kind)


def put_away(state: State) -> State:
    """The state with its head among the finished mentions."""
    if state.head is None or state.head.kind == "place":
        return replace(state, head=None)
    return replace(state, done=(state.done, state.head.mention), count=state.count + 1, head=None)


def claimed(kind: str, value: tuple[Value, ...], first: int, last: int) -> Claim:
    """The claim these words make, however the number in it was said."""
    name = {"ordinal": "finger", "digit": "finger", "digits": "finger"}.get(kind, kind)
    return Claim(kind=name, value=value, first_word=first, last_word=last)
