"""The fingerboard in the picture: true distances, the hand's frame as a bracket, the stopped place filled.

The same drawing as the printed charts (strings vertical, nut above, thickest string left), at the size of a screen.
Units: a hundredth of a pixel inside the drawing; mm along the string.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partwright.engraving import CAP_HEIGHT, GREY, INK, PAPER, SANS, SERIF, Face, Used, letter, sign
from partwright.instrument import THUMB, Instrument
from partwright.video.look import ACCENT, Layout, Rect
from partwright.video.raster import Pixels, drawing_svg, over, recoloured, rgb_of, svg_rgb, svg_rgba

if TYPE_CHECKING:
    from partwright.fingering import FingeringPlan, Placement

__all__ = ["BoardPicture", "BoardState", "Hand", "Stop", "board_reach_mm", "finger_places", "hand_of"]

_NAME = Face(SANS, bold=True)
_DIGIT = Face(SERIF, bold=True)
_LETTER = Face(SANS)


@dataclass(frozen=True, slots=True)
class Hand:
    """Where the hand lies and how it is opened."""

    frame: int
    zone: str
    shape: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A place that sounds now: string from 0 = lowest, where it is touched, its name; a harmonic's true node."""

    string: int
    semitones: int
    name: str
    finger: int
    harmonic: int = 0


@dataclass(frozen=True, slots=True)
class BoardState:
    """All that the drawing shows: the hand, the one that comes next where it is announced, what sounds."""

    hand: Hand | None
    coming: Hand | None = None
    stops: tuple[Stop, ...] = ()


def hand_of(place: Placement) -> Hand:
    """The hand of a placement."""
    return Hand(place.frame, place.zone, place.shape)


def finger_places(instrument: Instrument, hand: Hand) -> Mapping[int, int]:
    """Where each finger of a hand falls, in semitones above the open string."""
    for shape in instrument.shapes:
        if shape.name == hand.shape:
            return {finger: hand.frame + offset for finger, offset in shape.offsets.items()}
    return {1: hand.frame}


def board_reach_mm(instrument: Instrument, plan: FingeringPlan) -> float:
    """How far down the string the drawing goes: past everything the plan uses, and at least past first position."""
    lowest = 7.0
    for note in plan.notes:
        place = note.placement
        lowest = max(lowest, place.semitones)
        if place.finger:
            lowest = max(lowest, *finger_places(instrument, hand_of(place)).values())
    return min(instrument.stop_mm(lowest + 1.0), 0.94 * instrument.string_length_mm)


class BoardPicture:
    """The fingerboard at one size: the board with a hand is drawn once for each hand, what sounds is laid over it."""

    def __init__(self, instrument: Instrument, place: Rect, layout: Layout, reach_mm: float) -> None:
        self._instrument, self._place, self._layout, self._reach_mm = instrument, place, layout, reach_mm
        self._boards: dict[Hand | None, Pixels] = {}
        self._signs: dict[tuple[str, str], Pixels] = {}

    def pixels(self, state: BoardState) -> Pixels:
        """RGB, as large as the place."""
        return self.laid_over(self._board(state.hand).copy(), state)

    def svg(self, state: BoardState) -> str:
        """The board with its hand, without what sounds and without what is coming."""
        return _Board(self._instrument, state, self._place, self._layout, self._reach_mm).draw()

    def _board(self, hand: Hand | None) -> Pixels:
        if hand not in self._boards:
            svg = self.svg(BoardState(hand))
            self._boards[hand] = svg_rgb(svg, self._place.width, self._place.height, PAPER)
        return self._boards[hand]

    def laid_over(self, ground: Pixels, state: BoardState) -> Pixels:
        """What sounds and what is coming, drawn on a board (RGB), which is changed."""
        board = _Board(self._instrument, state, self._place, self._layout, self._reach_mm)
        if state.coming:
            for left, top, right, bottom in board.coming_lines(state.coming):
                ground[top:bottom, left:right] = rgb_of(ACCENT)
        digits = board.digits()
        highest = max((stop.string for stop in state.stops), default=0)
        for stop in state.stops:
            # Of a double stop the lower string's name stands on its left; an open string is named on the board.
            if stop.semitones or stop.harmonic:
                x, y = board.name_at(stop)
                if stop.string != highest:
                    x -= 2 * (x - board.stop_at(stop)[0]) + self._sign("name", stop.name).shape[1]
                self._lay(ground, ("name", stop.name), x, y, centred=False)
        for stop in state.stops:
            self._lay(ground, ("diamond" if stop.harmonic else "disc", ""), *board.stop_at(stop), centred=True)
            if stop.finger in digits:
                x0, y0, x1, y1 = digits[stop.finger]
                ground[y0:y1, x0:x1] = recoloured(ground[y0:y1, x0:x1], INK, PAPER, ACCENT)
        return ground

    def _sign(self, kind: str, words: str) -> Pixels:
        if (kind, words) not in self._signs:
            self._signs[kind, words] = svg_rgba(*_small_sign(kind, words, self._layout))
        return self._signs[kind, words]

    def _lay(self, ground: Pixels, key: tuple[str, str], x: int, y: int, *, centred: bool) -> None:
        drawn = self._sign(*key)
        height, width = drawn.shape[:2]
        left, top = (x - width // 2, y - height // 2) if centred else (x, y - height // 2)
        top = max(0, min(top, ground.shape[0] - height))
        width = min(width, ground.shape[1] - left)
        ground[top : top + height, left : left + width] = over(
            drawn[:, :width], ground[top : top + height, left : left + width]
        )


def _small_sign(kind: str, words: str, layout: Layout) -> tuple[str, int, int]:
    """A filled disc or diamond, or a note's name on paper: drawing, width, height in pixels."""
    unit, size = 100 * layout.unit, 100 * layout.text_size
    if kind == "name":
        cap = size * CAP_HEIGHT
        drawn = letter(words, size, _NAME, x=6 * unit, y=cap + 6 * unit, fill=ACCENT)
        width, height = drawn.width + 24 * unit, cap + 16 * unit
        ground = f'<rect width="{width:.0f}" height="{cap + 12 * unit:.0f}" fill="{PAPER}"/>'
        across, down = round(width / 100), round(height / 100)
        return drawing_svg(ground + drawn.svg, across, down, drawn.used), across, down
    half = 20 * unit
    across = 2 * round(half / 100)
    middle = across * 50
    if kind == "disc":
        content = f'<circle cx="{middle}" cy="{middle}" r="{17 * unit:.0f}" fill="{ACCENT}"/>'
    else:
        content = f'<path d="M{middle} 0L{2 * middle} {middle}L{middle} {2 * middle}L0 {middle}Z" fill="{ACCENT}"/>'
    return drawing_svg(content, across, across, Used()), across, across


class _Board:
    def __init__(self, instrument: Instrument, state: BoardState, place: Rect, layout: Layout, reach_mm: float) -> None:
        self.instrument, self.state, self.place = instrument, state, place
        self.unit = 100 * layout.unit
        self.size = 100 * layout.text_size
        self.width, self.height = place.width * 100.0, place.height * 100.0
        self.top = 58 * self.unit
        self.scale = (self.height - self.top - 26 * self.unit) / reach_mm
        self.reach_mm = reach_mm
        self.left = 142 * self.unit
        count = len(instrument.strings)
        self.step = (self.width - self.left - 74 * self.unit) / max(1, count - 1)
        self.parts: list[str] = []
        self.used = Used()

    def across(self, string: int) -> float:
        return self.left + self.step * string

    def along(self, mm: float) -> float:
        return self.top + mm * self.scale

    def line(self, x0: float, y0: float, x1: float, y1: float, weight: float, colour: str, dash: str = "") -> None:
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="M{x0:.0f} {y0:.0f}L{x1:.0f} {y1:.0f}" fill="none" stroke="{colour}" '
            f'stroke-width="{weight * self.unit:.0f}"{dashes}/>'
        )

    def text(self, words: str, x: float, y: float, face: Face, colour: str, anchor: str, *, halo: bool = False) -> None:
        drawn = letter(words, self.size, face, x=x, y=y, anchor=anchor, fill=colour)  # type: ignore[arg-type]
        if halo:
            cap = self.size * CAP_HEIGHT
            self.parts.append(
                f'<rect x="{drawn.left - 6 * self.unit:.0f}" y="{y - cap - 5 * self.unit:.0f}" '
                f'width="{drawn.width + 10 * self.unit:.0f}" height="{cap + 10 * self.unit:.0f}" fill="{PAPER}"/>'
            )
        self.used.add(drawn.used)
        self.parts.append(drawn.svg)

    def draw(self) -> str:
        strings = self.instrument.strings
        last = len(strings) - 1
        foot = self.along(self.reach_mm)
        for index in range(last + 1):
            weight = 6.0 - 3.6 * index / max(1, last)
            self.line(self.across(index), self.top, self.across(index), foot, weight, INK)
        self.line(self.across(0) - 16 * self.unit, self.top, self.across(last) + 16 * self.unit, self.top, 9.0, INK)
        rows = finger_places(self.instrument, self.state.hand) if self.state.hand else {}
        for semitones in sorted(set(rows.values())):
            y = self.along(self.instrument.stop_mm(semitones))
            self.line(self.across(0) - 16 * self.unit, y, self.across(last) + 16 * self.unit, y, 1.6, GREY)
        self._nodes()
        self._letters()
        self._bracket(rows)
        return drawing_svg("".join(self.parts), self.place.width, self.place.height, self.used)

    def _letters(self) -> None:
        cap = self.size * CAP_HEIGHT
        for index, string in enumerate(self.instrument.strings):
            y = self.top + cap + 12 * self.unit
            self.text(string.letter, self.across(index), y, _LETTER, INK, "middle", halo=True)

    def _nodes(self) -> None:
        for harmonic in self.instrument.harmonics:
            mm = self.instrument.string_length_mm * harmonic.node_fraction
            if harmonic.partial > 4 or mm > self.reach_mm - 4:
                continue
            for index in range(len(self.instrument.strings)):
                self._diamond(self.across(index), self.along(mm), 9 * self.unit, filled=False)

    def _diamond(self, x: float, y: float, half: float, *, filled: bool) -> None:
        colour = ACCENT if filled else INK
        self.parts.append(
            f'<path d="M{x:.0f} {y - half:.0f}L{x + half:.0f} {y:.0f}L{x:.0f} {y + half:.0f}L{x - half:.0f} {y:.0f}Z" '
            f'fill="{colour if filled else PAPER}" stroke="{colour}" stroke-width="{2.4 * self.unit:.0f}"/>'
        )

    def _bracket(self, rows: Mapping[int, int]) -> None:
        if not rows:
            return
        x = 96 * self.unit
        places = {finger: self.along(self.instrument.stop_mm(place)) for finger, place in rows.items()}
        self.line(x, min(places.values()), x, max(places.values()), 4.0, INK)
        cap = self.size * CAP_HEIGHT
        for finger, (y, beside) in self._columns(places).items():
            self.line(x - 2 * self.unit, y, x + 14 * self.unit, y, 4.0, INK)
            if finger == THUMB:
                thumb = sign("thumb", cap * 1.4)
                self.parts.append(
                    f'<g color="{INK}" transform="translate({x - 26 * self.unit - beside:.0f},{y + cap * 0.7:.0f})">'
                    f"{thumb.svg}</g>"
                )
            else:
                self.text(str(finger), x - 12 * self.unit - beside, y + cap / 2, _DIGIT, INK, "end")

    def _columns(self, places: Mapping[int, float]) -> dict[int, tuple[float, float]]:
        """Height of each finger's digit and its place to the left: digits nearer than their height alternate."""
        found: dict[int, tuple[float, float]] = {}
        beside, before = 0.0, -1e9
        for finger, y in sorted(places.items(), key=lambda item: item[1]):
            beside = 36 * self.unit if y - before < 1.12 * self.size * CAP_HEIGHT and not beside else 0.0
            before = y
            found[finger] = (y, beside)
        return found

    def digits(self) -> dict[int, tuple[int, int, int, int]]:
        """Pixel boxes (left, top, right, bottom) of the digits at the bracket."""
        if self.state.hand is None:
            return {}
        rows = finger_places(self.instrument, self.state.hand)
        places = {finger: self.along(self.instrument.stop_mm(place)) for finger, place in rows.items()}
        cap = self.size * CAP_HEIGHT
        found = {}
        for finger, (y, beside) in self._columns(places).items():
            right = 96 * self.unit - 8 * self.unit - beside
            found[finger] = (
                max(0, round((right - 38 * self.unit) / 100)),
                max(0, round((y - cap * 0.72) / 100)),
                round(right / 100),
                round((y + cap * 0.76) / 100),
            )
        return found

    def coming_lines(self, hand: Hand) -> list[tuple[int, int, int, int]]:
        """The hand that comes next, as pixel boxes: a dashed bracket further out; it is said in words beside."""
        places = [self.along(self.instrument.stop_mm(p)) for p in finger_places(self.instrument, hand).values()]
        top, bottom = (round(v / 100) for v in (min(places), max(places)))
        unit = self.unit / 100
        left, thick, dash = round(6 * unit), max(2, round(4 * unit)), max(4, round(12 * unit))
        found = [(left, y - thick // 2, left + round(16 * unit), y + thick - thick // 2) for y in (top, bottom)]
        y = top
        while y < bottom:
            found.append((left, y, left + thick, min(bottom, y + dash)))
            y += round(1.75 * dash)
        return found

    def stop_at(self, stop: Stop) -> tuple[int, int]:
        """Where a place lies, in pixels: a harmonic at its true node, an open string above the nut."""
        near = [h for h in self.instrument.harmonics if stop.harmonic and h.node_semitones == stop.semitones]
        if near:
            y = self.along(self.instrument.string_length_mm * near[0].node_fraction)
        elif stop.semitones:
            y = self.along(self.instrument.stop_mm(stop.semitones))
        else:
            y = self.top - 27 * self.unit
        return round(self.across(stop.string) / 100), round(y / 100)

    def name_at(self, stop: Stop) -> tuple[int, int]:
        """Where its name begins, and its middle."""
        x, y = self.stop_at(stop)
        return x + round(21 * self.unit / 100), y
