"""Remarks on the whole that sound like claims on notes: the key, the tuning, beats counted aloud.

"Two flats, B flat and E flat" and "here's my A. And D. And G. And C." name notes that nobody plays now; after "a dotted
half" the numbers "one two three" are beats. What gives them away is not a turn of phrase but what is named: the sharps
or flats of a key signature in their order, or strings a fifth apart, near a word that announces them (`key_words`,
`tuning_words`, `length_words` in the table).

Facts: order of sharps and flats, strings of the violin family in fifths (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from partwright.checking.narration.language import Language
from partwright.checking.narration.words import Word

__all__ = ["find_remarks"]

_SHARPS = ("f", "c", "g", "d", "a", "e", "b")
_FLATS = _SHARPS[::-1]
_FIFTHS = "cgdaeb"
_LETTERS = frozenset("abcdefg")
_HEARD = {"be": "b", "bee": "b", "see": "c", "sea": "c", "gee": "g", "dee": "d", "eff": "f", "ee": "e", "he": "e"}
_ANNOUNCED_WORDS = 16  # so many words before the first name may announce it …
_CONFIRMED_WORDS = 7  # … or so many behind the last one tell what it was: "F sharp and C sharp in the key signature"
_MOST_NAMES = 9  # more than a key has signs, an instrument strings, or a tune sections
_BETWEEN_NAMES = 4
_BETWEEN_STRINGS = 5
_COUNTED = ("one", "two", "three", "four", "five", "six")
_LENGTH_WORDS = 6
_KEY_WORDS = 8

Name = tuple[int, int, str, str]  # first word, last word, letter, accidental


def find_remarks(words: Sequence[Word], language: Language) -> tuple[tuple[int, int], ...]:
    """Stretches of words, first and last, in which nothing is said of a note. Pure."""
    names = _names(words)
    found = []
    k = 0
    while k < len(names):
        end = _key_end(words, language, names, k) or _tuning_end(words, language, names, k)
        end = end or _sections_end(words, language, names, k)
        if end:
            found.append((names[k][0], names[end - 1][1]))
        k = max(end, k + 1)
    return tuple(sorted([*found, *_beats_counted(words, language, names)]))


def _names(words: Sequence[Word]) -> list[Name]:
    found = []
    for k, word in enumerate(words):
        form = word.form[0] if word.form.endswith("'s") and len(word.form) == 3 else word.form
        letter = form if form in _LETTERS else _HEARD.get(form, "")
        after = words[k + 1].form if k + 1 < len(words) and word.stop < 2 else ""
        accidental = after.removesuffix("s") if after.removesuffix("s") in ("sharp", "flat", "natural") else ""
        if letter and (accidental or form in _LETTERS):
            found.append((k, k + bool(accidental), letter, accidental))
    return found


def _key_end(words: Sequence[Word], language: Language, names: Sequence[Name], start: int) -> int:
    """Where the sharps or flats of a key end whose first is names[start]; 0 where they are none."""
    signs = {"sharp": _SHARPS, "flat": _FLATS}.get(names[start][3])
    if signs is None:
        return _bare_key_end(words, language, names, start)
    end = start + 1
    most = min(len(names), start + _MOST_NAMES)
    while end < most and _joined(words, language, names[end - 1], names[end], "key_joins"):
        end += 1
    while end > start and any(name[3] != names[start][3] for name in names[start:end]):
        end -= 1
    letters = [name[2] for name in names[start:end]]
    if not letters or set(letters) != set(signs[: len(letters)]):
        return 0
    announced = _near(words, names[start][0], names[end - 1][1], language.sets["key_words"], sentence=True)
    return end if announced else 0


def _bare_key_end(words: Sequence[Word], language: Language, names: Sequence[Name], start: int) -> int:
    """Where "three sharps in the key, F, C and G" ends: as many names as were announced, in the order of the signs."""
    first = names[start][0]
    for k in range(first - 1, max(0, first - 1 - _KEY_WORDS), -1):
        signs = {"sharps": _SHARPS, "flats": _FLATS}.get(words[k].form)
        count = language.classes["cardinal"].get(words[k - 1].form)
        if signs is None or count is None:
            continue
        end = start + int(count)
        listed = names[start:end]
        row = all(_joined(words, language, a, b, "key_joins") for a, b in pairwise(listed))
        return end if row and [name[2] for name in listed] == list(signs[: int(count)]) else 0
    return 0


def _tuning_end(words: Sequence[Word], language: Language, names: Sequence[Name], start: int) -> int:
    """Where a row of open strings for tuning ends whose first is names[start]; 0 where there is none."""
    end = start + 1
    most = min(len(names), start + _MOST_NAMES)
    while end < most and not names[end][3] and _joined(words, language, names[end - 1], names[end], "tuning_joins"):
        end += 1
    at = [_FIFTHS.find(name[2]) for name in names[start:end]]
    row = 1  # strings in their order; "A, D, G, C. My A had dropped": the last A is of the next sentence
    while row < len(at) and abs(at[row] - at[row - 1]) == 1 and at[row] - at[row - 1] == at[1] - at[0]:
        row += 1
    end = start + row
    if row < 3 or -1 in at[:row]:
        return 0
    return end if _near(words, names[start][0], names[end - 1][1], language.sets["tuning_words"], sentence=False) else 0


def _joined(words: Sequence[Word], language: Language, one: Name, two: Name, joins: str) -> bool:
    between = range(one[1] + 1, two[0])
    most = _BETWEEN_NAMES if joins == "key_joins" else _BETWEEN_STRINGS
    return len(between) <= most and all(words[k].form in language.sets[joins] for k in between)


def _near(words: Sequence[Word], first: int, last: int, wanted: frozenset[str], *, sentence: bool) -> bool:
    """Whether one of these words stands a little before a stretch, or right behind it."""
    for k in range(first - 1, max(-1, first - 1 - _ANNOUNCED_WORDS), -1):
        if sentence and words[k].stop == 2:
            break
        if words[k].form in wanted or (sentence and _one_sign(words, k)):
            return True
    for k in range(last + 1, min(len(words), last + 1 + _CONFIRMED_WORDS)):
        if words[k - 1].stop == 2:
            break
        if words[k].form in wanted:
            return True
    return False


def _one_sign(words: Sequence[Word], k: int) -> bool:
    """ "One flat": the signature has no other."""
    return words[k].form in ("sharp", "flat") and k > 0 and words[k - 1].form in ("one", "single", "only")


def _sections_end(words: Sequence[Word], language: Language, names: Sequence[Name], start: int) -> int:
    """Where a list of the names of sections ends: "three parts, A, B and A again"; 0 where there is none."""
    first = names[start][0]
    if not any(words[k].form in ("sections", "parts") for k in range(max(0, first - 2), first)):
        return 0
    end = start + 1
    most = min(len(names), start + _MOST_NAMES)
    while end < most and _joined(words, language, names[end - 1], names[end], "key_joins"):
        end += 1
    return end if end - start > 1 and not any(name[3] for name in names[start:end]) else 0


def _beats_counted(
    words: Sequence[Word], language: Language, names: Sequence[Name]
) -> list[tuple[int, int]]:  # fmt: skip
    """ "It's a dotted half, so one two three": beats, where a length was said just before of one note or none."""
    named = {k for first, last, _, _ in names for k in range(first, last + 1)}
    found = []
    for k, word in enumerate(words):
        if word.form != "one" or (k and words[k - 1].form in _COUNTED):
            continue
        size = 1
        while size < len(_COUNTED) and k + size < len(words) and words[k + size].form == _COUNTED[size]:
            size += 1
        behind = words[k + size].form if k + size < len(words) else ""
        if size < 2 or behind in language.classes["digit_open"]:
            continue
        before = range(max(0, k - _LENGTH_WORDS), k)
        length = [j for j in before if words[j].form in language.sets["length_words"]]
        if length and not any(j in named for j in range(length[-1], k)):
            found.append((k, k + size - 1))
    return found
