"""Lists said one after the other: names, then as many fingers ("E, F sharp, G. One, two, four."), or fingers first.

What the parser could not decide word by word is settled here on whole lists of mentions. Pure.
"""

from __future__ import annotations

from dataclasses import replace

from partwright.checking.narration.mentions import Claim, Mention

__all__ = ["lists_meet", "whole_runs"]

_NAMES_THEN_FINGERS = 6  # so many words may stand between: "that's", "the fingers are"
_FINGERS_THEN_NAMES = 1
_SURE = 0.93
_FAIRLY_SURE = 0.8  # fingers before their names, without a word that ties them


def lists_meet(mentions: list[Mention]) -> list[Mention]:
    """Fingers said of nobody go, one each, to a list of as many names right before them, else to one right after."""
    found: list[Mention] = []
    k = 0
    while k < len(mentions):
        end = _fingers_end(mentions, k)
        size = end - k
        if size == 0:
            found.append(mentions[k])
            k += 1
            continue
        fingers = mentions[k:end]
        told = fingers[1:] if size > 1 and _begins_again(found, size, fingers[0]) else fingers
        names = _names_before(found, len(told), told[0])
        if names:
            found[-len(names) :] = _dealt(names, told)
            k = end
            continue
        names = _names_after(mentions, end, size)
        if names and mentions[end].first_word - fingers[-1].last_word <= 1 + _FINGERS_THEN_NAMES:
            dealt = _dealt(names, fingers, p=_FAIRLY_SURE)
            found += [replace(dealt[0], cues=(*fingers[0].cues, *dealt[0].cues)), *dealt[1:]]
            k = end + size
            continue
        found += fingers
        k = end
    return found


def _fingers_end(mentions: list[Mention], start: int) -> int:
    """Where a list of fingers without names that begins at `start` ends (`start` itself: there is none)."""
    at = start
    while (
        at < len(mentions)
        and _bare_finger(mentions[at])
        and (at == start or _next_word(mentions[at - 1], mentions[at]))
    ):
        at += 1
    return at


def _bare_finger(mention: Mention) -> bool:
    return mention.name_first < 0 and len(mention.claims) == 1 and mention.claims[0].kind == "finger"


def _next_word(one: Mention, two: Mention) -> bool:
    """Whether nothing but a light word stands between; the numbers of one run share their words."""
    same = one.claims[-1].first_word == two.claims[0].first_word
    return same or (not two.cues and two.first_word - one.claims[-1].last_word <= 2)


def _names_before(found: list[Mention], size: int, finger: Mention) -> list[Mention]:
    """The list of names these fingers follow, if it is as long; its last name may have taken the first finger."""
    names: list[Mention] = []
    for mention in reversed(found):
        if mention.name_first < 0:
            break
        names.insert(0, mention)
        if not mention.tight:
            break
    if not names or any(_finger_of(name) for name in names[:-1]):
        return []
    last = names[-1]
    own = _finger_of(last)
    if own is not None:
        follows = own.first_word > last.name_last and own.first_word - last.name_last <= 2 and last.claims[-1] == own
        fits = len(names) == size + 1 and follows and finger.first_word - own.last_word <= 2
    else:
        fits = len(names) == size and size >= 2 and finger.first_word - last.last_word <= 1 + _NAMES_THEN_FINGERS
    return names if fits and not finger.cues else []


def _begins_again(found: list[Mention], size: int, finger: Mention) -> bool:
    """Whether a list of fingers begins with one said already: "B, first finger. A, G. First, open, fourth."."""
    length = 0
    while length < len(found) and found[-1 - length].name_first >= 0:
        length += 1
        if not found[-length].tight:
            break
    if length != size - 1 or length == 0 or length >= len(found):
        return False
    own = _finger_of(found[-1 - length])
    return own is not None and own.value == finger.claims[0].value


def _names_after(mentions: list[Mention], start: int, size: int) -> list[Mention]:
    """The list of names that begins at `start`, if it is as long as that and none of it has a finger."""
    end = start
    while end < len(mentions) and mentions[end].name_first >= 0 and (end == start or mentions[end].tight):
        end += 1
    names = mentions[start:end]
    return names if len(names) == size >= 2 and not any(_finger_of(name) for name in names) else []


def _finger_of(mention: Mention) -> Claim | None:
    return next((claim for claim in mention.claims if claim.kind in ("finger", "same_finger")), None)


def _dealt(names: list[Mention], fingers: list[Mention], *, p: float = _SURE) -> list[Mention]:
    """Each name with its finger. Where the last name has the first finger, all of them move up."""
    claims = [finger.claims[0] for finger in fingers]
    own = _finger_of(names[-1])
    if own is not None:
        names = [*names[:-1], replace(names[-1], claims=tuple(claim for claim in names[-1].claims if claim != own))]
        claims = [own, *claims]
    given = [replace(claim, p=p, run=len(claims), other=0, p_other=0.0) for claim in claims]
    return [name.with_claim(claim) for name, claim in zip(names, given, strict=True)]


def whole_runs(mentions: list[Mention]) -> list[Mention]:
    """Runs of numbers given to the list after them belong to it whole, or the last numbers do; else they are doubtful.

    "one three four, three one for B, G" is two runs in one breath; only the second one is for B and G.
    """
    found = list(mentions)
    k = 0
    while k < len(found):
        claim = next((c for c in found[k].claims if c.run and c.last_word < found[k].name_first), None)
        size = 0 if claim is None else claim.run
        end = k
        while end + 1 < len(found) and claim is not None and _same_run(found[end + 1], claim):
            end += 1
        given = (
            [next(c for c in found[j].claims if _same_run(found[j], c)) for j in range(k, end + 1)] if size > 1 else []
        )
        if claim is not None and len(given) >= 1 and size > 1:
            notes = k
            while notes + 1 < len(found) and found[notes + 1].tight and found[notes + 1].name_first >= 0:
                notes += 1
            length = notes - k + 1
            if length < len(given):
                values = [c.value for c in given][-length:]
                for j in range(k, end + 1):
                    kept = tuple(c for c in found[j].claims if not _same_run(found[j], c) or j < k)
                    if j <= notes:
                        kept = (*kept, replace(given[0], value=values[j - k], p=0.85))
                    found[j] = replace(found[j], claims=kept)
            elif length > len(given):
                for j in range(k, end + 1):
                    doubted = tuple(
                        replace(c, p=0.85) if c.run and c.first_word == claim.first_word else c for c in found[j].claims
                    )
                    found[j] = replace(found[j], claims=doubted)
        k = max(end, k) + 1
    return found


def _same_run(mention: Mention, claim: Claim) -> bool:
    """Whether the mention has a number of the same run as this claim."""
    return any(c.kind == "finger" and c.first_word == claim.first_word and c.last_word == claim.last_word
               for c in mention.claims)  # fmt: skip
