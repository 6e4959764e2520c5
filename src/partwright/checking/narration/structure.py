"""Statements about the form: "section D is the same as section A but for the last bar", "we play it twice".

A sentence about the form is put together from its pieces (`StructureWord`); its two stretches of bars are compared note
for note, and what is played how often is read off the played order. Where a stretch is not named, nothing is claimed
for certain: such a statement is never *wrong*, at most *please check*.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from partwright.checking.narration.bar_checks import check_bars
from partwright.checking.narration.likeness import StructureFinding, compared
from partwright.checking.narration.mentions import BarStatement, StructureWord
from partwright.checking.narration.places import Section
from partwright.checking.narration.returns import Content
from partwright.checking.narration.wording import times_words
from partwright.checking.narration.words import Word
from partwright.score import Part

__all__ = ["check_structure"]

_REACH_WORDS = 14
_LOOSE_WORDS = 2
_SECTIONS = frozenset({"section", "bars"})
_EXCEPTIONS = {"except_last_bar": "last bar", "except_last_note": "last note", "except_one_note": "one note"}


def check_structure(
    pieces: Sequence[StructureWord], statements: Sequence[BarStatement], part: Part, contents: Sequence[Content],
    sections: Sequence[Section], words: Sequence[Word],
) -> tuple[StructureFinding, ...]:  # fmt: skip
    """A verdict on every statement about the form whose stretches are named."""
    found = [item for statement in statements if (item := check_bars(statement, part, contents)) is not None]
    told = {k for statement in statements for k in range(statement.first_word, statement.last_word + 1)}
    for group in _sentences([piece for piece in pieces if piece.first_word not in told], words):
        likeness = _likeness(group, part, contents, sections, words)
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
    group: list[StructureWord], part: Part, contents: Sequence[Content], sections: Sequence[Section],
    words: Sequence[Word],
) -> StructureFinding | None:  # fmt: skip
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
    loose = words[anchor.last_word].form in ("the", "like") and anchor.last_word - anchor.first_word < _LOOSE_WORDS
    if loose and not (between and two.first_word - anchor.last_word <= _LOOSE_WORDS):
        return None  # "section C, which is the dark one", "I go through it like a receipt": it does not join the two
    exception = exceptions[0].kind if exceptions else ""
    inside = [p for p in group if min(one.first_word, anchor.first_word) <= p.first_word]
    return compared(
        part, contents, (_name(one), first), (_name(two), second), but=_EXCEPTIONS.get(exception, ""),
        first_word=min(p.first_word for p in inside), last_word=max(p.last_word for p in inside),
        confidence=0.95 if says else 0.85,
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


def _name(piece: StructureWord) -> str:
    if piece.kind == "section":
        return f"section {piece.value[0]}"
    return f"bars {piece.value[0]} to {piece.value[1]}"
