"""What each stroke and each move costs, as tables over directions and places on the bow.

Method: what matters about a stroke (wanted length, metre, accent, arm) and about a move (time to lift, pairing,
crossing) is rounded and gathered into kinds; a matrix is computed once for every kind. A stroke's matrix is
`(2, places, places)`: direction, where it starts, where it ends. A move's is `(2·places, 2·places)`: direction and
place before, direction and place after. Costs are whole numbers of `1/UNIT`, so that equal is equal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import exp
from typing import NamedTuple

import numpy as np

from partwright.bowing.grouping import Strokes, metric_place
from partwright.bowing.terms import BowLevel
from partwright.score import Bar, Note, Part

__all__ = [
    "FORBIDDEN",
    "UNIT",
    "BowGrid",
    "MoveKind",
    "StrokeKind",
    "move_costs",
    "move_terms",
    "stroke_costs",
    "stroke_kinds",
    "stroke_terms",
    "way_taken",
]

UNIT = 2048
"""Costs are held as whole numbers of 1/UNIT."""
FORBIDDEN = 1 << 26
"""What a forbidden stroke costs, in units: more than any passage, less than half of what 32 bits hold."""

_SHAKEN_MM = 40.0  # what an unmeasured tremolo uses of the hair; from memory
_UNHEARD_MM = 15.0  # more or less bow than wanted by so little is not heard; from memory
_SOFTEN_MM = 25.0  # keeps the ratio of very short strokes within reason


class StrokeKind(NamedTuple):
    """All that matters about one stroke by itself. Lengths in mm, times in seconds."""

    wanted_mm: float
    seconds: float
    dynamic: float
    metre: int  # 3 first beat of the bar, 2 middle strong beat, 1 other beat, 0 between the beats
    accent: float  # 0 none, 1 accent, 1.5 marcato
    home: float  # where on the bow it lies best
    arm: int  # strings crossed under it: positive where natural in a down-bow
    strings_beyond_two: int
    leaves: str  # "same", "flip" (measured tremolo, even number) or "free" (unmeasured)
    opens: bool  # a section begins with it, on the first beat of a bar
    pin: int  # 0 none, 1 down, 2 up


class MoveKind(NamedTuple):
    """All that matters about the way from one stroke to the next."""

    gap_seconds: float
    before_seconds: float
    phrase: bool
    dotted: bool
    short: bool
    long: bool
    free: bool  # after an unmeasured tremolo
    crossing: int  # strings, positive where natural from up to down
    hurry: float  # 0 slow … 1 very fast
    retake: int  # 0 open, 1 pinned, 2 forbidden


@dataclass(frozen=True)
class BowGrid:
    """Places on the bow, from frog to tip, at equal distances."""

    cells: int
    hair_mm: float

    @cached_property
    def places(self) -> np.ndarray:
        """Fractions of the hair. Shape (places,)."""
        return np.linspace(0.0, 1.0, self.cells + 1)

    @property
    def count(self) -> int:
        return self.cells + 1


def stroke_kinds(
    part: Part,
    strokes: Strokes,
    *,
    strings: Mapping[str, int] | None,
    arm_sign: int,
    level: BowLevel,
    hair_mm: float,
    phrase_starts: frozenset[str],
    pins: Mapping[int, int],
    retakes: Mapping[int, int],
) -> tuple[list[StrokeKind], list[MoveKind], list[MoveKind], list[bool]]:
    """The kind of every stroke, of the move to it from the stroke written before it, of every join, and whether a
    section starts with it.

    `strings` maps note ids to string indices (0 = lowest) where a fingering is known; `arm_sign` is +1 where the lower
    string is naturally taken up-bow (cello, bass), -1 for violin and viola.
    """
    notes, bars = part.notes, part.bars
    kinds: list[StrokeKind] = []
    span = 0.97 * hair_mm
    ends: list[tuple[int, int]] = []  # string at the start and at the end of each stroke, -1 unknown
    sections: list[bool] = []
    short: list[bool] = []
    speed_range = level.speed_ff_mm_s - level.speed_pp_mm_s
    durations = strokes.duration_seconds.tolist()
    for s, group in enumerate(strokes.groups):
        note = notes[group.heads[0]]
        bar = bars[note.bar_index]
        seconds = durations[s]
        speed, accent, home = level.speed_pp_mm_s + note.dynamic * speed_range, 0.0, 0.5
        if note.articulations:
            factor, accent, home = _by_signs(note.articulations)
            speed *= factor
        if seconds < 0.25 and home == 0.5:
            home = 0.55
        count, leaves = _shaken(note, group.heads) if note.tremolo else (1, "same")
        # Long notes are drawn slower the longer they are: the length nears the whole hair and never leaves it.
        wanted = _SHAKEN_MM if leaves == "free" else span * (1.0 - exp(-speed * seconds / count / span))
        first_string = last_string = -1
        arm = beyond = 0
        if strings is not None:
            path = [at for index in group.heads if (at := strings.get(notes[index].id, -1)) >= 0]
            if path:
                first_string, last_string = path[0], path[-1]
                arm = arm_sign * sum(b - a for a, b in pairwise(path))
                beyond = max(0, len(set(path)) - 2)
        ends.append((first_string, last_string))
        sections.append(s == 0 or _starts_section(note, part, strokes, s))
        metre = _metre(note, bar, bars[note.bar_index - 1] if note.bar_index else None)
        kinds.append(
            StrokeKind(
                wanted_mm=round(wanted / 2) * 2.0,
                seconds=round(seconds, 2) or 0.01,
                dynamic=round(note.dynamic, 2),
                metre=metre,
                accent=accent,
                home=home,
                arm=max(-3, min(3, arm)),
                strings_beyond_two=beyond,
                leaves=leaves,
                opens=metre == 3 and sections[s],
                pin=pins.get(s, 0),
            )
        )
        short.append(len(group.heads) == 1 and seconds < 0.35)
    gaps = strokes.gap_seconds.tolist()

    def move(a: int, b: int, gap: float) -> MoveKind:
        before, after = notes[strokes.groups[a].heads[-1]], notes[strokes.groups[b].heads[0]]
        crossing = 0
        if ends[a][1] >= 0 and ends[b][0] >= 0:
            crossing = max(-3, min(3, arm_sign * (ends[b][0] - ends[a][1])))
        longer, shorter = before.duration_quarters, after.duration_quarters
        single = len(strokes.groups[a].heads) == 1 and len(strokes.groups[b].heads) == 1
        quickest = min(durations[a], durations[b])
        phrase = sections[b] or before.fermata or before.breath_after or after.id in phrase_starts
        return MoveKind(
            gap_seconds=round(min(gap + (level.phrase_breath_seconds if phrase else 0.0), 2.0), 2),
            before_seconds=round(min(durations[a], 4.0), 2),
            phrase=phrase,
            dotted=single and gap < 0.05 and longer == 3 * shorter,
            short=short[a] and short[b] and gap < 0.05,
            long=quickest >= 0.5,
            free=kinds[a].leaves == "free",
            crossing=crossing,
            hurry=round(max(0.0, min(1.0, (0.45 - quickest) / 0.35)), 1) if crossing else 0.0,
            retake=retakes.get(b, 0),
        )

    moves = [move(max(s - 1, 0), s, gaps[s]) for s in range(len(kinds))]
    joins = [move(join.before, join.after, join.gap_seconds) for join in strokes.joins]
    return kinds, moves, joins, sections


def _by_signs(signs: frozenset[str]) -> tuple[float, float, float]:
    """What articulation signs do: factor of the speed, strength of the accent, place on the bow where it lies best."""
    factor, accent, home = 1.0, 0.0, 0.5
    if signs & {"staccato", "staccatissimo", "spiccato"}:
        factor, home = 0.6, 0.35 if "spiccato" in signs else 0.55
    elif signs & {"tenuto", "detached-legato"}:
        factor = 1.1
    if signs & {"accent", "strong-accent"}:
        factor, accent = factor * 1.15, 1.5 if "strong-accent" in signs else 1.0
    return factor, accent, home


def _shaken(note: Note, heads: tuple[int, ...]) -> tuple[int, str]:
    """How many strokes a tremolo sign makes of a note, and how it leaves the direction. Three slashes: unmeasured."""
    if note.tremolo >= 3:
        return 1, "free"
    if len(heads) > 1:
        return 1, "same"
    count = max(1, round(float(note.duration_quarters) * 2**note.tremolo))
    return count, "flip" if count % 2 == 0 else "same"


def _metre(note: Note, bar: Bar, before: Bar | None) -> int:
    """How strong a note's place in the bar is; see `StrokeKind.metre`."""
    place, nominal = metric_place(note, bar, before)
    if place < 1e-6:
        return 3
    beat = 4.0 / bar.beat_type
    beats = bar.beats
    if beats > 3 and beats % 3 == 0 and bar.beat_type >= 8:
        beat, beats = 3 * beat, beats // 3
    at = place / beat
    if abs(at - round(at)) > 1e-6:
        return 0
    return 2 if beats % 2 == 0 and abs(place - nominal / 2) < 1e-6 else 1


def _starts_section(note: Note, part: Part, strokes: Strokes, s: int) -> bool:
    bar = part.bars[note.bar_index]
    previous = part.notes[strokes.groups[s - 1].heads[0]]
    if previous.bar_index == note.bar_index:
        return False
    before = part.bars[note.bar_index - 1]
    return bool(bar.rehearsal or bar.repeat_start or bar.segno or bar.coda or before.repeat_end or before.double_bar)


def stroke_terms(kind: StrokeKind, grid: BowGrid, level: BowLevel) -> dict[str, np.ndarray]:
    """How much of each term a stroke of this kind counts. Each array broadcasts to (2, places, places)."""
    x = grid.places
    start, end = x[:, None], x[None, :]
    used_mm = np.abs(end - start) * grid.hair_mm
    middle = (start + end) / 2
    up = np.array([0.0, 1.0])[:, None, None]
    octaves = np.log2((kind.wanted_mm + _SOFTEN_MM) / (used_mm + _UNHEARD_MM + _SOFTEN_MM))
    speed_excess = (used_mm - _UNHEARD_MM - kind.wanted_mm) / 1000.0 / kind.seconds
    terms = {
        "slower_than_wanted": np.maximum(octaves, 0.0) ** 2,
        "faster_than_wanted": np.maximum(speed_excess, 0.0) ** 2,
        "outside_region": np.maximum(level.hair_low - np.minimum(start, end), 0.0)
        + np.maximum(np.maximum(start, end) - level.hair_high, 0.0),
        "away_from_home": (middle - kind.home) ** 2,
        "loud_at_tip": np.maximum((kind.dynamic - 0.55) * (middle - 0.5), 0.0),
    }
    if kind.metre:
        terms[("up_on_beat", "up_on_half_bar", "up_on_bar_start")[kind.metre - 1]] = up
    else:
        terms["down_off_beat"] = 1.0 - up
    if kind.opens:
        terms["up_at_section_start"] = up
    if kind.accent:
        terms["up_on_accent"] = kind.accent * up
        terms["accent_at_tip"] = kind.accent * np.maximum(start - 0.5, 0.0)
    if kind.dynamic > 0.55:
        terms["up_long_loud"] = up * min(kind.seconds, 4.0) * (kind.dynamic - 0.55)
    if kind.strings_beyond_two:
        terms["strings_in_slur"] = np.array(min(1.0, 0.5 / kind.seconds) * kind.strings_beyond_two)
    if kind.arm:
        natural = np.array([kind.arm, -kind.arm], dtype=float)[:, None, None]
        terms["slur_against_arm"] = np.maximum(-natural, 0.0)
    return terms


def stroke_costs(kind: StrokeKind, grid: BowGrid, level: BowLevel, weights: Mapping[str, float]) -> np.ndarray:
    """The price of a stroke of this kind in units. Shape (2, places, places), FORBIDDEN where it cannot be."""
    total = np.zeros((2, grid.count, grid.count))
    for name, amount in stroke_terms(kind, grid, level).items():
        total += weights[name] * amount
    costs = np.rint(total * UNIT).astype(np.int32)
    x = grid.places
    costs[0][x[:, None] > x[None, :]] = FORBIDDEN
    costs[1][x[:, None] < x[None, :]] = FORBIDDEN
    if kind.pin:
        costs[2 - kind.pin] = FORBIDDEN
    return costs


def move_terms(kind: MoveKind, grid: BowGrid, level: BowLevel) -> dict[str, dict[str, np.ndarray]]:
    """How much of each term a move of this kind counts, by the way it is made.

    Ways: "turn" (the direction changes where the bow is), "hook" (it goes on in the same direction), "retake"
    (lifted and set again in the same direction), "reset" (set elsewhere, the direction changes). Arrays are
    (places, places), place before and after; the crossing, which depends on the two directions, is in `move_costs`.
    """
    x = grid.places
    far_mm = np.abs(x[:, None] - x[None, :]) * grid.hair_mm
    needed = level.lift_seconds + far_mm / level.lift_mm_s
    lost = np.maximum(needed - kind.gap_seconds, 0.0)
    cut = np.minimum(lost / kind.before_seconds, 2.0)
    one = np.ones_like(far_mm)
    hurried = np.minimum(lost / level.lift_seconds, 1.0)
    lift = {"note_cut_short": cut, "lift_in_rest": 1.0 - hurried}
    retake = "retake_at_phrase" if kind.phrase else "retake"
    hook = "hook_dotted" if kind.dotted else "hook_short" if kind.short else "hook_long" if kind.long else "hook"
    hooked = {hook: one}
    if kind.crossing:
        hooked["hook_across_strings"] = one * abs(kind.crossing) * kind.hurry
    return {
        "turn": {},
        "hook": {} if kind.free else hooked,
        "retake": {retake: hurried, **lift},
        "reset": {"set_elsewhere": hurried, **lift},
    }


def move_ways(kind: MoveKind, grid: BowGrid, level: BowLevel, weights: Mapping[str, float]) -> dict[str, np.ndarray]:
    """The price of each way of making this move, crossing left out. Shape (places, places)."""
    ways = {}
    for way, terms in move_terms(kind, grid, level).items():
        total = np.zeros((grid.count, grid.count))
        for name, amount in terms.items():
            total += weights[name] * amount
        ways[way] = total
    away = ~np.eye(grid.count, dtype=bool)
    for way in ("turn", "hook"):
        ways[way][away] = np.inf
    if kind.retake == 1:
        for way in ("turn", "hook", "reset"):
            ways[way] = np.full_like(ways[way], FORBIDDEN / UNIT)
    elif kind.retake == 2:
        for way in ("retake", "reset"):
            ways[way] = ways[way] + FORBIDDEN / UNIT
    return ways


def hook_down_amount() -> np.ndarray:
    """How much of `hook_down` a hook counts, by direction before and after. Shape (2, 2)."""
    return np.array([[1.0, 0.0], [0.0, 0.0]])


def way_taken(
    kind: MoveKind,
    grid: BowGrid,
    level: BowLevel,
    weights: Mapping[str, float],
    came: tuple[int, int],
    goes: tuple[int, int],
) -> str:
    """The cheapest way to make this move: "turn", "hook", "retake" or "reset".

    `came` and `goes` are direction and place (an index) before and after.
    """
    ways = {way: float(prices[came[1], goes[1]]) for way, prices in move_ways(kind, grid, level, weights).items()}
    if not kind.free:
        ways["hook"] += weights["hook_down"] * float(hook_down_amount()[came[0], goes[0]])
    return min(("hook", "retake") if came[0] == goes[0] else ("turn", "reset"), key=ways.__getitem__)


def crossing_amount(kind: MoveKind) -> np.ndarray:
    """How much of `fast_crossing_against_arm` counts, by direction before and after. Shape (2, 2)."""
    amount = np.zeros((2, 2))
    if kind.crossing:
        # Natural: from an up-bow on the lower string to a down-bow on the higher one, and back.
        against = (0, 1) if kind.crossing > 0 else (1, 0)
        amount[against] = abs(kind.crossing) * kind.hurry
    return amount


def move_costs(kind: MoveKind, grid: BowGrid, level: BowLevel, weights: Mapping[str, float]) -> np.ndarray:
    """The price of a move of this kind in units. Shape (2·places, 2·places)."""
    ways = move_ways(kind, grid, level, weights)
    other = np.minimum(ways["turn"], ways["reset"])
    crossing = weights["fast_crossing_against_arm"] * crossing_amount(kind)
    n = grid.count
    total = np.empty((2, n, 2, n))
    hook_down = weights["hook_down"] * hook_down_amount()
    for before in (0, 1):
        for after in (0, 1):
            hooked = ways["hook"] + (0.0 if kind.free else hook_down[before, after])
            way = np.minimum(hooked, ways["retake"]) if before == after else other
            total[before, :, after, :] = way + crossing[before, after]
    units = np.rint(np.minimum(total, FORBIDDEN / UNIT) * UNIT).astype(np.int32)
    return np.asarray(units.reshape(2 * n, 2 * n))
