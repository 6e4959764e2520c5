"""Two notes named the other way round, where one neighbour or the other shows what was meant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.judged import Judged, name_words
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.wording import note_words, truth_words

__all__ = ["swapped_pairs", "wrong_bar", "wrong_order"]

_BOTH_HEARD, _BOTH_HEARD_UNCLEAN = 0.6, 0.85
_PLAINLY = 0.8  # each name of a list
_LEAST_LISTED = 3
_PASSED_OVER = 1
_LEAST_WRONG = 2


def swapped_pairs(telling: Telling) -> dict[int, tuple[bool, int]]:
    """Pairs of mentions named in the wrong order: for each (whether it is the first of the two, its place).

    Without capitals and stops both must be heard plainly and named in one breath: an article makes an A easily.
    """
    least = _BOTH_HEARD if telling.clean else _BOTH_HEARD_UNCLEAN
    mentions, likeliest, truth = telling.mentions, telling.likeliest, telling.truth
    found: dict[int, tuple[bool, int]] = {}
    for k in range(1, len(mentions) - 1):
        one, two = mentions[k], mentions[k + 1]
        if k in found or one.note is None or two.note is None or one.cues or two.cues:
            continue
        in_a_breath = two.tight or (telling.clean and one.tight)
        if not in_a_breath or one.p * two.p < least:
            continue
        before = likeliest[k - 1]
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
        after = likeliest[k + 2] if k + 2 < len(mentions) else second + 1
        at_one, at_two = likeliest[k], likeliest[k + 1]
        straight = at_one >= 0 and at_two == at_one + 1 and said_one[at_one] == 1.0 and said_two[at_two] == 1.0
        ends = k + 2 >= len(mentions) or not mentions[k + 2].tight
        follows_on = after in (second, second + 1, second + 2)
        if straight or not (follows_on or (ends and one.tight and two.tight)):
            continue
        found[k] = (True, first)
        found[k + 1] = (False, second)
    for first, size in _breaths(telling):
        if not telling.clean and telling.following.likely[first] is None:
            continue  # an article may be an A: only where the bar was announced
        if not any(k in found for k in range(first, first + size)):
            found |= _swapped_in_list(telling, first, size)
    return found


def _breaths(telling: Telling) -> list[tuple[int, int]]:
    """Lists of at least three notes that were plainly heard in one breath: the first mention and how many."""
    mentions = telling.mentions
    found = []
    k = 0
    while k < len(mentions):
        size = 1
        while k + size < len(mentions) and mentions[k + size].tight:
            size += 1
        if size >= _LEAST_LISTED and all(m.note is not None and m.p >= _PLAINLY for m in mentions[k : k + size]):
            found.append((k, size))
        k += size
    return found


def _swapped_in_list(telling: Telling, first: int, size: int) -> dict[int, tuple[bool, int]]:
    """The pair of a list that is the wrong way round, where all the others are as they follow each other nearby.

    None where the list as it was said is found nearby too, a note or two passed over.
    """
    mentions, truth = telling.mentions, telling.truth
    at = [telling.likeliest[k] for k in range(max(0, first - 1), min(len(mentions), first + size + 1))]
    at = [place for place in at if place >= 0]
    if not at:
        return {}
    near = range(max(0, min(at) - size), min(len(truth) - size, max(at) + 1) + 1)
    likely = telling.following.likely[first]
    names = [truth.note(*note) for m in mentions[first : first + size] if (note := m.note) is not None]
    found: dict[int, int] = {}
    for start in near:
        if likely is not None and likely[start : start + size].min() < 1.0:
            continue  # not in the bar that was announced
        fits = [float(names[k][start + k]) for k in range(size)]
        if min(fits) == 1.0 or _in_order(names, start):
            return {}
        wrong = [k for k in range(size) if fits[k] != 1.0]
        if len(wrong) == 2 and wrong[1] == wrong[0] + 1:
            one, two = wrong
            if names[one][start + two] == names[two][start + one] == 1.0 and fits[one] == fits[two] == 0.0:
                found[start] = one
    if len(found) != 1:
        return {}
    ((start, one),) = found.items()
    return {first + one: (True, start + one), first + one + 1: (False, start + one + 1)}


def _in_order(names: Sequence[NDArray[np.float64]], start: int) -> bool:
    """Whether these names come in this order from a place on, with few passed over."""
    at = start
    last = min(len(names[0]), start + len(names) + _PASSED_OVER)
    for name in names:
        while at < last and name[at] == 0.0:
            at += 1
        if at == last:
            return False
        at += 1
    return True


def wrong_bar(telling: Telling, swapped: Mapping[int, tuple[bool, int]]) -> list[Judged]:
    """Lists that give a whole bar ("bar five: G, E, G") and share hardly a note with it, place by place.

    `swapped`: the mentions of which it is known that two were named the other way round.
    """
    mentions, truth = telling.mentions, telling.truth
    found = []
    for first, size in _breaths(telling):
        likely = telling.following.likely[first]
        if not telling.clean or likely is None or not mentions[first].cues or mentions[first].cues[-1].kind != "bar":
            continue
        if any(k in swapped for k in range(first, first + size)):
            continue
        inside = [place for place in truth.places if likely[place.index] == 1.0]
        if len(inside) != size or any(place.count > 1 for place in inside):
            continue
        names = [m.note for m in mentions[first : first + size] if m.note is not None]
        wrong = [truth.note(*name)[place.index] == 0.0 for name, place in zip(names, inside, strict=True)]
        if sum(wrong) < _LEAST_WRONG or any(truth.note(*name).max(initial=0.0) == 0.0 for name in names):
            continue
        words = name_words(mentions[first])[0], name_words(mentions[first + size - 1])[1]
        found.append(
            Judged(
                kind="order", verdict="wrong", mention=first, place=inside[0].index, first_word=words[0],
                last_word=words[1], claimed=", ".join(note_words(*name) for name in names),
                right=", ".join(truth_words("note", place, truth) for place in inside), against="score",
                confidence=0.85, why="the bar was announced, and has as many notes",
            )
        )  # fmt: skip
    return found


def wrong_order(telling: Telling, k: int, place: int) -> Judged:
    """What is said of mentions k and k + 1, named the other way round at a place."""
    mentions, truth = telling.mentions, telling.truth
    one, two = mentions[k].note, mentions[k + 1].note
    assert one is not None and two is not None
    here, after = truth.places[place], truth.places[place + 1]
    return Judged(
        kind="order", verdict="wrong", mention=k, place=place, first_word=name_words(mentions[k])[0],
        last_word=name_words(mentions[k + 1])[1], claimed=f"{note_words(*one)}, {note_words(*two)}",
        right=f"{truth_words('note', here, truth)}, {truth_words('note', after, truth)}", against="score",
        confidence=0.9, why="the two are named the other way round",
    )  # fmt: skip
