"""What is wrong with a part as written, found by looking, never repaired: bars, ties, slurs, repeats, jumps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.score.part import Bar, Part

__all__ = ["Fault", "fault_remarks", "find_faults"]

FaultKind = Literal[
    "overfull bar",
    "short bar",
    "tie to nowhere",
    "unended slur",
    "repeat without end",
    "ending without end",
    "unknown jump",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault: where, what is wrong in one sentence without its place, what the writer of the part can do."""

    kind: FaultKind
    bar: str
    bar_index: int
    beat: Fraction
    what: str
    todo: str
    note_id: str = ""


def find_faults(part: Part) -> tuple[Fault, ...]:
    """Every fault of a part in the order of the bars."""
    found = [*_bar_faults(part.bars), *_note_faults(part), *_repeat_faults(part.bars), *_jump_faults(part.bars)]
    return tuple(sorted(found, key=lambda fault: (fault.bar_index, fault.beat)))


def fault_remarks(part: Part) -> tuple[str, ...]:
    """The faults in a few sentences, one for each kind, naming the first bars."""
    bars: dict[str, list[str]] = {}
    for fault in find_faults(part):
        bars.setdefault(fault.kind, []).append(fault.bar)
    return tuple(f"{_REMARKS[kind]}: {_bar_list(numbers)}." for kind, numbers in bars.items())


_REMARKS = {
    "overfull bar": "Longer than the metre and read as written",
    "short bar": "Shorter than the metre and read as written",
    "tie to nowhere": "A tie leads to no note of the same pitch",
    "unended slur": "A slur begins but never ends, or ends without a beginning",
    "repeat without end": "A repeated section begins but never ends",
    "ending without end": "An ending bracket never ends",
    "unknown jump": "A jump has no place to go",
}


def _bar_list(numbers: Sequence[str]) -> str:
    distinct = list(dict.fromkeys(numbers))
    shown = ", ".join(distinct[:8])
    more = f" and {len(distinct) - 8} more" if len(distinct) > 8 else ""
    return f"bar{'s' if len(distinct) > 1 else ''} {shown}{more}"


def _bar_faults(bars: Sequence[Bar]) -> list[Fault]:
    found = []
    for bar in bars:
        if not bar.metre_given:
            continue
        if bar.length_quarters > bar.nominal_quarters:
            found.append(
                _fault(
                    bar,
                    "overfull bar",
                    f"the bar holds {_beats(bar.length_quarters, bar)}, its metre is {bar.beats}/{bar.beat_type}",
                    "Shorten it or change the metre.",
                )
            )
        elif bar.length_quarters < bar.nominal_quarters and not bar.pickup and not _complements(bars, bar):
            found.append(
                _fault(
                    bar,
                    "short bar",
                    f"the bar holds only {_beats(bar.length_quarters, bar)}, its metre is {bar.beats}/{bar.beat_type}",
                    "Fill it with rests or change the metre.",
                )
            )
    return found


def _complements(bars: Sequence[Bar], bar: Bar) -> bool:
    """Whether a short bar is one half of a divided bar, or makes up for the pick-up where a section ends."""
    missing = bar.nominal_quarters - bar.length_quarters
    if bar.beat_offset_quarters > 0:
        return True
    neighbours = [bars[i] for i in (bar.index - 1, bar.index + 1) if 0 <= i < len(bars)]
    if any(
        other.length_quarters == missing and other.nominal_quarters == bar.nominal_quarters and other.index > 0
        for other in neighbours
    ):
        return True
    ends_section = bar.index == len(bars) - 1 or bar.repeat_end or bar.double_bar or bar.fine or bar.ending_stops
    pickups = {bars[0].length_quarters} if bars[0].pickup else set()
    return ends_section and missing in pickups


def _note_faults(part: Part) -> list[Fault]:
    found = []
    for fault in part.loose_ends:
        note = part.by_id[fault.note_id]
        if fault.kind == "tie":
            found.append(
                Fault(
                    kind="tie to nowhere",
                    bar=note.bar,
                    bar_index=note.bar_index,
                    beat=note.beat,
                    what=f"a tie on {note.written_pitch.name} leads to no note of the same pitch",
                    todo="Remove the tie or correct the note.",
                    note_id=note.id,
                )
            )
        else:
            found.append(
                Fault(
                    kind="unended slur",
                    bar=note.bar,
                    bar_index=note.bar_index,
                    beat=note.beat,
                    what="a slur has only one end",
                    todo="End the slur or remove it.",
                    note_id=note.id,
                )
            )
    return found


def _repeat_faults(bars: Sequence[Bar]) -> list[Fault]:
    found = []
    open_start: Bar | None = None
    for bar in bars:
        if bar.repeat_start:
            if open_start is not None:
                found.append(_unended(open_start))
            open_start = bar
        if bar.repeat_end:
            open_start = None
    if open_start is not None:
        found.append(_unended(open_start))
    for index, bar in enumerate(bars):
        if not bar.ending_starts:
            continue
        last = index
        while last + 1 < len(bars) and bars[last + 1].endings and not bars[last + 1].ending_starts:
            last += 1
        if not bars[last].ending_stops:
            found.append(
                _fault(
                    bar,
                    "ending without end",
                    f"the bracket of ending {', '.join(map(str, bar.endings))} never ends",
                    "End the bracket.",
                )
            )
    return found


def _unended(bar: Bar) -> Fault:
    return _fault(bar, "repeat without end", "a repeat begins here and never ends", "Add the closing repeat sign.")


def _jump_faults(bars: Sequence[Bar]) -> list[Fault]:
    found = []
    for bar in bars:
        if bar.dal_segno and not any(other.segno for other in bars):
            found.append(_fault(bar, "unknown jump", "D.S. without a segno anywhere", "Add the segno."))
        if bar.to_coda and not any(other.coda for other in bars):
            found.append(_fault(bar, "unknown jump", "a jump to the coda, but there is no coda", "Add the coda sign."))
        if bar.jump_until == "fine" and not any(other.fine for other in bars):
            found.append(_fault(bar, "unknown jump", "al Fine, but Fine stands nowhere", "Add Fine."))
        if bar.jump_until == "coda" and not any(other.to_coda for other in bars):
            found.append(
                _fault(bar, "unknown jump", "al Coda, but no sign says where to leave for it", "Add the coda sign.")
            )
    return found


def _fault(bar: Bar, kind: FaultKind, what: str, todo: str) -> Fault:
    return Fault(kind=kind, bar=bar.number, bar_index=bar.index, beat=Fraction(1), what=what, todo=todo)


def _beats(quarters: Fraction, bar: Bar) -> str:
    beats = quarters * bar.beat_type / 4
    whole, rest = divmod(beats, 1)
    text = str(rest) if whole == 0 and rest else str(whole) if rest == 0 else f"{whole}+{rest}"
    return f"{text} beat{'' if beats == 1 else 's'}"
