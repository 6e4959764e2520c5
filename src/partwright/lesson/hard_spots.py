"""Where it is hard, how hard, and what is hard about it: from the plan's own cost terms.

Method. What a note costs, and the move to it, is told by the fingering engine term by term; its prices know the tempo
(a shift in a rest is cheap, the same under a slur in quavers is not). Notes dearer than `HARD` are hard; hard notes
no more than a beat apart are one spot; a spot that returns with equal bars is told of once. Spots are ranked by the
sum of their notes' prices.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib import resources

from partwright.bowing import BowingPlan
from partwright.fingering import CostItem, FingeringPlan, Placement, Planning, note_reasons, plan_of
from partwright.instrument import Instrument
from partwright.lesson.bar_content import BarEvent, Bars
from partwright.lesson.likenesses import Likeness
from partwright.lesson.saying import (
    capital,
    finger_said,
    pitch_said,
    position_said,
    string_said,
)

__all__ = ["HARD", "HardSpot", "SpotKind", "find_hard_spots", "note_difficulty", "spot_kinds"]

HARD = 0.6
"""Price above which a note is hard; a plain shift of a second costs about 1, a string crossing a quarter of that."""

_LIFT_SECONDS = 0.5
"""Time in which a bow is lifted and set again at ease; with none it weighs as much as a shift. Common practice, no
source."""

_BARS_PER_SPOT = 8
_MOST_SPOTS = 8
_FEWEST_SPOTS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotKind:
    """One kind of difficulty: which cost terms make it, and which drills help, by name."""

    name: str
    terms: tuple[str, ...]
    drills: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HardSpot:
    """A hard place: events `first` … `last` of the part, `peak` the hardest of them, `before` the event before it.

    `also_bars` are bars in which the same spot returns. `score` has the unit of the plan's costs.
    """

    rank: int
    score: float
    kind: str
    name: str
    bars: tuple[str, str]
    first: int
    last: int
    peak: int
    before: int | None
    reasons: tuple[CostItem, ...]
    note_ids: tuple[str, ...]
    also_bars: tuple[str, ...] = ()
    slurred: bool = False
    seconds: float = 0.0  # time for the move to the hardest note


@cache
def spot_kinds() -> tuple[SpotKind, ...]:
    """The kinds of difficulty, from the table."""
    text = (resources.files("partwright.lesson") / "data" / "drills.toml").read_text(encoding="utf-8")
    return tuple(
        SpotKind(name=name, terms=tuple(row["terms"]), drills=tuple(row["drills"]))
        for name, row in tomllib.loads(text).items()
    )


def note_difficulty(reasons: Iterable[CostItem]) -> float:
    """What a note costs that is work; what is liked (an open string) does not make another thing easier."""
    return sum(item.value for item in reasons if item.value > 0)


def find_hard_spots(
    planning: Planning, bars: Bars, likenesses: Sequence[Likeness] = (), *, bowing: BowingPlan | None = None
) -> tuple[HardSpot, ...]:
    """The hard spots of a planned part, hardest first. With `bowing`, lifts of the bow count too."""
    plan = plan_of(planning)
    reasons = [_reasons(planning, event, bowing) for event in bars.events]
    weights = [note_difficulty(items) for items in reasons]
    hard = [k for k, weight in enumerate(weights) if weight >= HARD]
    if not hard and weights and max(weights) > HARD / 2:
        hard = [max(range(len(weights)), key=weights.__getitem__)]
    groups = _without_returns(_grouped(hard, bars), bars, likenesses)
    ranked = sorted(groups, key=lambda g: (-sum(weights[k] for k in g[0]), g[0][0]))
    most = min(_MOST_SPOTS, max(_FEWEST_SPOTS, len(bars.by_bar) // _BARS_PER_SPOT))
    return tuple(
        _spot(rank, group, also, planning, plan, bars, reasons, weights)
        for rank, (group, also) in enumerate(ranked[:most], start=1)
    )


def _reasons(planning: Planning, event: BarEvent, bowing: BowingPlan | None) -> tuple[CostItem, ...]:
    """The terms of all notes of an event; a chord's notes share theirs."""
    best: tuple[CostItem, ...] = ()
    for note_id in event.note_ids:
        items = note_reasons(planning, note_id)
        if note_difficulty(items) > note_difficulty(best):
            best = items
    stroke = bowing.by_note.get(event.note_ids[0]) if bowing is not None else None
    if stroke is not None and stroke.retake and stroke.id in event.note_ids and not stroke.after_rest:
        here = planning.walk.event_of[event.note_ids[0]]
        seconds = next((s.seconds for s in planning.walk.steps if s.b == here), _LIFT_SECONDS)
        hurried = max(0.0, 1.0 - seconds / _LIFT_SECONDS)
        best = (*best, CostItem(term="retake", words="the bow is lifted and set again", value=hurried))
    return best


def _grouped(hard: Sequence[int], bars: Bars) -> list[list[int]]:
    """Hard events no more than one beat of their metre apart are one spot."""
    groups: list[list[int]] = []
    for k in hard:
        if groups:
            last = bars.events[groups[-1][-1]]
            bar = bars.part.bars[last.bar_index]
            beat = Fraction(4, bar.beat_type) * (3 if bar.beat_type >= 8 and bar.beats % 3 == 0 else 1)
            if bars.events[k].onset_quarters - last.onset_quarters <= beat:
                groups[-1].append(k)
                continue
        groups.append([k])
    return groups


def _without_returns(
    groups: Sequence[Sequence[int]], bars: Bars, likenesses: Sequence[Likeness]
) -> list[tuple[list[int], list[int]]]:
    """Each spot with the bars in which it returns: a spot whose notes are those of an earlier one joins it."""
    place = {(e.bar_index, e.offset_quarters): k for k, e in enumerate(bars.events)}
    kept: list[tuple[list[int], list[int]]] = []
    for group in groups:
        home = None
        for likeness in likenesses:
            if likeness.semitones or not likeness.at[0] <= bars.events[group[0]].bar_index <= likeness.at[1]:
                continue
            apart = likeness.at[0] - likeness.of[0]
            like = [place.get((bars.events[k].bar_index - apart, bars.events[k].offset_quarters)) for k in group]
            same = all(
                i is not None and bars.events[i].midi == bars.events[k].midi for i, k in zip(like, group, strict=True)
            )
            home = next((entry for entry in kept if same and set(like) <= set(entry[0])), None)
        if home is not None:
            home[1].append(bars.events[group[0]].bar_index)
        else:
            kept.append((list(group), []))
    return kept


def _spot(
    rank: int,
    group: Sequence[int],
    also: Sequence[int],
    planning: Planning,
    plan: FingeringPlan,
    bars: Bars,
    reasons: Sequence[tuple[CostItem, ...]],
    weights: Sequence[float],
) -> HardSpot:
    peak = max(group, key=lambda k: (weights[k], -k))
    before = _before(planning, bars, peak)
    kind = _kind(reasons[peak])
    event = bars.events[peak]
    walked = next((s for s in planning.walk.steps if s.b == planning.walk.event_of[event.note_ids[0]]), None)
    slurred = walked is not None and walked.slurred
    numbers = [bar.number for bar in bars.part.bars]
    start = before if before is not None and before < group[0] else group[0]
    name = _name(kind, bars, plan, planning.instrument, peak, before, slurred=slurred, reasons=reasons[peak])
    return HardSpot(
        rank=rank,
        score=round(sum(weights[k] for k in group), 4),
        kind=kind,
        name=name,
        bars=(numbers[bars.events[start].bar_index], numbers[bars.events[group[-1]].bar_index]),
        first=group[0],
        last=group[-1],
        peak=peak,
        before=before,
        reasons=tuple(sorted((i for i in reasons[peak] if i.value > 0.05), key=lambda i: -i.value)),
        note_ids=tuple(note_id for k in group for note_id in bars.events[k].note_ids),
        also_bars=tuple(dict.fromkeys(numbers[bar] for bar in also)),
        slurred=slurred,
        seconds=walked.seconds if walked is not None else 0.0,
    )


def _before(planning: Planning, bars: Bars, peak: int) -> int | None:
    """The event played before this one the first time it is reached."""
    events = planning.walk.events
    here = planning.walk.event_of[bars.events[peak].note_ids[0]]
    step = next((s for s in planning.walk.steps if s.b == here), None)
    return bars.event_of.get(events[step.a].note_ids[0]) if step is not None else None


def _kind(reasons: Iterable[CostItem]) -> str:
    of_term: Mapping[str, str] = {term: kind.name for kind in spot_kinds() for term in kind.terms}
    total: dict[str, float] = {kind.name: 0.0 for kind in spot_kinds()}
    for item in reasons:
        if item.term in of_term and item.value > 0:
            total[of_term[item.term]] += item.value
    return max(total, key=lambda name: total[name])


def _name(
    kind: str,
    bars: Bars,
    plan: FingeringPlan,
    instrument: Instrument,
    peak: int,
    before: int | None,
    *,
    slurred: bool,
    reasons: Sequence[CostItem],
) -> str:
    """What is hard, in trade words, with its place."""
    place = _placement(bars, plan, peak)
    last = _placement(bars, plan, before) if before is not None else None
    pitch = pitch_said(bars.part.by_id[_lead(bars, peak)].pitch)
    under = " under a slur" if slurred else ""
    if place is None:
        return capital(reasons[0].words) if reasons else "A hard note"
    here = position_said(place, instrument)
    if kind == "shift" and last is not None and (last.frame, last.zone) != (place.frame, place.zone):
        string = string_said(place, instrument)
        across = f"across to the {string}" if last.string != place.string else f"on the {string}"
        return f"Shift from {position_said(last, instrument)} to {here}, {across}{under}"
    if kind == "shift" and last is not None and last.finger != place.finger:
        return f"Change of finger on {pitch}: {finger_said(place, instrument)}{under}"
    if kind == "extension":
        shape = next((s for s in instrument.shapes if s.name == place.shape), None)
        ways = {"back": "Reach back", "forward": "Reach forward"}
        way = ways.get(shape.extension if shape is not None else "", "Hand closes")
        return f"{way} for {pitch}, {finger_said(place, instrument)}{under}"
    if kind == "thumb":
        return f"Thumb position for {pitch}, {finger_said(place, instrument)}{under}"
    if kind == "harmonic":
        return f"Harmonic {pitch}, {finger_said(place, instrument).removesuffix(', as a harmonic')}"
    if kind == "crossing" and last is not None and last.string != place.string:
        hop = "; the same finger hops" if last.finger == place.finger > 0 else ""
        skipped = " over a string" if abs(last.string - place.string) > 1 else ""
        strings = f"the {string_said(last, instrument)} to the {string_said(place, instrument)}"
        return f"Crossing{skipped} from {strings}{under}{hop}"
    if kind == "bow":
        return f"Lift of the bow before {pitch}"
    return f"{capital(reasons[0].words) if reasons else 'Hard note'}: {pitch}, {finger_said(place, instrument)}"


def _lead(bars: Bars, event: int) -> str:
    """The note an event is named by: its highest that is not a grace note."""
    notes = [bars.part.by_id[i] for i in bars.events[event].note_ids]
    plain = [note for note in notes if not note.grace] or notes
    return max(plain, key=lambda note: note.midi).id


def _placement(bars: Bars, plan: FingeringPlan, event: int) -> Placement | None:
    found = plan.by_id.get(_lead(bars, event))
    return found.placement if found is not None else None
