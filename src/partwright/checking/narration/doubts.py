"""Doubted claims and the verdict that all the evidence around them gives.

What surrounds a claim (was it heard for certain, does it belong to this note, do the notes around it fit, were words
lost here) decides whether it is *wrong*, to be *checked*, or taken for a mishearing and passed over; `evidence` tells
what is looked at, `verdict_model` how it is weighed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partwright.checking.finding import Verdict
from partwright.checking.narration.compare import ASK_FROM
from partwright.checking.narration.evidence import Doubt, evidence
from partwright.checking.narration.judged import Judged, claim_of
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.scene import Scene
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.verdict_model import belief

__all__ = ["weighed"]

# The belief from which a claim is called wrong; a false alarm costs more than a miss. Read off what
# bench/fit_narration.py prints of voices and hands left out, then raised for fewer false alarms (docs/narration.md).
WRONG_FROM_CLEAR = 0.68  # captions with capitals and stops
WRONG_FROM = 0.74
# Lengths are seldom misheard; the made teachers say few wrong ones, and the trees doubt them too much. From free talks.
_WRONG_FROM_OF = {"rhythm": 0.35}
_DISAGREES = 0.6
CHECK_FROM = 0.5
_LONGEST_LIST = 6
_LISTED, _LEAST_OTHERS = 0.8, 2
_NEAR = 4  # places


def weighed(judged: Sequence[Judged], telling: Telling) -> list[Judged]:
    """Doubted claims with the verdict that all the evidence around them gives; the others as they are."""
    mentions, likeliest = telling.mentions, telling.likeliest
    scene = Scene.of(telling, judged)
    clear = telling.clean and not telling.misheard
    least = WRONG_FROM_CLEAR if telling.clean else WRONG_FROM
    runs: dict[int, list[Judged]] = {}
    for item in judged:
        claim = claim_of(item, mentions)
        if claim is not None and claim.run and item.place >= 0:
            runs.setdefault(claim.first_word, []).append(item)
    found = []
    for item in judged:
        if item.verdict != "doubt":
            found.append(item)
            continue
        claim = claim_of(item, mentions)
        run = runs.get(claim.first_word, []) if claim is not None and claim.run else []
        doubt = Doubt(
            kind=item.kind, mention=item.mention, claim=claim, disagrees=item.confidence, misread=item.misread,
            run_fits_with_gap=len(run) > 1 and _fits_with_a_gap(run, mentions, telling.truth),
            run_wrong=sum(other.verdict == "doubt" for other in run),
        )  # fmt: skip
        row = evidence(doubt, scene)
        sure = belief(row)
        if doubt.run_fits_with_gap and not clear:
            sure = min(sure, ASK_FROM)  # a number or a name was lost, the others are right
        if _alone_in_its_list(item, claim, judged, mentions, clear=telling.clean and not doubt.run_fits_with_gap):
            sure = max(sure, _LISTED)
        if not _tied(item.mention, mentions, likeliest):
            sure = min(sure, ASK_FROM)
        if claim is not None and claim.kind == "harmonic" and claim.value == (0,) and doubt.disagrees >= _DISAGREES:
            sure = max(sure, _LISTED)  # nobody says "not a harmonic" by chance
        enough = _WRONG_FROM_OF.get(item.kind, least)
        verdict: Verdict = "wrong" if sure >= enough else "check" if sure >= CHECK_FROM else "right"
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
        if other is not item and (of := claim_of(other, mentions)) is not None
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
