"""From claims and places to verdicts: right, wrong, or please check.

A claim that disagrees over a good part of the posterior of its place is in doubt. What surrounds it (was it heard for
certain, does it belong to this note, do the notes around it fit, were words lost here) decides whether it is *wrong*,
to be *checked*, or taken for a mishearing and passed over; `evidence` tells how that is weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from partwright.checking.finding import Verdict
from partwright.checking.narration.evidence import Doubt, Scene, evidence, odd_words
from partwright.checking.narration.follow import BARE, Following
from partwright.checking.narration.frames import Frames
from partwright.checking.narration.habits import accidentals_said
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.places import Place
from partwright.checking.narration.truth import AGAINST_PLAN, UNSURE, Truth, pitch_class
from partwright.checking.narration.verdict_model import belief
from partwright.checking.narration.wording import claim_words, note_words, truth_words
from partwright.checking.narration.words import Word

__all__ = ["Judged", "judge"]

DOUBT_FROM = 0.15  # share of the posterior that must disagree before a claim is looked at again
# The belief from which a claim is called wrong; a false alarm costs more than a miss. Chosen on voices that the trees
# had not met (bench/fit_narration.py): about one false alarm in 15 minutes of the worst captions.
WRONG_FROM_CLEAR = 0.7  # captions with capitals and stops
WRONG_FROM = 0.72
CHECK_FROM = 0.4
ASK_FROM = 0.55
_NEVER_WRONG = frozenset({"not_finger", "offer_finger", "offer_open", "offer_harmonic", "retake", "count_loose"})
_BARE_HABIT = 0.08  # who leaves out fewer accidentals than this share means it when he does
_BARE_NOISY = 0.2
_PLAINLY_HEARD, _MISHEARD_SHARE = 0.95, 0.015
_BARE_LEAST = 6  # accidentals that must have been said before a habit is known
_SENTENCE_WORDS = 12
_LONGEST_LIST = 6
_BEGINNINGS = frozenset({"pop", "so", "now", "then", "okay", "next", "cross", "hop", "start"})
_BOTH_HEARD, _BOTH_HEARD_UNCLEAN = 0.6, 0.85
_TAKEN_BACK_WORDS = 2  # so soon after it a "sorry" or "hang on" is about the claim
_HEDGE_WORDS = 6  # "or take it with": what follows so soon is an offer
_LISTED, _LEAST_OTHERS = 0.8, 2
_NEAR = 4  # places
_SLIP = 0.04  # how often a claim is a slip of the tongue: what speaks against another reading of the words


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


def judge(
    mentions: Sequence[Mention],
    following: Following,
    truth: Truth,
    words: Sequence[Word],
    *,
    clean: bool,
    corrections: Sequence[int] = (),
    hedges: frozenset[str] = frozenset(),
    known: frozenset[str] = frozenset(),
    fingers: Mapping[str, int] = MappingProxyType({}),
    finger_forms: frozenset[str] = frozenset({"finger"}),
    joining: frozenset[str] = frozenset(),
    parting: frozenset[str] = frozenset(),
    asides: frozenset[int] = frozenset(),
) -> tuple[Judged, ...]:
    """A verdict on every claim, in the order in which they were said.

    `known` are the words the grammar knows, `fingers` its number words, `asides` the words that claim nothing.
    """
    found: list[Judged] = []
    bare = _bare_habit(mentions, following.likeliest, truth)
    swapped = _swapped(mentions, following, truth, clean=clean)
    likeliest = following.likeliest
    for k, mention in enumerate(mentions):
        if k in swapped:
            if swapped[k][0]:
                found.append(_order(mentions, k, swapped[k][1], truth))
            continue
        place = likeliest[k]
        if mention.note is not None:
            found.append(_judge_note(mention, k, place, following, truth, bare, clean=clean))
        for claim in mention.claims:
            if claim.kind == "stay" or (claim.kind == "string_letter" and not clean):
                continue  # "on the D", without a full stop: the string, or the note that comes next
            found.append(_judge_claim(mentions, k, claim, likeliest, following, truth, words, hedges))
    found = [_unless_said_in_passing(item, asides) for item in found]
    found = [_unless_taken_back(item, mentions, words, frozenset(corrections)) for item in found]
    return _once(
        _weighed(
            found,
            mentions,
            likeliest,
            truth,
            words,
            clean=clean,
            known=known,
            fingers=fingers,
            finger_forms=finger_forms,
            joining=joining,
            parting=parting,
            following=following,
        )
    )


def _unless_said_in_passing(item: Judged, asides: frozenset[int]) -> Judged:
    """A doubted claim in a clause that claims nothing ("if you use your second finger") is none."""
    if item.verdict not in ("doubt", "check", "wrong") or item.first_word not in asides:
        return item
    return replace(item, verdict="right", confidence=0.0)


def _unless_taken_back(
    item: Judged, mentions: Sequence[Mention], words: Sequence[Word], corrections: frozenset[int]
) -> Judged:
    """A doubted claim that the speaker takes back at once is none, whatever became of the words after that."""
    if item.verdict != "doubt":
        return item
    mention = mentions[item.mention]
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


def _weighed(
    judged: Sequence[Judged],
    mentions: Sequence[Mention],
    likeliest: Sequence[int],
    truth: Truth,
    words: Sequence[Word],
    *,
    clean: bool,
    known: frozenset[str],
    fingers: Mapping[str, int],
    finger_forms: frozenset[str],
    joining: frozenset[str],
    parting: frozenset[str],
    following: Following,
) -> list[Judged]:
    """Doubted claims with the verdict that all the evidence around them gives."""
    agreeing, disagreeing = [0] * len(mentions), [0] * len(mentions)
    for item in judged:
        agreeing[item.mention] += item.verdict == "right"
        disagreeing[item.mention] += item.verdict == "doubt"
    taken = {w for m in mentions for c in m.claims for w in range(c.first_word, c.last_word + 1)}
    taken |= {w for m in mentions for w in range(m.name_first, m.name_last + 1)}
    frames = Frames.of(
        (
            (mentions[item.mention], _claim_of(item, mentions), item.kind, item.verdict == "right")
            for item in judged
            if item.verdict in ("right", "doubt")
        ),
        words,
        frozenset(taken),
    )
    scene = Scene(
        mentions=mentions, likeliest=likeliest, agreeing=agreeing, disagreeing=disagreeing, words=words,
        odd=odd_words(words, known), taken=frozenset(taken), truth=truth, clean=clean,
        fingers=fingers, finger_forms=finger_forms, frames=frames, joining=joining, parting=parting, known=known,
        place_share=[float(row.max(initial=0.0)) for row in following.posterior],
    )  # fmt: skip
    clear = clean and not _misheard(mentions)
    least = WRONG_FROM_CLEAR if clean else WRONG_FROM
    runs: dict[int, list[Judged]] = {}
    for item in judged:
        claim = _claim_of(item, mentions)
        if claim is not None and claim.run and item.place >= 0:
            runs.setdefault(claim.first_word, []).append(item)
    found = []
    for item in judged:
        if item.verdict != "doubt":
            found.append(item)
            continue
        claim = _claim_of(item, mentions)
        run = runs.get(claim.first_word, []) if claim is not None and claim.run else []
        doubt = Doubt(
            kind=item.kind, mention=item.mention, claim=claim, disagrees=item.confidence, misread=item.misread,
            run_fits_with_gap=len(run) > 1 and _fits_with_a_gap(run, mentions, truth),
            run_wrong=sum(other.verdict == "doubt" for other in run),
        )  # fmt: skip
        row = evidence(doubt, scene)
        sure = belief(row)
        if doubt.run_fits_with_gap and not clear:
            sure = min(sure, ASK_FROM)  # a number or a name was lost, the others are right
        if _alone_in_its_list(item, claim, judged, mentions, clear=clean and not doubt.run_fits_with_gap):
            sure = max(sure, _LISTED)
        if not _tied(item.mention, mentions, likeliest):
            sure = min(sure, ASK_FROM)
        verdict: Verdict = "wrong" if sure >= least else "check" if sure >= CHECK_FROM else "right"
        why = item.why if verdict == "wrong" else "it may have been misheard, or said of another note"
        found.append(replace(item, verdict=verdict, confidence=sure, evidence=row, why=why))
    return found


def _alone_in_its_list(
    item: Judged, claim: Claim | None, judged: Sequence[Judged], mentions: Sequence[Mention], *, clear: bool
) -> bool:  # fmt: skip
    """Whether all others of "D four, B one, C sharp two, A open" are right: then the words were heard, and meant so.

    Of names and then as many numbers ("G, F sharp, E. Four, two, one.") only where the captions are clear.
    """
    if claim is None or (claim.listed < 0 and not (clear and claim.run > _LEAST_OTHERS)):
        return False
    others = [
        other for other in judged
        if other is not item and (of := _claim_of(other, mentions)) is not None
        and (of.listed == claim.listed if claim.listed >= 0 else _same_list(claim, of, other.mention - item.mention))
        and mentions[other.mention].note is not None
    ]  # fmt: skip
    enough = _LEAST_OTHERS if claim.listed >= 0 else max(_LEAST_OTHERS, claim.run - 1)
    return len(others) >= enough and all(other.verdict == "right" for other in others)


def _same_list(one: Claim, two: Claim, apart: int) -> bool:
    return one.run == two.run and abs(apart) < one.run and abs(one.first_word - two.first_word) < 2 * one.run


def _tied(k: int, mentions: Sequence[Mention], likeliest: Sequence[int]) -> bool:
    """Whether a mention is where it is for more than its own sake: announced, or near what is said beside it."""
    if mentions[k].cues:
        return True
    beside = [likeliest[j] for j in (k - 1, k + 1) if 0 <= j < len(mentions)]
    return any(at >= 0 and abs(at - likeliest[k]) <= _NEAR for at in beside)


def _claim_of(item: Judged, mentions: Sequence[Mention]) -> Claim | None:
    """The claim that was judged; None for the name itself."""
    if item.kind == "note":
        return None
    claims = mentions[item.mention].claims
    return next((c for c in claims if (c.first_word, c.last_word) == (item.first_word, item.last_word)), None)


def _fits_with_a_gap(run: Sequence[Judged], mentions: Sequence[Mention], truth: Truth) -> bool:
    """Whether all numbers are right at places in a row, one place on or back or with one place passed over."""
    said = [
        next(
            int(c.value[0])
            for c in mentions[item.mention].claims
            if c.kind == "finger" and c.first_word == item.first_word
        )
        for item in run
    ]
    first = min(item.place for item in run)
    before = min(item.mention for item in run)
    others = 0  # names of the same list without a number: "G, B, E, A are three one" may be of the first two
    while before - others > 0 and mentions[before - others].tight and others < _LONGEST_LIST:
        others += 1
    for start in range(first - 1 - others, first + 2):
        for skipped in range(1, len(said) + 1):
            at = [start + k + (k >= skipped) for k in range(len(said))]
            if (
                at[0] >= 0
                and at[-1] < len(truth)
                and all(
                    any(f in attack.fingers for attack in truth.places[place].attacks)
                    for place, f in zip(at, said, strict=True)
                )
            ):
                return True
    return False


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


def _shares(following: Following, k: int, true: np.ndarray) -> tuple[float, float]:
    """How much of the posterior of mention k bears a claim out, and how much contradicts it, of 1."""
    posterior = following.posterior[k]
    return float(posterior[true == 1.0].sum()), float(posterior[true == 0.0].sum())


def _judge_note(
    mention: Mention, k: int, place: int, following: Following, truth: Truth, bare: float, *, clean: bool
) -> Judged:
    assert mention.note is not None
    step, alter = mention.note
    true = truth.note(step, alter)
    agrees, differs = _shares(following, k, true)
    first, last = _note_words(mention)
    base = Judged(
        kind="note", verdict="right", mention=k, place=place, first_word=first, last_word=last,
        claimed=note_words(step, alter), right="", against="score", confidence=agrees,
    )  # fmt: skip
    if place < 0:
        return replace(base, verdict="unplaced", confidence=1.0 - float(following.real[k]))
    right = truth_words("note", truth.places[place], truth)
    if true[place] == 1.0:
        return base  # whatever may be elsewhere, here it is right
    if differs >= DOUBT_FROM:
        return replace(base, verdict="doubt", right=right, confidence=differs, why="the notes around it fit here")
    half = float(following.posterior[k][true == UNSURE].sum())
    if half > 0.8 and bare <= 0.5:
        doubt = "the accidental may have been lost on the way, or not been said"
        if clean and bare <= _BARE_HABIT and mention.p > 0.9:
            return replace(
                base, verdict="wrong", right=right, confidence=0.85 * half, why="the accidentals are said elsewhere"
            )
        return replace(base, verdict="check", right=right, confidence=0.5, why=doubt)
    return base


def _note_words(mention: Mention) -> tuple[int, int]:
    """The words of the name alone, as far as they can be told from those of its claims."""
    claimed = {w for c in mention.claims for w in range(c.first_word, c.last_word + 1)}
    own = [w for w in range(mention.first_word, mention.last_word + 1) if w not in claimed]
    return (own[0], own[-1]) if own else (mention.first_word, mention.last_word)


def _judge_claim(
    mentions: Sequence[Mention],
    k: int,
    claim: Claim,
    likeliest: Sequence[int],
    following: Following,
    truth: Truth,
    words: Sequence[Word],
    hedges: frozenset[str],
) -> Judged:
    place = likeliest[k]
    kind = _KIND.get(claim.kind, claim.kind)
    against: Literal["score", "plan"] = "plan" if claim.kind in AGAINST_PLAN else "score"
    base = Judged(
        kind=kind, verdict="right", mention=k, place=place, first_word=claim.first_word, last_word=claim.last_word,
        claimed=claim_words(claim, truth.instrument), right="", against=against, confidence=0.0,
    )  # fmt: skip
    if place < 0:
        return replace(base, verdict="unplaced", confidence=1.0 - float(following.real[k]))
    true = truth.claim(claim.kind, claim.value)
    strings = {string.letter for string in truth.instrument.strings}
    if kind == "string" and claim.value[0] == "letter" and claim.value[1] not in strings:
        return replace(base, verdict="unplaced")  # no such string: another word was meant
    here = truth.places[place]
    if claim.kind == "same_finger":
        true = _same_finger_from(mentions, k, likeliest, truth, true)
    elif claim.kind in ("slur", "separate"):
        true, first = _together(mentions, k, claim.kind, likeliest, truth, true)
        base = replace(base, place=first, attack=-1 if first != place else 0)
    agrees, differs = _shares(following, k, true)
    misread, differs_there = _of_another(k, claim, likeliest, truth)
    sure = differs * (1.0 - misread) + differs_there * misread
    if claim.kind == "finger" and claim.value == (0,) and _no_open_string(mentions[k], claim, truth):
        sure *= 0.6  # rather the word before it: "just open. B is next"
    if against == "plan" and _written(claim.kind, here):
        against = "score"
    right = truth_words(claim.kind, here, truth)
    if true[place] == 1.0:
        return replace(base, confidence=agrees)  # whatever may be elsewhere, here it is right
    if _hedged(mentions, k, claim, words, hedges) and claim.kind in ("finger", "harmonic", "string", "position"):
        return replace(base, confidence=agrees)
    if claim.kind in _NEVER_WRONG:
        if sure * claim.p >= ASK_FROM:
            return replace(
                base,
                verdict="check",
                right=right,
                confidence=sure * claim.p,
                against=against,
                why="it was only offered",
            )
    elif sure >= DOUBT_FROM:
        return replace(base, verdict="doubt", right=right, confidence=sure, against=against, misread=misread)
    return replace(base, confidence=agrees)


def _hedged(mentions: Sequence[Mention], k: int, claim: Claim, words: Sequence[Word], hedges: frozenset[str]) -> bool:
    """Whether an "or", a "could", a "some people" stands right before the claim, nothing else in between."""
    near = mentions[max(0, k - 1) : k + 1]
    taken = {w for m in near for c in m.claims if c is not claim for w in range(c.first_word, c.last_word + 1)}
    taken |= {w for m in near for w in range(m.name_first, m.name_last + 1)}
    for w in range(claim.first_word - 1, max(-1, claim.first_word - 1 - _HEDGE_WORDS), -1):
        if w in taken or words[w].stop == 2 or words[w].form in _BEGINNINGS:
            return False
        if words[w].form in hedges:
            return True
    return False


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


def _no_open_string(mention: Mention, claim: Claim, truth: Truth) -> bool:
    """Whether "open" stands before the name of a note that no string has."""
    if mention.note is None or not mention.name_first <= claim.first_word <= mention.name_last:
        return False
    wanted = pitch_class(mention.note[0], mention.note[1] or 0)
    return all(string.midi % 12 != wanted for string in truth.instrument.strings)


def _likely(true: float) -> float:
    return 0.97 if true == 1.0 else 0.5 if true == UNSURE else _SLIP


_KIND = {
    "count_loose": "count", "not_finger": "finger", "offer_finger": "finger", "offer_open": "finger",
    "offer_harmonic": "harmonic", "same_finger": "finger", "substitute": "finger", "string_letter": "string",
    "slur": "bow", "separate": "bow", "retake": "bow", "articulation": "bow", "beats": "rhythm", "value": "rhythm",
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
    if place.count > 1 and len({a.fingers for a in place.attacks}) == 1 and before != here - 1:
        alike = True
    answer[here] = 1.0 if alike else 0.0 if before == here - 1 else UNSURE
    return answer


def _together(
    mentions: Sequence[Mention], k: int, kind: str, likeliest: Sequence[int], truth: Truth, true: np.ndarray
) -> tuple[np.ndarray, int]:
    """Whether the notes named in one breath around mention k are under one slur, and the place of the first of them."""
    here = likeliest[k]
    pairs = []
    if mentions[k].tight and k and likeliest[k - 1] >= 0:
        pairs.append((likeliest[k - 1], here))
    if k + 1 < len(mentions) and mentions[k + 1].tight and likeliest[k + 1] >= 0:
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


def _bare_habit(mentions: Sequence[Mention], likeliest: Sequence[int], truth: Truth) -> float:
    """The share of accidentals that the speaker leaves out, as far as it is known.

    Where words are misheard, accidentals are lost too: then it is never told to be less than `_BARE_NOISY`.
    """
    bare, full = accidentals_said(mentions, likeliest, truth)
    if bare + full < _BARE_LEAST:
        return BARE
    return max(bare / (bare + full), _BARE_NOISY if _misheard(mentions) or bare > 1 else 0.0)


def _misheard(mentions: Sequence[Mention]) -> bool:
    """Whether names of notes had to be guessed at more than now and then: then other words were misheard too."""
    named = [mention for mention in mentions if mention.note is not None]
    return sum(mention.p < _PLAINLY_HEARD for mention in named) > _MISHEARD_SHARE * len(named)


def _swapped(
    mentions: Sequence[Mention], following: Following, truth: Truth, *, clean: bool
) -> dict[int, tuple[bool, int]]:
    """Pairs of mentions named in the wrong order: for each (whether it is the first of the two, its place).

    Without capitals and stops both must be heard plainly and named in one breath: an article makes an A easily.
    """
    least = _BOTH_HEARD if clean else _BOTH_HEARD_UNCLEAN
    found: dict[int, tuple[bool, int]] = {}
    for k in range(1, len(mentions) - 1):
        one, two = mentions[k], mentions[k + 1]
        if k in found or one.note is None or two.note is None or one.cues or two.cues:
            continue
        in_a_breath = two.tight or (clean and one.tight)
        if not in_a_breath or one.p * two.p < least:
            continue
        before = following.likeliest[k - 1]
        if before < 0 or before + 2 >= len(truth):
            continue
        first, second = before + 1, before + 2
        said_one, said_two = truth.note(*one.note), truth.note(*two.note)
        if (
            said_one[before] > 0
            or said_one[first] > 0
            or said_two[second] > 0
            or said_one[second] != 1.0
            or said_two[first] != 1.0
        ):
            continue
        after = following.likeliest[k + 2] if k + 2 < len(mentions) else second + 1
        at_one, at_two = following.likeliest[k], following.likeliest[k + 1]
        straight = at_one >= 0 and at_two == at_one + 1 and said_one[at_one] == 1.0 and said_two[at_two] == 1.0
        ends = k + 2 >= len(mentions) or not mentions[k + 2].tight
        follows_on = after in (second, second + 1, second + 2)
        if straight or not (follows_on or (ends and one.tight and two.tight)):
            continue
        found[k] = (True, first)
        found[k + 1] = (False, second)
    return found


def _order(mentions: Sequence[Mention], k: int, place: int, truth: Truth) -> Judged:
    one, two = mentions[k].note, mentions[k + 1].note
    assert one is not None and two is not None
    here, after = truth.places[place], truth.places[place + 1]
    return Judged(
        kind="order", verdict="wrong", mention=k, place=place, first_word=_note_words(mentions[k])[0],
        last_word=_note_words(mentions[k + 1])[1], claimed=f"{note_words(*one)}, {note_words(*two)}",
        right=f"{truth_words('note', here, truth)}, {truth_words('note', after, truth)}", against="score",
        confidence=0.9, why="the two are named the other way round",
    )  # fmt: skip
