"""From a recording to what is heard in it: the tuning, the walk through the score, and every note's beginning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from partwright.checking.take.events import ScoreEvent
from partwright.checking.take.follow import FRAME_S, Stretch, Walk, follow
from partwright.checking.take.onsets import FINE_HOP, FINE_S, at_the_foot, place_onsets
from partwright.checking.take.read_recording import Recording
from partwright.checking.take.spectra import (
    Hearing,
    estimate_tuning,
    frames_of,
    magnitudes_of,
    onset_strength,
    pitch_sets,
)

__all__ = ["Attempt", "Heard", "coherence", "listen"]

Floats = npt.NDArray[np.float32]
Halves = npt.NDArray[np.float16]

_QUIET_DB = 38.0
_SHIFTS = (12, -12, 1, -1, 2, -2, 3, -3, 5, -5, 7, -7)
_GOOD_FIT = -0.7
_GOOD_SHARE = 0.55
_FINE_FLOOR_SILENT = -0.5
_SILENCE = -9.0
_LEAST = -60.0  # log probabilities below say no more
_AROUND_S = 5.0
_DETOUR = 6  # events
_MOST_BETWEEN = 8
_TRIAL_FRAMES = int(240 / FRAME_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """A row of consecutive events played one after the other, their onsets and the end of the last, in seconds.

    `skipped`: events the walk passed over.
    """

    events: tuple[int, ...]
    onsets_s: tuple[float, ...]
    end_s: float
    skipped: frozenset[int] = frozenset()

    def span(self, place: int) -> tuple[float, float]:
        """From this event's onset to the next one's."""
        return self.onsets_s[place], self.onsets_s[place + 1] if place + 1 < len(self.onsets_s) else self.end_s


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What was heard. `shift` is how many semitones the take sounds above the score; `chances` are log probabilities
    by fine frame of each pitch set, `level_db` and `strength` by fine frame too."""

    tuning_cents: float
    shift: int
    walk: Walk
    attempts: tuple[Attempt, ...]
    sets: tuple[tuple[int, ...], ...]
    column_of: npt.NDArray[np.intp]
    chances: Halves
    level_db: Floats
    strength: Floats
    rise: Floats

    def set_column(self, midis: tuple[int, ...]) -> int | None:
        try:
            return self.sets.index(midis)
        except ValueError:
            return None


def listen(
    recording: Recording, events: Sequence[ScoreEvent], *, told: Callable[[str, int], None] | None = None
) -> Heard:
    """Find the take in the score. `told` is called with words and a number as each piece of the work begins."""
    say = told or (lambda words, number: None)
    samples = recording.samples
    say("finding the tuning", 1)
    tuning = estimate_tuning(samples, top_hz=recording.top_hz)
    low = min(min(event.midis) for event in events)
    high = max(max(event.midis) for event in events)
    sets = pitch_sets([e.sounding for e in events], low=max(28, low - 14), high=min(103, high + 14))
    say("finding the place in the score", 2)
    hearing = Hearing(window=4096, tuning_cents=tuning, sets=sets, top_hz=recording.top_hz)
    chances, silent = _coarse(recording, hearing)
    walk, shift = _best_shift(events, chances, silent, sets)
    if shift and any(len(event.sounding) > 1 for event in events):
        moved = [tuple(midi + shift for midi in event.sounding) for event in events]
        sets = pitch_sets(moved, low=max(28, low - 14), high=min(103, high + 14))
        chances, silent = _coarse(recording, replace(hearing, sets=sets))
        walk = follow(events, chances, _columns(events, sets, shift), silent)
    columns = _columns(events, sets, shift)
    say("finding where each note begins", 3)
    keep = sorted(
        {int(c) for c in columns}
        | {sets.index((m,)) for m in range(low - 3, high + 4) if (m + shift,) in sets and (m,) in sets}
    )
    keep = sorted({*keep, *(sets.index((m + shift,)) for m in range(low - 3, high + 4) if (m + shift,) in sets)})
    fine_hearing = Hearing(window=2048, tuning_cents=tuning, sets=sets, top_hz=recording.top_hz)
    fine = _fine(samples, fine_hearing, keep)
    rise, level = onset_strength(samples, hop=FINE_HOP)
    strength = _strength(rise)
    quiet = level < np.percentile(level, 95) - _QUIET_DB
    frames = min(len(fine), len(strength))
    fine, level, strength, rise = fine[:frames], level[:frames], strength[:frames], rise[:frames]
    kept_sets = tuple(sets[i] for i in keep)
    place = {column: i for i, column in enumerate(keep)}
    fine_columns = np.array([place[int(c)] for c in columns])
    moments = _Moments(heard=fine, quiet=quiet[:frames], strength=strength, columns=fine_columns)
    attempts = tuple(_placed(events, stretch, moments) for stretch in _joined(walk.stretches, events))
    return Heard(
        tuning_cents=tuning,
        shift=shift,
        walk=walk,
        attempts=attempts,
        sets=kept_sets,
        column_of=fine_columns,
        chances=fine,
        level_db=level,
        strength=strength,
        rise=rise,
    )


def coherence(heard: Heard, events: Sequence[ScoreEvent]) -> float:
    """The share of written notes, among those the walk went through, that sound as written and last about as long.

    "About" is half to twice the take's median of played over written length. A take full of slips stays well above a
    half; another tune that shares some pitches does not.
    """
    rows = [
        (events[number], *attempt.span(place))
        for attempt in heard.attempts
        for place, number in enumerate(attempt.events)
    ]
    ratios = sorted((end - start) / (event.seconds + event.rest_s) for event, start, end in rows)
    if not ratios:
        return 0.0
    usual = ratios[len(ratios) // 2]
    good = 0
    for event, start, end in rows:
        ratio = (end - start) / (event.seconds + event.rest_s) / usual
        first = int(start / FINE_S)
        stop = first + max(1, int(0.85 * (end - start) * event.seconds / (event.seconds + event.rest_s) / FINE_S))
        match = float(np.mean(np.maximum(heard.chances[first:stop, heard.column_of[event.index]], -4.0)))
        good += match > -1.5 and (0.5 < ratio < 2.0 or event.held or event.grace)
    return good / len(rows)


def _coarse(recording: Recording, hearing: Hearing) -> tuple[Floats, npt.NDArray[np.bool_]]:
    chances, noise, levels = [], [], []
    for _, frames in frames_of(recording.samples, window=4096, hop=512):
        magnitudes = magnitudes_of(frames)
        likely, none = hearing.log_probability(magnitudes)
        chances.append(likely)
        noise.append(none)
        levels.append(10 * np.log10(np.sum(magnitudes * magnitudes, axis=1) + 1e-9))
    level = np.concatenate(levels)
    silent = (level < np.percentile(level, 95) - _QUIET_DB) | (np.concatenate(noise) > -0.25)
    return np.concatenate(chances), silent


def _fine(samples: Floats, hearing: Hearing, keep: Sequence[int]) -> Halves:
    """Every second fine frame is heard, the others lie between their neighbours. Half precision: a third of an hour's
    memory would go here, and two digits are enough."""
    pairs = 1 + len(samples) // (2 * FINE_HOP)
    heard = np.empty((2 * pairs, len(keep)), dtype=np.float16)
    for first, frames in frames_of(samples, window=2048, hop=2 * FINE_HOP):
        likely = hearing.log_probability(magnitudes_of(frames))[0][:, keep]
        heard[2 * first : 2 * (first + len(likely)) : 2] = np.maximum(likely, _LEAST)
    heard[1:-1:2] = (heard[0:-2:2] + heard[2::2]) / 2
    heard[-1] = heard[-2]
    return heard


def _strength(rise: Floats) -> Floats:
    """From 0 to 1: the rise above the usual, against the greatest within a second."""
    usual = float(np.median(rise))
    top = maximum_filter1d(rise, 2 * int(1.0 / FINE_S) + 1)
    least = 0.25 * (float(np.percentile(rise, 99)) - usual)
    found: Floats = np.clip((rise - usual) / np.maximum(top - usual, max(least, 1e-6)), 0, 1)
    return found


def _columns(events: Sequence[ScoreEvent], sets: Sequence[tuple[int, ...]], shift: int) -> npt.NDArray[np.intp]:
    index = {pitches: i for i, pitches in enumerate(sets)}
    found = []
    for event in events:
        wanted = tuple(midi + shift for midi in event.sounding)
        if wanted not in index:
            top = max(event.midis) + shift
            wanted = (min(max(top, sets[0][0]), max(s[0] for s in sets if len(s) == 1)),)
        found.append(index[wanted])
    return np.array(found)


def _best_shift(
    events: Sequence[ScoreEvent], chances: Floats, silent: npt.NDArray[np.bool_], sets: Sequence[tuple[int, ...]]
) -> tuple[Walk, int]:
    """The walk at the score's own pitch, or a transposed one where that fits far better."""
    walk = follow(events, chances, _columns(events, sets, 0), silent)
    if walk.fit > _GOOD_FIT and walk.heard_share > _GOOD_SHARE:
        return walk, 0
    part = slice(0, _TRIAL_FRAMES)

    def worth(tried: Walk) -> float:
        return tried.heard_share * (3.0 + tried.fit)

    own = worth(walk)
    trials = [(worth(follow(events, chances[part], _columns(events, sets, s), silent[part])), s) for s in _SHIFTS]
    best, shift = max(trials)
    if best > own + 0.4 and best > 1.2:
        return follow(events, chances, _columns(events, sets, shift), silent), shift
    return walk, 0


def _joined(stretches: Sequence[Stretch], events: Sequence[ScoreEvent]) -> list[Stretch]:
    """Without crumbs and detours; two stretches with a few notes between them, in time, become one.

    A detour is a short stretch elsewhere between two that follow each other in time: a wrong note that fits another
    bar by chance. The notes between are kept as notes to look for; the measuring says what became of them.
    """
    left = [s for s in stretches if len(s.events) >= 2 or len(stretches) == 1]
    whole: list[Stretch] = []
    at = 0
    while at < len(left):
        stretch = left[at]
        at += 1
        if not whole:
            whole.append(stretch)
            continue
        before = whole[-1]
        joined = _bridged(before, stretch, events)
        if joined is None and at < len(left) and len(stretch.events) <= _DETOUR:
            joined = _bridged(before, left[at], events)
            if joined is not None:
                at += 1
        if joined is not None:
            whole[-1] = joined
        else:
            whole.append(stretch)
    if len(whole) > 1 and len(whole[0].events) <= _DETOUR and whole[0].events[-1] != whole[1].events[0] - 1:
        begun = set(whole[1].events)
        if not begun & set(whole[0].events) and not _near(whole[0], whole[1]):
            whole.pop(0)
    if len(whole) > 1 and len(whole[-1].events) <= _DETOUR and not _near(whole[-2], whole[-1]):
        whole.pop()
    return whole


def _near(before: Stretch, after: Stretch) -> bool:
    """Whether `after` takes the music up again not far from where `before` was."""
    return before.events[0] <= after.events[0] <= before.events[-1] + 12


def _bridged(before: Stretch, after: Stretch, events: Sequence[ScoreEvent]) -> Stretch | None:
    """Both as one, with the notes between them spread over the time between; None where the time does not fit."""
    gap = after.events[0] - before.events[-1] - 1
    if not 0 <= gap <= _MOST_BETWEEN:
        return None
    seconds = (after.starts[0] - before.end) * FRAME_S
    written = events[after.events[0]].start_s - events[before.events[-1]].end_s
    if seconds > 2.0 * written + 1.0 or (gap > 3 and seconds < 0.5 * written):
        return None
    between = [before.events[-1] + 1 + i for i in range(gap)]
    span = max(0, after.starts[0] - before.end)
    starts = [before.end + round(span * i / max(1, gap)) for i in range(gap)]
    return Stretch((*before.events, *between, *after.events), (*before.starts, *starts, *after.starts), after.end)


@dataclass(frozen=True, slots=True)
class _Moments:
    """The take by fine frame: log probabilities, where it is quiet, onset strength; and each event's column."""

    heard: Halves
    quiet: npt.NDArray[np.bool_]
    strength: Floats
    columns: npt.NDArray[np.intp]


def _placed(events: Sequence[ScoreEvent], stretch: Stretch, moments: _Moments) -> Attempt:
    # Only this stretch and a little around it is worked on, so that an hour needs no more memory than a minute.
    first = max(0, int((stretch.starts[0] * FRAME_S - _AROUND_S) / FINE_S))
    last = min(len(moments.heard), int((stretch.end * FRAME_S + _AROUND_S) / FINE_S))
    before = first * FINE_S
    quiet = moments.quiet[first:last, None]
    heard = moments.heard[first:last].astype(np.float32)
    shown = np.where(quiet, np.float32(_FINE_FLOOR_SILENT), heard)
    strength = moments.strength[first:last]
    columns = moments.columns
    coarse = [frame * FRAME_S - before for frame in stretch.starts]
    wide = maximum_filter1d(strength, 5)
    skipped = frozenset(
        event
        for event, start, end in zip(stretch.events, stretch.starts, [*stretch.starts[1:], stretch.end], strict=True)
        if end <= start
    )
    rough = [*coarse, stretch.end * FRAME_S - before]
    for _ in range(2):
        rough = place_onsets(events, stretch.events, rough[:-1], rough[-1], shown, columns, wide, reach_s=2.2, step=5)
    exact = place_onsets(events, stretch.events, rough[:-1], rough[-1], shown, columns, strength)
    sounding = np.where(quiet, np.float32(_SILENCE), heard)
    for place, number in enumerate(stretch.events):
        if place > 0 and set(events[number].sounding) & set(events[number - 1].sounding):
            continue
        foot = at_the_foot(exact[place], sounding[:, columns[number]])
        exact[place] = max(foot, exact[place - 1] + 0.03) if place else foot
    return Attempt(
        events=stretch.events,
        onsets_s=tuple(onset + before for onset in exact[:-1]),
        end_s=exact[-1] + before,
        skipped=skipped,
    )
