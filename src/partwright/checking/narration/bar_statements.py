"""Statements about bars by their numbers: "bars 19 to 22 are our bars 1 to 4, with one note changed in bar 21".

Read off the words themselves, sentence by sentence: numbers and a handful of turns of phrase (`alike`, `differs`,
`but_for` … in the table) leave little to be misheard. What each would mean is told here; `structure` looks it up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from partwright.checking.narration.language import Language
from partwright.checking.narration.numbered_bars import BAR_WORDS, spoken_number
from partwright.checking.narration.words import Word

__all__ = ["BarStatement", "find_bar_statements"]

_LINK_WORDS = 9  # between two bars that are likened
_BEHIND_WORDS = 14  # behind them: "with one note changed in bar 21"
_DIFFERS_WORDS = 9
_VERB_BEFORE = 5
_FIRST_NOTES = 2  # "bar five starts like bar one"
_OWN_NOTES = 2  # words between a bar and how many notes it has
_BAR_BACK = 40  # words back to the bar that "this bar" is
_JOINS = frozenset({"to", "through", "and", "till", "until"})
_PICKUP = (
    ("before", "the", "first", "bar"),
    ("before", "bar", "one"),
    ("in", "the", "pick", "up"),
    ("in", "the", "pickup"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BarStatement:
    """One statement. `bars` and `model`: first and last bar, by number; `model` is what they are likened to.

    `kind`: "alike" (`but`: "", "one note", "last bar", "last note" or "bar"; `but_bar`: in which, 0 for not said),
    "starts" (its first `count` notes are), "differs" (a bar is not as it was), "notes" (a bar has `count` notes; bar 0
    is the pick-up). Bars below 0 are counted from the end: "the last eight".
    """

    kind: Literal["alike", "starts", "differs", "notes"]
    bars: tuple[int, int]
    model: tuple[int, int] = (0, 0)
    but: str = ""
    but_bar: int = 0
    count: int = 0
    first_word: int
    last_word: int


@dataclass(frozen=True, slots=True)
class _Named:
    """Bars that are named: their numbers, the words, and whether "bar" was said."""

    bars: tuple[int, int]
    first: int
    last: int
    called: bool


def find_bar_statements(
    words: Sequence[Word], language: Language, recalls: Sequence[tuple[int, int]] = ()
) -> tuple[BarStatement, ...]:
    """Every statement about numbered bars, in the order in which they are made. Pure."""
    named = _named(words, language)
    found = _alike(words, language, named)
    taken = {k for item in found for k in range(item.first_word, item.last_word + 1)}
    aside = taken | {k for first, last in recalls for k in range(first, last + 1)}
    called = [item for item in named if item.called]
    found += [item for item in _differs(words, language, called) if item.last_word not in taken]
    found += _notes(words, language, [item for item in called if item.first not in aside])
    found = [item for item in found if not _asked(words, item)]
    return tuple(sorted(found, key=lambda item: item.first_word))


def _asked(words: Sequence[Word], item: BarStatement) -> bool:
    """Whether the sentence that says it is a question."""
    ends = item.last_word
    while ends + 1 < len(words) and words[ends].stop < 2:
        ends += 1
    return words[ends].asks


def _named(words: Sequence[Word], language: Language) -> list[_Named]:
    found = []
    k = 0
    while k < len(words):
        if (ends := _first_or_last(words, language, k)) is not None:
            found.append(ends)
            k = ends.last + 1
            continue
        called = words[k].form in BAR_WORDS
        number, last = spoken_number(words, k + called, language)
        behind = words[last + 1].form if last + 1 < len(words) else ""
        if not number or (not called and behind in language.sets["not_bars"] and behind not in ("is", "are")):
            k = last + 1
            continue
        joined = last + 2 < len(words) and words[last].stop == 0 and words[last + 1].form in _JOINS
        second = last + 2 + (joined and words[last + 2].form in BAR_WORDS)
        until, end = spoken_number(words, second, language) if joined else (0, last)
        if until > number and (until == number + 1 or words[last + 1].form != "and"):
            found.append(_Named((number, until), k, end, called))
            last = end
        else:
            found.append(_Named((number, number), k, last, called))
        k = last + 1
    return found


def _first_or_last(words: Sequence[Word], language: Language, k: int) -> _Named | None:
    """ "The last eight bars", "the first eight"."""
    if words[k].form not in ("first", "last") or k < 1 or words[k - 1].form not in ("the", "our", "those"):
        return None
    number, end = spoken_number(words, k + 1, language)
    if number < 2:
        return None
    behind = words[end + 1].form if end + 1 < len(words) and words[end].stop == 0 else ""
    if behind in BAR_WORDS:
        end += 1
    elif behind in language.sets["not_bars"]:
        return None
    bars = (1, number) if words[k].form == "first" else (-number, -1)
    return _Named(bars, k - 1, end, behind in BAR_WORDS or not behind)


def _alike(words: Sequence[Word], language: Language, named: Sequence[_Named]) -> list[BarStatement]:
    found: list[BarStatement] = []
    for number, model in enumerate(named):
        link = _link(words, language, model)
        before = _likened(words, named[:number], model, link)
        if before is None:
            continue
        but, but_bar, last = _exception(words, language, model, named[number + 1 :])
        if not but and any(words[k].form.startswith("compar") for k in range(before.last, model.first)):
            continue
        starting = _starting(words, language, before, model)
        if starting:
            found.append(
                BarStatement(
                    kind="starts", bars=before.bars, model=model.bars, count=starting, first_word=before.first,
                    last_word=model.last,
                )
            )  # fmt: skip
            continue
        begins = min(before.first, model.first - link[1]) if link[2] else before.first
        found.append(
            BarStatement(
                kind="alike", bars=before.bars, model=model.bars, but=but, but_bar=but_bar, first_word=begins,
                last_word=last,
            )
        )  # fmt: skip
    return found


def _starting(words: Sequence[Word], language: Language, one: _Named, two: _Named) -> int:
    """How many notes are said to be alike at the start of two bars; 0 where it is not said of the start."""
    forms = [word.form for word in words[one.last + 1 : two.first]]
    if _unnumbered(forms, language) not in language.sets["starts_alike"]:
        return 0
    return next(
        (int(language.classes["cardinal"][f]) for f in forms if f in language.classes["cardinal"]), _FIRST_NOTES
    )


def _unnumbered(forms: Sequence[str], language: Language) -> str:
    """The words in a row without fillers, numbers as "#"."""
    kept = [form for form in forms if form not in language.sets["alike_fillers"]]
    return " ".join("#" if form in language.classes["cardinal"] else form for form in kept)


def _link(words: Sequence[Word], language: Language, model: _Named) -> tuple[bool, int, bool]:
    """How bars are likened to these: whether in so many words ("the same as"), how many words, by a pronoun or not."""
    fillers, alike = language.sets["alike_fillers"], language.sets["alike"]
    called = language.sets["alike_bars"] if model.called else frozenset[str]()
    found = (False, 0, False)
    forms: list[str] = []
    for k in range(model.first - 1, max(-1, model.first - 1 - _LINK_WORDS), -1):
        if words[k].stop and (words[k].stop == 2 or not forms):
            break
        forms.insert(0, words[k].form)
        size = model.first - k
        spoken = " ".join(form for form in forms if form not in fillers)
        behind_pronoun = " ".join(form for form in forms[1:] if form not in fillers)
        behind_bars = language.number_words | BAR_WORDS
        after_number = k > 0 and words[k - 1].stop == 0 and words[k - 1].form in behind_bars
        if spoken in alike or _unnumbered(forms, language) in language.sets["starts_alike"]:
            found = (True, size, False)
        elif model.called and forms[0] in language.sets["pronouns"] and behind_pronoun in alike | called:
            found = (True, size, True)
        elif spoken in called and after_number:
            found = (False, size, False)
        elif spoken in ("is", "are") and after_number and _firmly(words, forms, model):
            found = (True, size, False)
    return found


def _firmly(words: Sequence[Word], forms: Sequence[str], model: _Named) -> bool:
    """Whether two pairs of numbers are likened as bars are: "five and six are exactly one and two again"."""
    again = model.last + 1 < len(words) and words[model.last + 1].form in ("again", "over")
    return model.bars[1] > model.bars[0] and ("exactly" in forms or "just" in forms or again)


def _likened(
    words: Sequence[Word], before: Sequence[_Named], model: _Named, link: tuple[bool, int, bool]
) -> _Named | None:
    """The bars that these are likened to them; None where there are none."""
    said, size, by_pronoun = link
    if not size or not before:
        return None
    last = before[-1]
    length = model.bars[1] - model.bars[0]
    if by_pronoun:
        last = next((item for item in reversed(before) if item.called), last)
        near = last.called and model.first - last.last <= _BAR_BACK
        return last if near and last.bars[1] - last.bars[0] == length and last.bars != model.bars else None
    if last.last + 1 + size < model.first or not (last.called or model.called or said):
        return None
    if last.bars[1] - last.bars[0] != length or last.bars == model.bars:
        return None
    bare = not last.called and not model.called
    return None if (bare and length == 0) or _inverted(words, last, model) else last


def _inverted(words: Sequence[Word], one: _Named, two: _Named) -> bool:
    """Whether it is asked: "is the next phrase, fourteen to seventeen, the same as ten to thirteen"."""
    if any(words[k].form in ("is", "are", "'s", "'re") for k in range(one.last + 1, two.first)):
        return False
    before = range(max(0, one.first - _VERB_BEFORE), one.first)
    return any(words[k].form in ("is", "are") and words[k].stop == 0 for k in before)


def _exception(
    words: Sequence[Word], language: Language, model: _Named, later: Sequence[_Named]
) -> tuple[str, int, int]:
    """What is said not to be alike, in which bar (0: not said), and the last word of that."""
    end = model.last
    for k in range(model.last + 1, min(len(words), model.last + 1 + _BEHIND_WORDS)):
        if words[k - 1].stop == 2:
            break
        for turn in sorted(language.sets["but_for"], key=len, reverse=True):
            tokens = turn.split()
            if [word.form for word in words[k : k + len(tokens)]] == tokens:
                end = k + len(tokens) - 1
                bar = next((b for b in later if b.called and 0 < b.first - end <= 5), None)
                within = bar is not None and all(words[w].stop < 2 for w in range(end, bar.first))
                kind = (
                    "one note" if "note" in tokens and "last" not in tokens else "last note" if "note" in tokens else ""
                )
                kind = kind or ("last bar" if "last" in tokens else "bar")
                if bar is not None and within:
                    return kind, bar.bars[0], bar.last
                return ("" if kind == "bar" else kind), 0, end
    return "", 0, end


def _differs(words: Sequence[Word], language: Language, named: Sequence[_Named]) -> list[BarStatement]:
    """ "What's different here is in bar 24", "bar 30 is the one that changes"."""
    found = []
    other = language.sets["differs_in"]
    for item in named:
        if item.bars[0] != item.bars[1]:
            continue
        before = range(max(0, item.first - _DIFFERS_WORDS - 6), item.first)
        stops = [k for k in before if words[k].stop == 2]
        if stops:  # "There is one note that's different. You'll find it in bar thirty."
            begins = stops[-1] + 1
            back = words[begins : item.first]
            points = any(word.form in language.sets["pronouns"] or word.form == "there" for word in back)
            before = (
                range(stops[-2] + 1 if len(stops) > 1 else before.start, item.first)
                if points
                else range(begins, item.first)
            )
        at = next((k for k in reversed(before) if words[k].form in language.sets["differs"]), -1)
        last = item.last
        if at < 0:
            for k in range(item.last + 1, min(len(words), item.last + 1 + 5)):
                if words[k - 1].stop:
                    break
                if words[k].form in language.sets["differs"]:
                    at, last = k, k
                    break
        if at < 0 or not _singled_out(words, language, min(at, item.first), max(at, item.last)):
            continue
        clause = range(max(0, min(at, item.first) - 6), min(len(words), max(at, item.last) + 3))
        if any(words[k].form in other for k in clause):
            continue
        found.append(
            BarStatement(kind="differs", bars=item.bars, first_word=min(at, item.first), last_word=max(last, item.last))
        )
    return found


def _singled_out(words: Sequence[Word], language: Language, first: int, last: int) -> bool:
    """Whether it is told as what alone is different, or different from before."""
    near = range(max(0, first - 8), min(len(words), last + 4))
    forms = [words[k].form for k in near]
    return any(form in language.sets["singles_out"] for form in forms)


def _notes(words: Sequence[Word], language: Language, named: Sequence[_Named]) -> list[BarStatement]:
    """ "Bar two, five notes", "there are six notes in this one"."""
    found = []
    for k, word in enumerate(words):
        if word.form not in ("notes", "note") or k < 1:
            continue
        at = next((j for j in (k - 1, k - 2) if j >= 0 and words[j].form in language.classes["cardinal"]), -1)
        if at < 0 or (at == k - 2 and words[k - 1].form not in language.sets["small"]):
            continue
        count = int(language.classes["cardinal"][words[at].form])
        behind = tuple(w.form for w in words[k + 1 : k + 5])
        bar = 0 if any(behind[: len(turn)] == turn for turn in _PICKUP) else None
        last = k
        own = next((b for b in reversed(named) if b.last < at), None)
        if bar is None and own is not None and own.bars[0] == own.bars[1]:
            direct = at - own.last - 1 <= _OWN_NOTES and not (
                words[k].stop == 0 and behind[:1] and behind[0] in language.sets["some_of_them"]
            )
            here = (
                word.stop == 0
                and behind[:1] == ("in",)
                and behind[1:2] in (("this",), ("that",), ("it",))
                and at - own.last < _BAR_BACK
            )
            if here and behind[1] != "it" and behind[2:3] and behind[2] not in ("one", "bar", "measure"):
                here = False
            if direct or here:
                bar, last = own.bars[0], k + (3 if here and behind[1] != "it" else 2 if here else 0)
        if bar is not None:
            found.append(
                BarStatement(
                    kind="notes", bars=(bar, bar), count=count, first_word=at, last_word=min(last, len(words) - 1)
                )
            )
    return found
