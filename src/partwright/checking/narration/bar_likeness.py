"""What bars are said to be alike: "bars 19 to 22 are our bars 1 to 4, with one note changed in bar 21".

Between the two names stands one of the links of the table (`alike`, `alike_bars`, `starts_alike`); behind them may
stand what is different (`but_for`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.narration.bar_names import NamedBars
from partwright.checking.narration.language import Language
from partwright.checking.narration.mentions import BarStatement
from partwright.checking.narration.numbered_bars import BAR_WORDS
from partwright.checking.narration.words import Word

__all__ = ["find_likened"]

_LINK_WORDS = 9  # at most, between two bars that are likened
_BEHIND_WORDS = 14  # behind them: "with one note changed in bar 21"
_BUT_TO_BAR = 5  # from "one note changed" to "bar 21"
_PRONOUN_WORDS = 40  # back to the bars that "they" are
_VERB_BEFORE = 5  # "is the next phrase, fourteen to seventeen, the same as …"
_FIRST_NOTES = 2  # "bar five starts like bar one"
_VERBS = frozenset({"is", "are", "'s", "'re"})


@dataclass(frozen=True, slots=True)
class _Link:
    """What stands before the bars that others are likened to: where it begins, whether it says so by itself ("the same
    as"), and whether a pronoun stands for the others."""

    first: int
    plain: bool
    pronoun: bool = False


def find_likened(words: Sequence[Word], language: Language, named: Sequence[NamedBars]) -> list[BarStatement]:
    """Statements of the kinds "alike" and "starts". Pure."""
    found: list[BarStatement] = []
    for number, model in enumerate(named):
        link = _link(words, language, model)
        bars = None if link is None else _likened(words, named[:number], model, link)
        if link is None or bars is None:
            continue
        between = [word.form for word in words[bars.last + 1 : model.first]]
        notes = _first_notes(between, language)
        if notes:
            found.append(
                BarStatement(
                    kind="starts", bars=bars.bars, model=model.bars, count=notes, first_word=bars.first,
                    last_word=model.last,
                )
            )  # fmt: skip
            continue
        but, but_bar, last = _exception(words, language, model, named[number + 1 :])
        if not but and any(form.startswith("compar") for form in between):
            continue  # "compared with bar six": nothing is said yet
        found.append(
            BarStatement(
                kind="alike", bars=bars.bars, model=model.bars, but=but, but_bar=but_bar, first_word=bars.first,
                last_word=last,
            )
        )  # fmt: skip
    return found


def _link(words: Sequence[Word], language: Language, model: NamedBars) -> _Link | None:
    """The longest link that stands right before these bars."""
    alike = language.sets["alike"]
    called = language.sets["alike_bars"] if model.called else frozenset[str]()
    found = None
    forms: list[str] = []
    for k in range(model.first - 1, max(-1, model.first - 1 - _LINK_WORDS), -1):
        if words[k].stop and (words[k].stop == 2 or not forms):
            break
        forms.insert(0, words[k].form)
        spoken = _without_fillers(forms, language)
        behind_bars = k > 0 and words[k - 1].stop == 0 and words[k - 1].form in language.number_words | BAR_WORDS
        if spoken in alike or _unnumbered(forms, language) in language.sets["starts_alike"]:
            found = _Link(k, plain=True)
        elif forms[0] in language.sets["pronouns"] and model.called:
            if _without_fillers(forms[1:], language) in alike | called:
                found = _Link(k, plain=True, pronoun=True)
        elif behind_bars and spoken in called:
            found = _Link(k, plain=False)
        elif behind_bars and spoken in _VERBS and _firmly(words, forms, model):
            found = _Link(k, plain=True)
    return found


def _likened(
    words: Sequence[Word], before: Sequence[NamedBars], model: NamedBars, link: _Link
) -> NamedBars | None:  # fmt: skip
    """The bars that are likened to these; None for none."""
    if link.pronoun:
        bars = next((item for item in reversed(before) if item.called), None)
        near = bars is not None and model.first - bars.last <= _PRONOUN_WORDS
    else:
        bars = before[-1] if before else None
        near = bars is not None and bars.last + 1 >= link.first
    if bars is None or not near or bars.more != model.more or bars.bars == model.bars:
        return None
    if link.pronoun:
        return bars
    bare = not bars.called and not model.called  # "one is the same as two": of what, nobody knows
    return None if (bare and (not link.plain or not model.more)) or _asked(words, bars, model) else bars


def _asked(words: Sequence[Word], one: NamedBars, two: NamedBars) -> bool:
    """Whether the verb stands before both: "is the next phrase, fourteen to seventeen, the same as ten to thirteen"."""
    if any(words[k].form in _VERBS for k in range(one.last + 1, two.first)):
        return False
    before = range(max(0, one.first - _VERB_BEFORE), one.first)
    return any(words[k].form in ("is", "are") and words[k].stop == 0 for k in before)


def _firmly(words: Sequence[Word], forms: Sequence[str], model: NamedBars) -> bool:
    """Whether two pairs of numbers are likened as bars are: "five and six are exactly one and two again"."""
    again = model.last + 1 < len(words) and words[model.last + 1].form in ("again", "over")
    return model.more > 0 and ("exactly" in forms or "just" in forms or again)


def _first_notes(between: Sequence[str], language: Language) -> int:
    """How many notes are said to be alike at the start of two bars; 0 where it is not said of the start."""
    if _unnumbered(between, language) not in language.sets["starts_alike"]:
        return 0
    numbers = language.classes["cardinal"]
    return next((int(numbers[form]) for form in between if form in numbers), _FIRST_NOTES)


def _without_fillers(forms: Sequence[str], language: Language) -> str:
    return " ".join(form for form in forms if form not in language.sets["alike_fillers"])


def _unnumbered(forms: Sequence[str], language: Language) -> str:
    """The words in a row without fillers, numbers as "#"."""
    numbers = language.classes["cardinal"]
    return _without_fillers(["#" if form in numbers else form for form in forms], language)


def _exception(
    words: Sequence[Word], language: Language, model: NamedBars, later: Sequence[NamedBars]
) -> tuple[str, int, int]:
    """What is said not to be alike, in which bar (0: not said), and the last word of that."""
    turns = sorted((turn.split() for turn in language.sets["but_for"]), key=len, reverse=True)
    for k in range(model.last + 1, min(len(words), model.last + 1 + _BEHIND_WORDS)):
        if words[k - 1].stop == 2:
            break
        turn = next((t for t in turns if [word.form for word in words[k : k + len(t)]] == t), None)
        if turn is None:
            continue
        end = k + len(turn) - 1
        what = "bar"
        if "note" in turn:
            what = "last note" if "last" in turn else "one note"
        elif "last" in turn:
            what = "last bar"
        bar = next((b for b in later if b.called and 0 < b.first - end <= _BUT_TO_BAR), None)
        if bar is not None and all(words[w].stop < 2 for w in range(end, bar.first)):
            return what, bar.bars[0], bar.last
        return ("" if what == "bar" else what), 0, end
    return "", 0, model.last
