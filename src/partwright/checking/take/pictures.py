"""Two pictures a line: how each note lay against its pitch, and against the take's own beat. SVG, shapes and words.

Every system of the picture holds a few bars. Notes stand at their score time, so that a picture reads like the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from partwright.checking.take.note import TakeCheck, TakeNote
from partwright.score import beat_text

__all__ = ["WIDTH", "intonation_systems", "timing_systems"]

WIDTH = 1120
_LEFT, _RIGHT = 96, 16
_CENTS_HEIGHT, _SPAN_CENTS = 176, 65.0
_TIME_HEIGHT, _SPAN_MS = 120, 160.0
_PER_SYSTEM = 26
_WORDS = {"▲": "sharp", "▼": "flat", "●": "in tune", "✗": "another note", "○": "missed", "·": "not judged"}
_SCALE_DEGREES = {"C": 0, "D": 1, "E": 2, "F": 3, "G": 4, "A": 5, "B": 6}


def _systems(check: TakeCheck) -> list[list[TakeNote]]:
    """Whole bars together, up to about two dozen notes each."""
    bars: list[list[TakeNote]] = []
    for note in check.counted:
        if bars and bars[-1][-1].bar_index == note.bar_index and bars[-1][-1].attempt == note.attempt:
            bars[-1].append(note)
        else:
            bars.append([note])
    systems: list[list[TakeNote]] = []
    for bar in bars:
        if systems and len(systems[-1]) + len(bar) <= _PER_SYSTEM:
            systems[-1] += bar
        else:
            systems.append(list(bar))
    return systems


def _places(notes: Sequence[TakeNote]) -> list[float]:
    """Horizontal places: spaced by how long the notes last, but never so close that their words collide."""
    widths = []
    for i, note in enumerate(notes):
        following = notes[i + 1].time_s if i + 1 < len(notes) else note.end_s
        same = i + 1 < len(notes) and notes[i + 1].event == note.event and notes[i + 1].attempt == note.attempt
        widths.append(0.0 if same else 0.7 + min(2.0, max(0.1, following - note.time_s)) ** 0.6)
    total = sum(widths) or 1.0
    room = WIDTH - _LEFT - _RIGHT - 24
    scale = min(room / total, 72)
    places, at = [], _LEFT + 28.0
    for width in widths:
        places.append(at)
        at += width * scale
    return places


def intonation_systems(check: TakeCheck) -> tuple[str, ...]:
    """The intonation line: each note above, on or below its own pitch, in cents; shape and word tell the verdict."""
    return tuple(_intonation(notes) for notes in _systems(check))


def _intonation(notes: Sequence[TakeNote]) -> str:
    middle = 84
    per_cent = 60 / _SPAN_CENTS
    places = _places(notes)
    parts = [_band(middle, 10 * per_cent), _scale(middle, per_cent, (50, 25, -25, -50), "cents")]
    parts += _bar_lines(notes, places, 18, 150)
    last_x = -1.0
    for note, x in zip(notes, places, strict=True):
        shape = note.shape
        value = note.cents if note.cents is not None and note.kind not in ("wrong note", "missed") else 0.0
        y = middle - max(-_SPAN_CENTS, min(_SPAN_CENTS, value)) * per_cent
        kind = "right" if shape == "●" else "quiet" if shape == "·" else "wrong" if note.pitch == "wrong" else "check"
        label = f"{value:+.0f}" if shape in "▲▼" else note.played if shape == "✗" else "missed" if shape == "○" else ""
        title = _title(note, value)
        parts.append(f'<g class="{kind}"><title>{escape(title)}</title>')
        if shape in "▲▼":
            parts.append(f'<line class="stem" x1="{x:.1f}" y1="{middle}" x2="{x:.1f}" y2="{y:.1f}"/>')
        parts.append(_mark(shape, x, y))
        if label:
            below = value < 0 and shape in "▲▼"
            parts.append(f'<text x="{x:.1f}" y="{y + (21 if below else -11):.1f}">{escape(label)}</text>')
        parts.append("</g>")
        stacked = x == last_x  # the upper note of a double stop stands above the lower one's name
        parts.append(f'<text class="name" x="{x:.1f}" y="{154 if stacked else 168}">{escape(_short(note.name))}</text>')
        last_x = x
    words = f"Intonation, bars {notes[0].bar} to {notes[-1].bar}"
    return _svg(parts, _CENTS_HEIGHT, words)


def timing_systems(check: TakeCheck) -> tuple[str, ...]:
    """The timing line: each onset before or after its place in the take's own tempo, in milliseconds."""
    return tuple(_timing(notes) for notes in _systems(check))


def _timing(notes: Sequence[TakeNote]) -> str:
    middle = 60
    per_ms = 40 / _SPAN_MS
    places = _places(notes)
    parts = [_band(middle, 70 * per_ms), _scale(middle, per_ms, (100, -100), "ms")]
    parts += _bar_lines(notes, places, 12, 108, numbered=False)
    for note, x in zip(notes, places, strict=True):
        if note.late_s is None:
            parts.append(
                f'<g class="quiet"><title>{escape(_place(note))}: timing not judged</title>{_mark("·", x, middle)}</g>'
            )
            continue
        value = max(-_SPAN_MS, min(_SPAN_MS, 1000 * note.late_s))
        y = middle - value * per_ms
        out = note.timing == "check"
        side = "late" if value > 0 else "early"
        parts.append(
            f'<g class="{"check" if out else "right"}"><title>{escape(_place(note))}: {note.name}, '
            f"{abs(1000 * note.late_s):.0f} ms {side}{' ? check' if out else ''}</title>"
            f'<line class="tick" x1="{x:.1f}" y1="{middle}" x2="{x:.1f}" y2="{y:.1f}"/>'
            f'<line class="head" x1="{x - 5:.1f}" y1="{y:.1f}" x2="{x + 5:.1f}" y2="{y:.1f}"/>'
        )
        if out:
            parts.append(f'<text x="{x:.1f}" y="{y + (16 if value < 0 else -7):.1f}">{side}</text>')
        parts.append("</g>")
    return _svg(parts, _TIME_HEIGHT, f"Timing, bars {notes[0].bar} to {notes[-1].bar}")


def _svg(parts: Sequence[str], height: int, words: str) -> str:
    return (
        f'<svg viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(words)}" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{escape(words)}</title>{''.join(parts)}</svg>"
    )


def _band(middle: float, half: float) -> str:
    return (
        f'<rect class="band" x="{_LEFT}" y="{middle - half:.1f}" width="{WIDTH - _LEFT - _RIGHT}" '
        f'height="{2 * half:.1f}"/>'
        f'<line class="zero" x1="{_LEFT}" y1="{middle}" x2="{WIDTH - _RIGHT}" y2="{middle}"/>'
    )


def _scale(middle: float, per_unit: float, values: Sequence[int], unit: str) -> str:
    up, down = ("sharp", "flat") if unit == "cents" else ("late", "early")
    top = max(values)
    rows = [
        f'<text class="axis" x="{_LEFT - 10}" y="{middle + 5}">{"in tune" if unit == "cents" else "in time"}</text>'
    ]
    for value in values:
        y = middle - value * per_unit
        word = f" {up if value > 0 else down}" if abs(value) == top else ""
        rows.append(
            f'<line class="grid" x1="{_LEFT}" y1="{y:.1f}" x2="{WIDTH - _RIGHT}" y2="{y:.1f}"/>'
            f'<text class="axis" x="{_LEFT - 10}" y="{y + 5:.1f}">{abs(value)} {unit if not word else ""}{word}</text>'
        )
    return "".join(rows)


def _bar_lines(
    notes: Sequence[TakeNote], places: Sequence[float], top: int, bottom: int, *, numbered: bool = True
) -> list[str]:
    parts = []
    before: tuple[int, int] | None = None
    for i, (note, x) in enumerate(zip(notes, places, strict=True)):
        if before is None or (note.bar_index, note.attempt) != before:
            at = x - 20 if i == 0 else (places[i - 1] + x) / 2 if x - places[i - 1] < 40 else x - 20
            parts.append(f'<line class="bar" x1="{at:.1f}" y1="{top}" x2="{at:.1f}" y2="{bottom}"/>')
            if numbered:
                parts.append(f'<text class="number" x="{at + 4:.1f}" y="{top - 4}">{escape(note.bar)}</text>')
        before = (note.bar_index, note.attempt)
    return parts


def _mark(shape: str, x: float, y: float) -> str:
    if shape == "●":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>'
    if shape == "○":
        return f'<circle class="open" cx="{x:.1f}" cy="{y:.1f}" r="5.5"/>'
    if shape == "·":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.8"/>'
    if shape == "✗":
        return f'<path class="cross" d="M{x - 5.5:.1f} {y - 5.5:.1f}l11 11m0 -11l-11 11"/>'
    sign = -1 if shape == "▲" else 1
    return f'<path d="M{x - 6.5:.1f} {y - sign * 5:.1f}h13l-6.5 {sign * 11}z"/>'


def _title(note: TakeNote, value: float) -> str:
    words = _WORDS[note.shape]
    if note.shape in "▲▼●":
        words += f", {value:+.0f} cents"
        if note.vibrato is not None:
            words += f", vibrato {note.vibrato.rate_hz:.1f} a second, ±{note.vibrato.half_width_cents:.0f} cents"
    elif note.shape == "✗":
        words += f": {note.played}"
    elif note.shape == "·" and note.why_not:
        words += f": {note.why_not}"
    return f"{_place(note)}: {note.name}, {words}"


def _place(note: TakeNote) -> str:
    return f"bar {note.bar}, beat {beat_text(note.beat)}"


def _short(name: str) -> str:
    return name.replace("#", "♯").replace("b", "♭")
