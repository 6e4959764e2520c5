"""Statements about the form: "section D is the same as section A but for the last bar", "we play it twice".

A sentence about the form is put together from its pieces (`StructureWord`); its two stretches of bars are compared note
for note, and what is played how often is read off the played order. Where a stretch is not named, nothing is claimed
for certain: such a statement is never *wrong*, at most *please check*.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from partwright.checking.finding import Verdict
from partwright.checking.narration.mentions import StructureWord
from partwright.checking.narration.places import Section
from partwright.checking.narration.wording import times_words
from partwright.checking.narration.words import Word
from partwright.score import Part

__all__ = ["StructureFinding", "check_structure"]

_REACH_WORDS = 14
_SECTIONS = frozenset({"section", "bars"})
_EXCEPTIONS = frozenset({"except_last_bar", "except_last_note", "except_one_note"})

Content = list[tuple[Fraction, int, Fraction]]


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureFinding:
    """A statement about the form and what became of it. `bar_index` is the first bar it is about."""

    verdict: Verdict
    claimed: str
    right: str
    bar_index: int
    first_word: int
    last_word: int
    confidence: float
    why: str = ""


def check_structure(
    pieces: Sequence[StructureWord], part: Part, sections: Sequence[Section], words: Sequence[Word]
) -> tuple[StructureFinding, ...]:
    """A verdict on every statement about the form whose stretches are named."""
    found: list[StructureFinding] = []
    for group in _sentences(pieces, words):
        likeness = _likeness(group, part, sections, words)
        if likeness is not None:
            found.append(likeness)
            continue
        for piece, count in pairwise(group):
            if piece.kind in _SECTIONS and count.kind == "count":
                counted = _counted(piece, count, part, sections)
                if counted is not None:
                    found.append(counted)
    return tuple(found)


def _sentences(pieces: Sequence[StructureWord], words: Sequence[Word]) -> list[list[StructureWord]]:
    """Pieces that stand together: near each other, without the end of a sentence in between."""
    groups: list[list[StructureWord]] = []
    for piece in pieces:
        last = groups[-1][-1] if groups else None
        near = last is not None and piece.first_word - last.last_word <= _REACH_WORDS
        if near and last is not None:
            near = not any(words[k].stop == 2 for k in range(last.last_word, piece.first_word))
        if near and groups:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


def _likeness(
    group: list[StructureWord], part: Part, sections: Sequence[Section], words: Sequence[Word]
) -> StructureFinding | None:
    says = [p for p in group if p.kind in ("same_as", "note_for_note")]
    exceptions = [p for p in group if p.kind in _EXCEPTIONS]
    named = [(p, span) for p in group if p.kind in _SECTIONS and (span := _span(p, part, sections)) is not None]
    if not (says or exceptions) or len(named) < 2:
        return None
    anchor = (says or exceptions)[0]
    named = sorted(named, key=lambda item: abs(item[0].first_word - anchor.first_word))[:2]
    named.sort(key=lambda item: item[0].first_word)
    (one, first), (two, second) = named
    if first == second:
        return None
    between = one.first_word < anchor.first_word < two.first_word
    if not between and words[anchor.first_word].form == "like" and anchor.first_word == anchor.last_word:
        return None  # "section A is played twice … section B … like this": it does not join the two
    target, model = (first, second) if first[0] > second[0] else (second, first)
    exception = exceptions[0].kind if exceptions else ""
    differing = _differing_bars(part, target, model)
    length = target[1] - target[0] + 1
    inside = [p for p in group if min(one.first_word, anchor.first_word) <= p.first_word]
    name_one, name_two = _name(one), _name(two)
    claim = f"{name_one} the same as {name_two}" + {
        "": "", "except_last_bar": " but for the last bar", "except_last_note": " but for the last note",
        "except_one_note": " but for one note",
    }[exception]  # fmt: skip
    true = _holds(part, target, model, exception, differing)
    numbers = [part.bars[target[0] + k].number for k in differing]
    if not differing:
        right = "they are the same throughout"
    elif len(differing) == length:
        right = "they differ throughout"
    else:
        right = f"they differ in bar{'s' if len(numbers) > 1 else ''} {_listed(numbers)}"
    sure = 0.95 if (says and exceptions) or says else 0.85
    return StructureFinding(
        verdict="right" if true else "wrong", claimed=claim, right=right,
        bar_index=target[0] + (differing[0] if differing and len(differing) < length else 0),
        first_word=min(p.first_word for p in inside), last_word=max(p.last_word for p in inside), confidence=sure,
        why="" if true else "compared note for note",
    )  # fmt: skip


def _counted(
    piece: StructureWord, count: StructureWord, part: Part, sections: Sequence[Section]
) -> StructureFinding | None:
    span = _span(piece, part, sections)
    if span is None:
        return None
    played: dict[int, int] = {}
    for bar in part.played_bars:
        played[bar.bar_index] = played.get(bar.bar_index, 0) + 1
    counts = {played.get(k, 0) for k in range(span[0], span[1] + 1) if not part.bars[k].endings}
    said = int(count.value[0])
    true = said in counts
    right = " or ".join(times_words(c) for c in sorted(counts))
    return StructureFinding(
        verdict="right" if true else "wrong", claimed=f"{_name(piece)} played {times_words(said)}", right=right,
        bar_index=span[0], first_word=piece.first_word, last_word=count.last_word, confidence=0.9,
        why="" if true else "counted in the order of play, repeats included",
    )  # fmt: skip


def _span(piece: StructureWord, part: Part, sections: Sequence[Section]) -> tuple[int, int] | None:
    if piece.kind == "section":
        wanted = str(piece.value[0]).casefold()
        for section in sections:
            if section.name.casefold() == wanted:
                return section.first_bar_index, section.last_bar_index
        return None
    numbers = {bar.number: bar.index for bar in reversed(part.bars)}
    first, last = numbers.get(str(piece.value[0])), numbers.get(str(piece.value[1]))
    return None if first is None or last is None or last < first else (first, last)


def _content(part: Part, bar_index: int) -> Content:
    start = part.bars[bar_index].start_quarters
    return [
        (n.onset_quarters - start, n.midi, n.duration_quarters)
        for n in part.notes
        if n.bar_index == bar_index and not n.grace
    ]


def _differing_bars(part: Part, target: tuple[int, int], model: tuple[int, int]) -> list[int]:
    """Bars, counted from 0 within the stretch, in which the two differ; those beyond the shorter one differ."""
    length = target[1] - target[0] + 1
    other = model[1] - model[0] + 1
    return [
        k for k in range(length)
        if k >= other or _content(part, target[0] + k) != _content(part, model[0] + k)
    ] or ([length - 1] if other > length else [])  # fmt: skip


def _holds(part: Part, target: tuple[int, int], model: tuple[int, int], exception: str, differing: list[int]) -> bool:
    length = target[1] - target[0] + 1
    if exception == "except_last_bar":
        return bool(differing) and set(differing) <= {length - 1, length - 2} and length - 1 in differing
    if exception in ("except_last_note", "except_one_note"):
        if len(differing) != 1:
            return False
        one, two = _content(part, target[0] + differing[0]), _content(part, model[0] + differing[0])
        unlike = [k for k in range(max(len(one), len(two))) if one[k : k + 1] != two[k : k + 1]]
        if exception == "except_last_note":
            return differing == [length - 1] and unlike[0] >= len(one) - 1
        return len(unlike) == 1
    return not differing


def _name(piece: StructureWord) -> str:
    if piece.kind == "section":
        return f"section {piece.value[0]}"
    return f"bars {piece.value[0]} to {piece.value[1]}"


def _listed(numbers: list[str]) -> str:
    if len(numbers) > 6:
        return ", ".join(numbers[:5]) + f" and {len(numbers) - 5} more"
    return numbers[0] if len(numbers) == 1 else ", ".join(numbers[:-1]) + f" and {numbers[-1]}"
