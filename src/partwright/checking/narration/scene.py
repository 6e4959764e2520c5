"""What all doubted claims of a transcript share: the telling itself, and who agrees and disagrees with what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from partwright.checking.narration.frames import Frames
from partwright.checking.narration.judged import Judged, claim_of
from partwright.checking.narration.language import Language
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import Word

__all__ = ["HEARD_FOR_CERTAIN", "Scene", "odd_words"]

HEARD_FOR_CERTAIN = 0.95
_SENTENCE = 9.0  # words
_WITHIN = 0.1  # what is outside the bars announced before and after is less likely than this


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A telling with a first look at its claims. Sequences count its mentions, or its words where they say so."""

    telling: Telling
    agreeing: Sequence[int]  # claims of each mention that are borne out, the name included
    disagreeing: Sequence[int]
    odd: Sequence[bool]  # words that stand only once and that the grammar does not know
    taken: frozenset[int]  # words some mention or claim is made of
    frames: Frames

    @classmethod
    def of(cls, telling: Telling, judged: Sequence[Judged]) -> Scene:
        """The scene in which the doubted ones among `judged` are looked at."""
        mentions = telling.mentions
        agreeing, disagreeing = [0] * len(mentions), [0] * len(mentions)
        for item in judged:
            agreeing[item.mention] += item.verdict == "right"
            disagreeing[item.mention] += item.verdict == "doubt"
        taken = {w for m in mentions for c in m.claims for w in range(c.first_word, c.last_word + 1)}
        taken |= {w for m in mentions for w in range(m.name_first, m.name_last + 1)}
        known = (
            (mentions[item.mention], claim_of(item, mentions), item.kind, item.verdict == "right")
            for item in judged
            if item.verdict in ("right", "doubt")
        )
        return cls(
            telling=telling, agreeing=agreeing, disagreeing=disagreeing, taken=frozenset(taken),
            odd=odd_words(telling.words, telling.language.known),
            frames=Frames.of(known, telling.words, frozenset(taken)),
        )  # fmt: skip

    @property
    def mentions(self) -> Sequence[Mention]:
        return self.telling.mentions

    @property
    def likeliest(self) -> Sequence[int]:
        return self.telling.likeliest

    @property
    def words(self) -> Sequence[Word]:
        return self.telling.words

    @property
    def truth(self) -> Truth:
        return self.telling.truth

    @property
    def clean(self) -> bool:
        return self.telling.clean

    @property
    def language(self) -> Language:
        return self.telling.language

    def place_share(self, k: int) -> float:
        """How much of the posterior of mention k is at its likeliest place."""
        return float(self.telling.following.posterior[k].max(initial=0.0))

    def announced(self, k: int) -> bool:
        """Whether mention k is in the bar that was announced before it, and the next bar is announced after it."""
        likely = self.telling.following.likely[k]
        return likely is not None and bool(likely.min() < _WITHIN) and bool(likely[self.likeliest[k]] == 1.0)

    @cached_property
    def sentence_share(self) -> float:
        """How long the sentences are, of a usual length: a full stop parts less where everything is said in bits."""
        return min(1.0, len(self.words) / max(1, sum(word.stop == 2 for word in self.words)) / _SENTENCE)

    @cached_property
    def doubtful_share(self) -> float:
        """Tenths of the names that were not heard for certain."""
        named = [m for m in self.mentions if m.note is not None]
        return min(3.0, 10.0 * sum(m.p < HEARD_FOR_CERTAIN for m in named) / max(1, len(named)))


def odd_words(words: Sequence[Word], known: frozenset[str]) -> tuple[bool, ...]:
    """Words that the grammar does not know and that are said only once: most mishearings are."""
    counts = Counter(word.form for word in words)
    return tuple(word.form not in known and counts[word.form] == 1 for word in words)
