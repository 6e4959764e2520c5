"""From plain values to a MusicXML 4.0 tree: new music, as opposed to marks on a copy of a given tree.

Decides what a copyist decides: note values and ties for durations, accidentals from the key and the bar, beams by
metre, tuplet brackets, backups between voices. Deterministic: the same values give the same bytes.

>>> from fractions import Fraction
>>> from partwright.score.part import Pitch
>>> from partwright.score.written import WrittenBar, WrittenEvent, WrittenMetre, WrittenPart, WrittenScore
>>> note = WrittenEvent(duration_quarters=Fraction(4), pitches=(Pitch("D", 0, 3),))
>>> bar = WrittenBar(number="1", voices=((note,),), metre=WrittenMetre(), clef="bass")
>>> tree = compose_musicxml(WrittenScore(title="One note", parts=(WrittenPart(name="Cello", bars=(bar,)),)))
>>> tree.findtext(".//type")
'whole'
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.beams import BeamedNote, beam_groups, beam_lines, strong_points
from partwright.score.note_values import BASE_VALUES, note_value, split_duration
from partwright.score.part import Pitch
from partwright.score.written import (
    WrittenBar,
    WrittenChord,
    WrittenEvent,
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
    WrittenWords,
)

__all__ = ["CLEFS", "MOST_DIVISIONS", "clef_for_range", "compose_musicxml"]

MOST_DIVISIONS = 16383
"""Most divisions of a quarter note. Source: MusicXML 4.0, divisions: "maximum values is 16383" for MIDI exchange."""

CLEFS: dict[str, tuple[str, int, int]] = {
    "treble": ("G", 2, 0),
    "treble-8": ("G", 2, -1),
    "treble+8": ("G", 2, 1),
    "bass": ("F", 4, 0),
    "bass-8": ("F", 4, -1),
    "bass+8": ("F", 4, 1),
    "alto": ("C", 3, 0),
    "alto-8": ("C", 3, -1),
    "alto+8": ("C", 3, 1),
    "tenor": ("C", 4, 0),
    "tenor-8": ("C", 4, -1),
    "tenor+8": ("C", 4, 1),
    "soprano": ("C", 1, 0),
    "mezzosoprano": ("C", 2, 0),
    "baritone": ("F", 3, 0),
    "french violin": ("G", 1, 0),
    "subbass": ("F", 5, 0),
    "percussion": ("percussion", 2, 0),
}
"""Clef name to MusicXML sign, line and octave change."""

_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_SHARP_ORDER = "FCGDAEB"
_ACCIDENTALS = {
    Fraction(-2): "flat-flat",
    Fraction(-3, 2): "three-quarters-flat",
    Fraction(-1): "flat",
    Fraction(-1, 2): "quarter-flat",
    Fraction(0): "natural",
    Fraction(1, 2): "quarter-sharp",
    Fraction(1): "sharp",
    Fraction(3, 2): "three-quarters-sharp",
    Fraction(2): "double-sharp",
}
_MODES = {"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "ionian", "locrian"}
# Where a General MIDI percussion key is drawn on the staff, and with which note head. Common practice, no source.
_DRUM_STAFF = {
    35: ("E", 4, ""),
    36: ("F", 4, ""),
    37: ("C", 5, "x"),
    38: ("C", 5, ""),
    39: ("C", 5, "x"),
    40: ("C", 5, ""),
    41: ("G", 4, ""),
    42: ("G", 5, "x"),
    43: ("A", 4, ""),
    44: ("D", 4, "x"),
    45: ("B", 4, ""),
    46: ("G", 5, "circle-x"),
    47: ("D", 5, ""),
    48: ("E", 5, ""),
    49: ("A", 5, "x"),
    51: ("F", 5, "x"),
    54: ("B", 5, "x"),
}
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def compose_musicxml(score: WrittenScore) -> etree._ElementTree:
    """The MusicXML 4.0 tree (partwise) of a score.

    Ties are written only where the next event of the voice has the same pitch, slurs only where both ends exist.
    Raises ScoreError, with its bar, for a duration that no note values print or that needs more than
    MOST_DIVISIONS divisions of a quarter, and for a score without parts or bars.
    """
    if not score.parts or any(not part.bars for part in score.parts):
        raise ScoreError("the score has no bars", "Give every part at least one bar.")
    root = etree.Element("score-partwise", version="4.0")
    _write_header(root, score)
    part_list = _sub(root, "part-list")
    for index, part in enumerate(score.parts, start=1):
        _write_score_part(part_list, part, f"P{index}")
    for index, part in enumerate(score.parts, start=1):
        _PartWriter(part, f"P{index}").write(_sub(root, "part", id=f"P{index}"))
    return etree.ElementTree(root)


def clef_for_range(midi_numbers: list[int]) -> str:
    """Treble or bass, whichever needs fewer ledger lines for these pitches (treble when they are equal or none)."""
    # Staves in MIDI numbers: treble E4..F5 = 64..77, bass G2..A3 = 43..57 (general music theory).
    treble = sum(max(64 - midi, midi - 77, 0) for midi in midi_numbers)
    bass = sum(max(43 - midi, midi - 57, 0) for midi in midi_numbers)
    return "bass" if bass < treble else "treble"


def _sub(parent: etree._Element, tag: str, text: str | None = None, **attributes: str) -> etree._Element:
    element = etree.SubElement(parent, tag, {key.rstrip("_").replace("_", "-"): v for key, v in attributes.items()})
    if text is not None:
        element.text = _clean(text)
    return element


def _clean(text: str) -> str:
    """Text without the characters XML 1.0 forbids."""
    return _NOT_XML.sub("", text)


def _number(value: Fraction) -> str:
    """A decimal as MusicXML wants it: whole where it can be, four places otherwise."""
    if value.denominator == 1:
        return str(value.numerator)
    return f"{float(value):.4f}".rstrip("0").rstrip(".")


def _write_header(root: etree._Element, score: WrittenScore) -> None:
    if score.title:
        _sub(_sub(root, "work"), "work-title", score.title)
    if score.subtitle:
        _sub(root, "movement-title", score.subtitle)
    identification = _sub(root, "identification")
    for role, name in score.creators:
        _sub(identification, "creator", name, type=_clean(role))
    for text in score.rights:
        _sub(identification, "rights", text)
    _sub(_sub(identification, "encoding"), "software", "partwright")
    if score.source:
        _sub(identification, "source", score.source)
    if score.other:
        miscellaneous = _sub(identification, "miscellaneous")
        for name, text in score.other:
            _sub(miscellaneous, "miscellaneous-field", text, name=_clean(name))


def _write_score_part(part_list: etree._Element, part: WrittenPart, part_id: str) -> None:
    entry = _sub(part_list, "score-part", id=part_id)
    _sub(entry, "part-name", part.name)
    if part.abbreviation:
        _sub(entry, "part-abbreviation", part.abbreviation)
    if part.percussion:
        keys = sorted({p.midi for bar in part.bars for voice in bar.voices for e in voice for p in e.pitches})
        for key in keys:
            _sub(_sub(entry, "score-instrument", id=f"{part_id}-I{key}"), "instrument-name", f"Percussion key {key}")
        for key in keys:
            device = _sub(entry, "midi-instrument", id=f"{part_id}-I{key}")
            _sub(device, "midi-channel", "10")
            _sub(device, "midi-unpitched", str(key + 1))
    elif part.midi_program is not None:
        _sub(_sub(entry, "score-instrument", id=f"{part_id}-I1"), "instrument-name", part.name or "Instrument")
        _sub(_sub(entry, "midi-instrument", id=f"{part_id}-I1"), "midi-program", str(part.midi_program + 1))


@dataclass(slots=True)
class _Piece:
    """One printed note value of an event: an event that needs ties becomes several."""

    event: WrittenEvent
    offset: Fraction
    lasts: Fraction
    note_type: str
    dots: int
    first: bool
    last: bool
    out: tuple[bool, ...]  # per pitch: tied into the next piece
    in_: tuple[bool, ...]  # per pitch: tied from the piece before
    whole_bar: bool = False
    beams: list[str] = field(default_factory=list)


class _PartWriter:
    """Writes one part; holds what carries over from bar to bar (key, metre, open slurs)."""

    def __init__(self, part: WrittenPart, part_id: str) -> None:
        self.part = part
        self.part_id = part_id
        self.divisions = self._common_divisions()
        self.slur_names = self._whole_slurs()
        self.slur_numbers: dict[str, int] = {}
        self.key = WrittenKey()
        self.metre: WrittenMetre | None = None
        self.free_metre = False
        self.note_count = 0
        self.wedge_open = False

    def write(self, out: etree._Element) -> None:
        for index, bar in enumerate(self.part.bars):
            measure = _sub(out, "measure", number=_clean(bar.number) or str(index))
            if bar.implicit:
                measure.set("implicit", "yes")
            if bar.metre is not None:
                self.metre, self.free_metre = bar.metre, False
            if bar.free_metre:
                self.metre, self.free_metre = None, True
            if bar.key is not None:
                self.key = bar.key
            try:
                self._write_bar(measure, bar, index)
            except ScoreError as error:
                raise error.at(Place(bar=bar.number)) from error

    # What has to be known before the first bar is written

    def _place(self, bar: WrittenBar) -> Place:
        return Place(bar=bar.number)

    def _common_divisions(self) -> int:
        divisions = 1
        for bar in self.part.bars:
            for voice in bar.voices:
                for event in voice:
                    if event.duration_quarters <= 0:
                        raise ScoreError(
                            "a note has no duration", "Give it a length above zero.", place=self._place(bar)
                        )
                    divisions = lcm(divisions, *_needed_divisions(event))
                    if divisions > MOST_DIVISIONS:
                        raise ScoreError(
                            f"the note lengths have no common division of the quarter below {MOST_DIVISIONS}",
                            "Use simpler lengths or tuplets here.",
                            place=self._place(bar),
                        )
        return divisions

    def _whole_slurs(self) -> set[str]:
        starts: set[str] = set()
        whole: set[str] = set()
        for bar in self.part.bars:
            for voice in bar.voices:
                for event in voice:
                    whole.update(name for name in event.slur_stops if name in starts)
                    starts.update(event.slur_starts)
        return whole

    def _tie_flags(self, bar_index: int, voice_index: int, event_index: int) -> tuple[bool, ...]:
        """Per pitch of the event: whether it is held over, which needs the same pitch in the voice's next event."""
        voice = self.part.bars[bar_index].voices[voice_index]
        event = voice[event_index]
        if event.grace or not any(event.tied(k) for k in range(len(event.pitches))):
            return (False,) * len(event.pitches)
        following = next((other for other in voice[event_index + 1 :] if not other.grace), None)
        if following is None and bar_index + 1 < len(self.part.bars):
            after = self.part.bars[bar_index + 1].voices
            if voice_index < len(after):
                following = next((other for other in after[voice_index] if not other.grace), None)
        pitches = following.pitches if following is not None else ()
        return tuple(event.tied(k) and pitch in pitches for k, pitch in enumerate(event.pitches))

    # Bars

    def _write_bar(self, measure: etree._Element, bar: WrittenBar, bar_index: int) -> None:
        if bar.new_system:
            _sub(measure, "print", new_system="yes")
        self._write_attributes(measure, bar, bar_index)
        self._write_left_line(measure, bar)
        if bar.segno:
            _segno(measure)
        if bar.coda:
            _coda(measure)
        longest = bar.length_quarters
        position = Fraction(0)
        for voice_index in range(len(bar.voices)):
            if position:
                _sub(_sub(measure, "backup"), "duration", self._ticks(position))
            position = self._write_voice(measure, bar, bar_index, voice_index, longest)
        if position < longest:
            _sub(_sub(measure, "forward"), "duration", self._ticks(longest - position))
        if bar.to_coda:
            _jump(measure, "To Coda", "tocoda", "coda")
        if bar.fine:
            _jump(measure, "Fine", "fine", "yes")
        if bar.da_capo:
            _jump(measure, bar.da_capo, "dacapo", "yes")
        if bar.dal_segno:
            _jump(measure, bar.dal_segno, "dalsegno", "segno")
        self._write_right_line(measure, bar)

    def _write_attributes(self, measure: etree._Element, bar: WrittenBar, bar_index: int) -> None:
        first = bar_index == 0
        if not (first or bar.key or bar.metre or bar.free_metre or bar.clef):
            return
        attributes = _sub(measure, "attributes")
        if first:
            _sub(attributes, "divisions", str(self.divisions))
        if bar.key is not None:
            _write_key(attributes, bar.key)
        if bar.metre is not None:
            time = _sub(attributes, "time")
            if bar.metre.symbol:
                time.set("symbol", bar.metre.symbol)
            _sub(time, "beats", "+".join(str(beats) for beats in bar.metre.beats))
            _sub(time, "beat-type", str(bar.metre.beat_type))
        elif bar.free_metre:
            _sub(_sub(attributes, "time"), "senza-misura")
        clef = bar.clef or ("percussion" if first and self.part.percussion else "")
        if clef:
            _write_clef(attributes, clef)
        if first and self.part.transpose_semitones:
            _write_transpose(attributes, self.part.transpose_semitones)

    def _write_left_line(self, measure: etree._Element, bar: WrittenBar) -> None:
        if not (bar.repeat_start or bar.ending_start or bar.left_line):
            return
        line = _sub(measure, "barline", location="left")
        if bar.repeat_start or bar.left_line:
            _sub(line, "bar-style", "heavy-light" if bar.repeat_start else bar.left_line)
        if bar.ending_start:
            _sub(line, "ending", number=bar.ending_start, type="start")
        if bar.repeat_start:
            _sub(line, "repeat", direction="forward")

    def _write_right_line(self, measure: etree._Element, bar: WrittenBar) -> None:
        if not (bar.repeat_end or bar.ending_stop or bar.right_line):
            return
        line = _sub(measure, "barline", location="right")
        if bar.repeat_end or bar.right_line:
            _sub(line, "bar-style", "light-heavy" if bar.repeat_end else bar.right_line)
        if bar.ending_stop:
            _sub(line, "ending", number=bar.ending_stop, type="discontinue" if bar.ending_open else "stop")
        if bar.repeat_end:
            repeat = _sub(line, "repeat", direction="backward")
            if bar.repeat_times != 2:
                repeat.set("times", str(bar.repeat_times))

    # Voices and events

    def _ticks(self, quarters: Fraction) -> str:
        return str(int(quarters * self.divisions))

    def _pieces(self, bar: WrittenBar, bar_index: int, voice_index: int, longest: Fraction) -> list[_Piece]:
        pieces: list[_Piece] = []
        metre = self.metre
        start = Fraction(0)
        if metre is not None and bar.aligned == "end" and longest < metre.length_quarters:
            start = metre.length_quarters - longest
        points = strong_points(metre)
        offset = Fraction(0)
        carried: dict[Pitch, bool] = self._carried_ties(bar_index, voice_index)
        for event_index, event in enumerate(bar.voices[voice_index]):
            ratio = Fraction(event.tuplet.actual, event.tuplet.normal) if event.tuplet else Fraction(1)
            whole_bar = event.rest and not event.grace and offset == 0 and event.lasts == longest and not event.tuplet
            full = whole_bar and (metre is None or longest == metre.length_quarters)
            written = event.duration_quarters * ratio
            if event.grace:
                values: tuple[Fraction, ...] = (written,)
            elif full and note_value(written) is None:
                values = (written,)
            else:
                values = split_duration(
                    written,
                    offset_quarters=start + offset,
                    strong_points=() if event.tuplet else points,
                    most_dots=2,
                )
            if not values or (not full and note_value(values[0]) is None):
                raise ScoreError(
                    f"a note of {event.duration_quarters} quarters cannot be printed with ordinary note values",
                    "Use a power of two, dots or a tuplet.",
                    place=self._place(bar),
                )
            out = self._tie_flags(bar_index, voice_index, event_index)
            came = tuple(carried.get(pitch, False) for pitch in event.pitches)
            for k, value in enumerate(values):
                last = k == len(values) - 1
                lasts = Fraction(0) if event.grace else value / ratio
                note_type, dots = note_value(value) or ("whole", 0)
                pieces.append(
                    _Piece(
                        event=event,
                        offset=start + offset,
                        lasts=lasts,
                        note_type=note_type,
                        dots=dots,
                        first=k == 0,
                        last=last,
                        out=out if last else (True,) * len(event.pitches),
                        in_=came if k == 0 else (True,) * len(event.pitches),
                        whole_bar=full,
                    )
                )
                offset += lasts
            if not event.grace:
                carried = {pitch: flag for pitch, flag in zip(event.pitches, out, strict=True) if flag}
        self._beam(pieces)
        return pieces

    def _carried_ties(self, bar_index: int, voice_index: int) -> dict[Pitch, bool]:
        if bar_index == 0 or voice_index >= len(self.part.bars[bar_index - 1].voices):
            return {}
        voice = self.part.bars[bar_index - 1].voices[voice_index]
        for event_index in range(len(voice) - 1, -1, -1):
            if not voice[event_index].grace:
                flags = self._tie_flags(bar_index - 1, voice_index, event_index)
                return {pitch: flag for pitch, flag in zip(voice[event_index].pitches, flags, strict=True) if flag}
        return {}

    def _beam(self, pieces: list[_Piece]) -> None:
        for graces in (False, True):
            chosen = [piece for piece in pieces if bool(piece.event.grace) == graces]
            notes = [
                BeamedNote(
                    offset_quarters=piece.offset,
                    lasts=piece.lasts,
                    beams=_beam_count(piece.note_type),
                    rest=piece.event.rest,
                    breaks_before=piece.first and piece.event.beam_break,
                    plain_eighth=piece.note_type == "eighth" and piece.dots == 0 and not piece.event.tuplet,
                )
                for piece in chosen
            ]
            for group in _runs_of_graces(chosen) if graces else beam_groups(notes, self.metre):
                for index, lines in zip(group, beam_lines([notes[k].beams for k in group]), strict=True):
                    chosen[index].beams = lines

    def _write_voice(
        self, measure: etree._Element, bar: WrittenBar, bar_index: int, voice_index: int, longest: Fraction
    ) -> Fraction:
        state = _bar_alters(self.key)
        shown: dict[tuple[str, int], Fraction] = {}
        position = Fraction(0)
        for piece in self._pieces(bar, bar_index, voice_index, longest):
            event = piece.event
            if piece.first:
                if event.key is not None or event.clef:
                    attributes = _sub(measure, "attributes")
                    if event.key is not None:
                        self.key = event.key
                        state, shown = _bar_alters(event.key), {}
                        _write_key(attributes, event.key)
                    if event.clef:
                        _write_clef(attributes, event.clef)
                self._write_directions(measure, event)
            self._write_notes(measure, piece, voice_index, state, shown)
            position += piece.lasts
            if piece.last and event.wedge_stop and self.wedge_open:
                self.wedge_open = False
                _sub(_sub(_sub(measure, "direction", placement="below"), "direction-type"), "wedge", type="stop")
        return position

    def _write_directions(self, measure: etree._Element, event: WrittenEvent) -> None:
        for chord in event.chord_symbols:
            _write_harmony(measure, chord)
        if event.tempo is not None:
            _write_tempo(measure, event.tempo)
        for words in event.words:
            _write_words(measure, words)
        if event.dynamic:
            direction = _sub(measure, "direction", placement="below")
            _sub(_sub(_sub(direction, "direction-type"), "dynamics"), event.dynamic)
        if event.wedge and not self.wedge_open:
            self.wedge_open = True
            direction = _sub(measure, "direction", placement="below")
            _sub(_sub(direction, "direction-type"), "wedge", type=event.wedge)

    def _write_notes(
        self,
        measure: etree._Element,
        piece: _Piece,
        voice_index: int,
        state: dict[str, Fraction],
        shown: dict[tuple[str, int], Fraction],
    ) -> None:
        event = piece.event
        order = sorted(range(len(event.pitches)), key=lambda k: event.pitches[k].midi)
        for head, k in enumerate(order or [-1]):
            self.note_count += 1
            name = event.id if event.id and piece.first and head == 0 else f"{self.part_id}n{self.note_count}"
            note = _sub(measure, "note", id=name)
            if event.invisible:
                note.set("print-object", "no")
            if event.grace:
                grace = _sub(note, "grace")
                if event.grace == "slashed":
                    grace.set("slash", "yes")
            if head:
                _sub(note, "chord")
            accidental = ""
            if k < 0:
                rest = _sub(note, "rest")
                if piece.whole_bar:
                    rest.set("measure", "yes")
            else:
                accidental = self._write_pitch(note, event.pitches[k], piece.in_[k], state, shown)
            if not event.grace:
                _sub(note, "duration", self._ticks(piece.lasts))
            if k >= 0:
                if piece.in_[k]:
                    _sub(note, "tie", type="stop")
                if piece.out[k]:
                    _sub(note, "tie", type="start")
                if self.part.percussion:
                    _sub(note, "instrument", id=f"{self.part_id}-I{event.pitches[k].midi}")
            _sub(note, "voice", str(voice_index + 1))
            if not piece.whole_bar or note_value(event.duration_quarters) is not None:
                _sub(note, "type", piece.note_type)
                for _ in range(piece.dots):
                    _sub(note, "dot")
            if accidental:
                _sub(note, "accidental", accidental)
            if event.tuplet is not None and not event.grace:
                modification = _sub(note, "time-modification")
                _sub(modification, "actual-notes", str(event.tuplet.actual))
                _sub(modification, "normal-notes", str(event.tuplet.normal))
            if self.part.percussion and k >= 0:
                head_shape = _DRUM_STAFF.get(event.pitches[k].midi, ("E", 5, "x"))[2]
                if head_shape:
                    _sub(note, "notehead", head_shape)
            if head == 0:
                for level, value in enumerate(piece.beams, start=1):
                    _sub(note, "beam", value, number=str(level))
            self._write_notations(note, piece, k, head)
            if head == 0 and piece.first:
                for lyric in event.lyrics:
                    _write_lyric(note, lyric)

    def _write_pitch(
        self,
        note: etree._Element,
        sounding: Pitch,
        continues: bool,
        state: dict[str, Fraction],
        shown: dict[tuple[str, int], Fraction],
    ) -> str:
        """Writes the pitch and returns the accidental to print, by the key and what the bar has shown so far."""
        if self.part.percussion:
            step, octave, _ = _DRUM_STAFF.get(sounding.midi, ("E", 5, "x"))
            unpitched = _sub(note, "unpitched")
            _sub(unpitched, "display-step", step)
            _sub(unpitched, "display-octave", str(octave))
            return ""
        pitch = _written_pitch(sounding, self.part.transpose_semitones)
        if not 0 <= pitch.octave <= 9:
            raise ScoreError(f"the note {pitch.name} lies outside the octaves 0 to 9", "Move it by octaves.")
        element = _sub(note, "pitch")
        _sub(element, "step", pitch.step)
        alter = Fraction(pitch.alter).limit_denominator(100)
        if alter:
            _sub(element, "alter", _number(alter))
        _sub(element, "octave", str(pitch.octave))
        place = (pitch.step, pitch.octave)
        if continues:  # a held note takes no new accidental, even across the bar line
            return ""
        valid = shown.get(place, state.get(pitch.step, Fraction(0)))
        if alter == valid:
            return ""
        shown[place] = alter
        return _ACCIDENTALS.get(alter, "")

    def _write_notations(self, note: etree._Element, piece: _Piece, k: int, head: int) -> None:
        event = piece.event
        notations = etree.Element("notations")
        if k >= 0:
            if piece.in_[k]:
                _sub(notations, "tied", type="stop")
            if piece.out[k]:
                _sub(notations, "tied", type="start")
        if head == 0:
            if event.tuplet is not None and not event.grace:
                if event.tuplet.start and piece.first:
                    _sub(notations, "tuplet", type="start", number="1")
                if event.tuplet.stop and piece.last:
                    _sub(notations, "tuplet", type="stop", number="1")
            if piece.last:
                for name in event.slur_stops:
                    if name in self.slur_numbers:
                        _sub(notations, "slur", type="stop", number=str(self.slur_numbers.pop(name)))
            if piece.first:
                for name in event.slur_starts:
                    if name in self.slur_names:
                        _sub(notations, "slur", type="start", number=str(self._free_slur(name)))
            if piece.first:
                self._write_signs(notations, event)
            if event.fermata and piece.last:
                _sub(notations, "fermata")
        if piece.first and k >= 0:
            self._write_fingers(notations, event, head)
        if event.arpeggiated and piece.first and k >= 0 and len(event.pitches) > 1:
            _sub(notations, "arpeggiate")
        if len(notations):
            note.append(notations)

    def _free_slur(self, name: str) -> int:
        taken = set(self.slur_numbers.values())
        number = next((n for n in range(1, 17) if n not in taken), None)  # number-level is 1..16 in MusicXML 4.0
        if number is None:
            raise ScoreError("more than 16 slurs are open at once", "Close some of them.")
        self.slur_numbers[name] = number
        return number

    def _write_signs(self, notations: etree._Element, event: WrittenEvent) -> None:
        if event.ornaments:
            ornaments = _sub(notations, "ornaments")
            for name in event.ornaments:
                if name.startswith("tremolo-"):
                    _sub(ornaments, "tremolo", name.removeprefix("tremolo-"), type="single")
                else:
                    _sub(ornaments, name)
        if event.technical:
            technical = _sub(notations, "technical")
            for name in event.technical:
                element = _sub(technical, name)
                if name == "harmonic":
                    _sub(element, "natural")
        if event.articulations:
            articulations = _sub(notations, "articulations")
            for name in event.articulations:
                _sub(articulations, name)

    def _write_fingers(self, notations: etree._Element, event: WrittenEvent, head: int) -> None:
        top = head == len(event.pitches) - 1
        fingers = event.fingerings[head:] if top else event.fingerings[head : head + 1]
        strings = event.string_numbers[head : head + 1]
        if not fingers and not strings:
            return
        technical = notations.find("technical")
        if technical is None:
            technical = _sub(notations, "technical")
        for finger in fingers:
            _sub(technical, "fingering", finger)
        for number in strings:
            _sub(technical, "string", str(number))


def _needed_divisions(event: WrittenEvent) -> tuple[int, int]:
    """Divisions of a quarter that the event needs, whole and cut into tied pieces."""
    if event.tuplet is None or event.grace:
        return event.lasts.denominator, 1
    written = event.duration_quarters * event.tuplet.actual / event.tuplet.normal
    smallest = Fraction(event.tuplet.normal, event.tuplet.actual * written.denominator)
    return event.lasts.denominator, smallest.denominator


def _beam_count(note_type: str) -> int:
    value = BASE_VALUES[note_type]
    count, limit = 0, Fraction(1, 2)
    while value <= limit:
        count += 1
        limit /= 2
    return count


def _runs_of_graces(graces: list[_Piece]) -> list[list[int]]:
    """Consecutive grace notes at one place, each run of two or more under one beam."""
    runs: list[list[int]] = []
    for index, piece in enumerate(graces):
        previous = graces[index - 1] if index else None
        short = _beam_count(piece.note_type) > 0
        if previous is not None and runs and runs[-1] and previous.offset == piece.offset and short:
            runs[-1].append(index)
        else:
            runs.append([index] if short else [])
    return [run for run in runs if len(run) > 1]


def _bar_alters(key: WrittenKey) -> dict[str, Fraction]:
    """Step to semitones as the key signature says."""
    if key.alters:
        return {step: Fraction(alter) for step, alter in key.alters}
    sharps = key.fifths > 0
    order = _SHARP_ORDER if sharps else _SHARP_ORDER[::-1]
    alters: dict[str, Fraction] = {}
    for k in range(abs(key.fifths)):
        step = order[k % 7]
        alters[step] = alters.get(step, Fraction(0)) + (1 if sharps else -1)
    return alters


def _write_key(attributes: etree._Element, key: WrittenKey) -> None:
    element = _sub(attributes, "key")
    if key.alters:
        for step, alter in key.alters:
            _sub(element, "key-step", step)
            _sub(element, "key-alter", str(alter))
        return
    _sub(element, "fifths", str(key.fifths))
    if key.mode:
        _sub(element, "mode", key.mode if key.mode in _MODES else "none")


def _write_clef(attributes: etree._Element, name: str) -> None:
    sign, line, octave_change = CLEFS[name]
    clef = _sub(attributes, "clef")
    _sub(clef, "sign", sign)
    _sub(clef, "line", str(line))
    if octave_change:
        _sub(clef, "clef-octave-change", str(octave_change))


# Semitones within an octave to steps, for transposing instruments: the usual names of their intervals.
_DIATONIC = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


def _transposition(semitones: int) -> tuple[int, int]:
    """(diatonic steps, semitones) of a transposition, both with its sign."""
    octaves, within = divmod(abs(semitones), 12)
    steps = 7 * octaves + _DIATONIC[within]
    return (steps, semitones) if semitones >= 0 else (-steps, semitones)


def _written_pitch(sounding: Pitch, transpose_semitones: int) -> Pitch:
    if transpose_semitones == 0:
        return sounding
    steps, semitones = _transposition(transpose_semitones)
    place = 7 * sounding.octave + _STEPS.index(sounding.step) - steps
    octave, index = divmod(place, 7)
    natural = 12 * octave + _SEMITONES[index]
    target = 12 * sounding.octave + _SEMITONES[_STEPS.index(sounding.step)] + sounding.alter - semitones
    return dataclasses.replace(sounding, step=_STEPS[index], alter=target - natural, octave=octave)


def _write_transpose(attributes: etree._Element, transpose_semitones: int) -> None:
    steps, semitones = _transposition(transpose_semitones)
    octaves = int(semitones / 12)
    element = _sub(attributes, "transpose")
    _sub(element, "diatonic", str(steps - 7 * octaves))
    _sub(element, "chromatic", str(semitones - 12 * octaves))
    if octaves:
        _sub(element, "octave-change", str(octaves))


def _write_tempo(measure: etree._Element, tempo: WrittenTempo) -> None:
    direction = _sub(measure, "direction", placement="above")
    if tempo.words:
        _sub(_sub(direction, "direction-type"), "words", tempo.words, font_weight="bold")
    qpm = tempo.tempo_qpm
    value = note_value(tempo.beat_quarters, most_dots=2)
    shown = qpm is not None and tempo.shown and value is not None
    if qpm is not None and shown and value is not None:
        metronome = _sub(_sub(direction, "direction-type"), "metronome")
        _sub(metronome, "beat-unit", value[0])
        for _ in range(value[1]):
            _sub(metronome, "beat-unit-dot")
        _sub(metronome, "per-minute", _number(qpm / tempo.beat_quarters))
    elif not tempo.words:
        _sub(_sub(direction, "direction-type"), "words", "")
    if qpm is not None:
        _sub(direction, "sound", tempo=_number(qpm))


def _write_words(measure: etree._Element, words: WrittenWords) -> None:
    direction = _sub(measure, "direction", placement=words.placement)
    _sub(_sub(direction, "direction-type"), words.kind, words.text)


def _segno(measure: etree._Element) -> None:
    direction = _sub(measure, "direction", placement="above")
    _sub(_sub(direction, "direction-type"), "segno")
    _sub(direction, "sound", segno="segno")


def _coda(measure: etree._Element) -> None:
    direction = _sub(measure, "direction", placement="above")
    _sub(_sub(direction, "direction-type"), "coda")
    _sub(direction, "sound", coda="coda")


def _jump(measure: etree._Element, words: str, attribute: str, value: str) -> None:
    direction = _sub(measure, "direction", placement="above")
    _sub(_sub(direction, "direction-type"), "words", words)
    _sub(direction, "sound", **{attribute: value})


def _write_harmony(measure: etree._Element, chord: WrittenChord) -> None:
    harmony = _sub(measure, "harmony")
    root = _sub(harmony, "root")
    _sub(root, "root-step", chord.root_step)
    if chord.root_alter:
        _sub(root, "root-alter", str(chord.root_alter))
    kind = _sub(harmony, "kind", chord.kind)
    if chord.kind_text:
        kind.set("text", _clean(chord.kind_text))
    if chord.bass_step:
        bass = _sub(harmony, "bass")
        _sub(bass, "bass-step", chord.bass_step)
        if chord.bass_alter:
            _sub(bass, "bass-alter", str(chord.bass_alter))
    for value, alter, what in chord.degrees:
        degree = _sub(harmony, "degree")
        _sub(degree, "degree-value", str(value))
        _sub(degree, "degree-alter", str(alter))
        _sub(degree, "degree-type", what)


def _write_lyric(note: etree._Element, lyric: WrittenLyric) -> None:
    element = _sub(note, "lyric", number=str(lyric.verse))
    if lyric.text:
        _sub(element, "syllabic", lyric.syllabic)
        _sub(element, "text", lyric.text)
    if lyric.extends or not lyric.text:
        _sub(element, "extend")
