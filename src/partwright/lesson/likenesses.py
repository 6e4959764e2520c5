"""Which bars are earlier bars again: note for note, higher or lower, or but for some notes, and for which.

Method. Every event becomes a token: its place in the bar, its length, the time and interval to the next. A suffix
automaton gives every stretch of tokens that stood whole earlier (`suffixes`), in time that grows with the length of
the part, not its square. From each such stretch, longest first, the two places are laid side by side and followed bar
by bar in both directions as long as at least half of each bar agrees; a run whose notes differ in more than a quarter
is cut from its ends. A bar is told of once, as the longest run that holds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.lesson.bar_content import BarEvent, BarPair, Bars, compare_bars
from partwright.lesson.suffixes import earlier_matches
from partwright.score import Note, Part, transposed

__all__ = ["Difference", "Likeness", "find_likenesses", "likenesses_of"]

LEAST_TOKENS = 3
LEAST_BARS = 2
LEAST_NOTES = 6
LEAST_SHARE = 0.5
MOST_CHANGED = 0.25

What = Literal["pitch", "rhythm", "finger", "bow"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One place where the later bars are not the earlier ones; `bar` and `beat` are of the later ones.

    `was` and `now` are as printed: pitches ("F#3", "-" for none), lengths in quarter notes ("1/2"), fingers with their
    string ("3/D"), strokes ("down", "up"). For a transposed likeness `was` is the earlier pitch as it would be moved.
    """

    bar: str
    beat: Fraction
    was: str
    now: str
    what: What
    note_ids: tuple[str, ...] = ()  # of the later bars; empty where a note is not there
    like_ids: tuple[str, ...] = ()  # of the earlier bars


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """Bars `at` are bars `of` again, `semitones` higher, but for the differences in the music.

    `hand` are differences of finger or bow between notes that are the same in the music; they do not make it "near".
    """

    of: tuple[int, int]  # bar indices, both included
    at: tuple[int, int]
    of_bars: tuple[str, str]
    at_bars: tuple[str, str]
    kind: Literal["exact", "transposed", "near"]
    semitones: int
    differences: tuple[Difference, ...] = ()
    hand: tuple[Difference, ...] = ()
    notes: int = 0


@dataclass(frozen=True, slots=True)
class _Run:
    """Bars `first` … `last` lie `apart` bars after those they are like."""

    first: int
    last: int
    apart: int
    semitones: int


def find_likenesses(part: Part) -> tuple[Likeness, ...]:
    """Every likeness of this part, in the order of its later bars."""
    return likenesses_of(Bars(part))


def likenesses_of(bars: Bars) -> tuple[Likeness, ...]:
    """As `find_likenesses`, for a part whose events are known already."""
    pairs = _Pairs(bars)
    seeds = earlier_matches(_tokens(bars), least=LEAST_TOKENS)
    ranked = sorted(seeds, key=lambda m: (-m[2], _semitones(bars, m) != 0, m[0]))
    covered = [False] * len(bars.by_bar)
    runs: list[_Run] = []
    for whole in (True, False):  # first what stands free, then what is left between
        for seed in ranked:
            run = _run_of(bars, seed, covered, mostly_free=whole)
            if run is None:
                continue
            run = _cut(_free_part(_cut(_followed(run, pairs), pairs), covered), pairs)
            if run.last - run.first + 1 < LEAST_BARS or _notes(bars, run) < LEAST_NOTES:
                continue
            runs.append(run)
            for bar in range(run.first, run.last + 1):
                covered[bar] = True
    runs += _into_other_endings(bars, runs, pairs, covered)
    return tuple(_likeness(bars, run, pairs) for run in sorted(runs, key=lambda run: run.first))


def _into_other_endings(bars: Bars, runs: list[_Run], pairs: _Pairs, covered: list[bool]) -> list[_Run]:
    """Runs that go on in another ending: the later bars have no repeat, so one of them follows the second ending."""
    printed = bars.part.bars
    starts = [bar.index for bar in printed if bar.ending_starts]
    found = []
    for run in runs:
        after, at = run.last - run.apart + 1, run.last + 1
        if after >= len(printed) or at >= len(printed) or not printed[after].endings or covered[at]:
            continue
        others = [start for start in starts if start > after][:1] if printed[after].ending_starts else []
        for start in others:
            last = at
            onward = _Run(at, at, at - start, run.semitones)
            while (
                last < len(printed)
                and not covered[last]
                and printed[last - onward.apart].endings == printed[start].endings
                and last - onward.apart < at
                and pairs.share(last, onward)[0] >= LEAST_SHARE
            ):
                covered[last] = True
                last += 1
            if last > at:
                found.append(_Run(at, last - 1, onward.apart, run.semitones))
    return found


class _Pairs:
    """Comparisons of bars, each distinct one made once: bars with equal content share them."""

    def __init__(self, bars: Bars) -> None:
        self._bars = bars
        content: dict[tuple[object, ...], int] = {}
        self._content = [
            content.setdefault(
                tuple((e.offset_quarters, e.duration_quarters, e.midi, e.grace_midi) for e in events), len(content)
            )
            for events in bars.by_bar
        ]
        self._known: dict[tuple[int, int, int], tuple[float, int]] = {}

    def share(self, bar: int, run: _Run) -> tuple[float, int]:
        """How much of this bar agrees with the one it is like, and how many of its events do not."""
        earlier = bar - run.apart
        key = (self._content[earlier], self._content[bar], run.semitones)
        found = self._known.get(key)
        if found is None:
            pair = self.pair(bar, run)
            found = self._known[key] = (pair.share, len(pair.changed))
        return found

    def pair(self, bar: int, run: _Run) -> BarPair:
        by_bar = self._bars.by_bar
        return compare_bars(by_bar[bar - run.apart], by_bar[bar], semitones=run.semitones)

    def empty(self, bar: int, run: _Run) -> bool:
        by_bar = self._bars.by_bar
        return not by_bar[bar] and not by_bar[bar - run.apart]

    def upbeat(self, bar: int, run: _Run) -> bool:
        """Whether the bar or the one it is like is a pick-up: it goes with the bars after it, it is not one of them."""
        bars = self._bars.part.bars
        return bars[bar].pickup or bars[bar - run.apart].pickup


def _tokens(bars: Bars) -> list[object]:
    events = bars.events
    tokens: list[object] = []
    for event, following in zip(events, [*events[1:], None], strict=True):
        low = event.midi[0]
        tokens.append(
            (
                event.offset_quarters,
                event.duration_quarters,
                tuple(pitch - low for pitch in event.midi),
                tuple(pitch - low for pitch in event.grace_midi),
                None if following is None else following.onset_quarters - event.onset_quarters,
                None if following is None else following.midi[0] - low,
            )
        )
    return tokens


def _semitones(bars: Bars, seed: tuple[int, int, int]) -> int:
    return bars.events[seed[0]].midi[0] - bars.events[seed[1]].midi[0]


def _run_of(bars: Bars, seed: tuple[int, int, int], covered: list[bool], *, mostly_free: bool) -> _Run | None:
    """The bars a seed touches, less those at its ends that are told of already; None where nothing is left (with
    `mostly_free`, where that is less than half), or where the two places would overlap."""
    first, earlier, length = seed
    start, stop = bars.events[first].bar_index, bars.events[first + length - 1].bar_index
    apart = start - bars.events[earlier].bar_index
    touched = stop - start + 1
    while start <= stop and covered[start]:
        start += 1
    while start <= stop and covered[stop]:
        stop -= 1
    stop = min(stop, start + apart - 1)
    if start > stop or apart < 1 or (mostly_free and 2 * (stop - start + 1) < touched):
        return None
    return _Run(start, stop, apart, _semitones(bars, seed))


def _followed(run: _Run, pairs: _Pairs) -> _Run:
    """The run followed bar by bar in both directions while bars agree, its own ends cut where they do not."""
    first, last = run.first, run.last
    while first <= last and pairs.share(first, run)[0] < LEAST_SHARE:
        first += 1
    while first <= last and pairs.share(last, run)[0] < LEAST_SHARE:
        last -= 1
    if first > last:
        return _Run(first, last, run.apart, run.semitones)
    bars = len(pairs._content)
    while last + 1 < bars and last + 1 - first < run.apart and pairs.share(last + 1, run)[0] >= LEAST_SHARE:
        last += 1
    while first - 1 - run.apart >= 0 and last - first + 1 < run.apart and pairs.share(first - 1, run)[0] >= LEAST_SHARE:
        first -= 1
    return _Run(first, last, run.apart, run.semitones)


def _cut(run: _Run, pairs: _Pairs) -> _Run:
    """The run without empty bars at its ends, and cut from the worse end until few enough of its notes differ."""
    first, last = run.first, run.last
    counts = {bar: (len(pairs._bars.by_bar[bar]), pairs.share(bar, run)[1]) for bar in range(first, last + 1)}
    notes = sum(n for n, _ in counts.values())
    changed = sum(c for _, c in counts.values())
    while first <= last:
        if pairs.empty(first, run):
            drop = first
        elif pairs.empty(last, run):
            drop = last
        elif pairs.upbeat(first, run):
            drop = first
        elif changed > MOST_CHANGED * notes:
            drop = (
                first
                if counts[first][1] * max(1, counts[last][0]) > counts[last][1] * max(1, counts[first][0])
                else last
            )
        else:
            break
        notes -= counts[drop][0]
        changed -= counts[drop][1]
        first, last = (first + 1, last) if drop == first else (first, last - 1)
    return _Run(first, last, run.apart, run.semitones)


def _free_part(run: _Run, covered: list[bool]) -> _Run:
    """The longest piece of the run of which nothing has been told yet."""
    best = (run.first, run.first - 1)
    start = run.first
    for bar in range(run.first, run.last + 2):
        if bar > run.last or covered[bar]:
            if bar - start > best[1] - best[0] + 1:
                best = (start, bar - 1)
            start = bar + 1
    return _Run(best[0], best[1], run.apart, run.semitones)


def _notes(bars: Bars, run: _Run) -> int:
    return sum(len(bars.by_bar[bar]) for bar in range(run.first, run.last + 1))


def _likeness(bars: Bars, run: _Run, pairs: _Pairs) -> Likeness:
    differences = []
    for bar in range(run.first, run.last + 1):
        for was, now in pairs.pair(bar, run).changed:
            differences += _differences(bars, bar, was, now, run)
    kind: Literal["exact", "transposed", "near"] = "near" if differences else "transposed" if run.semitones else "exact"
    numbers = [bar.number for bar in bars.part.bars]
    of = (run.first - run.apart, run.last - run.apart)
    return Likeness(
        of=of,
        at=(run.first, run.last),
        of_bars=(numbers[of[0]], numbers[of[1]]),
        at_bars=(numbers[run.first], numbers[run.last]),
        kind=kind,
        semitones=run.semitones,
        differences=tuple(differences),
        notes=_notes(bars, run),
    )


def _differences(bars: Bars, bar: int, was: BarEvent | None, now: BarEvent | None, run: _Run) -> list[Difference]:
    number = bars.part.bars[bar].number
    beat = now.beat if now is not None else was.beat if was is not None else Fraction(1)
    like_ids = was.note_ids if was is not None else ()
    note_ids = now.note_ids if now is not None else ()
    earlier = _pitches(bars.part.by_id, was, run.semitones)
    later = _pitches(bars.part.by_id, now, 0)
    found = []

    def add(what: What, before: str, after: str) -> None:
        found.append(
            Difference(bar=number, beat=beat, was=before, now=after, what=what, note_ids=note_ids, like_ids=like_ids)
        )

    if was is None or now is None:
        add("rhythm", earlier, later)
        return found
    moved = tuple(p + run.semitones for p in was.midi), tuple(p + run.semitones for p in was.grace_midi)
    if moved != (now.midi, now.grace_midi):
        add("pitch", earlier, later)
    if was.duration_quarters != now.duration_quarters:
        add("rhythm", str(was.duration_quarters), str(now.duration_quarters))
    return found


def _pitches(by_id: Mapping[str, Note], event: BarEvent | None, semitones: int) -> str:
    if event is None:
        return "-"
    names = []
    for note_id in event.note_ids:
        pitch = by_id[note_id].pitch
        names.append(transposed(pitch, None, semitones).name if semitones else pitch.name)
    return " ".join(names)
