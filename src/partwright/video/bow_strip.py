"""The bow in the picture: a hairline from frog to tip, the travelled stretch thick, the direction by its printed sign.

Units: pixels for places, fractions of the hair (0 = frog, 1 = tip) for the bow.
"""

from __future__ import annotations

from dataclasses import dataclass

from partwright.engraving import CAP_HEIGHT, INK, SANS, SERIF, Face, Used, letter, sign
from partwright.video.look import ACCENT, Layout, Rect
from partwright.video.raster import Canvas, drawing_svg

__all__ = ["BowState", "bow_svg", "bow_x", "ends", "grow"]

_WORDS = Face(SANS)
_COUNT = Face(SERIF, bold=True)
_LEFT, _RIGHT = 150, 30
_LINE = 0.5  # how far down the strip the hair lies
_THICK = 18


@dataclass(frozen=True, slots=True)
class BowState:
    """What the strip shows at rest: a stroke's direction and stretch, "pizz.", or the count before the music."""

    direction: str = ""  # down, up, or none
    start: float = 0.0
    end: float = 0.0
    lifted: bool = False
    words: str = ""
    count: tuple[int, tuple[int, ...]] | None = None  # which counted beat it is (from 0), and all their numbers


def bow_x(place: Rect, layout: Layout, on_bow: float) -> float:
    """Where a place on the bow lies, in pixels from the picture's left edge."""
    left, right = _LEFT * layout.unit, place.width - _RIGHT * layout.unit
    return place.x + left + min(1.0, max(0.0, on_bow)) * (right - left)


def bow_svg(state: BowState, place: Rect, layout: Layout) -> str:
    """The strip without the travelled stretch."""
    unit, size = 100 * layout.unit, 100 * layout.text_size
    cap = size * CAP_HEIGHT
    width, height = place.width * 100.0, place.height * 100.0
    used, parts = Used(), []

    def text(
        words: str, x: float, y: float, anchor: str, face: Face = _WORDS, colour: str = INK, em: float = 1
    ) -> None:
        drawn = letter(words, size * em, face, x=x, y=y, anchor=anchor, fill=colour)  # type: ignore[arg-type]
        used.add(drawn.used)
        parts.append(drawn.svg)

    if state.count is not None:
        place_now, numbers = state.count
        step = min(190 * unit, width / (len(numbers) + 1))
        for index, number in enumerate(numbers):
            now = index == place_now
            x, y = step * (index + 0.7), height * 0.5 + cap
            text(str(number), x, y, "middle", _COUNT if now else Face(SERIF), ACCENT if now else INK, 2.0)
            if now:
                parts.append(
                    f'<path d="M{x - cap * 0.7:.0f} {y + 24 * unit:.0f}h{cap * 1.4:.0f}" stroke="{ACCENT}" '
                    f'stroke-width="{10 * unit:.0f}"/>'
                )
        return drawing_svg("".join(parts), place.width, place.height, used)
    y = height * _LINE
    left, right = _LEFT * unit, width - _RIGHT * unit
    parts.append(
        f'<path d="M{left:.0f} {y:.0f}H{right:.0f}" stroke="{INK}" stroke-width="{3 * unit:.0f}" fill="none"/>'
    )
    ends_mark = f'v{24 * unit:.0f}" stroke="{INK}" stroke-width="{3 * unit:.0f}"/>'
    parts.extend(f'<path d="M{x:.0f} {y - 12 * unit:.0f}{ends_mark}' for x in (left, right))
    below = y + 32 * unit + cap
    text("frog", left, below, "start")
    text("tip", right, below, "end")
    if state.words:
        text(state.words, left, y - 30 * unit, "start")
    if state.direction:
        drawn = sign(f"{state.direction}-bow", cap * 1.8)
        parts.append(f'<g color="{INK}" transform="translate({60 * unit:.0f},{y + cap * 0.3:.0f})">{drawn.svg}</g>')
        if state.lifted:
            text("lift", 60 * unit, below, "middle")
    return drawing_svg("".join(parts), place.width, place.height, used)


def ends(canvas: Canvas, place: Rect, layout: Layout, state: BowState) -> None:
    """Where the stroke begins and ends, as two ticks on the canvas."""
    thick, reach = max(4, round(5 * layout.unit)), round(22 * layout.unit)
    middle = round(place.y + _LINE * place.height)
    for on_bow in (state.start, state.end):
        x = round(bow_x(place, layout, on_bow) - thick / 2)
        canvas.fill(x, middle - reach, thick, 2 * reach, ACCENT)


def grow(canvas: Canvas, place: Rect, layout: Layout, start: float, now: float) -> None:
    """The stretch travelled so far, drawn on the canvas."""
    one, other = sorted((bow_x(place, layout, start), bow_x(place, layout, now)))
    thick = max(4, round(_THICK * layout.unit))
    top = place.y + _LINE * place.height - thick / 2
    canvas.fill(round(one), round(top), round(other - one), thick, ACCENT)
