"""Where a sequence repeats itself: for every place, the longest stretch ending there that stood whole earlier.

Method: suffix automaton (Blumer et al. 1985, "The smallest automaton recognizing the subwords of a text") with the
first end of every state, and one walk along the sequence; time and memory grow with its length, not its square.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

__all__ = ["EarlierMatch", "earlier_matches", "longest_earlier"]

EarlierMatch = tuple[int, int, int]
"""(first, earlier first, length): `length` tokens from `first` on are those from `earlier first` on."""


def longest_earlier(tokens: Sequence[Hashable]) -> tuple[list[int], list[int]]:
    """For every end e: the greatest length l such that the l tokens up to e also end at some f <= e - l (they do not
    overlap), and the least such f; -1 where l is 0. Two lists as long as `tokens`.

    >>> longest_earlier("abcxabc")
    ([0, 0, 0, 0, 1, 2, 3], [-1, -1, -1, -1, 0, 1, 2])
    """
    following, link, length, first_end = _automaton(tokens)
    lengths, ends = [], []
    state, matched = 0, 0
    for end, token in enumerate(tokens):
        state, matched = following[state][token], matched + 1
        while length[link[state]] >= matched:
            state = link[state]
        while matched:
            room = end - first_end[state]
            if room > length[link[state]]:
                matched = min(matched, room)
                break
            state = link[state]
            matched = length[state]
        lengths.append(matched)
        ends.append(first_end[state] if matched else -1)
    return lengths, ends


def earlier_matches(tokens: Sequence[Hashable], *, least: int) -> tuple[EarlierMatch, ...]:
    """Every stretch of at least `least` tokens that stood whole earlier and cannot be made longer, in order of its end.

    >>> earlier_matches("abcxabc", least=2)
    ((4, 0, 3),)
    """
    lengths, ends = longest_earlier(tokens)
    found = []
    for end, matched in enumerate(lengths):
        grows = end + 1 < len(lengths) and lengths[end + 1] == matched + 1
        if matched >= least and not grows:
            found.append((end - matched + 1, ends[end] - matched + 1, matched))
    return tuple(found)


def _automaton(tokens: Sequence[Hashable]) -> tuple[list[dict[Hashable, int]], list[int], list[int], list[int]]:
    """Transitions, suffix links, longest lengths and first ends of the states; state 0 is the empty stretch."""
    following: list[dict[Hashable, int]] = [{}]
    link, length, first_end = [-1], [0], [-1]
    last = 0
    for end, token in enumerate(tokens):
        fresh = len(following)
        following.append({})
        length.append(length[last] + 1)
        first_end.append(end)
        link.append(0)
        state = last
        while state >= 0 and token not in following[state]:
            following[state][token] = fresh
            state = link[state]
        if state >= 0:
            target = following[state][token]
            if length[target] == length[state] + 1:
                link[fresh] = target
            else:
                copy = len(following)
                following.append(dict(following[target]))
                length.append(length[state] + 1)
                first_end.append(first_end[target])
                link.append(link[target])
                while state >= 0 and following[state].get(token) == target:
                    following[state][token] = copy
                    state = link[state]
                link[target] = link[fresh] = copy
        last = fresh
    link[0] = 0
    return following, link, length, first_end
