"""Bars called by their number alone, once the first was announced: "bar nineteen … twenty, A, A, G. Twenty-one …".

A number counts as the next bar only where it is the one after the last bar spoken of; fingers and beats are small
numbers, so these are taken only where they stand at the head of a sentence, by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.language import Language
from partwright.checking.narration.words import Word

__all__ = ["BAR_WORDS", "NumberedBar", "find_numbered_bars", "spoken_number"]

NumberedBar = tuple[int, int, int]  # first word, last word, number

BAR_WORDS = frozenset({"bar", "bars", "measure", "measures", "baa", "bah"})
_MISHEARD = {"won": 1, "to": 2, "too": 2, "for": 4, "ate": 8}  # only behind "twenty", "thirty" …
_LARGEST_FINGER = 4
_LARGEST_BARE = 12  # up to here a number may be a count of something
_NOT_BEFORE = frozenset({"to", "through", "till", "until", "number", "about", "at", "and", "or", "section", "than"})
_LEADS_TO = frozenset({"in", "from", "at", "now", "and", "then", "for"})
_NOT_BEHIND = frozenset(
    ["minutes", "minute", "seconds", "second", "years", "year", "times", "hours", "percent", "beats", "bars", "notes",
     "people", "hundred", "thousand", "or", "o'clock", "weeks", "days", "pupils", "students", "kids"]
)  # fmt: skip


def find_numbered_bars(
    words: Sequence[Word], language: Language, others: Sequence[tuple[int, int]] = ()
) -> tuple[NumberedBar, ...]:
    """Where a number by itself is a bar. `others`: words that are of other bars. Pure."""
    elsewhere = {k for first, last in others for k in range(first, last + 1)}
    found: list[NumberedBar] = []
    bar = 0
    k = 0
    while k < len(words):
        announced = words[k].form in BAR_WORDS
        number, end = spoken_number(words, k + announced, language)
        if k not in elsewhere and announced and number:
            bar = number
        elif k not in elsewhere and number and bar and _is_a_bar(words, k, end, number, bar + 1):
            found.append((k, end, number))
            bar = number
        k = max(k, end if number else k) + 1
    return tuple(found)


def spoken_number(words: Sequence[Word], at: int, language: Language) -> tuple[int, int]:
    """The number that begins at a word, and its last word; (0, at) for none."""
    if at >= len(words):
        return 0, at
    form, classes = words[at].form, language.classes
    if form in classes["tens"]:
        tens = int(classes["tens"][form])
        ones = words[at + 1].form if at + 1 < len(words) and words[at].stop == 0 else ""
        more = int(classes["cardinal"].get(ones, 0)) or _MISHEARD.get(ones, 0)
        return (tens + more, at + 1) if 0 < more < 10 else (tens, at)
    return int(classes["teens"].get(form, 0)) or int(classes["cardinal"].get(form, 0)), at


def _is_a_bar(words: Sequence[Word], first: int, last: int, number: int, expected: int) -> bool:
    """Whether it is the next bar, or a large number behind a word that leads to a place: "from seventeen"."""
    if number == expected:
        return _alone(words, first, last, number)
    before = words[first - 1] if first else None
    leads = before is not None and before.stop == 0 and before.form in _LEADS_TO
    behind = words[last + 1].form if last + 1 < len(words) and words[last].stop == 0 else ""
    return leads and number > _LARGEST_BARE and behind not in _NOT_BEHIND


def _alone(words: Sequence[Word], first: int, last: int, number: int) -> bool:
    before = words[first - 1] if first else None
    behind = words[last + 1].form if last + 1 < len(words) else ""
    if behind in _NOT_BEHIND and words[last].stop == 0:
        return False
    heads = before is None or before.stop == 2
    if number <= _LARGEST_BARE:
        return heads and words[last].stop > 0 and number > _LARGEST_FINGER
    return heads or before is None or before.form not in _NOT_BEFORE
