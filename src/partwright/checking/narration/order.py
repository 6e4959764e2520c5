"""Two notes named the other way round, where one neighbour or the other shows what was meant."""

from __future__ import annotations

from partwright.checking.narration.judged import Judged, name_words
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.wording import note_words, truth_words

__all__ = ["swapped_pairs", "wrong_order"]

_BOTH_HEARD, _BOTH_HEARD_UNCLEAN = 0.6, 0.85


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
