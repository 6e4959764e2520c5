"""Statements about bars by their numbers: what is alike, which bar is different, how many notes one has.

Read off the words themselves, sentence by sentence: numbers and a handful of turns of phrase (sets of the table) leave
little to be misheard. What is told is found here; `bar_checks` looks it up.
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.bar_likeness import find_likened
from partwright.checking.narration.bar_names import NamedBars, named_bars
from partwright.checking.narration.language import Language
from partwright.checking.narration.mentions import BarStatement
from partwright.checking.narration.words import Word

__all__ = ["find_bar_statements"]

_DIFFERS_BEFORE, _DIFFERS_BEHIND = 15, 5  # words from "different" to the bar, and from the bar to "is different"
_SINGLED_BEFORE, _SINGLED_BEHIND = 8, 4  # "the one note", "what's different" around both
_OF_SOMETHING_BEFORE, _OF_SOMETHING_BEHIND = 6, 3  # "the fingers" around both
_OWN_NOTES = 2  # words between a bar and how many notes it has
_THIS_BAR = 40  # words back to the bar that "this bar" is
_PICKUP = (
    ("before", "the", "first", "bar"), ("before", "bar", "one"), ("in", "the", "pick", "up"), ("in", "the", "pickup"),
)  # fmt: skip
_HERE = (("in", "it"), ("in", "this", "one"), ("in", "this", "bar"), ("in", "that", "one"), ("in", "that", "bar"))


def find_bar_statements(
    words: Sequence[Word], language: Language, recalls: Sequence[tuple[int, int]] = ()
) -> tuple[BarStatement, ...]:
    """Every statement about numbered bars, in the order in which they are made. `recalls`: what looks back. Pure."""
    named = named_bars(words, language)
    found = find_likened(words, language, named)
    taken = {k for item in found for k in range(item.first_word, item.last_word + 1)}
    aside = taken | {k for first, last in recalls for k in range(first, last + 1)}
    called = [item for item in named if item.called and not item.more]
    found += [item for item in _differs(words, language, called) if item.last_word not in taken]
    found += _notes(words, language, [item for item in called if item.first not in aside])
    found = [item for item in found if not _is_question(words, item)]
    return tuple(sorted(found, key=lambda item: item.first_word))


def _is_question(words: Sequence[Word], item: BarStatement) -> bool:
    end = item.last_word
    while end + 1 < len(words) and words[end].stop < 2:
        end += 1
    return words[end].asks


def _differs(words: Sequence[Word], language: Language, named: Sequence[NamedBars]) -> list[BarStatement]:
    """ "What's different here is in bar 24", "bar 30 is the one that changes"."""
    found = []
    for item in named:
        at = _different_before(words, language, item)
        at = _different_behind(words, language, item) if at < 0 else at
        first, last = min(at, item.first), max(at, item.last)
        if at < 0 or not _any_near(words, language.sets["singles_out"], first, last, _SINGLED_BEFORE, _SINGLED_BEHIND):
            continue
        of_something = language.sets["differs_in"]  # the fingers, the bow: the notes may be the same
        if not _any_near(words, of_something, first, last, _OF_SOMETHING_BEFORE, _OF_SOMETHING_BEHIND):
            found.append(BarStatement(kind="differs", bars=item.bars, first_word=first, last_word=last))
    return found


def _different_before(words: Sequence[Word], language: Language, item: NamedBars) -> int:
    """The word "different" before a bar, in its sentence or, where that points back, in the one before; -1 for none."""
    sentences = 0
    for k in range(item.first - 1, max(-1, item.first - 1 - _DIFFERS_BEFORE), -1):
        if words[k].stop == 2:  # "There is one note that's different. You'll find it in bar thirty."
            back = {word.form for word in words[k + 1 : item.first]}
            sentences += 1
            if sentences > 1 or not back & (language.sets["pronouns"] | {"there"}):
                return -1
        if words[k].form in language.sets["differs"]:
            return k
    return -1


def _different_behind(words: Sequence[Word], language: Language, item: NamedBars) -> int:
    for k in range(item.last + 1, min(len(words), item.last + 1 + _DIFFERS_BEHIND)):
        if words[k - 1].stop:
            return -1
        if words[k].form in language.sets["differs"]:
            return k
    return -1


def _any_near(words: Sequence[Word], forms: frozenset[str], first: int, last: int, before: int, behind: int) -> bool:
    near = range(max(0, first - before), min(len(words), last + behind))
    return any(words[k].form in forms for k in near)


def _notes(words: Sequence[Word], language: Language, named: Sequence[NamedBars]) -> list[BarStatement]:
    """ "Bar two, five notes", "there are six notes in this one", "two notes before the first bar"."""
    found = []
    for k, word in enumerate(words):
        at = _counted(words, language, k) if word.form in ("note", "notes") else -1
        if at < 0:
            continue
        behind = tuple(w.form for w in words[k + 1 : k + 5]) if word.stop < 2 else ()
        last = k
        if any(behind[: len(turn)] == turn for turn in _PICKUP):
            bar = 0
        else:
            own = next((b for b in reversed(named) if b.last < at), None)
            here = next((turn for turn in _HERE if behind[: len(turn)] == turn), ())
            said_here = bool(here) and own is not None and at - own.last < _THIS_BAR
            of_some = word.stop == 0 and behind[:1] and behind[0] in language.sets["some_of_them"]
            own_count = own is not None and at - own.last - 1 <= _OWN_NOTES and not of_some
            if own is None or not (said_here or own_count):
                continue
            bar, last = own.bars[0], k + len(here)
        count = int(language.classes["cardinal"][words[at].form])
        found.append(BarStatement(kind="notes", bars=(bar, bar), count=count, first_word=at, last_word=last))
    return found


def _counted(words: Sequence[Word], language: Language, k: int) -> int:
    """The number right before "notes", one word of size between them at most; -1 for none."""
    numbers = language.classes["cardinal"]
    if k and words[k - 1].form in numbers:
        return k - 1
    sized = k > 1 and words[k - 1].form in language.sets["small"] and words[k - 2].form in numbers
    return k - 2 if sized else -1
