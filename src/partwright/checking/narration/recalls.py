"""What is told of another place, looking back: "in bar four that B had the first finger", "it was first in bar two".

The speaker stays where he is; what he says of the other place is not taken for what he teaches now. Such a clause has
a verb in the past (`recall_verbs`) and names the other place: a bar, or words of the table (`recall_places`).
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.language import Language
from partwright.checking.narration.numbered_bars import BAR_WORDS
from partwright.checking.narration.words import Word

__all__ = ["find_recalls"]

_LEADING = frozenset({"in", "at", "of", "from", "to", "the"})
_NUMBERS = 2  # words of a spoken number
_VERB_WITHIN, _TAIL, _LEAD, _NAME = 8, 5, 3, 3  # words


def find_recalls(words: Sequence[Word], language: Language) -> tuple[tuple[int, int], ...]:
    """Stretches of words, first and last, that look back to another place. Pure."""
    found: list[tuple[int, int]] = []
    for first, last in _places(words, language):
        verb = _verb(words, language, first, last)
        if verb < 0:
            continue
        begin, end = _clause(words, language, min(first, verb), max(last, verb), subject=verb < first)
        if found and begin <= found[-1][1]:
            begin, end = min(begin, found[-1][0]), max(end, found[-1][1])
            found.pop()
        found.append((begin, end))
    return tuple(found)


def _places(words: Sequence[Word], language: Language) -> list[tuple[int, int]]:
    """Where another place is named: "in bar two", "the first time", "before"."""
    found = []
    turns = [turn.split() for turn in language.sets["recall_places"]]
    for k, word in enumerate(words):
        if word.form in BAR_WORDS and k + 1 < len(words) and words[k + 1].form in language.number_words:
            last = k + 1
            while last + 1 < len(words) and last - k < _NUMBERS and words[last + 1].form in language.number_words:
                last += 1
            first = k
            while first > 0 and words[first - 1].form in _LEADING and words[first - 1].stop == 0:
                first -= 1
            if first < k:  # "bar four was easy" tells of bar four, and not of another place
                found.append((first, last))
        found += [(k, k + len(turn) - 1) for turn in turns if [w.form for w in words[k : k + len(turn)]] == turn]
    return found


def _verb(words: Sequence[Word], language: Language, first: int, last: int) -> int:
    """The verb in the past that goes with a place, in the same clause; -1 for none."""
    for k in range(last + 1, min(len(words), last + 1 + _VERB_WITHIN)):
        if words[k - 1].stop or (k > last + 1 and words[k].form in language.sets["recall_ends"]):
            break
        if words[k].form in language.sets["recall_verbs"]:
            return k
    for k in range(first - 1, max(-1, first - 1 - _VERB_WITHIN), -1):
        if words[k].stop:
            break
        if words[k].form in language.sets["recall_verbs"]:
            return k
    return -1


def _clause(words: Sequence[Word], language: Language, first: int, last: int, *, subject: bool) -> tuple[int, int]:
    """The clause around these words: to the stops, or, where there are none, a few words on either side.

    `subject`: who or what the clause is about stands before them: "it | was the fourth in bar two".
    """
    ends = language.sets["recall_ends"]
    begin, end = first, last
    lead = _LEAD if subject else 0
    if not subject and first > 0 and words[first - 1].stop == 0 and _names(words[first - 1], language):
        lead = _NAME  # "that A | in bar eighteen had a first finger"
    while begin > 0 and words[begin - 1].stop == 0 and first - begin < lead and words[begin - 1].form not in ends:
        begin -= 1
    while end + 1 < len(words) and words[end].stop == 0 and end - last < _TAIL and words[end + 1].form not in ends:
        end += 1
    return begin, end


def _names(word: Word, language: Language) -> bool:
    return f"N:{word.form}" in language.classes["letter"] or word.form in language.classes["accidental"]
