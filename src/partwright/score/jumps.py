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
    signs: set[tuple[int, int]] = set()  # bar it is drawn in, bar it means if one lands there
    for mark in marks:
        kind = mark.kind
        if kind not in _KINDS:
            continue
        index = mark.bar_index
        bar = bars[index]
        at_end = bar.length > 0 and mark.tick >= bar.length
        next_bar = index + 1 if at_end and index + 1 < len(bars) else index
        if kind == "coda-sign":
            signs.add((index, next_bar))
            continue
        if kind in ("segno", "coda"):
            index = next_bar
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
        else:
            here.forward_repeat = True
    _resolve_signs(found, sorted(signs))
    return found


_KINDS = frozenset({"segno", "coda", "coda-sign", "to-coda", "fine", "da-capo", "dal-segno", "forward-repeat"})


def _until(text: str) -> Literal["", "fine", "coda"]:
    if text == "fine":
        return "fine"
    return "coda" if text == "coda" else ""


def _resolve_signs(found: dict[int, BarJumps], signs: list[tuple[int, int]]) -> None:
    nothing = BarJumps()
    unclear = [
        (drawn, landing)
        for drawn, landing in signs
        if not found.get(drawn, nothing).to_coda and not found.get(landing, nothing).coda
    ]
    if not unclear:
        return
    leaves = any(jump.to_coda for jump in found.values())
    lands = any(jump.coda for jump in found.values())
    if not leaves and (lands or len(unclear) > 1):
        drawn, _ = unclear.pop(0)
        found.setdefault(drawn, BarJumps()).to_coda = True
    for _, landing in unclear:
        found.setdefault(landing, BarJumps()).coda = True
