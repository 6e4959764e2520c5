"""Bars and phrases of a take, each summed up from its notes that count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.take.note import TakeCheck, TakeNote
from partwright.score import beat_text

__all__ = ["GroupSum", "bar_sums", "phrase_sums"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupSum:
    """Notes that belong together: where, how many, their median pitch in cents and time in seconds from the beat."""

    first: str
    last: str
    notes: int
    median_cents: float | None
    median_late_s: float | None
    out_of_tune: int
    wrong_or_missed: int
    early_or_late: int


def bar_sums(check: TakeCheck) -> tuple[GroupSum, ...]:
    """One sum for each written bar that was played."""
    rows: dict[int, list[TakeNote]] = {}
    for note in check.counted:
        rows.setdefault(note.bar_index, []).append(note)
    return tuple(_sum(rows[i], check.part.bars[i].number, check.part.bars[i].number) for i in sorted(rows))


def phrase_sums(check: TakeCheck) -> tuple[GroupSum, ...]:
    """One sum for each phrase of which something was played; () where no phrases are known. Places as BAR:BEAT."""
    found = []
    by_id = check.part.by_id
    for first_id, last_id in check.phrases:
        first, last = by_id[first_id], by_id[last_id]
        of = [n for n in check.counted if first.index <= by_id[n.note_id].index <= last.index]
        if of:
            found.append(_sum(of, f"{first.bar}:{beat_text(first.beat)}", f"{last.bar}:{beat_text(last.beat)}"))
    return tuple(found)


def _sum(notes: Sequence[TakeNote], first: str, last: str) -> GroupSum:
    cents = sorted(n.cents for n in notes if n.cents is not None and n.kind != "wrong note")
    late = sorted(abs(n.late_s) for n in notes if n.late_s is not None)
    return GroupSum(
        first=first,
        last=last,
        notes=len(notes),
        median_cents=round(cents[len(cents) // 2], 1) if cents else None,
        median_late_s=round(late[len(late) // 2], 3) if late else None,
        out_of_tune=sum(n.kind == "intonation" for n in notes),
        wrong_or_missed=sum(n.kind in ("wrong note", "missed") for n in notes),
        early_or_late=sum(n.timing == "check" for n in notes),
    )
