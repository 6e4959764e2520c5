"""The engraved line in the picture: a few bars at a time, the bars ahead always in sight, the sounding note marked.

A window shows bars a … b of one stretch that is played without a jump; all but its last are played in it, and the
last is what is coming; the window after it begins there. Windows are engraved once and drawn to pixels when shown.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from partwright.engraving import INK, PAPER, EngravingProcess, Strip, engrave_strip, svg_png
from partwright.errors import EngravingError
from partwright.video.look import ACCENT, Layout
from partwright.video.raster import Canvas, Patch, Pixels, patch_of, png_rgb, recoloured, rgb_of

if TYPE_CHECKING:
    from partwright.instrument import Instrument
    from partwright.score import Mark, Tune

__all__ = ["ScoreLine", "Window"]

_STAFF_SIZES = (0.8, 0.66, 0.54)  # the staff beside the lettering: smaller where the bars are too high for the place
_MOST_BARS = 6
_KEPT = 5  # windows kept as pixels
_RULE_PX = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Bars shown (written indices), and which of the timing map's bars are played in it."""

    strip: Strip
    staff_size: float
    first_played: int
    last_played: int


class ScoreLine:
    """The staff's part of the picture for one played order (`bar_indices`: the written bar of each played one)."""

    def __init__(
        self,
        tune: Tune,
        marks: Sequence[Mark],
        bar_indices: Sequence[int],
        layout: Layout,
        *,
        instrument: Instrument,
        process: EngravingProcess | None = None,
    ) -> None:
        self._tune, self._marks, self._instrument, self._process = tune, marks, instrument, process
        self._layout, self._place = layout, layout.staff
        self._strips: dict[tuple[int, int, float], Strip | None] = {}
        self._pixels: OrderedDict[tuple[int, int, float], tuple[Pixels, Patch]] = OrderedDict()
        self._pngs: dict[tuple[int, int, float], bytes] = {}
        self._guess = 3
        self._sizes: tuple[float, ...] = _STAFF_SIZES
        self.windows = self._find_windows(bar_indices)
        while len(self._sizes) > 1 and self._crowded(self.windows):
            # Where many windows need the smaller staff, all have it: the eye wants one size.
            self._sizes = self._sizes[1:]
            self.windows = self._find_windows(bar_indices)
        self._of_played = [w for w, window in enumerate(self.windows) for _ in range(self._played(window))]
        self._shown: tuple[int, tuple[str, ...]] | None = None
        self._marked: tuple[int, int, int, int] | None = None

    @staticmethod
    def _played(window: Window) -> int:
        return window.last_played - window.first_played + 1

    def window_of(self, played_bar: int) -> int:
        """Which window a played bar belongs to."""
        return self._of_played[played_bar]

    # Windows -------------------------------------------------------------------------------------------------------

    def _find_windows(self, bar_indices: Sequence[int]) -> tuple[Window, ...]:
        found: list[Window] = []
        start = 0
        while start < len(bar_indices):
            stop = start
            while stop + 1 < len(bar_indices) and bar_indices[stop + 1] == bar_indices[stop] + 1:
                stop += 1
            place = start
            while place <= stop:
                window = self._window(bar_indices[place], bar_indices[stop], place)
                found.append(window)
                place = window.last_played + 1
            start = stop + 1
        return tuple(found)

    def _crowded(self, windows: Sequence[Window]) -> bool:
        return sum(w.staff_size < self._sizes[0] for w in windows) > 0.25 * len(windows)

    def _window(self, first: int, last: int, place: int) -> Window:
        count = min(self._guess + 1, last - first + 1, _MOST_BARS)
        found = self._strip(first, first + count - 1, self._sizes[: 1 if count > 2 else None])
        while found is None and count > 2:
            count -= 1
            # A smaller staff, before the bar ahead is given up.
            found = self._strip(first, first + count - 1, self._sizes[: 1 if count > 2 else None])
        if found is None:
            count = 1
            found = self._strip(first, first, self._sizes)
        if found is None:
            bar = self._tune.part.bars[first].number
            raise EngravingError(f"bar {bar} is too long for one line of the picture", "Choose the wide format.")
        self._guess = max(2, count)
        whole = first + count - 1 == last
        played = count if whole or count == 1 else count - 1
        return Window(strip=found[0], staff_size=found[1], first_played=place, last_played=place + played - 1)

    def _strip(self, first: int, last: int, sizes: Sequence[float]) -> tuple[Strip, float] | None:
        """Bars as one line at the first staff size at which they fit; too high ones at the last, None too long ones."""
        best = None
        for size in sizes:
            strip = self._drawn(first, last, size)
            if strip is not None:
                best = (strip, size)
                if self._scaled(strip.height_mm) <= self._room:
                    break
        return best

    def _drawn(self, first: int, last: int, size: float) -> Strip | None:
        key = (first, last, size)
        if key not in self._strips:
            self._strips[key] = engrave_strip(
                self._tune,
                self._marks,
                first_bar_index=first,
                last_bar_index=last,
                width_mm=(self._place.width - 4) / self._layout.px_per_mm,
                instrument=self._instrument,
                staff_size=size,
                process=self._process,
            )
        return self._strips[key]

    @property
    def _room(self) -> int:
        return self._place.height - 2 * round(_RULE_PX * self._layout.unit)

    def _scaled(self, mm: float) -> float:
        return mm * self._layout.px_per_mm

    def scale(self, window: int) -> float:
        """Pixels per mm of a window: the format's, or less where its bars are higher than the place for them."""
        strip = self.windows[window].strip
        return min(self._layout.px_per_mm, self._room / strip.height_mm, self._place.width / strip.width_mm)

    @cached_property
    def shrunk(self) -> tuple[str, ...]:
        """Bars (as printed, first of each window) whose lettering comes out smaller than the format promises."""
        return tuple(
            self._tune.part.bars[window.strip.first_bar_index].number
            for index, window in enumerate(self.windows)
            if self.scale(index) < 0.985 * self._layout.px_per_mm
        )

    @cached_property
    def _staff_line(self) -> float:
        """How far below the upper edge the staves stand, in pixels: as far as the highest window needs."""
        above = max(w.strip.staff_top_mm * self.scale(i) for i, w in enumerate(self.windows))
        below = max((w.strip.height_mm - w.strip.staff_top_mm) * self.scale(i) for i, w in enumerate(self.windows))
        return above + max(0.0, (self._room - above - below) / 2)

    def _top(self, window: int) -> int:
        strip, scale = self.windows[window].strip, self.scale(window)
        wanted = self._staff_line - strip.staff_top_mm * scale
        return 2 * round(max(0.0, min(wanted, self._room - strip.height_mm * scale)) / 2)

    # Pixels --------------------------------------------------------------------------------------------------------

    def _drawn_window(self, window: int) -> tuple[Pixels, Patch]:
        """The window in ink on paper, as large as the place, and the same as planes."""
        strip, scale = self.windows[window].strip, self.scale(window)
        key = (strip.first_bar_index, strip.last_bar_index, scale)
        if key in self._pixels:
            self._pixels.move_to_end(key)
            return self._pixels[key]
        width, height = self._place.width, self._place.height
        drawn_width, drawn_height = round(strip.width_mm * scale), round(strip.height_mm * scale)
        top = self._top(window)
        ground, patch = self._paper[0].copy(), self._paper[1].copy()
        rows, columns = min(drawn_height, height - top), min(drawn_width, width)
        if key not in self._pngs:  # a few kilobytes each: what is played again need not be drawn again
            self._pngs[key] = svg_png(strip.svg, drawn_width, background=PAPER)
        drawn = png_rgb(self._pngs[key], drawn_width, drawn_height, PAPER)
        ground[top : top + rows, :columns] = drawn[:rows, :columns]
        low = min(height, top + rows + rows % 2)
        patch.put(patch_of(ground[top:low]), 0, top)
        found = (ground, patch)
        self._pixels[key] = found
        while len(self._pixels) > _KEPT:
            self._pixels.popitem(last=False)
        return found

    @cached_property
    def _paper(self) -> tuple[Pixels, Patch]:
        """The place with nothing on it."""
        empty = np.full((self._place.height, self._place.width, 3), rgb_of(PAPER), dtype=np.uint8)
        return empty, patch_of(empty)

    def picture(self, window: int, notes: Sequence[str]) -> Pixels:
        """A window with notes marked, RGB, as large as the place: for thumbnails and tests."""
        found = self._drawn_window(window)[0].copy()
        if (rect := self._mark_rect(window, notes)) is not None:
            x, y, right, bottom = rect
            found[y:bottom, x:right] = self._marked_rgb(window, notes, rect)
        return found

    def show(self, canvas: Canvas, window: int, notes: tuple[str, ...]) -> None:
        """Draw a window with these notes marked; only what has changed since the last call is touched."""
        if self._shown == (window, notes):
            return
        patch = self._drawn_window(window)[1]
        place = self._place
        if self._shown is None or self._shown[0] != window:
            canvas.put(patch, place.x, place.y)
        elif self._marked is not None:
            x, y, right, bottom = self._marked
            canvas.put(patch.cut(x, y, right - x, bottom - y), place.x + x, place.y + y)
        self._marked = self._mark_rect(window, notes)
        if self._marked is not None:
            x, y, _, _ = self._marked
            canvas.put(patch_of(self._marked_rgb(window, notes, self._marked)), place.x + x, place.y + y)
        self._shown = (window, notes)

    def slide(self, canvas: Canvas, window: int, after: int, part: float) -> None:
        """Between two windows: `part` of the way, the one after comes in from the right."""
        place = self._place
        moved = 2 * round(part * place.width / 2)
        old, new = self._drawn_window(window)[1], self._drawn_window(after)[1]
        canvas.put(old.cut(moved, 0, place.width - moved, place.height), place.x, place.y)
        canvas.put(new.cut(0, 0, moved, place.height), place.right - moved, place.y)
        self._shown, self._marked = None, None

    def _mark_rect(self, window: int, notes: Sequence[str]) -> tuple[int, int, int, int] | None:
        """The even rectangle around the marks of these notes and the rule below them; None where none is shown."""
        boxes = self._boxes(window, notes)
        if not boxes:
            return None
        unit, place = self._layout.unit, self._place
        spare = 4 * unit
        x = min(b[0] for b in boxes) - 3 * spare
        y = min(b[1] for b in boxes) - spare
        right = max(b[2] for b in boxes) + 3 * spare
        bottom = max(max(b[3] for b in boxes) + spare, self._rule_top(window) + _RULE_PX * unit + 2)
        return (
            max(0, 2 * int(x // 2)),
            max(0, 2 * int(y // 2)),
            min(place.width, 2 * int(-(-right // 2))),
            min(place.height, 2 * int(-(-bottom // 2))),
        )

    def _boxes(self, window: int, notes: Sequence[str]) -> list[tuple[float, float, float, float]]:
        strip, scale, top = self.windows[window].strip, self.scale(window), self._top(window)
        return [
            (left * scale, upper * scale + top, right * scale, lower * scale + top)
            for note in notes
            for left, upper, right, lower in strip.heads.get(note, ())
        ]

    def _rule_top(self, window: int) -> float:
        strip, scale = self.windows[window].strip, self.scale(window)
        return self._top(window) + strip.height_mm * scale + 4 * self._layout.unit

    def _marked_rgb(self, window: int, notes: Sequence[str], rect: tuple[int, int, int, int]) -> Pixels:
        """The rectangle with only these notes' marks in the accent, and a rule under them: not by colour alone."""
        x, y, right, bottom = rect
        found = self._drawn_window(window)[0][y:bottom, x:right].copy()
        boxes = self._boxes(window, notes)
        for left, upper, far, lower in boxes:
            span = (
                slice(max(0, int(upper) - y), max(0, int(-(-lower // 1)) - y)),
                slice(max(0, int(left) - x), max(0, int(-(-far // 1)) - x)),
            )
            found[span] = recoloured(found[span], INK, PAPER, ACCENT)
        unit = self._layout.unit
        low = round(self._rule_top(window)) - y
        left, far = min(b[0] for b in boxes) - x - 6 * unit, max(b[2] for b in boxes) - x + 6 * unit
        found[low : low + max(4, round(10 * unit)), max(0, round(left)) : round(far)] = rgb_of(ACCENT)
        return found
