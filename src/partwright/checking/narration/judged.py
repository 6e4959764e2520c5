"""A claim that was judged: what became of it, and what that rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from partwright.checking.finding import Verdict
from partwright.checking.narration.mentions import Claim, Mention

__all__ = ["Judged", "claim_of", "name_words"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One claim and what became of it. `place` is the index of the likeliest place, -1 for none."""

    kind: str
    verdict: Verdict | Literal["unplaced", "doubt"]  # "doubt" only on the way
    mention: int
    place: int
    first_word: int
    last_word: int
    claimed: str  # what was claimed, in our words
    right: str
    against: Literal["score", "plan"]
    confidence: float
    why: str = ""
    misread: float = 0.0  # how likely it was said of the neighbouring note instead
    attack: int = 0  # which note of a run of equal ones it is about; -1 for the last
    evidence: tuple[float, ...] = ()  # what the verdict on a doubted claim rests on; see `evidence.NAMES`


def claim_of(item: Judged, mentions: Sequence[Mention]) -> Claim | None:
    """The claim that was judged; None for the name itself."""
    if item.kind == "note":
        return None
    claims = mentions[item.mention].claims
    return next((c for c in claims if (c.first_word, c.last_word) == (item.first_word, item.last_word)), None)


def name_words(mention: Mention) -> tuple[int, int]:
    """The words of the name alone, as far as they can be told from those of its claims."""
    claimed = {w for c in mention.claims for w in range(c.first_word, c.last_word + 1)}
    own = [w for w in range(mention.first_word, mention.last_word + 1) if w not in claimed]
    return (own[0], own[-1]) if own else (mention.first_word, mention.last_word)
