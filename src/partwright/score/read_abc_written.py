"""The bars of an ABC voice as they are written out: repeats completed, bars numbered, everything frozen."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.score.read_abc_event import AbcBar, Remark
from partwright.score.written import WrittenBar

__all__ = ["complete_repeats", "numbered_bars"]

_KEPT = (
    "metre", "free_metre", "key", "clef", "repeat_start", "repeat_end", "repeat_times",
    "ending_stop", "ending_open", "right_line", "left_line",
)  # fmt: skip


def complete_repeats(bars: Sequence[AbcBar], remark: Remark) -> None:
    """A repeat that ends without beginning begins after the last double bar or repeat, and is written so."""
    section = 0
    begun = False
    after_repeat = False
    for index, bar in enumerate(bars):
        if bar.repeat_start:
            section, begun, after_repeat = index, True, False
        elif bar.section_before and not bar.ending and index:
            section, begun, after_repeat = index, False, True
        if bar.repeat_end and not begun and after_repeat:
            bars[section].repeat_start = True
            remark(
                "repeat without start",
                "a repeat has no beginning; it was taken to begin after the last double bar",
                bar.line,
                1,
            )
            begun = True


def numbered_bars(bars: Sequence[AbcBar]) -> tuple[WrittenBar, ...]:
    """The bars, numbered: a pick-up and the second half of a bar cut by a repeat do not count.

    The rest of bar 10 is bar 10b, as a player would say it; the pick-up is bar 0.
    """
    written: list[WrittenBar] = []
    number = 0
    parts = 1  # of the bar counted last
    previous_short = False
    for index, bar in enumerate(bars):
        nominal = bar.metre_valid.length_quarters if bar.metre_valid is not None else None
        short = nominal is not None and bar.length < nominal
        after = bars[index + 1] if index + 1 < len(bars) else None
        implicit = short and (index == 0 or (bar.section_before and previous_short) or _is_pickup(bar, after))
        if implicit:
            parts += index > 0
            name = "0" if index == 0 else f"{number}{chr(ord('a') + parts - 1) if parts <= 26 else f'.{parts}'}"
        else:
            number += 1
            parts = 1
            name = str(number)
        previous_short = short and not implicit
        written.append(_written(bar, name, implicit=implicit))
    return tuple(written)


def _is_pickup(bar: AbcBar, after: AbcBar | None) -> bool:
    """A short bar that opens a section whose next bar is full."""
    return (
        bar.section_before
        and not bar.repeat_end
        and bar.metre_valid is not None
        and 2 * bar.length <= bar.metre_valid.length_quarters
        and after is not None
        and after.length >= bar.metre_valid.length_quarters
    )


def _written(bar: AbcBar, number: str, *, implicit: bool) -> WrittenBar:
    values = {name: getattr(bar, name) for name in _KEPT}
    if bar.metre is not None:
        values["free_metre"] = False
    return WrittenBar(
        number=number,
        voices=tuple(tuple(event.freeze() for event in layer) for layer in bar.layers if layer),
        implicit=implicit,
        aligned="end" if implicit else "start",
        ending_start=bar.ending,
        segno="segno" in bar.jumps,
        coda="coda" in bar.jumps,
        to_coda="to-coda" in bar.jumps,
        fine="fine" in bar.jumps,
        da_capo=next((jump for jump in bar.jumps if jump.startswith("D.C.")), ""),
        dal_segno=next((jump for jump in bar.jumps if jump.startswith("D.S.")), ""),
        **values,
    )
