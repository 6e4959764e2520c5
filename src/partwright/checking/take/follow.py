"""Where in the score each moment of a take is: a walk over the score's events that may begin, stop and jump anywhere.

Every event is a row of states of about a tenth of a second, so that it lasts about as long as written and tempo may
bend. The walk goes on, waits, or, at a price, leaves the music (talk, silence), takes it up again at a bar, jumps to
another bar (a passage begun again, a repeat not taken) or skips a note. The likeliest walk is found exactly (Viterbi);
what it came from is kept for a stretch of frames at a time and computed again on the way back, so that memory does
not grow with the length of the take times the length of the score.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from partwright.checking.take.events import ScoreEvent

__all__ = ["FRAME_S", "Stretch", "Walk", "follow"]

FRAME_S = 512 / 22_050
Floats = npt.NDArray[np.float32]

_STATE_S = 0.093
_WEIGHT = 0.25  # frames overlap by seven eighths, so that each counts for a quarter
_FLOOR = -2.4  # any note may be wrong
_SILENT_NOTE = -1.2  # a note may be missed
_GAP = -1.4
_SILENT_GAP = -0.05
_SILENT_REST = -0.02
_REST = -1.6
_STAY, _NEXT, _OVER = -0.45, -0.95, -3.0
_PACE = -0.45  # what a frame outside the music pays: as much as one of waiting on a note
_SKIP_NOTE = -5.0
_LEAVE, _ENTER_TUNE, _ENTER_BAR, _ENTER = -16.0, -9.0, -15.0, -20.0
_JUMP = -32.0
_BLOCK = 16_384
_NEVER = np.float32(-1e30)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A row of consecutive events heard one after the other: for each its event and first frame; the end's frame."""

    events: tuple[int, ...]
    starts: tuple[int, ...]
    end: int


@dataclass(frozen=True, kw_only=True)
class Walk:
    """The likeliest walk: its stretches in order of time, and its score per frame."""

    stretches: tuple[Stretch, ...]
    score: float
    heard_share: float  # of the sounding frames, those spent inside the music
    fit: float  # mean log probability of what the score expects there, floor included


class _Graph:
    """States of all events: play states, then rest states where a rest is written."""

    def __init__(self, events: Sequence[ScoreEvent], tempo_ratio: float) -> None:
        event_of: list[int] = []
        is_rest: list[bool] = []
        first: list[int] = []
        last_play: list[int] = []
        last: list[int] = []
        for event in events:
            first.append(len(event_of))
            count = min(24, max(1, round(event.seconds * tempo_ratio / _STATE_S)))
            event_of += [event.index] * count
            is_rest += [False] * count
            last_play.append(len(event_of) - 1)
            if event.rest_s * tempo_ratio > 0.1:
                count = min(16, max(1, round(event.rest_s * tempo_ratio / _STATE_S)))
                event_of += [event.index] * count
                is_rest += [True] * count
            last.append(len(event_of) - 1)
        size = len(event_of)
        self.size = size
        self.event_of = np.array(event_of)
        self.is_rest = np.array(is_rest)
        self.first = np.array(first)
        self.last = np.array(last)
        self.before = np.arange(-1, size - 1)
        self.over = np.full(size, -1)
        for state in range(2, size):
            if event_of[state] == event_of[state - 2] and is_rest[state] == is_rest[state - 2]:
                self.over[state] = state - 2
        skip = np.full(size, -1)
        for number in range(1, len(events)):
            # A rest need not be taken, a note may be missed.
            if last_play[number - 1] != last[number - 1]:
                self.over[first[number]] = last_play[number - 1]
            if number >= 2:
                skip[first[number]] = last[number - 2]
        self.skip = skip
        self.enter = np.full(size, _NEVER, dtype=np.float32)
        self.enter[self.first] = _ENTER
        starts = np.array([e.first_of_bar for e in events])
        self.enter[self.first[starts]] = _ENTER_BAR
        self.enter[0] = _ENTER_TUNE
        self.bar_first = self.first[starts]
        self.leavers = np.unique(np.concatenate([np.array(last_play), self.last]))


def follow(
    events: Sequence[ScoreEvent],
    chances: Floats,
    set_of_event: npt.NDArray[np.intp],
    silent: npt.NDArray[np.bool_],
    *,
    tempo_ratio: float = 1.0,
) -> Walk:
    """The likeliest walk. `chances`: log probabilities (frames, sets); `set_of_event`: each event's set."""
    graph = _Graph(events, tempo_ratio)
    heard = np.maximum(chances, _FLOOR)
    heard[silent] = _SILENT_NOTE
    path, score = _best_path(graph, heard, set_of_event, silent)
    return _walk(graph, events, path, heard, set_of_event, silent, score)


def _emissions(graph: _Graph, heard: Floats, set_of_event: npt.NDArray[np.intp], silent: npt.NDArray[np.bool_]) -> Any:
    columns = set_of_event[graph.event_of]
    rests = graph.is_rest

    def of(frame: int) -> Floats:
        row = heard[frame, columns]
        row[rests] = _SILENT_REST if silent[frame] else _REST
        result: Floats = row * np.float32(_WEIGHT)
        return result

    return of


def _best_path(
    graph: _Graph, heard: Floats, set_of_event: npt.NDArray[np.intp], silent: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.int32], float]:
    frames = len(heard)
    of = _emissions(graph, heard, set_of_event, silent)
    stepper = _Stepper(graph)
    delta = np.full(graph.size, _NEVER, dtype=np.float32)
    gap = np.float32(0.0)
    blocks = list(range(0, frames, _BLOCK))
    kept: list[tuple[Floats, np.float32]] = []
    records: Any = None
    for begin in blocks:
        kept.append((delta.copy(), gap))
        delta, gap, records = stepper.run(
            of, silent, begin, min(frames, begin + _BLOCK), delta, gap, begin == blocks[-1]
        )
    path = np.empty(frames, dtype=np.int32)
    state = int(np.argmax(delta)) if delta.max() > gap else -1
    score = float(max(delta.max(), gap))
    for number in range(len(blocks) - 1, -1, -1):
        begin, end = blocks[number], min(frames, blocks[number] + _BLOCK)
        if number != len(blocks) - 1:
            start, start_gap = kept[number]
            _, _, records = stepper.run(of, silent, begin, end, start.copy(), start_gap, True)
        codes, left, jumped, gap_codes = records
        for frame in range(end - 1, begin - 1, -1):
            path[frame] = state
            row = frame - begin
            if state < 0:
                state = int(left[row]) if gap_codes[row] else -1
                continue
            code = codes[row, state]
            if code == 1:
                state = int(graph.before[state])
            elif code == 2:
                state = int(graph.over[state])
            elif code == 3:
                state = int(graph.skip[state])
            elif code == 4:
                state = -1
            elif code == 5:
                state = int(jumped[row])
    return path, score


class _Stepper:
    """One frame after another over all states at once."""

    def __init__(self, graph: _Graph) -> None:
        self.graph = graph
        self.over_ok = graph.over >= 0
        self.skip_states = np.flatnonzero(graph.skip >= 0)
        self.skip_from = graph.skip[self.skip_states]
        self.over_states = np.flatnonzero(self.over_ok)
        self.over_from = graph.over[self.over_states]

    def run(
        self, of: Any, silent: npt.NDArray[np.bool_], begin: int, end: int, delta: Floats, gap: np.float32, keep: bool
    ) -> tuple[Floats, np.float32, Any]:
        graph = self.graph
        count = end - begin
        codes = np.zeros((count, graph.size), dtype=np.int8) if keep else None
        left = np.zeros(count, dtype=np.int32)
        jumped = np.zeros(count, dtype=np.int32)
        gap_codes = np.zeros(count, dtype=np.bool_)
        enter_states = graph.first
        enter_cost = graph.enter[enter_states]
        bar_first = graph.bar_first
        for frame in range(begin, end):
            row = frame - begin
            leaving = delta[graph.leavers]
            best = int(np.argmax(leaving))
            best_state, best_value = int(graph.leavers[best]), leaving[best]
            new = delta + np.float32(_STAY)
            code = codes[row] if codes is not None else None
            moved = delta[:-1] + np.float32(_NEXT)
            better = moved > new[1:]
            new[1:][better] = moved[better]
            if code is not None:
                code[1:][better] = 1
            if len(self.over_states):
                moved = delta[self.over_from] + np.float32(_OVER)
                better = moved > new[self.over_states]
                if better.any():
                    at = self.over_states[better]
                    new[at] = moved[better]
                    if code is not None:
                        code[at] = 2
            if len(self.skip_states):
                moved = delta[self.skip_from] + np.float32(_SKIP_NOTE + _NEXT)
                better = moved > new[self.skip_states]
                if better.any():
                    at = self.skip_states[better]
                    new[at] = moved[better]
                    if code is not None:
                        code[at] = 3
            moved = enter_cost + gap
            better = moved > new[enter_states]
            if better.any():
                at = enter_states[better]
                new[at] = moved[better]
                if code is not None:
                    code[at] = 4
            value = best_value + np.float32(_JUMP)
            better = value > new[bar_first]
            if better.any():
                at = bar_first[better]
                new[at] = value
                if code is not None:
                    code[at] = 5
            stay_gap = gap
            gap = max(stay_gap, best_value + np.float32(_LEAVE))
            gap_codes[row] = gap > stay_gap
            left[row] = jumped[row] = best_state
            gap = np.float32(gap + _PACE + _WEIGHT * (_SILENT_GAP if silent[frame] else _GAP))
            delta = new + of(frame)
        return delta, gap, (codes, left, jumped, gap_codes)


def _walk(
    graph: _Graph,
    events: Sequence[ScoreEvent],
    path: npt.NDArray[np.int32],
    heard: Floats,
    set_of_event: npt.NDArray[np.intp],
    silent: npt.NDArray[np.bool_],
    score: float,
) -> Walk:
    event_at = np.where(path >= 0, graph.event_of[np.maximum(path, 0)], -1)
    restart = np.zeros(len(path), dtype=bool)
    restart[1:] = (path[1:] >= 0) & (path[:-1] >= 0) & ((path[1:] < path[:-1]) | (event_at[1:] > event_at[:-1] + 2))
    stretches: list[Stretch] = []
    current: list[tuple[int, int]] = []
    for frame in range(len(path)):
        event = int(event_at[frame])
        if event < 0 or restart[frame]:
            if current:
                stretches.append(_stretch(current, frame))
                current = []
            if event < 0:
                continue
        if not current or current[-1][0] != event:
            if current and event == current[-1][0] + 2:
                current.append((event - 1, frame))  # skipped: heard for no time at all
            current.append((event, frame))
    if current:
        stretches.append(_stretch(current, len(path)))
    playing = (path >= 0) & ~graph.is_rest[np.maximum(path, 0)]
    sounding = ~silent
    inside = playing & sounding
    fit = heard[np.flatnonzero(inside), set_of_event[event_at[inside]]]
    return Walk(
        stretches=tuple(stretches),
        score=score / max(1, len(path)),
        heard_share=float(inside.sum() / max(1, sounding.sum())),
        fit=float(fit.mean()) if len(fit) else _FLOOR,
    )


def _stretch(rows: Sequence[tuple[int, int]], end: int) -> Stretch:
    return Stretch(tuple(event for event, _ in rows), tuple(frame for _, frame in rows), end)
