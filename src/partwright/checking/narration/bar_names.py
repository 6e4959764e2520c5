"""Bars as they are named in words: "bar nine", "bars 19 to 22", "fourteen and fifteen", "the last eight bars"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.narration.language import Language
from partwright.checking.narration.numbered_bars import BAR_WORDS, spoken_number
from partwright.checking.narration.words import Word

__all__ = ["NamedBars", "named_bars"]

_JOINS = frozenset({"to", "through", "and", "till", "until"})


@dataclass(frozen=True, slots=True)
class NamedBars:
    """Bars that are named: the first and the last number, the words, and whether "bar" was said.

    Numbers below 0 are counted from the end: -1 is the last bar.
    """

    bars: tuple[int, int]
    first: int
    last: int
    called: bool

    @property
    def more(self) -> int:
        """How many bars more than one."""
        return self.bars[1] - self.bars[0]


def named_bars(words: Sequence[Word], language: Language) -> list[NamedBars]:
    """All of them in order; numbers without "bar" too, unless they are plainly of something else. Pure."""
    found = []
    k = 0
    while k < len(words):
        named = _first_or_last(words, language, k) or _by_number(words, language, k)
        if named is None:
            k += 1
            continue
        if not named.called and _of_something_else(words, language, named):
            k = named.last + 1
            continue
        found.append(named)
        k = named.last + 1
    return found


def _by_number(words: Sequence[Word], language: Language, k: int) -> NamedBars | None:
    called = words[k].form in BAR_WORDS
    number, last = spoken_number(words, k + called, language)
    if not number:
        return None
    if last + 2 < len(words) and words[last].stop == 0 and words[last + 1].form in _JOINS:
        second = last + 2 + (words[last + 2].form in BAR_WORDS)
        until, end = spoken_number(words, second, language)
        if until == number + 1 or (until > number and words[last + 1].form != "and"):
            return NamedBars((number, until), k, end, called)
    return NamedBars((number, number), k, last, called)


def _first_or_last(words: Sequence[Word], language: Language, k: int) -> NamedBars | None:
    if (
        k + 1 >= len(words)
        or words[k].form not in ("the", "our", "those")
        or words[k + 1].form not in ("first", "last")
    ):
        return None
    number, last = spoken_number(words, k + 2, language)
    if number < 2:
        return None
    behind = _behind(words, last)
    bars = (1, number) if words[k + 1].form == "first" else (-number, -1)
    return NamedBars(bars, k, last + (behind in BAR_WORDS), behind in BAR_WORDS or not behind)


def _of_something_else(words: Sequence[Word], language: Language, named: NamedBars) -> bool:
    """Whether a number is one of notes, fingers, times: "the first two notes"."""
    behind = words[named.last + 1].form if named.last + 1 < len(words) else ""
    return behind in language.sets["not_bars"]


def _behind(words: Sequence[Word], last: int) -> str:
    """The word behind, where nothing parts it."""
    return words[last + 1].form if last + 1 < len(words) and words[last].stop == 0 else ""
