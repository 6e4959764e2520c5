"""What is said without being claimed: what others do, what would happen if, what is not done, what is only asked.

"Somebody wrote that they always play the A on the D string" is no claim that the A is on the D string. Such a clause
begins with words of the table (`report_*`, `if_*`, `denied_*`, `unreal_*`, …) and ends with the sentence, with a comma,
or, without punctuation, after a few words or where the speaker comes back to what is done (`aside_ends`).
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.language import Language
from partwright.checking.narration.words import Word

__all__ = ["find_asides"]

_LONGEST = 12  # words of a clause that no stop ends
_LONGEST_SENTENCE = 40
_LONGEST_NAME = 5  # "finger on the F sharp"
_SIGNS = ("sharp", "flat", "natural", "position", "string")
_SHORT = 8
_PRACTISED = 18
# How a clause begins, the verb that must follow, within how many words, and how long it is without punctuation.
_RULES = (
    ("report_people", "report_verbs", 4, _LONGEST),
    ("if", "if_verbs", 3, _SHORT),
    ("denied", "denied_verbs", 2, _SHORT),
    ("could", "if_verbs", 2, _SHORT),
    ("unreal", "unreal_verbs", 1, _SHORT),
    ("elsewhere", "elsewhere_verbs", 1, _SHORT),
)
_FROM_BEFORE = frozenset({"unreal", "elsewhere"})  # what is not so stands before the word: "the third would give you"


def find_asides(words: Sequence[Word], language: Language) -> frozenset[int]:
    """The words that claim nothing. Pure."""
    found: set[int] = set()
    for k, word in enumerate(words):
        for begins, verbs, within, longest in _RULES:
            if word.form in language.sets[begins] and _follows(words, k, language.sets[verbs], within):
                found |= set(_clause(words, language, k, longest, comma=longest == _SHORT))
                if begins in _FROM_BEFORE:
                    found |= set(_back_to_stop(words, k))
        if word.form == "like" and k and k + 1 < len(words) and words[k + 1].form.endswith("ing"):
            found |= set(_clause(words, language, k, _LONGEST, comma=True))  # "it's like reaching for the top shelf"
        if word.asks:
            found |= {k, *_back_to_stop(words, k)}
        if word.form in language.sets["practise"]:
            found |= set(_how_often(words, language, k))
    for turn in language.sets["in_passing"]:
        tokens = turn.split()
        for k in range(len(words) - len(tokens) + 1):
            if all(_stands_for(token, words[k + j], language) for j, token in enumerate(tokens)):
                found |= set(range(k, k + len(tokens)))
    return frozenset(found)


def _how_often(words: Sequence[Word], language: Language, k: int) -> list[int]:
    """The words that say how often to practise: "practise the shift alone, open A, slide, D, three times"."""
    found: list[int] = []
    for j in range(k + 1, min(len(words), k + 1 + _PRACTISED)):
        if words[j - 1].stop == 2:
            break
        if words[j].form in language.classes["times"]:
            found.append(j)
        elif words[j].form == "times":
            found += [j - 1, j]
    return found


def _stands_for(token: str, word: Word, language: Language) -> bool:
    """Whether a word is what a turn of phrase has at its place. An "a" is a letter only where it is written large."""
    form = word.form
    if token == "<letter>":
        return f"N:{form}" in language.classes["letter"] and (form != "a" or (word.capital and not word.first))
    if token == "<sign>":
        return form in _SIGNS[:3]
    if token == "<count>":
        return form in language.finger_words
    return token == form


def _follows(words: Sequence[Word], k: int, wanted: frozenset[str], within: int) -> bool:
    """Whether one of these words comes so soon, in the same clause."""
    for j in range(k + 1, min(len(words), k + 1 + within)):
        if words[j - 1].stop:
            return False
        if words[j].form in wanted:
            return True
    return False


def _clause(words: Sequence[Word], language: Language, start: int, longest: int, *, comma: bool) -> range:
    """From `start` to the end of its clause: as far as the sentence goes, where its end is written."""
    near = range(start, min(len(words), start + _LONGEST_SENTENCE))
    stopped = any(words[k].stop == 2 for k in near)
    at = start
    while at + 1 < len(words) and words[at].stop < 2 and (stopped or at - start < longest):
        if words[at].stop == 1 and comma:
            break
        back = words[at + 1].form in language.sets["aside_ends"]
        if at > start and back and (not stopped or words[at].stop == 1 or words[at + 1].form == "but"):
            break
        if not stopped and words[at].form in language.finger_words:
            return range(start, _behind_finger(words, language, at) + 1)
        at += 1
    return range(start, at + 1)


def _behind_finger(words: Sequence[Word], language: Language, at: int) -> int:
    """The last word of "third", "third finger", "third finger on the F sharp": without stops the clause ends there."""
    ends, step = at, 1
    while at + step < len(words) and step <= _LONGEST_NAME:
        form = words[at + step].form
        if form in language.sets["joins_finger"]:
            step += 1
            continue
        if form in language.finger_forms or f"N:{form}" in language.classes["letter"] or form in _SIGNS:
            ends, step = at + step, step + 1
            continue
        break
    return ends


def _back_to_stop(words: Sequence[Word], k: int) -> range:
    """The words of the clause before word k."""
    at = k
    while at > 0 and words[at - 1].stop == 0 and k - at < _LONGEST:
        at -= 1
    return range(at, k)
