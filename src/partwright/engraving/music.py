"""From a tune and its marks to placed systems: the middle of engraving, shared by pages and excerpts.

Units: hundredths of a millimetre. Method: render copy → library (in its process) → true shapes → our signs around the
notes. If the last line would be short, the bars are shared out evenly over the same number of lines and drawn again.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from partwright.engraving.annotations import gather
from partwright.engraving.geometry import DrawnSystem, read_drawing
from partwright.engraving.placing import PlacedSystem, place_system
from partwright.engraving.render_copy import RenderCopy, render_tree
from partwright.engraving.worker import EngravingProcess, shared_process
from partwright.errors import EngravingError

if TYPE_CHECKING:
    from partwright.score import Mark, Tune

__all__ = [
    "EngravedMusic",
    "bar_widths",
    "draw_systems",
    "engrave_music",
    "even_breaks",
    "library_options",
    "line_starts",
    "render_copy",
]

STANDARD_UNIT = 9.0  # half a staff space in the library's units: a staff of 7.2 mm
_SHORT_LAST_LINE = 0.72


@dataclass(frozen=True, slots=True)
class EngravedMusic:
    """Placed systems, what is known of their bars, and which notes they show."""

    systems: tuple[PlacedSystem, ...]
    copy: RenderCopy


def render_copy(
    tune: Tune,
    *,
    bars: tuple[int, int] | None = None,
    new_systems: Collection[str] = (),
    for_print: bool = False,
) -> RenderCopy:
    """The copy of a tune that the engraving library sees (see `render_copy`'s module)."""
    ids = {
        (place.bar_index, place.order): note.id for note, place in zip(tune.part.notes, tune.note_places, strict=True)
    }
    return render_tree(
        tune.document.getroot(),
        part_id=tune.part.part_id,
        note_ids=ids,
        bars=bars,
        new_systems=new_systems,
        only_voice=bool(tune.voice),
        for_print=for_print,
    )


def engrave_music(
    tune: Tune,
    marks: Sequence[Mark],
    *,
    width: float,
    string_letters: Mapping[int, str],
    bars: tuple[int, int] | None = None,
    staff_size: float = 1.0,
    for_print: bool = False,
    process: EngravingProcess | None = None,
) -> EngravedMusic:
    """Systems `width` wide. `staff_size` 1 is a staff of 7.2 mm. Raises EngravingError for what cannot be drawn.

    `for_print`: empty bars are joined and very long ones cut, as in a printed part.
    """
    engine = process or shared_process()
    made = render_copy(tune, bars=bars, for_print=for_print)
    drawn = draw_systems(engine, made, width=width, staff_size=staff_size, breaks="auto")
    breaks = line_starts(drawn, even_breaks(bar_widths(drawn), width))
    if breaks:
        made = render_copy(tune, bars=bars, new_systems=breaks, for_print=for_print)
        drawn = draw_systems(engine, made, width=width, staff_size=staff_size, breaks="encoded")
    notes, lines = gather(marks, made.signs, string_letters=string_letters)
    order = {note_id: rank for rank, note_id in enumerate(made.note_order)}
    systems = []
    for index, system in enumerate(drawn):
        number = made.bar_numbers.get(system.measure_ids[0], "") if system.measure_ids else ""
        shown = number if (index > 0 or bars is not None) and number not in ("0", "1") else ""
        systems.append(place_system(system, notes, lines, note_order=order, bar_number=shown))
    return EngravedMusic(tuple(systems), made)


def draw_systems(
    engine: EngravingProcess,
    made: RenderCopy,
    *,
    width: float,
    staff_size: float,
    breaks: str,
    more: Mapping[str, object] | None = None,
) -> list[DrawnSystem]:
    """The library's drawing of a render copy, read back; `more` are further options of the library's.

    Raises EngravingError where a note is missing in it.
    """
    pages = engine.draw(made.musicxml, {**library_options(width, staff_size, breaks), **(more or {})})
    systems = [system for page in pages for system in read_drawing(page)]
    shown = sum(len({p.note_id for p in s.pieces if p.kind == "notehead"}) for s in systems)
    if shown == 0 and b"<sign>TAB<" in made.musicxml:
        raise EngravingError("the part is written as tablature", "Give the part in notes on a staff.")
    if shown != made.note_count:
        raise EngravingError(
            f"the engraver drew {shown} of {made.note_count} notes, so the page would be wrong",
            "Check the tune with `check score`.",
        )
    return systems


def library_options(width: float, staff_size: float, breaks: str) -> dict[str, object]:
    """The engraver's options for music alone on one endless page: no titles, bar numbers or page breaks of its own.

    `width` in hundredths of a mm; `staff_size` 1 is a staff of 7.2 mm; `breaks` is the engraver's own word for how
    lines are broken.
    """
    return {
        "header": "none",
        "footer": "none",
        "breaks": breaks,
        "font": "Leipzig",
        "smuflTextFont": "none",
        "svgRemoveXlink": True,
        "pageWidth": round(width / 10),
        "pageHeight": 60000,
        "adjustPageHeight": True,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "unit": round(STANDARD_UNIT * staff_size, 2),
        "mnumInterval": 100_000,  # bar numbers are ours
        "spacingSystem": 6,
        "spacingStaff": 16,  # between the two staves of one part; signs of the lower one stand there
        "spacingLinear": 0.27,
        "breaksNoWidow": True,
        "systemDivider": "none",
    }


def bar_widths(drawn: Sequence[DrawnSystem]) -> list[list[float]]:
    """The widths of the bars of each line."""
    return [[s.measure_boxes[m].right - s.measure_boxes[m].left for m in s.measure_ids] for s in drawn]


def line_starts(drawn: Sequence[DrawnSystem], indices: Sequence[int]) -> frozenset[str]:
    """Ids of the measures at these places among all that were drawn: of joined rests only the first one is."""
    ids = [name for system in drawn for name in system.measure_ids]
    return frozenset(ids[index] for index in indices)


def even_breaks(widths: Sequence[Sequence[float]], width: float) -> tuple[int, ...]:
    """Indices of bars that should begin a line so that lines are evenly full; empty when they are well as they are.

    `widths` holds the widths of the bars of each line as drawn; the last line is not stretched.

    >>> even_breaks([[50.0, 50.0], [50.0, 50.0], [30.0]], 100.0)
    (2, 3)
    """
    if len(widths) < 2 or sum(widths[-1]) >= _SHORT_LAST_LINE * width:
        return ()
    bars = [w for line in widths for w in line]
    lines = len(widths)
    target = sum(bars) / lines
    infinite = float("inf")
    best = [[infinite] * (len(bars) + 1) for _ in range(lines + 1)]
    came = [[0] * (len(bars) + 1) for _ in range(lines + 1)]
    best[0][0] = 0.0
    for line in range(1, lines + 1):
        for end in range(line, len(bars) + 1):
            total = 0.0
            for start in range(end - 1, line - 2, -1):
                total += bars[start]
                if total > width * 1.02 and start < end - 1:
                    break
                cost = best[line - 1][start] + (total - target) ** 2
                if cost < best[line][end]:
                    best[line][end], came[line][end] = cost, start
    if best[lines][-1] == infinite:
        return ()
    starts = []
    end = len(bars)
    for line in range(lines, 1, -1):
        end = came[line][end]
        starts.append(end)
    old = [sum(len(line) for line in widths[:i]) for i in range(1, lines)]
    found = tuple(reversed(starts))
    return () if list(found) == old else found
