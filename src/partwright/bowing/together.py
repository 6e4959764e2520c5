"""Fingers and bow together: planned in turn until neither changes.

The bow asks things of the strings (quick crossings with the arm, few strings under a slur) that the hand alone does not
know. Method: plan the fingers, then the bow over their strings; wherever the bow pays for a string, plan the fingers
again with the other string there and keep it if fingers and bow together become cheaper; repeat until nothing does. The
result is never worse than fingers first, bow after. The bench measures the gap to the joint optimum by trying every
choice of strings on short passages.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from partwright.bowing.explain import stroke_account
from partwright.bowing.plan import plan_bowing
from partwright.bowing.stroke import BowingPlan, BowPin
from partwright.errors import NoPlan, PinConflict
from partwright.fingering import FingeringPlan, Pin, Planning, plan_of, prepare, replan
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["PlannedTogether", "plan_together"]

_STRING_TERMS = ("fast_crossing_against_arm", "hook_across_strings", "slur_against_arm", "strings_in_slur")
_PAYS = 0.05
"""A stroke that pays less than this for its strings is left alone."""
_MOST_TRIALS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTogether:
    """Both plans, their joint price, the price of fingers first and bow after, and the rounds it took."""

    fingering: FingeringPlan
    bowing: BowingPlan
    total_cost: float
    apart_cost: float
    rounds: int
    changed: tuple[str, ...]  # ids of notes whose string was chosen for the bow's sake


def plan_together(
    part: Part,
    instrument: Instrument,
    *,
    level: str,
    pins: Iterable[Pin] = (),
    bow_pins: Iterable[BowPin] = (),
    keep_source_marks: bool = True,
) -> PlannedTogether:
    """Fingers and bow planned in turn until neither changes. Raises what `plan_fingering` and `plan_bowing` raise."""
    bow_pins = tuple(bow_pins)

    def bowed(planning: Planning) -> tuple[BowingPlan, float]:
        fingering = plan_of(planning)
        bowing = plan_bowing(
            part, instrument, fingering, level=level, pins=bow_pins, keep_source_marks=keep_source_marks
        )
        return bowing, fingering.total_cost + bowing.total_cost

    planning = prepare(part, instrument, level=level, pins=pins)
    pinned = {pin.note_id for pin in planning.pins}
    bowing, total = bowed(planning)
    apart = total
    changed: list[str] = []
    tried: set[tuple[str, int]] = set()
    rounds = 0
    while len(tried) < _MOST_TRIALS:
        rounds += 1
        best: tuple[float, str, Planning, BowingPlan] | None = None
        for note_id, string in _candidates(part, instrument, planning, bowing):
            if (note_id, string) in tried or note_id in pinned or len(tried) >= _MOST_TRIALS:
                continue
            tried.add((note_id, string))
            try:
                other = replan(planning, Pin(note_id=note_id, string=string, origin="bow"))
            except (PinConflict, NoPlan):
                continue
            if len(plan_of(other).relaxed) > len(plan_of(planning).relaxed):
                continue
            other_bowing, other_total = bowed(other)
            if other_total < total - 1e-9 and (best is None or other_total < best[0]):
                best = (other_total, note_id, other, other_bowing)
        if best is None:
            break
        total, note_id, planning, bowing = best
        changed.append(note_id)
    return PlannedTogether(
        fingering=plan_of(planning),
        bowing=bowing,
        total_cost=total,
        apart_cost=apart,
        rounds=rounds,
        changed=tuple(changed),
    )


def _candidates(part: Part, instrument: Instrument, planning: Planning, bowing: BowingPlan) -> list[tuple[str, int]]:
    """Notes of strokes that pay for their strings, each with the neighbouring strings it could also be played on."""
    assert bowing.problem is not None
    assert bowing.search is not None
    placed = plan_of(planning).by_id
    found: list[tuple[float, str, int]] = []
    for s, stroke in enumerate(bowing.strokes):
        account = stroke_account(bowing.problem, bowing.search, s)
        pays = sum(account.get(term, 0.0) for term in _STRING_TERMS)
        if pays < _PAYS:
            continue
        before = bowing.strokes[s - 1].note_ids[-1:] if s else ()
        for note_id in (*before, *stroke.note_ids):
            if note_id not in placed or part.by_id[note_id].tied_from is not None:
                continue
            here = placed[note_id].placement.string
            midi = part.by_id[note_id].midi
            found += [(pays, note_id, k) for k in (here - 1, here + 1) if _reaches(instrument, k, midi)]
    found.sort(key=lambda item: -item[0])
    return list(dict.fromkeys((note_id, string) for _, note_id, string in found))


def _reaches(instrument: Instrument, string: int, midi: int) -> bool:
    if not 0 <= string < len(instrument.strings):
        return False
    above = midi - instrument.strings[string].midi
    return 0 <= above <= instrument.string_ceiling_semitones[string]
