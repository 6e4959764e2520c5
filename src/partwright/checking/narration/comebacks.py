"""Passages that are said to come back as they were, by no number and no name: "the tune again, every note the same".

Which passage is meant is told by the notes spoken of just before or after; what it is a return of is looked for in the
part. Only where every passage that may be meant has an earlier one like it, and differs from it, is that wrong.
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.language import Language
from partwright.checking.narration.likeness import StructureFinding, listed_bars
from partwright.checking.narration.numbered_bars import spoken_number
from partwright.checking.narration.returns import Content
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.words import Word

__all__ = ["check_comebacks"]

_AROUND = 16  # words on either side in which the return is told
_CLOSE = 7  # words within which "but" or "the fingers" would say what is changed
_TOLD_WITHIN = 40  # words to the next note spoken of
_SHARE_ALIKE = 0.5  # of the bars, or it is no return
_SURE = 0.85


def check_comebacks(telling: Telling, contents: Sequence[Content]) -> tuple[StructureFinding, ...]:
    """A verdict on every passage that is said to come back unchanged."""
    numbered = {k for said in telling.spoken.bar_statements for k in range(said.first_word, said.last_word + 1)}
    found = []
    for first, last in _said(telling.words, telling.language):
        if numbered & set(range(first, last + 1)):
            continue
        count = _first_bars(telling.words, telling.language, first, last)
        passages = [_compared(contents, passage, count) for passage in _meant(telling, first, last)]
        likely = [differing for differing in passages if differing is not None]
        if not likely or not all(likely):
            continue
        numbers = [telling.truth.part.bars[bar].number for bar in likely[0]]
        found.append(
            StructureFinding(
                verdict="wrong", claimed="it comes back unchanged", right=f"it differs in {listed_bars(numbers)}",
                bar_index=likely[0][0], first_word=first, last_word=last, confidence=_SURE,
                why="compared note for note",
            )
        )  # fmt: skip
    return tuple(found)


def _said(words: Sequence[Word], language: Language) -> list[tuple[int, int]]:
    """The words that say that nothing is changed, where a return is spoken of and nothing is left out."""
    turns = [turn.split() for turn in language.sets["unchanged"]]
    found: list[tuple[int, int]] = []
    for k in range(len(words)):
        for turn in turns:
            if [word.form for word in words[k : k + len(turn)]] != turn or (found and k <= found[-1][1]):
                continue
            last = k + len(turn) - 1
            returned = {words[j].form for j in _clause(words, k, last, _AROUND)} & language.sets["returning"]
            changed = {words[j].form for j in _clause(words, k, last, _CLOSE)} & language.sets["changing"]
            if returned and not changed:
                found.append((k, last))
    return found


def _clause(words: Sequence[Word], first: int, last: int, most: int) -> range:
    begin, end = first, last
    while begin > 0 and words[begin - 1].stop < 2 and first - begin < most:
        begin -= 1
    while end + 1 < len(words) and words[end].stop < 2 and end - last < most // 2:
        end += 1
    return range(begin, end + 1)


def _first_bars(words: Sequence[Word], language: Language, first: int, last: int) -> int:
    """ "The first four bars are note for note": so many; 0 for the whole passage."""
    near = _clause(words, first, last, _AROUND)
    for k in near:
        number, end = spoken_number(words, k + 1, language) if words[k].form == "first" else (0, k)
        if number > 1 and end + 1 < len(words) and words[end + 1].form == "bars":
            return number
    return 0


def _meant(telling: Telling, first: int, last: int) -> list[tuple[int, int]]:
    """The passages that may be meant, as bars: where the notes before and after are."""
    before = after = -1
    for k, mention in enumerate(telling.mentions):
        if telling.likeliest[k] < 0:
            continue
        if mention.last_word < first:
            before = telling.likeliest[k]
        elif mention.first_word > last:
            if mention.first_word - last <= _TOLD_WITHIN:
                after = telling.likeliest[k]
            break
    found: list[tuple[int, int]] = []
    for place, onward in ((after, 0), (before, 0), (before, 1)):
        bar = telling.truth.places[place].first.bar_index if place >= 0 else -1
        own = [k for k, s in enumerate(telling.sections) if s.first_bar_index <= bar <= s.last_bar_index]
        if own and 0 < own[0] + onward < len(telling.sections):
            section = telling.sections[own[0] + onward]
            found.append((section.first_bar_index, section.last_bar_index))
    return list(dict.fromkeys(found))


def _compared(contents: Sequence[Content], passage: tuple[int, int], count: int) -> list[int] | None:
    """The bars of a passage that differ from its best likeness earlier on; None where it has none."""
    first, last = passage
    last = min(last, first + count - 1) if count else last
    bars = range(first, last + 1)
    best: list[int] | None = None
    for back in range(len(bars), first + 1):
        differing = [bar for bar in bars if contents[bar] != contents[bar - back]]
        alike = len(bars) - len(differing)
        if alike >= max(2, _SHARE_ALIKE * len(bars)) and (best is None or len(differing) < len(best)):
            best = differing
    return best
