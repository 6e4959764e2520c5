"""Turns of phrase: the words around a claim, and how often each was borne out in this recording."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.words import Word

__all__ = ["Frames", "frames_of", "gap_of", "span_of"]

_FRAME_WORDS = 2  # words before a claim that tell one way of saying things from another

Frame = tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Frames:
    """Ways of saying things, by the words around a claim, and how often each was borne out in this transcript.

    Every teacher has turns of phrase. One whose claims agree with the score time and again is understood; one whose
    claims never agree ("it's tempting to put …") is more likely misunderstood than always wrong.
    """

    agreeing: Counter[Frame]
    disagreeing: Counter[Frame]

    @classmethod
    def of(
        cls, claims: Iterable[tuple[Mention, Claim | None, str, bool]], words: Sequence[Word], taken: frozenset[int]
    ) -> Frames:
        """From every claim with its kind and whether it agrees."""
        agreeing: Counter[Frame] = Counter()
        disagreeing: Counter[Frame] = Counter()
        for mention, claim, kind, agrees in claims:
            for frame in frames_of(mention, claim, kind, words, taken):
                (agreeing if agrees else disagreeing)[frame] += 1
        return cls(agreeing=agreeing, disagreeing=disagreeing)


def frames_of(
    mention: Mention, claim: Claim | None, kind: str, words: Sequence[Word], taken: frozenset[int]
) -> tuple[Frame, Frame]:
    """The way a claim is said: narrow, the words between it and its name; wide, those just before and after as well."""
    first, last = span_of(mention, claim)
    gap = gap_of(mention, claim)
    if claim is not None and mention.name_first >= 0:
        first, last = min(first, mention.name_first), max(last, mention.name_last)
    side = "" if claim is None or not gap else "after" if claim.first_word > mention.name_last else "before"
    narrow = (kind, side, *(_token(w, words, taken) for w in gap))
    before = tuple(_token(w, words, taken) for w in range(max(0, first - _FRAME_WORDS), first))
    after = tuple(_token(w, words, taken) for w in range(last + 1, min(len(words), last + 2)))
    return narrow, (*narrow, "", *before, "", *after)


def _token(w: int, words: Sequence[Word], taken: frozenset[int]) -> str:
    return "…" if w in taken else words[w].form


def span_of(mention: Mention, claim: Claim | None) -> tuple[int, int]:
    """The first and the last word of a claim; of the name where there is none, else of all that is said."""
    if claim is not None:
        return claim.first_word, claim.last_word
    if mention.name_first >= 0:
        return mention.name_first, mention.name_last
    return mention.first_word, mention.last_word


def gap_of(mention: Mention, claim: Claim | None) -> range:
    """The words between a claim and the name it is said of."""
    if claim is None or mention.name_first < 0:
        return range(0)
    if claim.first_word > mention.name_last:
        return range(mention.name_last + 1, claim.first_word)
    return range(claim.last_word + 1, mention.name_first)
