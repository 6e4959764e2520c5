"""Segno, coda, Fine, D.C. and D.S. by bar, from signs, words and playback attributes together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from partwright.score.parse_directions import RawMark
from partwright.score.walk_part import RawBar

__all__ = ["BarJumps", "bar_jumps"]


@dataclass(slots=True)
class BarJumps:
    """What stands in one bar. Filled here, read by the builder of bars."""

    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    fine: bool = False
    da_capo: bool = False
    dal_segno: bool = False
    until: Literal["", "fine", "coda"] = ""
    forward_repeat: bool = False


def bar_jumps(marks: Sequence[RawMark], bars: Sequence[RawBar]) -> dict[int, BarJumps]:
    """Jumps by bar index.

    A coda sign alone may mean "jump from here" or "land here": where the source says it nowhere, the first of
    two is the place to leave and the last the place to land (common practice). A segno or coda drawn at the very end
    of a bar belongs to the next one.
    """
    found: dict[int, BarJumps] = {}
    signs: list[int] = []
    for mark in marks:
        kind = mark.kind
        if kind not in _KINDS:
            continue
        index = mark.bar_index
        bar = bars[index]
        if (
            kind in ("segno", "coda", "coda-sign")
            and bar.length > 0
            and mark.tick >= bar.length
            and index + 1 < len(bars)
        ):
            index += 1
        here = found.setdefault(index, BarJumps())
        if kind == "segno":
            here.segno = True
        elif kind == "coda":
            here.coda = True
        elif kind == "to-coda":
            here.to_coda = True
        elif kind == "fine":
            here.fine = True
        elif kind == "da-capo":
            here.da_capo = True
            here.until = _until(mark.text) or here.until
        elif kind == "dal-segno":
            here.dal_segno = True
            here.until = _until(mark.text) or here.until
        elif kind == "forward-repeat":
            here.forward_repeat = True
        else:
            signs.append(index)
    _resolve_signs(found, sorted(set(signs)))
    return found


_KINDS = frozenset({"segno", "coda", "coda-sign", "to-coda", "fine", "da-capo", "dal-segno", "forward-repeat"})


def _until(text: str) -> Literal["", "fine", "coda"]:
    if text == "fine":
        return "fine"
    return "coda" if text == "coda" else ""


def _resolve_signs(found: dict[int, BarJumps], signs: list[int]) -> None:
    unclear = [index for index in signs if not found[index].to_coda and not found[index].coda]
    if not unclear:
        return
    leaves = any(jump.to_coda for jump in found.values())
    lands = any(jump.coda for jump in found.values())
    if not leaves and (lands or len(unclear) > 1):
        found[unclear.pop(0)].to_coda = True
    for index in unclear:
        found[index].coda = True
