"""The demonstration's pictures: a canvas that is changed only where something has changed, and when to look at it.

Constant rate: a picture every 1/30 s. Variable rate: a picture only where something changes, with its exact time.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from partwright.engraving import INK, PAPER, SANS, SERIF, EngravingProcess, Face, Used, letter, text_width
from partwright.video.board import BoardPicture, BoardState, board_reach_mm
from partwright.video.bow_strip import BowState, bow_svg, ends, grow
from partwright.video.look import ACCENT, Layout, Rect
from partwright.video.raster import Canvas, Patch, drawing_svg, patch_of, plain_patch, svg_rgb
from partwright.video.score_line import ScoreLine
from partwright.video.timeline import Timeline

if TYPE_CHECKING:
    from partwright.bowing import BowingPlan
    from partwright.fingering import FingeringPlan
    from partwright.instrument import Instrument
    from partwright.score import Mark, Tune

__all__ = ["FRAME_RATE", "TAIL_SECONDS", "Demonstration", "Work", "frame_times", "text_drawing"]

FRAME_RATE = 30
TAIL_SECONDS = 1.2
"""How long the picture stays after the last bar, while the last sound rings off."""
_SLIDE_SECONDS = 4 / FRAME_RATE  # under the 150 ms a motion may take
_BOW_STEPS_A_SECOND = 3.0  # pictures a second that only move the bow, at variable rate
_KEPT = 64  # drawn parts kept as planes
_LONGEST_SECONDS = 1.0  # a picture at least this often, so that a player can go to any place


@dataclass(frozen=True, kw_only=True)
class Work:
    """What is shown: the tune with its marks, the plan, the bow, the hand's instrument."""

    tune: Tune
    marks: Sequence[Mark]
    instrument: Instrument
    plan: FingeringPlan
    bowing: BowingPlan
    title: str


class Demonstration:
    """One video's pictures. Call `draw` with times that do not go back; read `canvas.planes` after each."""

    def __init__(
        self,
        work: Work,
        timeline: Timeline,
        bar_indices: Sequence[int],
        layout: Layout,
        *,
        process: EngravingProcess | None = None,
    ) -> None:
        self.work, self.timeline, self.layout = work, timeline, layout
        self.line = ScoreLine(work.tune, work.marks, bar_indices, layout, instrument=work.instrument, process=process)
        self.canvas = Canvas(layout.width, layout.height, PAPER)
        self._board = BoardPicture(work.instrument, layout.board, layout, board_reach_mm(work.instrument, work.plan))
        self._patches: OrderedDict[object, Patch] = OrderedDict()
        self._shown: dict[str, object] = {}
        self._grown: tuple[float, float] | None = None
        self._bow_shown: tuple[BowState, float | None] | None = None

    @cached_property
    def slides(self) -> tuple[tuple[float, int, int], ...]:
        """(when a new window is fully there, window before, window after)."""
        found = []
        before = self.line.window_of(self.timeline.notes.states[0][0])
        for seconds, (played, _) in zip(self.timeline.notes.times, self.timeline.notes.states, strict=True):
            window = self.line.window_of(played)
            if window != before:
                found.append((seconds, before, window))
                before = window
        return tuple(found)

    def draw(self, seconds: float) -> None:
        """Bring the canvas to what is to be seen at a time."""
        timeline, layout = self.timeline, self.layout
        played, notes = timeline.notes.at(seconds + 1e-6)
        sliding = self._slide_at(seconds)
        if sliding is not None:
            self.line.slide(self.canvas, *sliding)
        else:
            self.line.show(self.canvas, self.line.window_of(played), notes)
        self._place("board", layout.board, timeline.board.at(seconds + 1e-6))
        self._place("hand", layout.hand, timeline.words.at(seconds + 1e-6))
        self._place("title", layout.title, timeline.title.at(seconds + 1e-6))
        bow = timeline.bow.at(seconds + 1e-6)
        stroke = timeline.stroke_at(seconds) if bow.direction else None
        grown = None
        if stroke is not None:
            length = max(1e-6, stroke.end_seconds - stroke.start_seconds)
            part = min(1.0, max(0.0, (seconds - stroke.start_seconds) / length))
            grown = (stroke.start_seconds, stroke.start + part * (stroke.end - stroke.start))
        fresh = (bow, grown[0] if grown else None) != self._bow_shown
        if fresh:
            self._bow_shown = (bow, grown[0] if grown else None)
            self._shown.pop("bow", None)
            self._place("bow", layout.bow, replace(bow, start=0.0, end=0.0))
            if bow.direction:
                ends(self.canvas, layout.bow, layout, bow)
        if stroke is not None and grown is not None and (fresh or grown != self._grown):
            grow(self.canvas, layout.bow, layout, stroke.start, grown[1])
        self._grown = grown

    def _slide_at(self, seconds: float) -> tuple[int, int, float] | None:
        for when, before, after in self._near_slides(seconds):
            if when - _SLIDE_SECONDS < seconds < when - 1e-4:
                return before, after, 1 - (when - seconds) / _SLIDE_SECONDS
        return None

    def _near_slides(self, seconds: float) -> Iterator[tuple[float, int, int]]:
        from bisect import bisect_left

        place = bisect_left(self.slides, (seconds, -1, -1))
        yield from self.slides[place : place + 1]

    def _place(self, name: str, place: Rect, state: object) -> bool:
        if self._shown.get(name) == (state,):
            return False
        key = (name, state)
        if key not in self._patches:
            self._patches[key] = self._patch(name, place, state)
            while len(self._patches) > _KEPT:
                self._patches.popitem(last=False)
        self.canvas.put(self._patches[key], place.x, place.y)
        self._shown[name] = (state,)
        return True

    def _patch(self, name: str, place: Rect, state: object) -> Patch:
        if isinstance(state, BoardState):
            return patch_of(self._board.pixels(state))
        if isinstance(state, BowState):
            return patch_of(svg_rgb(bow_svg(state, place, self.layout), place.width, place.height, PAPER))
        if name == "title":
            lines, spaced = [(str(state).upper(), INK, True)], True
        else:
            now, after = state if isinstance(state, tuple) else ("", "")
            lines, spaced = [(now, INK, True), (after, ACCENT, False)], False
        words = _set_words(lines, place, self.layout, spaced=spaced)
        # Only what the words cover is drawn: the rest is paper, and drawing paper takes as long.
        width, height = min(place.width, words.width), min(place.height, words.height)
        svg = drawing_svg(words.svg, width, height, words.used)
        found = plain_patch(place.width, place.height, PAPER)
        found.put(patch_of(svg_rgb(svg, width, height, PAPER)), 0, 0)
        return found


@dataclass(frozen=True, slots=True)
class _Words:
    """Set lines of text, and how many pixels they take from their left and upper corner; both even."""

    svg: str
    used: Used
    width: int
    height: int


def text_drawing(lines: Sequence[tuple[str, str, bool]], place: Rect, layout: Layout, *, spaced: bool = False) -> str:
    """Lines of text (words, colour, bold) from the top of a place, broken where they are too wide for it."""
    words = _set_words(lines, place, layout, spaced=spaced)
    return drawing_svg(words.svg, place.width, place.height, words.used)


def _set_words(lines: Sequence[tuple[str, str, bool]], place: Rect, layout: Layout, *, spaced: bool) -> _Words:
    size = 100 * layout.text_size * (0.99 if spaced else 1.0)
    spacing = 0.06 * size if spaced else 0.0
    used, parts, y, widest = Used(), [], 0.0, 0.0
    for words, colour, bold in lines:
        face = Face(SERIF if spaced else SANS, bold=bold)
        for line in _broken(words, size, face, spacing, place.width * 100.0) or [""]:
            y += size * 1.18
            drawn = letter(line, size, face, y=y - size * 0.25, fill=colour, spacing=spacing)
            used.add(drawn.used)
            parts.append(drawn.svg)
            widest = max(widest, text_width(line, size, face) + spacing * len(line))
    # Half an em beyond: what hangs over a letter's own width and below its line.
    width, height = (2 * math.ceil((v + size / 2) / 200) for v in (widest, y))
    return _Words("".join(parts), used, width, height)


def _broken(words: str, size: float, face: Face, spacing: float, width: float) -> list[str]:
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, face) + spacing * len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def frame_times(show: Demonstration, *, variable: bool) -> tuple[float, ...]:
    """When a picture is to be taken, in seconds, from 0."""
    seconds = show.timeline.seconds
    if not variable:
        return tuple(n / FRAME_RATE for n in range(max(1, round(seconds * FRAME_RATE))))
    line = show.timeline
    wanted = {
        0.0, *line.notes.times, *line.board.times, *line.words.times, *line.bow.times, *line.title.times
    }  # fmt: skip
    for stroke in line.strokes:
        steps = max(1, round((stroke.end_seconds - stroke.start_seconds) * _BOW_STEPS_A_SECOND))
        span = stroke.end_seconds - stroke.start_seconds
        wanted |= {stroke.start_seconds + span * n / steps for n in range(1, steps)}
    for when, _, _ in show.slides:
        wanted |= {when - n / FRAME_RATE for n in range(1, 4)}
    return _spread(sorted(t for t in wanted if 0 <= t < seconds - 0.002), seconds, set(line.notes.times))


def _spread(times: Sequence[float], seconds: float, kept: set[float]) -> tuple[float, ...]:
    """On whole milliseconds, none nearer to the one before than half a frame unless a note begins, none too far."""
    found: list[float] = []
    for time in times:
        at = round(time, 3)
        if found and at - found[-1] < 0.5 / FRAME_RATE:
            if time not in kept or at <= found[-1]:
                continue
            if round(found[-1], 3) not in {round(k, 3) for k in (found[-1],) if k in kept}:
                found.pop()
        while found and at - found[-1] > _LONGEST_SECONDS:
            found.append(round(found[-1] + _LONGEST_SECONDS, 3))
        found.append(at)
    while found and seconds - found[-1] > _LONGEST_SECONDS:
        found.append(round(found[-1] + _LONGEST_SECONDS, 3))
    return tuple(found)
