"""The bow picture: a line through time showing where on the bow the hand travels.

The frog is the lower hairline, the tip the upper one; a stroke is a thick slanting line, a lift a gap with a comma over
it, a hook a tick where the line goes on. Printed bow signs stand where a player needs them. Tight places, and only
they, are in the accent colour, with a mark and a word.

Units: picture units of 1/96 inch; time to scale within each line. Source of the colours: the project's own palette.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from partwright.bowing.explain import stroke_account
from partwright.bowing.stroke import BowingPlan, Stroke
from partwright.score import Part, beat_text

__all__ = ["bow_picture_svg", "tight_word"]

_PALETTES = {"paper": ("#1F1D1A", "#FCFAF5", "#0F5A8A"), "dark": ("#EDE8DC", "#191816", "#7DB8E0")}
_FACE = "'Source Sans 3','Source Sans Pro',sans-serif"
_MARGIN = 48.0
_BOW_HEIGHT = 72.0
_LINE_HEIGHT = 150.0
_SECONDS_A_LINE = 14.0

# Which term makes a place tight, from which price on, and what is then written beside it.
_TIGHT: tuple[tuple[str, float, str], ...] = (
    ("slower_than_wanted", 0.20, "little bow"),
    ("faster_than_wanted", 0.20, "fast bow"),
    ("note_cut_short", 0.35, "hurried lift"),
    ("accent_at_tip", 0.25, "accent at the tip"),
    ("up_long_loud", 0.25, "loud up-bow"),
    ("fast_crossing_against_arm", 0.30, "against the arm"),
)


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of the picture: its strokes and the seconds it spans."""

    first: int
    last: int
    begins: float
    ends: float


def bow_picture_svg(
    part: Part,
    plan: BowingPlan,
    *,
    first_bar: str | None = None,
    last_bar: str | None = None,
    width: float = 960.0,
    paper: Literal["paper", "dark"] = "paper",
) -> str:
    """The picture of all strokes, or of those from `first_bar` to `last_bar`, as one SVG document.

    `plan` must still hold what it was made from. Raises KeyError for a bar that is not in the part.
    """
    problem = plan.problem
    assert problem is not None
    ink, ground, accent = _PALETTES[paper]
    numbers = [bar.number for bar in part.bars]
    low = _bar_index(numbers, first_bar, 0)
    high = _bar_index(numbers, last_bar, len(numbers) - 1)
    chosen = [s for s, stroke in enumerate(plan.strokes) if low <= part.by_id[_head(part, stroke)].bar_index <= high]
    onsets = problem.strokes.onset_seconds.tolist()
    ends = (problem.strokes.onset_seconds + problem.strokes.duration_seconds).tolist()
    lines = _lines(part, plan, chosen, onsets, ends)
    height = 24 + _LINE_HEIGHT * max(1, len(lines))
    body: list[str] = []
    for row, line in enumerate(lines):
        body += _draw_line(part, plan, line, 40 + row * _LINE_HEIGHT, width, (ink, accent), onsets, ends)
    title = f"Where the bow travels: {part.name}" if part.name else "Where the bow travels"
    describe = f"{len(chosen)} strokes; frog below, tip above, time from left to right; gaps are lifts of the bow."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="img"><title>{escape(title)}</title><desc>{escape(describe)}</desc>'
        f'<rect width="100%" height="100%" fill="{ground}"/>{"".join(body)}</svg>\n'
    )


def tight_word(plan: BowingPlan, index: int) -> str:
    """What is tight about a stroke, in two or three words; empty where nothing is."""
    assert plan.problem is not None
    assert plan.search is not None
    account = stroke_account(plan.problem, plan.search, index)
    found = [(account.get(term, 0.0) / limit, word) for term, limit, word in _TIGHT if account.get(term, 0.0) >= limit]
    return max(found)[1] if found else ""


def _bar_index(numbers: Sequence[str], number: str | None, default: int) -> int:
    if number is None:
        return default
    if number not in numbers:
        raise KeyError(number)
    return numbers.index(number)


def _head(part: Part, stroke: Stroke) -> str:
    return next((i for i in stroke.note_ids if not part.by_id[i].grace), stroke.note_ids[0])


def _lines(
    part: Part, plan: BowingPlan, chosen: Sequence[int], onsets: Sequence[float], ends: Sequence[float]
) -> list[_Line]:
    """Strokes broken into lines at bars, as many bars to a line as its seconds hold."""
    lines: list[_Line] = []
    begin = 0
    for k in range(1, len(chosen) + 1):
        s = chosen[k] if k < len(chosen) else None
        if s is not None:
            new_bar = plan.strokes[s].bar != plan.strokes[chosen[k - 1]].bar
            far = _end_of_bar(plan, chosen, k, ends) - onsets[chosen[begin]] > _SECONDS_A_LINE
            if not (new_bar and far):
                continue
        first, last = chosen[begin], chosen[k - 1]
        stop = max(ends[last], min(onsets[s], ends[last] + 2.0) if s is not None else ends[last])
        lines.append(_Line(first, last, onsets[first], max(stop, onsets[first] + 0.5)))
        begin = k
    return lines


def _end_of_bar(plan: BowingPlan, chosen: Sequence[int], k: int, ends: Sequence[float]) -> float:
    bar = plan.strokes[chosen[k]].bar
    while k + 1 < len(chosen) and plan.strokes[chosen[k + 1]].bar == bar:
        k += 1
    return ends[chosen[k]]


def _draw_line(
    part: Part,
    plan: BowingPlan,
    line: _Line,
    top: float,
    width: float,
    colours: tuple[str, str],
    onsets: Sequence[float],
    ends: Sequence[float],
) -> list[str]:
    ink, accent = colours
    left, right = _MARGIN, width - 20
    scale = (right - left) / max(line.ends - line.begins, min(_SECONDS_A_LINE, 8.0))
    bottom = top + _BOW_HEIGHT

    def across(seconds: float) -> float:
        return left + (seconds - line.begins) * scale

    def up(place: float) -> float:
        return bottom - place * _BOW_HEIGHT

    stop = across(line.ends)
    out = [
        f'<path d="M{left:.1f} {y:.1f}H{stop:.1f}" stroke="{ink}" stroke-width="0.6"{dash} fill="none"/>'
        for y, dash in ((top, ""), (up(0.5), ' stroke-dasharray="2 4"'), (bottom, ""))
    ]
    out += [_text(left - 8, y + 3.5, word, ink, 11, "end") for y, word in ((top, "tip"), (bottom, "frog"))]
    bar = ""
    taken_until = 0.0
    for s in range(line.first, line.last + 1):
        stroke = plan.strokes[s]
        x0, x1 = across(onsets[s]), across(ends[s])
        y0, y1 = up(stroke.start), up(stroke.end)
        word = tight_word(plan, s)
        colour = accent if word else ink
        if stroke.bar != bar:
            bar = stroke.bar
            out.append(f'<path d="M{x0:.1f} {top:.1f}V{bottom:.1f}" stroke="{ink}" stroke-width="0.4"/>')
            out.append(_text(x0 + 2, bottom + 14, bar, ink, 11))
        gap = 1.5 if x1 - x0 > 5 else 0.0
        title = f"bar {stroke.bar}, beat {beat_text(stroke.beat)}: {stroke.direction}-bow" + (
            f": {word}" if word else ""
        )
        out.append(
            f'<path d="M{x0:.1f} {y0:.1f}L{x1 - gap:.1f} {y1:.1f}" stroke="{colour}" stroke-width="3.2" '
            f'fill="none"><title>{escape(title)}</title></path>'
        )
        if s > line.first and (stroke.retake or stroke.reset):
            out.append(_comma(x0, top - 3, ink))
        if s > line.first and stroke.hook:
            out.append(f'<path d="M{x0:.1f} {y0 - 6:.1f}V{y0 + 6:.1f}" stroke="{ink}" stroke-width="1.2"/>')
        if stroke.sign_needed:
            out.append(_sign(stroke.direction, x0 + 4, top - 8, ink))
        if word and x0 > taken_until:
            out.append(_mark(x0, bottom + 24, accent))
            out.append(_text(x0 + 11, bottom + 29, word, accent, 11))
            taken_until = x0 + 18 + 6 * len(word)
    return out


def _text(x: float, y: float, words: str, colour: str, size: float, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="{_FACE}" font-size="{size:g}" fill="{colour}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )


def _sign(direction: str, x: float, y: float, ink: str) -> str:
    """The printed sign: a frame open below for the down-bow, a wedge for the up-bow; 9 units high."""
    if direction == "down":
        return (
            f'<path d="M{x - 4:.1f} {y:.1f}V{y - 9:.1f}H{x + 4:.1f}V{y:.1f}M{x - 4:.1f} {y - 8:.1f}H{x + 4:.1f}" '
            f'stroke="{ink}" stroke-width="1.1" fill="none"/>'
        )
    return (
        f'<path d="M{x - 3.5:.1f} {y - 9:.1f}L{x:.1f} {y:.1f}L{x + 3.5:.1f} {y - 9:.1f}" '
        f'stroke="{ink}" stroke-width="1.1" fill="none"/>'
    )


def _comma(x: float, y: float, ink: str) -> str:
    """A lift, as the comma printed for a breath."""
    return f'<path d="M{x - 5:.1f} {y - 7:.1f}q3 0 2 5q-0.6 2 -3 3q2 -2 1.4 -4q-2 -2 -0.4 -4z" fill="{ink}"/>'


def _mark(x: float, y: float, accent: str) -> str:
    """The mark of a tight place: two short strokes closing in on each other."""
    return (
        f'<path d="M{x:.1f} {y - 4:.1f}l3 4l-3 4M{x + 9:.1f} {y - 4:.1f}l-3 4l3 4" '
        f'stroke="{accent}" stroke-width="1.3" fill="none"/>'
    )
