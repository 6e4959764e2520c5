"""Pictures with alpha over the maker's own footage: title, finger and string, position, bow, corrections, captions.

Pieces are plain data with their times; where a piece stands follows from its kind, what else stands there, and where
the hands are. Pixels: RGBA, straight alpha. Lettering as in the demonstration: at least 3 % of the shorter side.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from partwright.engraving import CAP_HEIGHT, INK, PAPER, SANS, SERIF, Face, Used, letter, text_width
from partwright.instrument import finger_text
from partwright.video.bow_strip import BowState, bow_svg, bow_x
from partwright.video.look import ACCENT, Layout, Rect
from partwright.video.raster import Pixels, drawing_svg, rgb_of, svg_rgba

if TYPE_CHECKING:
    from partwright.instrument import Instrument
    from partwright.video.timeline import Timeline

__all__ = ["KINDS", "Overlay", "Piece", "PlacedPiece", "overlay_times", "timeline_pieces"]

Kind = Literal["title", "line", "hand", "bow", "card", "caption"]
KINDS: tuple[Kind, ...] = ("title", "line", "hand", "bow")
"""What an overlay of the played music may show."""
_GROUND_ALPHA = 232  # of the paper behind the lettering: contrast stays above 4.5 over any footage
_BOW_STEPS = 12  # pictures of one stroke's travel
_SIGNS = {"title": (SERIF, True), "card": (SANS, True)}
# Where a kind may stand, best first: across (0 left, 1 right) and down (0 top, 1 bottom) inside the rim.
_PLACES: Mapping[str, tuple[tuple[float, float], ...]] = {
    "title": ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)),
    "card": ((1.0, 0.0), (0.0, 0.0), (0.5, 0.0), (1.0, 1.0), (0.0, 1.0)),
    "caption": ((0.5, 1.0), (0.5, 0.0)),
    "line": ((0.0, 1.0), (0.0, 0.0), (0.0, 0.5)),
    "hand": ((0.0, 0.88), (0.0, 0.12), (1.0, 0.5)),
    "bow": ((1.0, 1.0), (1.0, 0.0), (1.0, 0.5)),
}
_ORDER = ("caption", "card", "title", "line", "bow", "hand")  # who chooses a place first


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Something shown for a while. `words` are one text (broken into lines as needed), or a bow's stroke."""

    start_seconds: float
    end_seconds: float
    kind: Kind
    words: str = ""
    bow: BowState | None = None


@dataclass(frozen=True, slots=True)
class PlacedPiece:
    """Pixels (RGBA) and where they go."""

    x: int
    y: int
    pixels: Pixels


def timeline_pieces(timeline: Timeline, instrument: Instrument, *, kinds: Sequence[Kind] = KINDS) -> tuple[Piece, ...]:
    """What to show while the music is played, from the same tracks as the demonstration."""
    found: list[Piece] = []
    if "title" in kinds:
        found += [
            Piece(
                start_seconds=max(span.start_seconds, timeline.count_in_seconds),
                end_seconds=min(span.end_seconds, max(span.start_seconds, timeline.count_in_seconds) + 5.0),
                kind="title",
                words=span.title,
            )
            for span in timeline.sections
        ]
    ends = (*timeline.board.times[1:], timeline.seconds)
    if "line" in kinds:
        for start, end, state in zip(timeline.board.times, ends, timeline.board.states, strict=True):
            words = "; ".join(stop_words(instrument, s.string, s.finger, s.name, s.harmonic) for s in state.stops)
            if words and found and found[-1].kind == "line" and found[-1].words == words:
                found[-1] = replace(found[-1], end_seconds=end)
            elif words:
                found.append(Piece(start_seconds=start, end_seconds=end, kind="line", words=words))
    ends = (*timeline.words.times[1:], timeline.seconds)
    if "hand" in kinds:
        for start, end, (now, after) in zip(timeline.words.times, ends, timeline.words.states, strict=True):
            words = f"{now}; {after}" if after else now
            if words:
                found.append(Piece(start_seconds=start, end_seconds=end, kind="hand", words=words))
    if "bow" in kinds:
        for stroke in timeline.strokes:
            shown = timeline.bow.at(stroke.start_seconds + 1e-6)
            if shown.direction:
                found.append(
                    Piece(start_seconds=stroke.start_seconds, end_seconds=stroke.end_seconds, kind="bow", bow=shown)
                )
    return tuple(sorted(found, key=lambda piece: piece.start_seconds))


def stop_words(instrument: Instrument, string: int, finger: int, name: str, harmonic: int = 0) -> str:
    """A finger and string in few words: "F♯  3  D string"."""
    how = "open" if finger == 0 else finger_text(finger)
    return f"{name}  {how}{' harmonic' if harmonic else ''}  {instrument.strings[string].letter} string"


class Overlay:
    """All pieces over a picture of one size. `hands`: (left, top, right, bottom) in per cent, kept free."""

    def __init__(self, width: int, height: int, pieces: Sequence[Piece], *, hands: Sequence[float] = ()) -> None:
        self.width, self.height = width, height
        self.pieces = tuple(sorted(pieces, key=lambda piece: piece.start_seconds))
        self._hands = (
            (hands[0] * width / 100, hands[1] * height / 100, hands[2] * width / 100, hands[3] * height / 100)
            if len(hands) == 4
            else None
        )
        self._drawn: OrderedDict[object, Pixels] = OrderedDict()
        self._placed: OrderedDict[object, tuple[PlacedPiece, ...]] = OrderedDict()
        none = Rect(0, 0, width, height)
        self._layout = Layout(
            name="overlay",
            words="",
            width=width,
            height=height,
            title=none,
            staff=none,
            board=none,
            hand=none,
            bow=none,
        )

    @cached_property
    def _longest(self) -> float:
        return max((p.end_seconds - p.start_seconds for p in self.pieces), default=0.0)

    @cached_property
    def _starts(self) -> tuple[float, ...]:
        return tuple(p.start_seconds for p in self.pieces)

    def state_at(self, seconds: float) -> tuple[tuple[Piece, int], ...]:
        """The pieces shown at a time, each with how far its bow has come (0 … 12)."""
        from bisect import bisect_left, bisect_right

        first = bisect_left(self._starts, seconds - self._longest - 1e-6)
        last = bisect_right(self._starts, seconds + 1e-6)
        found = []
        for piece in self.pieces[first:last]:
            if piece.end_seconds > seconds + 1e-6:
                step = 0
                if piece.bow is not None:
                    part = (seconds - piece.start_seconds) / max(1e-6, piece.end_seconds - piece.start_seconds)
                    step = min(_BOW_STEPS, round(part * _BOW_STEPS))
                found.append((piece, step))
        return tuple(found)

    def placed(self, state: tuple[tuple[Piece, int], ...]) -> tuple[PlacedPiece, ...]:
        """Pixels and places of a state. A piece for which no free place is left is moved, never put over the hands."""
        if state in self._placed:
            self._placed.move_to_end(state)
            return self._placed[state]
        taken: list[tuple[float, float, float, float]] = [self._hands] if self._hands else []
        found = []
        for piece, step in sorted(state, key=lambda item: _ORDER.index(item[0].kind)):
            pixels = self._pixels(piece, step)
            place = self._place(piece.kind, pixels.shape[1], pixels.shape[0], taken)
            if place is None:
                continue
            taken.append((place[0], place[1], place[0] + pixels.shape[1], place[1] + pixels.shape[0]))
            found.append(PlacedPiece(place[0], place[1], pixels))
        self._placed[state] = tuple(found)
        while len(self._placed) > 8:
            self._placed.popitem(last=False)
        return self._placed[state]

    def picture(self, seconds: float) -> Pixels:
        """The whole picture at a time, RGBA."""
        found = np.zeros((self.height, self.width, 4), dtype=np.uint8)
        for piece in self.placed(self.state_at(seconds)):
            rows, columns = piece.pixels.shape[:2]
            found[piece.y : piece.y + rows, piece.x : piece.x + columns] = piece.pixels
        return found

    def _place(
        self, kind: str, width: int, height: int, taken: Sequence[tuple[float, float, float, float]]
    ) -> tuple[int, int] | None:
        rim = round(40 * self._layout.unit)
        room_x, room_y = max(0, self.width - 2 * rim - width), max(0, self.height - 2 * rim - height)
        gap = 12 * self._layout.unit
        steps = [n / 12 for n in range(13)]
        wanted = [*_PLACES[kind], *((x, y) for y in reversed(steps) for x in (0.0, 0.5, 1.0))]
        for across, down in wanted:
            x, y = 2 * round((rim + across * room_x) / 2), 2 * round((rim + down * room_y) / 2)
            box = (x - gap, y - gap, x + width + gap, y + height + gap)
            if not any(box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3] for t in taken):
                return x, y
        return None

    def _pixels(self, piece: Piece, step: int) -> Pixels:
        key = (piece.kind, piece.words, piece.bow, step)
        if key not in self._drawn:
            self._drawn[key] = self._bow(piece.bow, step) if piece.bow is not None else self._plaque(piece)
            while len(self._drawn) > 48:
                self._drawn.popitem(last=False)
        return self._drawn[key]

    def _plaque(self, piece: Piece) -> Pixels:
        """Words on paper; a correction has its mark and a hairline on its left."""
        unit, size = 100 * self._layout.unit, 100 * self._layout.text_size
        family, bold = _SIGNS.get(piece.kind, (SANS, piece.kind == "line"))
        face = Face(family, bold=bold)
        words = piece.words.upper() if piece.kind == "title" else piece.words
        spacing = 0.06 * size if piece.kind == "title" else 0.0
        most = 100.0 * self.width * (0.9 if piece.kind == "caption" else 0.62 if piece.kind == "card" else 0.46)
        lines: list[str] = []
        for given in words.split("\n"):
            lines += _wrapped(given, size, face, spacing, most - 60 * unit)
        left = 46 * unit if piece.kind == "card" else 26 * unit
        used, parts, y, widest = Used(), [], 20 * unit, 0.0
        for line in lines:
            y += size * CAP_HEIGHT
            drawn = letter(line, size, face, x=left, y=y, fill=INK, spacing=spacing)
            used.add(drawn.used)
            parts.append(drawn.svg)
            widest = max(widest, drawn.width)
            y += size * 0.52
        width = 2 * round((left + widest + 26 * unit) / 200)
        height = 2 * round((y - size * 0.52 + 26 * unit) / 200)
        if piece.kind == "card":
            parts.append(
                f'<path d="M{20 * unit:.0f} {14 * unit:.0f}V{height * 100 - 14 * unit:.0f}" stroke="{ACCENT}" '
                f'stroke-width="{6 * unit:.0f}"/>'
            )
        drawn_pixels = svg_rgba(drawing_svg("".join(parts), width, height, used), width, height)
        return _on_paper(drawn_pixels)

    def _bow(self, state: BowState | None, step: int) -> Pixels:
        assert state is not None
        width, height = 2 * round(0.3 * self.width / 2), 2 * round(170 * self._layout.unit / 2)
        place = Rect(0, 0, width, height)
        key = ("bow", replace(state, start=0.0, end=0.0))
        if key not in self._drawn:
            svg = bow_svg(replace(state, start=0.0, end=0.0), place, self._layout)
            self._drawn[key] = _on_paper(svg_rgba(svg, width, height))
        pixels = self._drawn[key].copy()
        now = state.start + (state.end - state.start) * step / _BOW_STEPS
        one, other = sorted(round(bow_x(place, self._layout, v)) for v in (state.start, now))
        thick = max(4, round(18 * self._layout.unit))
        middle = height // 2
        accent = (*rgb_of(ACCENT), 255)
        pixels[middle - thick // 2 : middle + thick // 2, one : max(one + 2, other)] = accent
        for end in (state.start, state.end):
            x = round(bow_x(place, self._layout, end))
            pixels[middle - thick : middle + thick, max(0, x - 3) : x + 3] = accent
        return pixels


def _on_paper(drawn: Pixels) -> Pixels:
    """A drawing over paper that lets a little of the footage through; straight alpha."""
    alpha = drawn[..., 3:].astype(np.float32) / 255
    ground = _GROUND_ALPHA / 255
    whole = alpha + (1 - alpha) * ground
    colour = (drawn[..., :3] * alpha + np.array(rgb_of(PAPER), np.float32) * ((1 - alpha) * ground)) / whole
    return np.concatenate([colour + 0.5, whole * 255 + 0.5], axis=2).astype(np.uint8)


def _wrapped(words: str, size: float, face: Face, spacing: float, width: float) -> list[str]:
    lines: list[str] = []
    for word in words.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, face) + spacing * len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


def overlay_times(overlay: Overlay, seconds: float, rate: float) -> tuple[int, ...]:
    """How many pictures an overlay has, as the numbers of those that differ from the one before."""
    found = []
    before: object = None
    for number in range(round(seconds * rate)):
        state = overlay.state_at((number + 0.5) / rate)
        if state != before:
            found.append(number)
            before = state
    return tuple(found)
