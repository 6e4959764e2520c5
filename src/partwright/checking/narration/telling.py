"""All that a verdict may look at: what was said, where the speaker was, score and plan; and what it tells of him.

A teller is known by the accidentals he leaves out; captions by the names that had to be guessed at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from partwright.checking.narration.follow import Following
from partwright.checking.narration.language import Language
from partwright.checking.narration.mentions import Mention, Spoken
from partwright.checking.narration.pace import BARE
from partwright.checking.narration.places import Section
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import Word

__all__ = ["Telling"]

_BARE_LEAST = 6  # accidentals that must have been said before a habit is known
_BARE_NOISY = 0.2
_PLAINLY_HEARD, _MISHEARD_SHARE = 0.95, 0.015


@dataclass(frozen=True, kw_only=True)
class Telling:
    """One transcript, followed through one score. Indices of mentions, places and words are those of its parts."""

    spoken: Spoken
    following: Following
    truth: Truth
    words: Sequence[Word]
    language: Language
    sections: Sequence[Section]
    clean: bool  # the captions have full stops and capitals that can be trusted

    @property
    def mentions(self) -> tuple[Mention, ...]:
        return self.spoken.mentions

    @property
    def likeliest(self) -> Sequence[int]:
        """The place of each mention, -1 for none."""
        return self.following.likeliest

    @cached_property
    def misheard(self) -> bool:
        """Whether names of notes had to be guessed at more than now and then: then other words were misheard too."""
        named = [mention for mention in self.mentions if mention.note is not None]
        return sum(mention.p < _PLAINLY_HEARD for mention in named) > _MISHEARD_SHARE * len(named)

    @cached_property
    def bare_share(self) -> float:
        """The share of accidentals that the speaker leaves out, as far as it is known.

        Where words are misheard, accidentals are lost too: then it is never told to be less than one in five.
        """
        bare = full = 0
        for mention, place in zip(self.mentions, self.likeliest, strict=True):
            if place < 0 or mention.note is None or len(self.truth.places[place].names) != 1:
                continue
            step, alter = next(iter(self.truth.places[place].names))
            if alter and step == mention.note[0]:
                bare += mention.note[1] is None
                full += mention.note[1] is not None
        if bare + full < _BARE_LEAST:
            return BARE
        return max(bare / (bare + full), _BARE_NOISY if self.misheard or bare > 1 else 0.0)
