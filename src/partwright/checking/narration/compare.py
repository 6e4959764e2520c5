"""A claim, or a name, compared with score and plan where the speaker is: borne out, in doubt, or of no known place.

A claim that disagrees over a good part of the posterior of its place is in doubt; `doubts` weighs those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from partwright.checking.narration.answers import UNSURE, pitch_class
from partwright.checking.narration.counts import compare_count, counted_in
from partwright.checking.narration.judged import Judged, name_words
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.places import Place
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.truth import AGAINST_PLAN, Truth
from partwright.checking.narration.wording import claim_words, note_words, truth_words

__all__ = ["ASK_FROM", "compare_claim", "compare_name"]

DOUBT_FROM = 0.15  # share of the posterior that must disagree before a claim is looked at again
ASK_FROM = 0.55
_NEVER_WRONG = frozenset({"not_finger", "offer_finger", "offer_open", "offer_harmonic", "retake", "count_loose"})
_BARE_HABIT = 0.08  # who leaves out fewer accidentals than this share means it when he does
_BEGINNINGS = frozenset({"pop", "so", "now", "then", "okay", "next", "cross", "hop", "start"})
_SURE_OF_ALL = 0.85
_OFFERS = frozenset({"or", "alternatively", "otherwise", "could", "might", "maybe", "perhaps", "sometimes", "people"})
_HEDGE_WORDS = 6  # "or take it with": what follows so soon is an offer
_SLIP = 0.04  # how often a claim is a slip of the tongue: what speaks against another reading of the words


def compare_name(telling: Telling, k: int) -> Judged:
    """The name that mention k gives a note."""
    mention, place, truth = telling.mentions[k], telling.likeliest[k], telling.truth
    assert mention.note is not None
    step, alter = mention.note
    true = truth.note(step, alter)
    agrees, differs = _shares(telling, k, true)
    first, last = name_words(mention)
    base = Judged(
        kind="note", verdict="right", mention=k, place=place, first_word=first, last_word=last,
        claimed=note_words(step, alter), right="", against="score", confidence=agrees,
    )  # fmt: skip
    if place < 0:
        return replace(base, verdict="unplaced", confidence=1.0 - float(telling.following.real[k]))
    right = truth_words("note", truth.places[place], truth)
    if true[place] == 1.0:
        return base  # whatever may be elsewhere, here it is right
    if differs >= DOUBT_FROM:
        return replace(base, verdict="doubt", right=right, confidence=differs, why="the notes around it fit here")
    half = float(telling.following.posterior[k][true == UNSURE].sum())
    if half > 0.8 and telling.bare_share <= 0.5:
        doubt = "the accidental may have been lost on the way, or not been said"
        if telling.clean and telling.bare_share <= _BARE_HABIT and mention.p > 0.9:
            return replace(
                base, verdict="wrong", right=right, confidence=0.85 * half, why="the accidentals are said elsewhere"
            )
        return replace(base, verdict="check", right=right, confidence=0.5, why=doubt)
    return base


def compare_claim(telling: Telling, k: int, claim: Claim) -> Judged:
    """A claim that mention k makes of its note."""
    mentions, likeliest, truth = telling.mentions, telling.likeliest, telling.truth
    place = likeliest[k]
    kind = _KIND.get(claim.kind, claim.kind)
    against: Literal["score", "plan"] = "plan" if claim.kind in AGAINST_PLAN else "score"
    base = Judged(
        kind=kind, verdict="right", mention=k, place=place, first_word=claim.first_word, last_word=claim.last_word,
        claimed=claim_words(claim, truth.instrument), right="", against=against, confidence=0.0,
    )  # fmt: skip
    if place < 0:
        return replace(base, verdict="unplaced", confidence=1.0 - float(telling.following.real[k]))
    true = truth.claim(claim.kind, claim.value)
    strings = {string.letter for string in truth.instrument.strings}
    if kind == "string" and claim.value[0] == "letter" and claim.value[1] not in strings:
        return replace(base, verdict="unplaced")  # no such string: another word was meant
    here = truth.places[place]
    if claim.kind == "same_finger":
        true = _same_finger_from(mentions, k, likeliest, truth, true)
    elif claim.kind in ("slur", "separate"):
        true, first = _together(mentions, k, claim, _slurs_to(telling, k, claim), likeliest, truth, true)
        base = replace(base, place=first, attack=-1 if first != place else 0)
    if claim.kind == "count" and (bars := counted_in(telling, claim, here)) is not None:
        return compare_count(telling, base, claim, here, bars)
    if kind == "string" and _of_all(telling, k, claim, true):
        return replace(
            base, verdict="wrong", right=truth_words(claim.kind, here, truth), confidence=_SURE_OF_ALL,
            why="none of the notes just named is on it",
        )  # fmt: skip
    agrees, differs = _shares(telling, k, true)
    misread, differs_there = _of_another(k, claim, likeliest, truth)
    sure = differs * (1.0 - misread) + differs_there * misread
    if claim.kind == "finger" and claim.value == (0,) and _no_open_string(mentions[k], claim, truth):
        sure *= 0.6  # rather the word before it: "just open. B is next"
    if against == "plan" and _written(claim.kind, here):
        against = "score"
    right = truth_words(claim.kind, here, truth)
    if true[place] == 1.0:
        return replace(base, confidence=agrees)  # whatever may be elsewhere, here it is right
    if _hedged(telling, k, claim) and claim.kind in ("finger", "harmonic", "string", "position"):
        return replace(base, confidence=agrees)
    counted = _may_be_a_beat(telling, claim)
    if counted and truth.claim("on_beat", claim.value)[place] == 1.0:
        return replace(base, confidence=agrees)
    if claim.kind in _NEVER_WRONG or counted:
        if sure * claim.p >= ASK_FROM:
            return replace(
                base,
                verdict="check",
                right=right,
                confidence=sure * claim.p,
                against=against,
                why="it may have been a beat" if counted else "it was only offered",
            )
    elif sure >= DOUBT_FROM:
        return replace(base, verdict="doubt", right=right, confidence=sure, against=against, misread=misread)
    return replace(base, confidence=agrees)


def _shares(telling: Telling, k: int, true: np.ndarray) -> tuple[float, float]:
    """How much of the posterior of mention k bears a claim out, and how much contradicts it, of 1."""
    posterior = telling.following.posterior[k]
    return float(posterior[true == 1.0].sum()), float(posterior[true == 0.0].sum())


def _of_all(telling: Telling, k: int, claim: Claim, true: np.ndarray) -> bool:
    """Whether "all on the A string" is said of a list of which no note is on it."""
    if "all" not in [word.form for word in telling.words[max(0, claim.first_word - 2) : claim.first_word]]:
        return False
    listed = [telling.likeliest[k]]
    while k > 0 and telling.mentions[k].tight:
        k -= 1
        listed.append(telling.likeliest[k])
    return len(listed) > 1 and all(place >= 0 and true[place] == 0.0 for place in listed)


def _hedged(telling: Telling, k: int, claim: Claim) -> bool:
    """Whether an "or", a "could", a "some people" stands right before the claim, nothing else in between."""
    words, hedges = telling.words, telling.language.sets["hedges"]
    near = telling.mentions[max(0, k - 1) : k + 1]
    taken = {w for m in near for c in m.claims if c is not claim for w in range(c.first_word, c.last_word + 1)}
    taken |= {w for m in near for w in range(m.name_first, m.name_last + 1)}
    parted = False
    for w in range(claim.first_word - 1, max(-1, claim.first_word - 1 - _HEDGE_WORDS), -1):
        if w in taken or words[w].stop == 2 or words[w].form in _BEGINNINGS:
            return False
        parted = parted or words[w].stop == 1  # "you don't press, it's a harmonic"
        if words[w].form in hedges and (not parted or words[w].form in _OFFERS):
            return True
    return False


def _may_be_a_beat(telling: Telling, claim: Claim) -> bool:
    """Whether it is a bare "on three": a finger to some, the third beat to others."""
    first = claim.first_word
    if claim.kind != "finger" or claim.run or first != claim.last_word or first == 0:
        return False
    bare = telling.words[first].form in telling.language.classes["digit"]
    return bare and telling.words[first - 1].form == "on" and telling.words[first - 1].stop == 0


def _of_another(k: int, claim: Claim, likeliest: Sequence[int], truth: Truth) -> tuple[float, float]:
    """How likely the claim was made of the neighbouring note instead, now that it is known to be true there or not.

    And how far it is false there: a claim that is false of both notes is false whichever was meant.
    """
    if not claim.other:
        return 0.0, 0.0
    place = likeliest[k + claim.other]
    if place < 0:
        return claim.p_other, 0.0
    here = likeliest[k]
    true = float(truth.claim(claim.kind, claim.value)[place])
    true_here = float(truth.claim(claim.kind, claim.value)[here]) if here >= 0 else UNSURE
    as_meant = claim.p_other * _likely(true)
    as_read = (1.0 - claim.p_other) * _likely(true_here)
    return as_meant / (as_meant + as_read), float(true == 0.0)


def _likely(true: float) -> float:
    return 0.97 if true == 1.0 else 0.5 if true == UNSURE else _SLIP


def _no_open_string(mention: Mention, claim: Claim, truth: Truth) -> bool:
    """Whether "open" stands before the name of a note that no string has."""
    if mention.note is None or not mention.name_first <= claim.first_word <= mention.name_last:
        return False
    wanted = pitch_class(mention.note[0], mention.note[1] or 0)
    return all(string.midi % 12 != wanted for string in truth.instrument.strings)


_KIND = {
    "count_loose": "count", "not_finger": "finger", "offer_finger": "finger", "offer_open": "finger",
    "offer_harmonic": "harmonic", "same_finger": "finger", "substitute": "finger", "string_letter": "string",
    "closed_bar": "extension",
    "slur": "bow", "separate": "bow", "retake": "bow", "articulation": "bow", "beats": "rhythm", "value": "rhythm",
    "whole_bar": "rhythm", "half_bar": "rhythm",
    "on_beat": "rhythm", "rest": "rhythm", "alternate": "order",
}  # fmt: skip


def _written(kind: str, place: Place) -> bool:
    """Whether the score itself, not the plan, answers: a bow sign or a finger printed on the note."""
    notes = [n for a in place.attacks for n in a.notes]
    if kind == "bow":
        return any(n.bow for n in notes)
    return kind in ("finger", "same_finger", "substitute") and any(n.fingerings for n in notes)


def _same_finger_from(
    mentions: Sequence[Mention], k: int, likeliest: Sequence[int], truth: Truth, true: np.ndarray
) -> np.ndarray:
    """Whether each place has the finger of the place spoken of before."""
    before = next((likeliest[j] for j in range(k - 1, max(-1, k - 3), -1) if likeliest[j] >= 0), -1)
    if before < 0:
        return np.full_like(true, UNSURE)
    was = truth.places[before]
    last = was.attacks[-1].fingers
    here = likeliest[k]
    place = truth.places[here]
    answer = true.copy()
    alike = (before == here and len({a.fingers for a in place.attacks}) == 1) or bool(last & place.attacks[0].fingers)
    if place.count > 1 and len({a.fingers for a in place.attacks}) == 1:
        alike = True  # "another F, same finger"
    answer[here] = 1.0 if alike else 0.0 if before == here - 1 else UNSURE
    return answer


def _slurs_to(telling: Telling, k: int, claim: Claim) -> bool:
    """Whether it is the note before that is slurred to this one: "B with the first finger, slurred to open A"."""
    mention, words = telling.mentions[k], telling.words
    if mention.name_first < 0 or claim.last_word >= mention.name_first:
        return False
    return "to" in [word.form for word in words[claim.last_word : mention.name_first]]


def _together(
    mentions: Sequence[Mention], k: int, claim: Claim, to_this: bool, likeliest: Sequence[int], truth: Truth,
    true: np.ndarray,
) -> tuple[np.ndarray, int]:  # fmt: skip
    """Whether the notes named in one breath around mention k are under one slur, and the place of the first of them.

    `to_this`: it is said of the note before and this one.
    """
    kind, here = claim.kind, likeliest[k]
    pairs = []
    if (mentions[k].tight or to_this) and k and likeliest[k - 1] >= 0:
        pairs.append((likeliest[k - 1], here))
    if not to_this and k + 1 < len(mentions) and mentions[k + 1].tight and likeliest[k + 1] >= 0:
        pairs.append((here, likeliest[k + 1]))
    pairs = [(a, b) for a, b in pairs if b == a + 1]
    if not pairs:
        return true, here
    near = mentions[max(0, k - 1) : k + 2]
    if len({c.kind for m in near for c in m.claims if c.kind in ("slur", "separate")}) > 1:
        return np.full_like(true, UNSURE), here  # both were said: a word was lost
    joined = [any(n.slurred_to_next for n in truth.places[a].attacks[-1].notes) for a, _ in pairs]
    answer = true.copy()
    answer[here] = float(any(joined)) if kind == "slur" else float(not all(joined))
    return answer, pairs[0][0]
