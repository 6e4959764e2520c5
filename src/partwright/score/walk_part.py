"""One walk over the bars of a part: elements to raw values, times in ticks counted from the start of each bar."""

from __future__ import annotations

from dataclasses import dataclass, field

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.lines import line_of
from partwright.score.measures import MeasureElement, ScorePart
from partwright.score.parse_attributes import Attributes, Metre, read_attributes
from partwright.score.parse_directions import RawBarline, RawMark, read_barline, read_direction, read_sound
from partwright.score.parse_harmony import RawChord, read_harmony
from partwright.score.parse_notes import RawNote, fill_note
from partwright.score.part import Pitch
from partwright.score.ticks import number_of

__all__ = ["MAX_DURATION_QUARTERS", "MAX_WRITTEN_BARS", "MAX_WRITTEN_NOTES", "RawBar", "RawPart", "walk_part"]

MAX_DURATION_QUARTERS = 256
"""Longest note or rest read: 64 bars of four quarters."""
MAX_WRITTEN_BARS = 20_000
MAX_WRITTEN_NOTES = 100_000
_MAX_MOVE_QUARTERS = 1024  # longest backup or forward


@dataclass(slots=True)
class RawBar:
    """One bar: `length` is the furthest any voice gets; 0 where nothing stands in it."""

    index: int
    number: str
    implicit: bool
    line: int | None
    length: int
    metre: Metre
    metre_changed: bool
    keys: dict[int, tuple[int, str]]
    keys_changed: bool
    barline: RawBarline
    new_system: bool
    start: int = 0  # ticks from the start of the part; set once all lengths are known


@dataclass(slots=True)
class RawPart:
    """All voices of a part. `notes` are the pitched ones that sound, in the order of the document."""

    bars: list[RawBar] = field(default_factory=list)
    notes: list[RawNote] = field(default_factory=list)
    marks: list[RawMark] = field(default_factory=list)
    chords: list[RawChord] = field(default_factory=list)
    clefs: list[tuple[int, int, int, str]] = field(default_factory=list)  # bar index, tick in it, staff, name
    staves: int = 1
    transposed: bool = False
    unpitched: int = 0
    cues: int = 0
    hidden: int = 0
    rests: int = 0
    remarks: list[str] = field(default_factory=list)


def walk_part(part: ScorePart, resolution: int, *, file: str, with_notes: bool = True) -> RawPart:
    """Read a part bar by bar. Without notes only bars, marks and chord symbols are read (for the other parts).

    Raises ScoreError naming file, line and bar for what cannot be music.
    """
    if len(part.measures) > MAX_WRITTEN_BARS:
        raise ScoreError(
            f"part {part.label!r} has {len(part.measures):,} bars, more than the {MAX_WRITTEN_BARS:,} read",
            "Export one movement at a time.",
            place=Place(file=file),
        )
    walk = _Walk(resolution, file, with_notes)
    for index, measure in enumerate(part.measures):
        walk.bar(index, measure)
    raw = walk.raw
    raw.clefs = walk.state.clefs
    raw.staves = walk.state.staves
    raw.remarks = walk.state.remarks
    printed = [note for note in raw.notes if not note.hidden]
    if printed and len(printed) < len(raw.notes):  # what is not printed is there for playback: trills written out
        raw.hidden = len(raw.notes) - len(printed)
        raw.notes = printed
    return raw


def _length_only(element: etree._Element, order: int) -> RawNote:
    """A note of another part: only what moves the cursor, which stands before everything else (MusicXML schema)."""
    note = RawNote(None, order, rest=True)
    for child in element:
        tag = child.tag
        if tag == "duration":
            note.duration_text = child.text or ""
            break
        if tag == "chord":
            note.chord = True
        elif tag == "grace":
            note.grace = "unslashed"
    return note


class _Walk:
    """The cursor: where in the bar we are and what is in force."""

    def __init__(self, resolution: int, file: str, with_notes: bool) -> None:
        self.raw = RawPart()
        self.state = Attributes(resolution)
        self.file = file
        self.with_notes = with_notes
        self.longest_note = MAX_DURATION_QUARTERS * resolution
        self.longest_move = _MAX_MOVE_QUARTERS * resolution
        self.pitches: dict[tuple[str | None, ...], Pitch | None] = {}
        self.bar_number = ""

    def bar(self, index: int, measure: MeasureElement) -> None:
        state, raw = self.state, self.raw
        state.metre_changed = state.keys_changed = False
        self.bar_number = number = " ".join(measure.head.get("number", "").split())[:20] or str(index + 1)
        barline = RawBarline()
        new_system = False
        position = furthest = last_onset = order = 0
        for child in measure.content:
            tag = child.tag
            if tag == "note":
                note = self.note(child, order, index)
                order += 1
                if note is None:
                    continue
                if note.chord:
                    note.onset = last_onset
                else:
                    note.onset = last_onset = position
                    position += note.duration
                if note.onset + note.duration > furthest:
                    furthest = note.onset + note.duration
                self.keep(note)
            elif tag == "backup":
                position -= self.move(child)
                if position < 0:
                    state.remarks.append(f"Bar {number}: a backup goes before the start of the bar; it stops there.")
                    position = 0
            elif tag == "forward":
                position += self.move(child)
                furthest = max(furthest, position)
            elif tag == "attributes":
                read_attributes(child, state, (index, position), file=self.file, bar=number)
            elif tag == "direction":
                raw.marks.extend(read_direction(child, self.place_of(child, position), index))
            elif tag == "sound":
                raw.marks.extend(read_sound(child, position, index))
            elif tag == "harmony":
                chord = read_harmony(child, max(0, position + self.offset(child.find("offset"))), index)
                if chord is not None:
                    raw.chords.append(chord)
            elif tag == "barline":
                read_barline(child, barline)
            elif tag == "print":
                new_system = new_system or child.get("new-system") == "yes" or child.get("new-page") == "yes"
        if barline.middle_repeat:
            state.remarks.append(f"Bar {number}: a repeat sign in the middle of the bar is not followed.")
        raw.bars.append(
            RawBar(
                index,
                number,
                measure.head.get("implicit") == "yes",
                line_of(measure.head),
                furthest,
                state.metre,
                state.metre_changed,
                dict(state.keys),
                state.keys_changed,
                barline,
                new_system,
            )
        )

    def note(self, element: etree._Element, order: int, index: int) -> RawNote | None:
        note = fill_note(element, order, self.pitches) if self.with_notes else _length_only(element, order)
        note.bar_index = index
        if note.grace:
            note.duration = 0
        elif note.duration_text is not None:
            if self.state.unit is None and self.with_notes:
                self.infer_unit(note)
            note.duration = self.ticks(note.duration_text, element, self.longest_note)
            if note.duration == 0:
                self.state.remarks.append(f"Bar {self.bar_number}: a note without length is left out.")
                return None
        elif self.with_notes:
            note.duration = self.duration_from_type(note)
        return note

    def keep(self, note: RawNote) -> None:
        raw = self.raw
        if note.rest:
            raw.rests += 1
        elif note.unpitched:
            raw.unpitched += 1
        elif note.pitch is None:
            raise ScoreError(
                "a note has a pitch that makes no sense",
                "Correct it in the source.",
                place=Place(file=self.file, line=note.line, bar=self.bar_number),
            )
        elif note.cue:
            raw.cues += 1
        else:
            transposes = self.state.transposes
            if transposes:
                note.transpose = transposes.get(note.staff) or transposes.get(0) or (None, 0)
            raw.notes.append(note)
            if len(raw.notes) > MAX_WRITTEN_NOTES:
                raise ScoreError(
                    f"the part has more than {MAX_WRITTEN_NOTES:,} notes",
                    "Export one movement at a time.",
                    place=Place(file=self.file, bar=self.bar_number),
                )

    def duration_from_type(self, note: RawNote) -> int:
        quarters = note.typed_quarters
        if quarters is None:
            if note.rest:
                return 0
            raise ScoreError(
                "a note has neither a duration nor a note value",
                "Correct it in the source.",
                place=Place(file=self.file, line=note.line, bar=self.bar_number),
            )
        self.state.remarks.append(f"Bar {self.bar_number}: a note without a duration is read by its note value.")
        return round(quarters * self.state.resolution)

    def infer_unit(self, note: RawNote) -> None:
        """Where divisions are missing, the first note that has a note value tells what its duration counts."""
        quarters, counts = note.typed_quarters, number_of(note.duration_text)
        if quarters is None or counts is None or counts <= 0:
            return
        unit = quarters * self.state.resolution / counts
        if unit.denominator == 1:
            self.state.unit = int(unit)
            self.state.remarks.append(
                f"Bar {self.bar_number}: divisions are missing; a {note.type} note of duration "
                f"{note.duration_text} shows what they are."
            )

    def move(self, element: etree._Element) -> int:
        return self.ticks(element.findtext("duration") or "", element, self.longest_move)

    def ticks(self, text: str, element: etree._Element, longest: int) -> int:
        unit = self.state.unit
        if unit is None:
            raise ScoreError(
                "a duration stands before any <divisions> says what it counts",
                "Export the tune again.",
                place=Place(file=self.file, line=line_of(element), bar=self.bar_number),
            )
        try:
            ticks = int(text) * unit
        except ValueError:
            number = number_of(text)
            if number is None:
                raise self.bad_duration(text, element, "is not a number") from None
            ticks = round(number * unit)
        if ticks < 0:
            raise self.bad_duration(text, element, "runs backwards")
        if ticks > longest:
            raise self.bad_duration(text, element, f"is longer than {longest // self.state.resolution} quarter notes")
        return ticks

    def bad_duration(self, text: str, element: etree._Element, why: str) -> ScoreError:
        return ScoreError(
            f"a duration of {text.strip()[:20]!r} {why}",
            "Correct it in the source.",
            place=Place(file=self.file, line=line_of(element), bar=self.bar_number),
        )

    def offset(self, element: etree._Element | None) -> int:
        """Ticks of an <offset>, which may be negative."""
        if element is None or self.state.unit is None:
            return 0
        number = number_of(element.text)
        return 0 if number is None else max(-self.longest_move, min(self.longest_move, round(number * self.state.unit)))

    def place_of(self, direction: etree._Element, position: int) -> int:
        """Where a direction works. An offset moves only the picture unless it says sound="yes" (MusicXML 4.0)."""
        offset = direction.find("offset")
        if offset is None or offset.get("sound") != "yes":
            return position
        return max(0, position + self.offset(offset))
