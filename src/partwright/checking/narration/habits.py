"""How this teacher ties a claim to its note, learnt from the recording itself.

Between two names, and without full stops, "on the D I use my third finger B flat" may be read either way. But a teacher
says the same thing the same way time and again, and most of what is said is right: where a claim is true of one of its
two notes and false of the other, it shows which of them that turn of phrase speaks of. What most claims in the same
words show is then believed of all of them, the wrong ones as well. A claim has no say about itself.

Method: counts by turn of phrase, from the loosest description to the closest, each smoothed by the one before it, the
first by what the parser made of the words. Linear in the number of claims.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.state import group_of
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import Word

__all__ = ["tied_by_habit"]

_SMOOTHING = 4.0  # so many claims the looser description is worth beside the closer one
_NEAR_WORDS = 3  # words on each side of a claim that make a turn of phrase
_MOST_SURE = 0.995
_TAKEN = 0.1  # a note that has a claim of the kind already hardly takes another
_LEARNT = frozenset({"finger", "string", "bow", "position"})
_NUMBERS = frozenset(
    {"one", "two", "three", "four", "five", "six", "first", "second", "third", "fourth", "fifth", "sixth", "open"}
    | {"thumb", "up", "down", "a", "b", "c", "d", "e", "f", "g"}
)

Turn = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Between:
    """A claim between two names: where it is (mention, claim), its turns of phrase, and how likely the left one is."""

    mention: int
    claim: int
    follows: bool
    turns: tuple[Turn, ...]
    left: float
    shows: int  # 1 the score bears it out of the left note only, -1 of the right one only, 0 neither


def tied_by_habit(
    mentions: Sequence[Mention], likeliest: Sequence[int], truth: Truth, words: Sequence[Word]
) -> tuple[Mention, ...]:
    """The mentions, with claims given to the neighbour where this teacher's habit says so. Pure.

    `likeliest`: the place of each mention, -1 for none.
    """
    taken = {w for m in mentions for c in m.claims for w in range(c.first_word, c.last_word + 1)}
    between = [
        item
        for k, mention in enumerate(mentions)
        for at, claim in enumerate(mention.claims)
        if (item := _between(mentions, k, at, claim, likeliest, truth, words, taken)) is not None
    ]
    left: Counter[Turn] = Counter()
    right: Counter[Turn] = Counter()
    for item in between:
        for turn in item.turns:
            (left if item.shows > 0 else right)[turn] += abs(item.shows)
    found = list(mentions)
    moved: list[tuple[int, int, Claim]] = []
    for item in between:
        p = item.left
        for turn in item.turns:
            one = left[turn] - (item.shows > 0)
            two = right[turn] - (item.shows < 0)
            p = (one + _SMOOTHING * p) / (one + two + _SMOOTHING)
        p_other = min(_MOST_SURE, max(1.0 - _MOST_SURE, 1.0 - p if item.follows else p))
        moved += _given(found, item, p_other)
    for k, to, claim in moved:
        found[k] = replace(found[k], claims=tuple(c for c in found[k].claims if not _is_it(c, claim)))
        found[to] = found[to].with_claim(claim)
    return tuple(found)


def _between(
    mentions: Sequence[Mention], k: int, at: int, claim: Claim, likeliest: Sequence[int], truth: Truth,
    words: Sequence[Word], taken: set[int],
) -> _Between | None:  # fmt: skip
    if claim.run or not claim.other or claim.kind not in _LEARNT:
        return None
    follows = claim.other > 0
    one, two = (k, k + 1) if follows else (k - 1, k)
    gap_left = range(mentions[one].name_last + 1, claim.first_word)
    gap_right = range(claim.last_word + 1, mentions[two].name_first)
    form = (group_of(claim.kind), *(_form(words, w) for w in range(claim.first_word, claim.last_word + 1)))
    before = tuple(_token(words, w, taken) for w in gap_left[-_NEAR_WORDS:])
    after = tuple(_token(words, w, taken) for w in gap_right[:_NEAR_WORDS])
    near = "" if len(gap_left) <= _NEAR_WORDS else "…"
    turns = (
        (*form, "<", near, *before), (*form, "<", near, *before, ">", *after[:1]),
    )  # fmt: skip
    shows = 0
    if likeliest[one] >= 0 and likeliest[two] >= 0:
        true = truth.claim(claim.kind, claim.value)
        true_one, true_two = true[likeliest[one]], true[likeliest[two]]
        shows = int(true_one == 1.0 and true_two == 0.0) - int(true_one == 0.0 and true_two == 1.0)
    p_left = 1.0 - claim.p_other if follows else claim.p_other
    return _Between(k, at, follows, turns, p_left, shows)


def _given(mentions: Sequence[Mention], item: _Between, p_other: float) -> list[tuple[int, int, Claim]]:
    """The claim with what is believed of it now, and the mention it goes to."""
    k, claim = item.mention, mentions[item.mention].claims[item.claim]
    to = k + claim.other
    full = any(group_of(c.kind) == group_of(claim.kind) for c in mentions[to].claims)
    if full:
        p_other *= _TAKEN
    if p_other <= 0.5:
        return [(k, k, replace(claim, p_other=p_other))]
    return [(k, to, replace(claim, other=-claim.other, p_other=1.0 - p_other))]


def _is_it(one: Claim, two: Claim) -> bool:
    return (one.kind, one.first_word, one.last_word) == (two.kind, two.first_word, two.last_word)


def _form(words: Sequence[Word], w: int) -> str:
    form = words[w].form
    return "#" if form in _NUMBERS else form


def _token(words: Sequence[Word], w: int, taken: set[int]) -> str:
    return "…" if w in taken else _form(words, w)
