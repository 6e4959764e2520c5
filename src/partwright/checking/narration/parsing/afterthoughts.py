"""Looking back over the best understanding: which claim may be the neighbour's, and where something is taken back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.lists import lists_meet, whole_runs
from partwright.checking.narration.parsing.state import group_of
from partwright.checking.narration.parsing.ties import Ties, share

__all__ = ["corrections", "second_thoughts"]

_HEARD_CORRECTION = 0.5  # what its mishearings may cost
_SHARPER = 3.5  # between two notes the better tie decides more clearly than between a note and none
_RECALLED = 6  # so many notes of a list are remembered
_TAKEN = 0.1  # a note that has a claim of the kind already hardly takes another


def corrections(ties: Ties, atoms: Iterable[Sequence[Atom]], mentions: Iterable[Mention]) -> tuple[int, ...]:
    """Where words that take something back begin, whether or not what is right was understood after them."""
    found: set[int] = set()
    names = {m.name_last for m in mentions if m.note is not None}
    for here in atoms:
        for atom in here:
            first = atom.first_word
            if atom.kind == "correction":
                if atom.price < _HEARD_CORRECTION and ties.words[first].form != "but":
                    found.add(first)
            elif atom.kind == "weak_correction" and first:
                fresh = ties.form_behind(atom) not in ties.sets["not_taken_back"]
                if _ends_a_finger(ties, first - 1) or (fresh and first - 1 in names):
                    found.add(first)  # "third, no, fourth"; "so F, no, A"
    return tuple(sorted(found))


def second_thoughts(ties: Ties, mentions: list[Mention], nobody: float) -> tuple[Mention, ...]:
    """The mentions, each claim with the neighbour it may belong to instead, and how likely that is.

    `nobody`: a claim tied to its note by less than this is more likely of a note that was not heard.
    """
    taken = {w for m in mentions for c in m.claims for w in range(c.first_word, c.last_word + 1)}
    taken |= {w for m in mentions for w in range(m.name_first, m.name_last + 1)}
    mentions = whole_runs(mentions)
    found = []
    for k, mention in enumerate(mentions):
        claims = tuple(_doubted(ties, mentions, k, claim, taken, nobody) for claim in mention.claims)
        found.append(replace(mention, claims=claims))
    return tuple(_recalled(ties, lists_meet(found)))


def _recalled(ties: Ties, mentions: list[Mention]) -> list[Mention]:
    """Marks "the G" where a G was named last, or is in the list named last: more may be told of that one."""
    found = list(mentions)
    for k, mention in enumerate(mentions):
        if _picked_out(ties, mentions, k):
            found[k] = mention = replace(mention, tight=False, recalls=True)
        first = mention.name_first
        if mention.note is None or mention.tight or first < 2 or mention.cues or k < 1:
            continue
        if not {ties.words[first - 1].form, ties.words[first - 2].form} & ties.sets["recalling"]:
            continue
        if mention.note == mentions[k - 1].note:
            found[k] = replace(mention, recalls=True)
        if ties.words[first - 1].form not in ties.sets["recalling"] or not mentions[k - 1].tight:
            continue
        listed: list[tuple[str, int | None] | None] = []
        j = k - 1
        while j >= 0 and len(listed) < _RECALLED and (j == k - 1 or mentions[j + 1].tight):
            listed.append(mentions[j].note)
            j -= 1
        if mention.note in listed[1:]:
            found[k] = replace(mention, recalls=True)
    return found


def _picked_out(ties: Ties, mentions: list[Mention], k: int) -> bool:
    """Whether one of a list is told more of: "G, D, B flat, the G is fourth finger"."""
    mention = mentions[k]
    if not mention.tight or not mention.claims or mention.name_first < 1:
        return False
    if ties.words[mention.name_first - 1].form not in ties.sets["recalling"]:
        return False
    j = k - 1
    while j > 0 and mentions[j].tight and k - j < _RECALLED:
        j -= 1
    bare = all(not m.claims for m in mentions[j:k])
    return bare and k - j > 1 and any(m.note == mention.note for m in mentions[j : k - 1])


def _doubted(ties: Ties, mentions: list[Mention], k: int, claim: Claim, taken: set[int], nobody: float) -> Claim:
    mention = mentions[k]
    if claim.listed >= 0 or mention.name_first < 0 or mention.name_first <= claim.first_word <= mention.name_last:
        return claim
    follows = claim.first_word > mention.name_last
    other = k + 1 if follows else k - 1
    name = "open" if claim.kind == "finger" and claim.value == (0,) else claim.kind
    if claim.kind == "finger" and _points_back(ties, claim):
        name = "finger_back"
    lean = ties.kind(name)
    if claim.kind in ("position", "string") and follows and _right_behind_a_claim(ties, mention, claim):
        lean = ties.none
    if follows:
        own = ties.between(mention.name_last, claim.first_word, taken, left=True) + lean.left
    else:
        own = ties.between(claim.last_word, mention.name_first, taken, left=False) + lean.right
    if follows and _told_afterwards(ties, claim):
        own = max(own, ties.none.left)
    claim = replace(claim, p=claim.p * share(own, nobody))
    if not 0 <= other < len(mentions) or mentions[other].name_first < 0:
        return claim
    beside = mentions[other]
    if follows:
        theirs = ties.between(claim.last_word, beside.name_first, taken, left=False) + lean.right
    else:
        theirs = ties.between(beside.name_last, claim.first_word, taken, left=True) + lean.left
    p_other = share(theirs, own, _SHARPER)
    if any(group_of(c.kind) == group_of(claim.kind) for c in beside.claims):
        p_other *= _TAKEN
    return replace(claim, other=other - k, p_other=p_other)


def _told_afterwards(ties: Ties, claim: Claim) -> bool:
    """Whether a length is told of what a pronoun stands for: "that's a half note", "hold it for two beats"."""
    if claim.kind not in ("value", "beats"):
        return False
    forms = [ties.words[k].form for k in range(claim.first_word, min(claim.first_word + 2, claim.last_word))]
    return any(form in ties.sets["pronouns"] for form in forms)


def _right_behind_a_claim(ties: Ties, mention: Mention, claim: Claim) -> bool:
    """Whether nothing parts it from another claim of the same note: "F, third finger, third position"."""
    return ties.words[claim.first_word - 1].stop < 2 and any(
        c.last_word == claim.first_word - 1 for c in mention.claims if c is not claim
    )


def _points_back(ties: Ties, claim: Claim) -> bool:
    """Whether a finger ends in words that point back: "second finger on that one"."""
    forms = [ties.words[k].form for k in range(claim.first_word, claim.last_word + 1)]
    return len(forms) > 2 and forms[-1] in ties.sets["points_back"] and ("on" in forms or "for" in forms)


def _ends_a_finger(ties: Ties, word: int) -> bool:
    """Whether a finger was said right before: "third, no, fourth"."""
    form = ties.words[word].form
    return form in ties.digits or form in ("finger", "first", "second", "third", "fourth")
