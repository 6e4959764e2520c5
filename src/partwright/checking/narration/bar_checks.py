"""Statements about numbered bars looked up in the part."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.narration.likeness import StructureFinding, compared, listed_bars
from partwright.checking.narration.mentions import BarStatement
from partwright.checking.narration.returns import Content, counterparts
from partwright.checking.narration.wording import notes_words
from partwright.score import Part

__all__ = ["check_bars"]

_ALIKE_SURE, _DIFFERS_SURE, _NOTES_SURE = 0.95, 0.85, 0.85


def check_bars(statement: BarStatement, part: Part, contents: Sequence[Content]) -> StructureFinding | None:
    """What becomes of a statement; None where the part has no such bars, or nothing to compare them with."""
    index_of = {bar.number: bar.index for bar in reversed(part.bars)}
    index_of |= {str(k - len(part.bars)): k for k in range(len(part.bars))}  # "-1": the last one
    span = _span(index_of, statement.bars)
    if statement.kind == "notes":
        return _counted(statement, part, span)
    if span is None:
        return None
    if statement.kind == "differs":
        return _differs(statement, part, contents, span[0])
    model = _span(index_of, statement.model)
    if model is None or model == span:
        return None
    if statement.kind == "starts":
        return _starts(statement, part, contents, span[0], model[0])
    one, two = (_name(statement.bars), span), (_name(statement.model), model)
    return compared(
        part, contents, one, two, but=statement.but,
        but_bar=index_of.get(str(statement.but_bar)) if statement.but_bar else None,
        first_word=statement.first_word, last_word=statement.last_word, confidence=_ALIKE_SURE,
    )  # fmt: skip


def _span(index_of: dict[str, int], bars: tuple[int, int]) -> tuple[int, int] | None:
    first, last = index_of.get(str(bars[0])), index_of.get(str(bars[1]))
    return None if first is None or last is None or last < first else (first, last)


def _name(bars: tuple[int, int]) -> str:
    if bars[0] == bars[1]:
        return f"bar {bars[0]}"
    if bars[0] < 0:
        return f"the last {-bars[0]} bars"
    return f"bars {bars[0]} {'and' if bars[1] == bars[0] + 1 else 'to'} {bars[1]}"


def _starts(
    statement: BarStatement, part: Part, contents: Sequence[Content], bar: int, model: int
) -> StructureFinding | None:  # fmt: skip
    """Two bars that are said to start with the same notes."""
    one, two = ([midi for _, midi, _ in contents[k]][: statement.count] for k in (bar, model))
    if len(one) < statement.count or len(two) < statement.count:
        return None
    alike = next((k for k in range(statement.count) if one[k] != two[k]), statement.count)
    name, other = f"bar {part.bars[bar].number}", f"bar {part.bars[model].number}"
    return StructureFinding(
        verdict="right" if alike == statement.count else "wrong",
        claimed=f"{name} starts with the same {notes_words(statement.count)} as {other}",
        right=f"only the first {notes_words(alike)} are the same" if alike else "the first notes are not the same",
        bar_index=bar, first_word=statement.first_word, last_word=statement.last_word, confidence=_ALIKE_SURE,
        why="" if alike == statement.count else "compared note for note",
    )  # fmt: skip


def _differs(
    statement: BarStatement, part: Part, contents: Sequence[Content], bar: int
) -> StructureFinding | None:  # fmt: skip
    """A bar that is said to be unlike before, where the passage around it is a return of an earlier one."""
    found = counterparts(contents, bar)
    if not found:
        return None
    unlike = any(contents[bar] != contents[bar - back] for back in found)
    back = found[0]
    stretch = [bar]
    while stretch[0] - 1 >= back and _near_alike(contents, stretch[0] - 1, back):
        stretch.insert(0, stretch[0] - 1)
    while stretch[-1] + 1 < len(contents) and _near_alike(contents, stretch[-1] + 1, back):
        stretch.append(stretch[-1] + 1)
    differing = [k for k in stretch if contents[k] != contents[k - back]]
    number = part.bars[bar].number
    right = f"bar {number} is as bar {part.bars[bar - back].number}"
    if differing:
        right = f"the other notes are in {listed_bars([part.bars[k].number for k in differing])}, {right}"
    return StructureFinding(
        verdict="right" if unlike else "wrong", claimed=f"bar {number} different from before", right=right,
        bar_index=differing[0] if differing else bar, first_word=statement.first_word, last_word=statement.last_word,
        confidence=_DIFFERS_SURE, why="" if unlike else "compared note for note",
    )  # fmt: skip


def _near_alike(contents: Sequence[Content], bar: int, back: int) -> bool:
    """Whether a bar is as the one so many bars before, or the bars on both of its sides are."""
    beside = [k for k in (bar - 1, bar + 1) if back <= k < len(contents)]
    return contents[bar] == contents[bar - back] or (
        len(beside) == 2 and all(contents[k] == contents[k - back] for k in beside)
    )


def _counted(statement: BarStatement, part: Part, span: tuple[int, int] | None) -> StructureFinding | None:
    """How many notes a bar has: struck ones, or with those tied over, or with grace notes."""
    if statement.bars == (0, 0):
        bar = 0 if part.bars and part.bars[0].pickup else None
    else:
        bar = None if span is None else span[0]
    if bar is None:
        return None
    notes = [note for note in part.notes if note.bar_index == bar]
    struck = {note.onset_quarters for note in notes if note.tied_from is None and not note.grace}
    tied = {note.onset_quarters for note in notes if not note.grace}
    graces = sum(bool(note.grace) for note in notes)
    counts = {len(struck), len(tied), len(notes), len(struck) + graces, len(tied) + graces}
    true = statement.count in counts
    name = "the pick-up" if statement.bars == (0, 0) else f"bar {part.bars[bar].number}"
    return StructureFinding(
        kind="count", verdict="right" if true else "wrong", claimed=f"{notes_words(statement.count)} in {name}",
        right=notes_words(len(struck)), bar_index=bar, first_word=statement.first_word,
        last_word=statement.last_word, confidence=_NOTES_SURE, why="" if true else "counted on the page",
    )  # fmt: skip
