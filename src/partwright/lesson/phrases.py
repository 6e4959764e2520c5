"""Where a phrase ends: a rest, a long note, the metre, and what begins again as it began before.

Method. Every place between two events gets a strength, a weighted sum of what speaks for a phrase ending there;
every stretch between two such places gets a weight for its length. The best cut is found exactly by dynamic
programming, as in Temperley's Grouper (The Cognition of Basic Musical Structures, 2001, ch. 3: gaps, phrase length,
metrical parallelism). One of the strengths is the local boundary of Cambouropoulos (2001, "The Local Boundary
Detection Model"). The weights are learnt from folk songs with phrase marks (docs/lesson.md) and lie in
`data/phrases.toml`. What the page says outright (a breath mark, a repeat sign, a slur) is not weighed but kept.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from partwright.lesson.bar_content import BarEvent, Bars
from partwright.score import Part

__all__ = [
    "PLACE_TERMS",
    "STRETCH_TERMS",
    "Phrase",
    "PhraseFinder",
    "best_cuts",
    "find_phrases",
    "local_boundaries",
    "place_amounts",
    "stretch_amounts",
]

Floats = NDArray[np.float64]

PLACE_TERMS = (
    "cut", "rest", "rest_beats", "long", "local_boundary", "leap", "starts_as_tune", "last_on_downbeat",
    "rhythm_again", "melody_again", "rhythm_stood_before", "last_on_final", "last_of_bar",
)  # fmt: skip
STRETCH_TERMS = ("whole_bars", "two_bars", "four_bars", "length_notes", "length_beats")
MOST_NOTES = 40
"""Longest stretch weighed, in events; a longer one is cut by force, and that is never the best of a sung line."""

_NEVER, _ALWAYS = -1e6, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """Events `first` … `last` of a part, both included, and the notes they begin and end with."""

    first: int
    last: int
    first_note_id: str
    last_note_id: str
    first_bar: int  # bar indices
    last_bar: int
    first_beat: Fraction
    last_beat: Fraction


def find_phrases(bars: Bars, *, section_starts: Iterable[int] = ()) -> tuple[Phrase, ...]:
    """The phrases of a part. `section_starts` are bar indices at which a phrase must begin, its upbeat before it."""
    return PhraseFinder(bars).find(section_starts)


class PhraseFinder:
    """A part's places and stretches weighed once, to be cut more than once."""

    def __init__(self, bars: Bars) -> None:
        self._bars = bars
        weights = phrase_weights()
        self._strengths = place_amounts(bars) @ np.array([weights[name] for name in PLACE_TERMS])
        self._stretches = stretch_amounts(bars) @ np.array([weights[name] for name in STRETCH_TERMS])

    def find(self, section_starts: Iterable[int] = ()) -> tuple[Phrase, ...]:
        """As `find_phrases`."""
        events = self._bars.events
        if not events:
            return ()
        cuts = best_cuts(self._strengths + _said_by_the_page(self._bars, section_starts), self._stretches)
        starts = [0, *(k + 1 for k in cuts)]
        ends = [*cuts, len(events) - 1]
        return tuple(_phrase(events, first, last) for first, last in zip(starts, ends, strict=True))


@cache
def phrase_weights() -> dict[str, float]:
    """The weight of each term, from the table."""
    text = (resources.files("partwright.lesson") / "data" / "phrases.toml").read_text(encoding="utf-8")
    return {name: float(row["weight"]) for name, row in tomllib.loads(text).items()}


def best_cuts(strengths: Floats, stretches: Floats) -> tuple[int, ...]:
    """The cuts that weigh most in all: k stands for the place after event k. Exact.

    `strengths` has one value for each place between two of n events, (n - 1,); `stretches[k, l]` is the weight of the
    stretch of l + 1 events that ends with event k, (n, most events).
    """
    count, most = stretches.shape
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    came = np.zeros(count + 1, np.int64)
    for end in range(count):
        lengths = np.arange(min(end + 1, most))
        start = end - lengths
        total = best[start] + stretches[end, : len(lengths)]
        chosen = int(np.argmax(total))
        best[end + 1] = total[chosen] + (strengths[end] if end < count - 1 else 0.0)
        came[end + 1] = end - chosen
    cuts = []
    at = count
    while at > 0:
        at = int(came[at])
        if at > 0:
            cuts.append(at - 1)
    return tuple(reversed(cuts))


def place_amounts(bars: Bars) -> Floats:
    """Each term of each place between two events, (events - 1, terms)."""
    events = bars.events
    count = len(events)
    if count < 2:
        return np.zeros((0, len(PLACE_TERMS)))
    onset, length, pitch = _arrays(events)
    ioi = np.diff(onset)
    beat, downbeat, same_phase, last_of_bar = _metre(bars)
    rest = np.maximum(0.0, ioi - length[:-1])
    usual = max(float(np.median(ioi)), 1e-6)
    steps = np.abs(np.diff(pitch))
    around = (np.append([steps[0]], steps[:-1]) + np.append(steps[1:], steps[-1])) / 2
    again_rhythm, again_melody = _as_at_start(ioi, pitch)
    columns = {
        "cut": np.ones(count - 1),
        "rest": (rest > 0).astype(float),
        "rest_beats": np.minimum(2.0, rest / beat[:-1]),
        "long": _log2(ioi / usual),
        "local_boundary": local_boundaries(ioi, rest, pitch),
        "leap": np.clip((steps - around) / 12, -1, 1),
        "starts_as_tune": same_phase[1:],
        "last_on_downbeat": downbeat[:-1],
        "rhythm_again": again_rhythm,
        "melody_again": again_melody,
        "rhythm_stood_before": _stood_before(ioi),
        "last_on_final": (np.mod(pitch[:-1] - pitch[-1], 12) == 0).astype(float),
        "last_of_bar": last_of_bar[:-1],
    }
    return np.stack([columns[name] for name in PLACE_TERMS], axis=1)


def stretch_amounts(bars: Bars) -> Floats:
    """Each term of every stretch that ends with each event, by its length in events less one, (events, most, terms)."""
    events = bars.events
    count = len(events)
    most = min(MOST_NOTES, count)
    if not count:
        return np.zeros((0, 0, len(STRETCH_TERMS)))
    onset, length, _ = _arrays(events)
    beat, *_ = _metre(bars)
    bar_length = np.array([float(bars.part.bars[e.bar_index].nominal_quarters) or 4.0 for e in events])
    ends = np.append(onset[1:], onset[-1] + length[-1])
    index = np.arange(count)[:, None] - np.arange(most)[None, :]
    valid = index >= 0
    start = np.where(valid, index, 0)
    quarters = ends[:, None] - onset[start]
    in_bars = quarters / bar_length[start]
    whole = np.abs(in_bars - np.round(in_bars)) < 1e-6
    notes = np.arange(1, most + 1)[None, :] * np.ones((count, 1))
    columns = {
        "whole_bars": whole.astype(float),
        "two_bars": (whole & (np.round(in_bars) == 2)).astype(float),
        "four_bars": (whole & (np.round(in_bars) == 4)).astype(float),
        "length_notes": np.log2(notes / 9) ** 2,
        "length_beats": np.log2(np.maximum(quarters / beat[start], 0.1) / 8) ** 2,
    }
    found = np.stack([columns[name] for name in STRETCH_TERMS], axis=2)
    found[~valid] = 0.0
    return found


def local_boundaries(ioi: Floats, rest: Floats, pitch: Floats) -> Floats:
    """Local boundary strength of each place between two events, 0 to 1, (events - 1,).

    Source: Cambouropoulos 2001, LBDM: strength = interval x (change to the one before + to the one after), degree of
    change |a - b| / (a + b); weights 0.25 pitch, 0.5 inter-onset interval, 0.25 rest.
    """
    total = np.zeros(len(ioi))
    for weight, values in ((0.25, np.abs(np.diff(pitch))), (0.5, ioi), (0.25, rest)):
        change = np.zeros(len(values) + 1)
        both = values[:-1] + values[1:]
        change[1:-1] = np.where(both > 0, np.abs(values[:-1] - values[1:]) / np.where(both > 0, both, 1), 0.0)
        strength = values * (change[:-1] + change[1:])
        if strength.max(initial=0.0) > 0:
            total += weight * strength / strength.max()
    return total


def _arrays(events: Sequence[BarEvent]) -> tuple[Floats, Floats, Floats]:
    onset = np.array([float(e.onset_quarters) for e in events])
    length = np.array([float(e.duration_quarters) for e in events])
    pitch = np.array([float(e.midi[-1]) for e in events])
    return onset, length, pitch


def _metre(bars: Bars) -> tuple[Floats, Floats, Floats, Floats]:
    """Of each event: the length of its beat in quarters, whether it is on the downbeat, whether it stands in the bar
    where the tune's first event stands, and whether it is the last of its bar."""
    printed = bars.part.bars
    beat, downbeat, phase, last = [], [], [], []
    first = bars.events[0]
    for index, event in enumerate(bars.events):
        bar = printed[event.bar_index]
        compound = bar.beats > 3 and bar.beats % 3 == 0 and bar.beat_type >= 8
        beat.append(4.0 / bar.beat_type * (3 if compound else 1))
        downbeat.append(float(bar.metre_given and event.offset_quarters == 0))
        phase.append(float(bar.metre_given and event.offset_quarters == first.offset_quarters))
        following = bars.events[index + 1] if index + 1 < len(bars.events) else None
        last.append(float(following is None or following.bar_index != event.bar_index))
    return np.array(beat), np.array(downbeat), np.array(phase), np.array(last)


def _log2(ratio: Floats) -> Floats:
    return np.clip(np.log2(np.maximum(ratio, 1e-6)), -2.0, 2.0)


def _as_at_start(ioi: Floats, pitch: Floats) -> tuple[Floats, Floats]:
    """How far the rhythm and the melody after each place go as those at the start of the tune, 0 to 1."""
    rhythm, melody = np.zeros(len(ioi)), np.zeros(len(ioi))
    steps = np.diff(pitch)
    for place in range(len(ioi)):
        begin = place + 1
        for k in range(4):
            if begin + k >= len(ioi) or ioi[begin + k] != ioi[k]:
                break
            rhythm[place] += 0.25
        for k in range(3):
            if begin + k >= len(steps) or steps[begin + k] != steps[k]:
                break
            melody[place] += 1 / 3
    return rhythm, melody


def _stood_before(ioi: Floats) -> Floats:
    """Whether the next four lengths, as they follow this one, stood earlier in the tune after a longer note. 0 or 1."""
    found = np.zeros(len(ioi))
    seen: set[tuple[float, ...]] = set()
    for place in range(len(ioi)):
        following = tuple(ioi[place + 1 : place + 5])
        if len(following) == 4:
            found[place] = float(following in seen)
        if place == 0 or ioi[place] > ioi[place - 1]:
            seen.add(following)
    return found


def _said_by_the_page(bars: Bars, section_starts: Iterable[int]) -> Floats:
    """What is not weighed: breath marks, repeat signs and sections part phrases; slurs hold them together."""
    events, part = bars.events, bars.part
    found = np.zeros(max(0, len(events) - 1))
    starts = set(section_starts) | _repeat_starts(part)
    endings = {bar.index for bar in part.bars if bar.ending_starts and 1 not in bar.endings}
    for place in range(len(found)):
        last, following = events[place], events[place + 1]
        notes = [part.by_id[note_id] for note_id in last.note_ids]
        crossed = range(last.bar_index + 1, following.bar_index + 1)
        if any(note.slurred_to_next for note in notes):
            found[place] = _NEVER
        if (
            any(note.breath_after for note in notes)
            or any(bar in endings for bar in crossed)
            or (found[place] == 0.0 and any(bar in starts and not _upbeat_before(bars, bar) for bar in crossed))
            or (not crossed and following.bar_index + 1 in starts - endings and _begins_upbeat(bars, place))
        ):
            found[place] = _ALWAYS
    return found


def _repeat_starts(part: Part) -> set[int]:
    """Bars at which what is played may begin anew: after a repeat sign or at one."""
    starts = {bar.index for bar in part.bars if bar.repeat_start}
    for bar in part.bars[:-1]:
        if bar.repeat_end and not part.bars[bar.index + 1].ending_starts:
            starts.add(bar.index + 1)
    return starts


def _upbeat_quarters(bars: Bars) -> Fraction:
    """How long the tune's own upbeat is; 0 where it begins on the downbeat."""
    first = bars.events[0]
    bar = bars.part.bars[first.bar_index]
    return bar.end_quarters - first.onset_quarters if first.offset_quarters > 0 and bar.index == 0 else Fraction(0)


def _begins_upbeat(bars: Bars, place: int) -> bool:
    """Whether the event after this place is an upbeat like the tune's own to the bar that follows."""
    upbeat = _upbeat_quarters(bars)
    following = bars.events[place + 1]
    bar = bars.part.bars[following.bar_index]
    return upbeat > 0 and bar.end_quarters - following.onset_quarters == upbeat


def _upbeat_before(bars: Bars, bar: int) -> bool:
    """Whether the phrase that holds the start of `bar` begins before it, with an upbeat like the tune's own."""
    upbeat = _upbeat_quarters(bars)
    if not upbeat or bar == 0:
        return False
    wanted = bars.part.bars[bar].start_quarters - upbeat
    return any(event.onset_quarters == wanted for event in bars.by_bar[bar - 1])


def _phrase(events: Sequence[BarEvent], first: int, last: int) -> Phrase:
    one, two = events[first], events[last]
    return Phrase(
        first=first,
        last=last,
        first_note_id=one.note_ids[0],
        last_note_id=two.note_ids[-1],
        first_bar=one.bar_index,
        last_bar=two.bar_index,
        first_beat=one.beat,
        last_beat=two.beat,
    )
