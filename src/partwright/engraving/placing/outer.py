"""What the library placed further out, pushed away from our signs: dynamics, chord symbols, endings, tempo.

The bar number over the clef is ours, and comes last, outside all of it. Units: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Mapping

from partwright.engraving.boxes import Box, settle_down, settle_up
from partwright.engraving.drawings import NUMBER_FACE, NUMBER_SIZE
from partwright.engraving.geometry import Piece
from partwright.engraving.lettering import letter
from partwright.engraving.placing.ground import GAP, Ground
from partwright.engraving.print_bars import is_jump
from partwright.engraving.typefaces import CAP_HEIGHT

__all__ = ["OUTER_RANK", "place_bar_number", "push_outer"]

_OUTER_GAP = 75.0  # between our signs and what stands further out

OUTER_RANK: dict[str, int] = {
    kind: rank
    for rank, kinds in enumerate(
        (
            ("fermata", "trill", "turn", "mordent", "caesura"),
            ("dynam", "hairpin", "pedal"),
            ("octave", "bracketSpan"),
            ("dir", "repeatMark", "fb"),
            ("harm",),
            ("voltaBracket",),
            ("tempo",),
            ("reh",),
        )
    )
    for kind in kinds
}
"""How far out a kind of the library's stands: what is 0 stands nearest to the notes."""

_BESIDE = {"tempo": 260.0, "dir": 160.0}  # words read as one with what stands next to them at the same height
_ROWS = frozenset({"harm", "voltaBracket"})


def push_outer(ground: Ground) -> None:
    """Move dynamics, chord symbols, endings and tempo outwards until nothing touches; jumps end at their bar line."""
    sideways = {id(piece): _to_bar_line(ground, piece) for piece in ground.outer}
    middle = (ground.top + ground.bottom) / 2
    above = [p for p in ground.outer if (p.box.top + p.box.bottom) / 2 < middle]
    under = [p for p in ground.outer if p not in above]
    for direction, pieces in ((-1, above), (1, under)):
        groups: dict[tuple[int, str], list[Piece]] = {}
        for index, piece in enumerate(sorted(pieces, key=lambda p: (OUTER_RANK[p.kind], p.box.left))):
            row = piece.kind if piece.kind in _ROWS else f"{piece.kind}{index}"
            groups.setdefault((OUTER_RANK[piece.kind], row), []).append(piece)
        for _, group in sorted(groups.items(), key=lambda item: (item[0][0], item[1][0].box.left)):
            _push_group(ground, group, direction, sideways)


def _to_bar_line(ground: Ground, piece: Piece) -> float:
    """How far a jump ("D.C. al Fine", "To Coda") was moved so that it ends where its bar does, where it is read."""
    bar = ground.system.measure_boxes.get(piece.measure_id or "")
    if bar is None or piece.kind not in ("dir", "repeatMark"):
        return 0.0
    if not is_jump("".join(piece.element.itertext())):
        return 0.0
    shift = max(bar.right - piece.box.right, -piece.box.left)
    piece.boxes = [Box(b.left + shift, b.top, b.right + shift, b.bottom) for b in piece.boxes]
    return shift


def _push_group(ground: Ground, group: list[Piece], direction: int, sideways: Mapping[int, float]) -> None:
    """Pieces of one row move together; `direction` is -1 for up, 1 for down."""
    shift = 0.0
    settled = False
    while not settled:
        settled = True
        for piece in group:
            for box in piece.boxes:
                moved = Box(box.left, box.top + shift, box.right, box.bottom + shift)
                beside = _BESIDE.get(piece.kind, 60.0)
                near = ground.placed.between(box.left - beside, box.right + beside)
                if shift:
                    near = near + ground.inner.between(box.left - 30, box.right + 30)
                spans = [(b.top, b.bottom) for b in near]
                height = box.bottom - box.top
                if direction < 0:
                    more = settle_up(spans, moved.bottom, height, _OUTER_GAP) - moved.bottom
                else:
                    more = settle_down(spans, moved.top, height, _OUTER_GAP) - moved.top
                if abs(more) > 0.5:
                    shift += more
                    settled = False
    for piece in group:
        aside = sideways[id(piece)]
        if shift or aside:
            piece.element.set("transform", f"translate({aside:.0f},{shift:.0f})")
            piece.boxes = [Box(b.left, b.top + shift, b.right, b.bottom + shift) for b in piece.boxes]
        for box in piece.boxes:
            ground.placed.add(box)


def place_bar_number(ground: Ground, number: str) -> None:
    """The number over the clef; none for ""."""
    if not number:
        return
    drawn = letter(number, NUMBER_SIZE, NUMBER_FACE)
    ground.used.add(drawn.used)
    height = NUMBER_SIZE * CAP_HEIGHT
    bottom = settle_up(ground.spans(-40.0, drawn.width + 60.0), ground.top - 110.0, height, GAP)
    svg = f'<g transform="translate(0,{bottom:.0f})">{drawn.svg}</g>'
    ground.add("bar-number", "", Box(0.0, bottom - height, drawn.width, bottom), svg)
