"""The fingerboard as the player sees it looking down: where the hand lies and which notes are under it.

Strings are vertical, the nut at the top, the thickest string on the left; distances along the string are true to
the string length (x = L·(1 - 2^(-n/12))) at the stated scale, distances across are schematic. A bracket on the left
shows the hand with its finger digits; used places are rings with their notes' names, the one sounding now is filled;
natural harmonics are open diamonds at their true nodes. Nothing is told by colour.
Units: mm along the string and on paper; hundredths of a millimetre inside SVG.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from partwright.engraving.lettering import Used, letter
from partwright.engraving.paper import A4, GREY, PAPER, PageSize
from partwright.engraving.pdf import DocumentFacts, pages_pdf
from partwright.engraving.sheet import Heading, sheet_footer, sheet_head, svg_document
from partwright.engraving.signs import sign
from partwright.engraving.typefaces import CAP_HEIGHT, SANS, SERIF, Face
from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import THUMB, HandShape, Harmonic, Instrument
from partwright.score import Part

__all__ = [
    "ChartHand",
    "ChartStop",
    "chart_scale",
    "charts_pdf",
    "charts_svg",
    "fingerboard_chart_svg",
    "hand_at",
    "hands_of_plan",
    "node_mm",
    "note_name",
]

_PAPER_LENGTH_MM = 172.0  # about how long a whole string comes out on paper

STRING_STEP_MM = 11.0
_LEFT_MM, _RIGHT_MM, _TOP_MM, _BOTTOM_MM = 15.0, 9.0, 17.0, 9.0
_RING_MM = 1.75
NAME_SIZE_MM = 3.4
_TITLE = Face(SERIF, bold=True)
_PLAIN = Face(SERIF)
_NAME = Face(SANS, bold=True)
_SMALL = Face(SANS)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartStop:
    """One place on the fingerboard: string index from 0 = lowest, semitones above the open string, finger, name."""

    string: int
    semitones: int
    finger: int
    name: str
    harmonic: bool = False
    now: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartHand:
    """One hand on the fingerboard: where it lies, its shape, and the places used (all of its places when empty)."""

    frame: int
    zone: Literal["neck", "upper", "thumb"]
    shape: str
    stops: tuple[ChartStop, ...] = ()


_SHARP_NAMES = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
_FLAT_NAMES = ("C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B")
_STEP_NAMES = {-2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "♯♯"}


def note_name(midi: int, fifths: int = 0) -> str:
    """A note's letter name as the key spells it; outside the key, raised in sharp keys and lowered in flat ones.

    >>> note_name(54, 2), note_name(58, -1), note_name(53, 6)
    ('F♯', 'B♭', 'E♯')
    """
    order = "FCGDAEB"
    for position, step in enumerate(order):
        alter = (fifths - position + 6) // 7
        if ({"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[step] + alter - midi) % 12 == 0:
            return f"{step}{_STEP_NAMES.get(alter, '')}"
    return (_FLAT_NAMES if fifths < 0 else _SHARP_NAMES)[midi % 12]


def chart_scale(instrument: Instrument) -> float:
    """Paper mm per mm of string, a round scale that keeps a violin's places apart and a bass's on the sheet.

    >>> from partwright.instrument import load_instrument
    >>> chart_scale(load_instrument("cello")), chart_scale(load_instrument("violin"))
    (0.25, 0.5)
    """
    return 1.0 / max(1, round(instrument.string_length_mm / _PAPER_LENGTH_MM))


def node_mm(instrument: Instrument, harmonic: Harmonic) -> float:
    """Distance of a harmonic's node from the nut in mm, on this string length."""
    return instrument.string_length_mm * harmonic.node_fraction


def hands_of_plan(part: Part, plan: FingeringPlan, instrument: Instrument) -> tuple[ChartHand, ...]:
    """The hands a plan uses, nearest the nut first, each with the places it stops, named as the part spells them."""
    found: dict[tuple[int, str, str], dict[tuple[int, int], ChartStop]] = {}
    for note in part.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is None or fingered.placement.finger == 0:
            continue
        place = fingered.placement
        key = (place.frame, place.zone, place.shape)
        spelled = note.pitch.step + _STEP_NAMES.get(round(note.pitch.alter), "")
        stop = ChartStop(
            string=place.string,
            semitones=place.semitones,
            finger=place.finger,
            name=spelled,
            harmonic=bool(place.harmonic),
        )
        found.setdefault(key, {}).setdefault((place.string, place.semitones), stop)
    hands = []
    for (frame, zone, shape), stops in sorted(found.items()):
        known: Literal["neck", "upper", "thumb"] = "neck" if zone == "neck" else "upper" if zone == "upper" else "thumb"
        hands.append(ChartHand(frame=frame, zone=known, shape=shape, stops=tuple(stops[k] for k in sorted(stops))))
    return tuple(hands)


def hand_at(place: Placement, *, name: str, now: bool = True) -> ChartHand:
    """The hand of a single placement, with its place filled: for lessons and videos."""
    stop = ChartStop(
        string=place.string,
        semitones=place.semitones,
        finger=place.finger,
        name=name,
        harmonic=bool(place.harmonic),
        now=now,
    )
    return ChartHand(frame=place.frame, zone=place.zone, shape=place.shape, stops=(stop,))


def fingerboard_chart_svg(
    instrument: Instrument,
    hand: ChartHand,
    *,
    fifths: int = 0,
    scale: float | None = None,
    length_mm: float | None = None,
    screen: bool = True,
    caption: bool = True,
) -> str:
    """One chart as a self-contained SVG.

    `fifths` is the key (sharps positive) by which places without a name of their own are spelled; `scale` is paper mm
    per mm of string (`chart_scale` when None); `length_mm` is how far down the string the drawing reaches (just past
    the hand when None).
    """
    block = _chart(
        instrument,
        hand,
        fifths=fifths,
        scale=scale or chart_scale(instrument),
        length_mm=length_mm,
        caption=caption,
        ground=_ground(screen),
    )
    title = f"{_title(instrument, hand)}, {_words(instrument, hand)}"
    return svg_document(
        block.svg, block.width_mm * 100, block.height_mm * 100, block.used, title=title, screen=screen, paper=False
    )


def charts_svg(
    instrument: Instrument,
    hands: Sequence[ChartHand],
    *,
    heading: Heading,
    fifths: int = 0,
    page: PageSize = A4,
    screen: bool = True,
) -> tuple[str, ...]:
    """A sheet of charts, one SVG per page: all at one scale, in rows, nearest the nut first."""
    width = (page.width_mm - 2 * page.side_mm) * 100
    head = sheet_head(heading, width)
    blocks = [
        _chart(
            instrument,
            hand,
            fifths=fifths,
            scale=chart_scale(instrument),
            length_mm=None,
            caption=True,
            ground=_ground(screen),
        )
        for hand in hands
    ]
    bottom = (page.height_mm - page.bottom_mm) * 100
    left, top = page.side_mm * 100, page.top_mm * 100
    gap = 500.0
    sheets: list[tuple[list[str], Used]] = []
    x, y, row = 0.0, 0.0, 0.0
    parts: list[str] = []
    used = Used()
    start = top + head.height
    y = start
    for block in blocks:
        wide, high = block.width_mm * 100, block.height_mm * 100
        if x > 0 and x + wide > width + 1:
            x, y, row = 0.0, y + row + gap, 0.0
        if y + high > bottom - 1050 and (parts or sheets) and y > start:
            sheets.append((parts, used))
            parts, used = [], Used()
            x, start, row = 0.0, top + 620.0, 0.0
            y = start
        parts.append(f'<g transform="translate({left + x:.0f},{y:.0f})">{block.svg}</g>')
        used.add(block.used)
        x += wide + 250
        row = max(row, high)
    sheets.append((parts, used))
    pages = []
    for number, (content, signs) in enumerate(sheets, 1):
        drawn = list(content)
        if number == 1:
            drawn.append(f'<g transform="translate({left:.0f},{top:.0f})">{head.svg}</g>')
            signs.add(head.used)
        key = letter(_key_line(instrument), 290.0, _SMALL, fill=GREY)
        signs.add(key.used)
        drawn.append(f'<g transform="translate({left:.0f},{bottom - 560:.0f})">{key.svg}</g>')
        footer = sheet_footer(heading, width, number, len(sheets))
        signs.add(footer.used)
        drawn.append(f'<g transform="translate({left:.0f},{bottom:.0f})">{footer.svg}</g>')
        pages.append(
            svg_document(
                "".join(drawn),
                page.width_mm * 100,
                page.height_mm * 100,
                signs,
                title=f"{heading.title}, page {number} of {len(sheets)}",
                screen=screen,
                paper=screen,
            )
        )
    return tuple(pages)


def charts_pdf(
    instrument: Instrument,
    hands: Sequence[ChartHand],
    *,
    heading: Heading,
    fifths: int = 0,
    page: PageSize = A4,
) -> bytes:
    """The sheet of charts as a PDF to print."""
    pages = charts_svg(instrument, hands, heading=heading, fifths=fifths, page=page, screen=False)
    words = "; ".join(f"{_title(instrument, hand)}: {_words(instrument, hand)}" for hand in hands)
    facts = DocumentFacts(title=heading.title, page_words=tuple(f"Fingerboard charts. {words}" for _ in pages))
    return pages_pdf(pages, width_mm=page.width_mm, height_mm=page.height_mm, facts=facts)


# Drawing -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Chart:
    svg: str
    width_mm: float
    height_mm: float
    used: Used


class _Canvas:
    """Collected SVG in hundredths of a millimetre from lengths in mm."""

    def __init__(self, ground: str) -> None:
        self.ground = ground  # what an open shape is filled with, so that the string does not run through it
        self.parts: list[str] = []
        self.used = Used()

    def line(self, x0: float, y0: float, x1: float, y1: float, weight: float, *, grey: bool = False) -> None:
        stroke = GREY if grey else "currentColor"
        self.parts.append(
            f'<path d="M{x0 * 100:.0f} {y0 * 100:.0f}L{x1 * 100:.0f} {y1 * 100:.0f}" fill="none" stroke="{stroke}" '
            f'stroke-width="{weight * 100:.0f}"/>'
        )

    def text(
        self,
        text: str,
        x: float,
        y: float,
        size: float,
        face: Face,
        *,
        anchor: Literal["start", "middle", "end"] = "start",
        grey: bool = False,
    ) -> float:
        drawn = letter(text, size * 100, face, x=x * 100, y=y * 100, anchor=anchor, fill=GREY if grey else None)
        self.parts.append(drawn.svg)
        self.used.add(drawn.used)
        return drawn.width / 100

    def ring(self, x: float, y: float, radius: float, *, filled: bool) -> None:
        fill = "currentColor" if filled else self.ground
        self.parts.append(
            f'<circle class="{"now" if filled else "place"}" cx="{x * 100:.0f}" cy="{y * 100:.0f}" '
            f'r="{radius * 100:.0f}" fill="{fill}" stroke="currentColor" stroke-width="38"/>'
        )

    def diamond(self, x: float, y: float, half: float, *, filled: bool = False) -> None:
        h = half * 100
        fill = "currentColor" if filled else self.ground
        self.parts.append(
            f'<path class="node" d="M{x * 100:.0f} {y * 100 - h:.0f}l{h:.0f} {h:.0f}'
            f'l{-h:.0f} {h:.0f}l{-h:.0f} {-h:.0f}z" fill="{fill}" stroke="currentColor" stroke-width="28"/>'
        )

    def sign(self, name: str, x: float, y: float, height: float) -> None:
        drawn = sign(name, height * 100)
        self.parts.append(f'<g transform="translate({x * 100:.0f},{y * 100:.0f})">{drawn.svg}</g>')


def _ground(screen: bool) -> str:
    return PAPER if screen else "#FFFFFF"


def _shape_of(instrument: Instrument, hand: ChartHand) -> HandShape | None:
    try:
        return instrument.shape(hand.shape)
    except KeyError:
        return None


def _finger_rows(instrument: Instrument, hand: ChartHand) -> dict[int, int]:
    """Semitones above the open string by finger: the shape's rows, corrected by what is really stopped."""
    shape = _shape_of(instrument, hand)
    rows = {finger: hand.frame + offset for finger, offset in shape.offsets.items()} if shape is not None else {}
    for stop in hand.stops:
        if stop.finger not in rows and stop.finger > 0:
            rows[stop.finger] = stop.semitones
    return {finger: place for finger, place in rows.items() if place > 0}


def _all_stops(instrument: Instrument, hand: ChartHand, fifths: int) -> tuple[ChartStop, ...]:
    if hand.stops:
        return hand.stops
    rows = _finger_rows(instrument, hand)
    return tuple(
        ChartStop(string=index, semitones=place, finger=finger, name=note_name(string.midi + place, fifths))
        for index, string in enumerate(instrument.strings)
        for finger, place in sorted(rows.items(), key=lambda item: item[1])
    )


def _title(instrument: Instrument, hand: ChartHand) -> str:
    return instrument.position(hand.frame, hand.zone).label


def _words(instrument: Instrument, hand: ChartHand) -> str:
    shape = _shape_of(instrument, hand)
    spoken = instrument.position(hand.frame, hand.zone).spoken
    words = shape.words if shape is not None else hand.shape
    if hand.zone == "thumb":
        return f"{words}; thumb {hand.frame} semitones above the open string"
    return f"{spoken}, {words}" if words else spoken


def _chart(
    instrument: Instrument,
    hand: ChartHand,
    *,
    fifths: int,
    scale: float,
    length_mm: float | None,
    caption: bool,
    ground: str,
) -> _Chart:
    canvas = _Canvas(ground)
    stops = _all_stops(instrument, hand, fifths)
    rows = _finger_rows(instrument, hand)
    lowest = max([*rows.values(), *(stop.semitones for stop in stops), 1])
    reach = length_mm if length_mm is not None else instrument.stop_mm(lowest) + 9.0 / scale
    reach = min(reach, instrument.string_length_mm)
    top = _TOP_MM if caption else 6.0
    strings = len(instrument.strings)
    width = _LEFT_MM + STRING_STEP_MM * (strings - 1) + _RIGHT_MM
    foot = top + reach * scale

    def across(string: int) -> float:
        return _LEFT_MM + STRING_STEP_MM * string

    def along(mm_from_nut: float) -> float:
        return top + mm_from_nut * scale

    if caption:
        canvas.text(_title(instrument, hand), 0.0, 5.2, 5.6, _TITLE)
        for index, line in enumerate(_caption_lines(instrument, hand, width)):
            canvas.text(line, 0.0, 9.0 + 3.5 * index, 2.9, _SMALL, grey=True)
    # The board: nut, strings from thick to thin, finger rows as hairlines.
    for index, string in enumerate(instrument.strings):
        weight = 0.62 - 0.42 * index / max(1, strings - 1)
        canvas.line(across(index), top, across(index), foot, weight)
        canvas.text(string.letter, across(index) + 1.0, top + 3.6, 2.9, _SMALL)
    canvas.line(across(0) - 2.2, top, across(strings - 1) + 2.2, top, 1.1)
    for place in sorted(set(rows.values())):
        y = along(instrument.stop_mm(place))
        named = sorted((across(s.string), _name_width(s.name)) for s in stops if s.semitones == place)
        start = across(0) - 2.2
        for x, name_width in named:  # the line stops for a note's name
            canvas.line(start, y, x, y, 0.12, grey=True)
            start = x + _RING_MM + 0.8 + name_width + 0.6
        if start < across(strings - 1) + 2.2:
            canvas.line(start, y, across(strings - 1) + 2.2, y, 0.12, grey=True)
    _draw_nodes(canvas, instrument, stops, reach, across, along)
    _draw_bracket(canvas, instrument, rows, along)
    for stop in stops:
        x = across(stop.string)
        y = along(_stop_place(instrument, stop))
        if stop.harmonic:
            canvas.diamond(x, y, _RING_MM * 1.25, filled=stop.now)
        else:
            canvas.ring(x, y, _RING_MM, filled=stop.now)
        canvas.text(stop.name, x + _RING_MM + 0.8, y + NAME_SIZE_MM * CAP_HEIGHT / 2, NAME_SIZE_MM, _NAME)
    height = foot + _BOTTOM_MM - 4.0
    if caption:
        first = min(rows.values(), default=hand.frame)
        finger = "thumb" if THUMB in rows else "first finger"
        distance = instrument.stop_mm(rows.get(THUMB, rows.get(1, first)))
        canvas.text(f"{finger} {distance:.0f} mm from the nut", 0.0, height - 0.6, 2.9, _SMALL, grey=True)
    return _Chart("".join(canvas.parts), width, height, canvas.used)


def _key_line(instrument: Instrument) -> str:
    return (
        f"True distances on a string of {instrument.string_length_mm:.0f} mm, "
        f"drawn 1 : {1 / chart_scale(instrument):.0f}. Ring: a place used. Diamond: a natural harmonic."
    )


def _name_width(name: str) -> float:
    return letter(name, NAME_SIZE_MM * 100, _NAME).width / 100


def _caption_lines(instrument: Instrument, hand: ChartHand, width: float) -> tuple[str, ...]:
    from partwright.engraving.lettering import wrap

    return wrap(_words(instrument, hand), 290.0, width * 100, _SMALL)[:2]


def _stop_place(instrument: Instrument, stop: ChartStop) -> float:
    """Where a stop lies in mm: a harmonic at its true node, a stopped note at its tempered place."""
    if stop.harmonic:
        near = [h for h in instrument.harmonics if h.node_semitones == stop.semitones]
        if near:
            return node_mm(instrument, min(near, key=lambda h: h.partial))
    return instrument.stop_mm(stop.semitones)


def _draw_nodes(
    canvas: _Canvas,
    instrument: Instrument,
    stops: Sequence[ChartStop],
    reach: float,
    across: Callable[[int], float],
    along: Callable[[float], float],
) -> None:
    """Small open diamonds at the low natural harmonics within the drawing, where no stop covers them."""
    for string in range(len(instrument.strings)):
        taken = [_stop_place(instrument, stop) for stop in stops if stop.string == string]
        for harmonic in instrument.harmonics:
            place = node_mm(instrument, harmonic)
            if harmonic.partial > 4 or place > reach - 2 or any(abs(place - t) < 14.0 for t in taken):
                continue
            canvas.diamond(across(string), along(place), 0.95)


def _draw_bracket(
    canvas: _Canvas, instrument: Instrument, rows: dict[int, int], along: Callable[[float], float]
) -> None:
    """The hand's frame on the left, with a digit where each finger falls."""
    if not rows:
        return
    x = _LEFT_MM - 5.6
    places = {finger: along(instrument.stop_mm(place)) for finger, place in rows.items()}
    canvas.line(x, min(places.values()), x, max(places.values()), 0.3)
    for finger, y in places.items():
        canvas.line(x, y, x + 1.6, y, 0.3)
        if finger == THUMB:
            canvas.sign("thumb", x - 2.6, y + 2.4, 4.6)
        else:
            canvas.text(str(finger), x - 1.6, y + 4.2 * CAP_HEIGHT / 2, 4.2, _TITLE, anchor="end")
