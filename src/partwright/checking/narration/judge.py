"""From claims and places to verdicts: right, wrong, or please check.

Each claim is compared with score and plan where the speaker is (`compare`); those in doubt are weighed with all that
surrounds them (`doubts`); what was taken back at once, or said in passing, is no claim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partwright.checking.narration.compare import compare_claim, compare_name
from partwright.checking.narration.doubts import weighed
from partwright.checking.narration.judged import Judged
from partwright.checking.narration.order import swapped_pairs, wrong_bar, wrong_order
from partwright.checking.narration.telling import Telling

__all__ = ["judge"]

_SENTENCE_WORDS = 12
_STRING_WORDS = 3  # between a name and "second finger on the D"
_TAKEN_BACK_WORDS = 2  # so soon after it a "sorry" or "hang on" is about the claim


def judge(telling: Telling, *, asides: frozenset[int] = frozenset()) -> tuple[Judged, ...]:
    """A verdict on every claim, in the order in which they were said; `asides` are the words that claim nothing."""
    found: list[Judged] = []
    swapped = swapped_pairs(telling)
    for k, mention in enumerate(telling.mentions):
        if k in swapped:
            if swapped[k][0]:
                found.append(wrong_order(telling, k, swapped[k][1]))
            continue
        if mention.note is not None:
            found.append(compare_name(telling, k))
        for claim in mention.claims:
            if claim.kind == "stay" or (claim.kind == "string_letter" and not telling.clean):
                continue  # "on the D", without a full stop: the string, or the note that comes next
            found.append(compare_claim(telling, k, claim))
    found = [_unless_said_in_passing(item, telling, asides) for item in (*wrong_bar(telling, swapped), *found)]
    found = [_unless_taken_back(item, telling) for item in found]
    found = [_unless_a_string(item, telling) for item in found]
    return _once(weighed(found, telling))


def _unless_said_in_passing(item: Judged, telling: Telling, asides: frozenset[int]) -> Judged:
    """A doubted claim in a clause that claims nothing ("if you use your second finger") is none."""
    mention = telling.mentions[item.mention]
    first = mention.name_first if item.kind == "note" and mention.name_first >= 0 else item.first_word
    if item.verdict not in ("doubt", "check", "wrong") or first not in asides:
        return item
    return replace(item, verdict="right", confidence=0.0)


def _unless_taken_back(item: Judged, telling: Telling) -> Judged:
    """A doubted claim that the speaker takes back at once is none, whatever became of the words after that."""
    if item.verdict != "doubt":
        return item
    words, corrections = telling.words, frozenset(telling.spoken.corrections)
    mention = telling.mentions[item.mention]
    ends = {item.last_word}
    if 0 < mention.name_first - item.last_word <= _TAKEN_BACK_WORDS:
        ends.add(mention.name_last)  # "first finger on G, hang on, fourth"
    for end in ends:
        for w in range(end + 1, min(len(words), end + 1 + _TAKEN_BACK_WORDS)):
            if words[w - 1].stop == 2:
                break
            if w in corrections:
                return replace(item, verdict="right", confidence=0.0)
    return item


def _unless_a_string(item: Judged, telling: Telling) -> Judged:
    """A doubted name, or its finger, is none where the letter is a string: "F, second finger on the D"."""
    k, words = item.mention, telling.words
    if item.verdict != "doubt" or item.kind not in ("note", "finger") or k < 1:
        return item
    mention, before = telling.mentions[k], telling.mentions[k - 1]
    first, place = mention.name_first, telling.likeliest[k - 1]
    if mention.note is None or mention.note[1] is not None or before.note is None or place < 0 or first < 2:
        return item
    on_the = words[first - 1 - (words[first - 1].form == "the")].form == "on"
    fingers = [claim for claim in mention.claims if claim.kind == "finger"]
    told = any(claim.kind == "finger" for claim in before.claims)
    near = mention.first_word - before.last_word <= _STRING_WORDS
    if not on_the or told or not near or len(fingers) != len(mention.claims) or not fingers:
        return item
    true = telling.truth.claim("string", ("letter", mention.note[0]))[place]
    finger = telling.truth.claim("finger", fingers[0].value)[place]
    return replace(item, verdict="right", confidence=0.0) if true == finger == 1.0 else item


def _once(judged: Sequence[Judged]) -> tuple[Judged, ...]:
    """Without what one sentence says twice of one place ("hook them up, under one bow")."""
    kept: list[Judged] = []
    for item in judged:
        again = any(
            (old.kind, old.place, old.claimed, old.verdict) == (item.kind, item.place, item.claimed, item.verdict)
            and item.first_word - old.last_word < _SENTENCE_WORDS
            for old in kept[-6:]
        )
        if not again or item.verdict not in ("wrong", "check"):
            kept.append(item)
    return tuple(kept)
