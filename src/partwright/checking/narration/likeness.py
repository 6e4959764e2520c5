"""Two stretches of bars that are said to be alike, compared note for note; what is found of a statement on the form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.finding import Verdict
from partwright.checking.narration.returns import Content, differing_bars
from partwright.score import Part

__all__ = ["StructureFinding", "compared", "listed_bars"]

Bars = tuple[int, int]
_BUT = {"last bar": " but for the last bar", "last note": " but for the last note", "one note": " but for one note"}


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureFinding:
    """A statement about the form and what became of it. `bar_index` is the first bar it is about, `likened` the first
    and the last of the bars that are said to be like earlier ones."""

    kind: str = "structure"
    verdict: Verdict
    claimed: str
    right: str
    bar_index: int
    first_word: int
    last_word: int
    confidence: float
    why: str = ""
    likened: Bars | None = None


def compared(
    part: Part, contents: Sequence[Content], one: tuple[str, Bars], two: tuple[str, Bars], *,
    but: str, but_bar: int | None = None, first_word: int, last_word: int, confidence: float,
) -> StructureFinding:  # fmt: skip
    """What becomes of "`one` is the same as `two`", each a name and its bars by index, counted from 0.

    `but`: "" or what is said to be different: "last bar", "last note", "one note", "bar"; `but_bar`: in which bar.
    """
    target, model = (one[1], two[1]) if one[1][0] > two[1][0] else (two[1], one[1])
    differing = differing_bars(contents, target, model)
    true = _holds(contents, target, model, but, differing)
    claim = f"{one[0]} the same as {two[0]}{_BUT.get(but, '')}"
    length = target[1] - target[0] + 1
    if but_bar is not None:
        claim += f"{' in' if but == 'one note' else ' but for'} bar {part.bars[but_bar].number}"
        only = {but_bar - target[0], but_bar - model[0]}  # of either stretch
        true = len(differing) == 1 and differing[0] in only and (but == "bar" or true)
    numbers = [part.bars[target[0] + k].number for k in differing]
    if not differing:
        right = "they are the same throughout"
    elif len(differing) == length:
        right = "they differ throughout"
    else:
        right = f"they differ in {listed_bars(numbers)}"
    return StructureFinding(
        verdict="right" if true else "wrong", claimed=claim, right=right,
        bar_index=target[0] + (differing[0] if differing and len(differing) < length else 0),
        first_word=first_word, last_word=last_word, confidence=confidence,
        why="" if true else "compared note for note", likened=target,
    )  # fmt: skip


def _holds(contents: Sequence[Content], target: Bars, model: Bars, but: str, differing: list[int]) -> bool:
    length = target[1] - target[0] + 1
    if but == "last bar":
        return bool(differing) and set(differing) <= {length - 1, length - 2} and length - 1 in differing
    if but in ("last note", "one note"):
        if len(differing) != 1:
            return False
        one, two = contents[target[0] + differing[0]], contents[model[0] + differing[0]]
        unlike = [k for k in range(max(len(one), len(two))) if one[k : k + 1] != two[k : k + 1]]
        if but == "last note":
            return differing == [length - 1] and unlike[0] >= len(one) - 1
        return len(unlike) == 1
    return not differing


def listed_bars(numbers: Sequence[str]) -> str:
    """ "bar 4", "bars 4, 5 and 7"; of more than six the first five and how many more."""
    if len(numbers) == 1:
        return f"bar {numbers[0]}"
    if len(numbers) > 6:
        return f"bars {', '.join(numbers[:5])} and {len(numbers) - 5} more"
    return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"
