"""Writes one part of new music into a MusicXML tree, bar by bar, voice by voice, note by note."""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.musicxml_elements import (
    bar_alters,
    clean,
    decimal_text,
    sub,
    write_clef,
    write_coda,
    write_harmony,
    write_jump,
    write_key,
    write_left_line,
    write_lyric,
    write_right_line,
    write_segno,
    write_tempo,
    write_transpose,
    write_words,
    written_pitch,
)
from partwright.score.note_values import note_value
from partwright.score.part import Pitch
from partwright.score.pieces import Piece, common_divisions, pieces_of, whole_slurs
from partwright.score.written import WrittenBar, WrittenEvent, WrittenKey, WrittenMetre, WrittenPart

__all__ = ["PartWriter"]

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


class PartWriter:
    """Writes one part; holds what carries over from bar to bar (key, metre, open slurs)."""

    def __init__(self, part: WrittenPart, part_id: str) -> None:
        self.part = part
        self.part_id = part_id
        self.divisions = common_divisions(part)
        self.slur_names = whole_slurs(part)
        self.slur_numbers: dict[str, int] = {}
        self.key = WrittenKey()
        self.metre: WrittenMetre | None = None
        self.free_metre = False
        self.note_count = 0
        self.wedge_open = False

    def write(self, out: etree._Element) -> None:
        """All bars, below `out`. Raises ScoreError with its bar."""
        for index, bar in enumerate(self.part.bars):
            measure = sub(out, "measure", number=clean(bar.number) or str(index))
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

    def _write_bar(self, measure: etree._Element, bar: WrittenBar, bar_index: int) -> None:
        if bar.new_system:
            sub(measure, "print", new_system="yes")
        self._write_attributes(measure, bar, bar_index)
        write_left_line(measure, bar)
        if bar.segno:
            write_segno(measure)
        if bar.coda:
            write_coda(measure)
        longest = bar.length_quarters
        position = Fraction(0)
        for voice_index in range(len(bar.voices)):
            if position:
                sub(sub(measure, "backup"), "duration", self._ticks(position))
            position = self._write_voice(measure, bar, bar_index, voice_index)
        if position < longest:
            sub(sub(measure, "forward"), "duration", self._ticks(longest - position))
        if bar.to_coda:
            write_jump(measure, "To Coda", "tocoda", "coda")
        if bar.fine:
            write_jump(measure, "Fine", "fine", "yes")
        if bar.da_capo:
            write_jump(measure, bar.da_capo, "dacapo", "yes")
        if bar.dal_segno:
            write_jump(measure, bar.dal_segno, "dalsegno", "segno")
        write_right_line(measure, bar)

    def _write_attributes(self, measure: etree._Element, bar: WrittenBar, bar_index: int) -> None:
        first = bar_index == 0
        if not (first or bar.key or bar.metre or bar.free_metre or bar.clef):
            return
        attributes = sub(measure, "attributes")
        if first:
            sub(attributes, "divisions", str(self.divisions))
        if bar.key is not None:
            write_key(attributes, bar.key)
        if bar.metre is not None:
            time = sub(attributes, "time")
            if bar.metre.symbol:
                time.set("symbol", bar.metre.symbol)
            sub(time, "beats", "+".join(str(beats) for beats in bar.metre.beats))
            sub(time, "beat-type", str(bar.metre.beat_type))
        elif bar.free_metre:
            sub(sub(attributes, "time"), "senza-misura")
        clef = bar.clef or ("percussion" if first and self.part.percussion else "")
        if clef:
            write_clef(attributes, clef)
        if first and self.part.transpose_semitones:
            write_transpose(attributes, self.part.transpose_semitones)

    def _ticks(self, quarters: Fraction) -> str:
        return str(int(quarters * self.divisions))

    def _write_voice(self, measure: etree._Element, bar: WrittenBar, bar_index: int, voice_index: int) -> Fraction:
        """Writes one voice and returns how long it lasts."""
        state = bar_alters(self.key)
        shown: dict[tuple[str, int], Fraction] = {}
        position = Fraction(0)
        for piece in pieces_of(self.part, bar, bar_index, voice_index, self.metre):
            event = piece.event
            if piece.first:
                if event.key is not None or event.clef:
                    attributes = sub(measure, "attributes")
                    if event.key is not None:
                        self.key = event.key
                        state, shown = bar_alters(event.key), {}
                        write_key(attributes, event.key)
                    if event.clef:
                        write_clef(attributes, event.clef)
                self._write_directions(measure, event)
            self._write_notes(measure, piece, voice_index, state, shown)
            position += piece.lasts
            if piece.last and event.wedge_stop and self.wedge_open:
                self.wedge_open = False
                sub(sub(sub(measure, "direction", placement="below"), "direction-type"), "wedge", type="stop")
        return position

    def _write_directions(self, measure: etree._Element, event: WrittenEvent) -> None:
        for chord in event.chord_symbols:
            write_harmony(measure, chord)
        if event.tempo is not None:
            write_tempo(measure, event.tempo)
        for words in event.words:
            write_words(measure, words)
        if event.dynamic:
            direction = sub(measure, "direction", placement="below")
            sub(sub(sub(direction, "direction-type"), "dynamics"), event.dynamic)
        if event.wedge and not self.wedge_open:
            self.wedge_open = True
            direction = sub(measure, "direction", placement="below")
            sub(sub(direction, "direction-type"), "wedge", type=event.wedge)

    def _write_notes(
        self,
        measure: etree._Element,
        piece: Piece,
        voice_index: int,
        state: dict[str, Fraction],
        shown: dict[tuple[str, int], Fraction],
    ) -> None:
        event = piece.event
        order = sorted(range(len(event.pitches)), key=lambda k: event.pitches[k].midi)
        for head, k in enumerate(order or [-1]):
            self.note_count += 1
            name = event.id if event.id and piece.first and head == 0 else f"{self.part_id}n{self.note_count}"
            note = sub(measure, "note", id=name)
            if event.invisible:
                note.set("print-object", "no")
            if event.grace:
                grace = sub(note, "grace")
                if event.grace == "slashed":
                    grace.set("slash", "yes")
            if head:
                sub(note, "chord")
            accidental = ""
            if k < 0:
                rest = sub(note, "rest")
                if piece.whole_bar:
                    rest.set("measure", "yes")
            else:
                accidental = self._write_pitch(note, event.pitches[k], piece.in_[k], state, shown)
            if not event.grace:
                sub(note, "duration", self._ticks(piece.lasts))
            if k >= 0:
                if piece.in_[k]:
                    sub(note, "tie", type="stop")
                if piece.out[k]:
                    sub(note, "tie", type="start")
                if self.part.percussion:
                    sub(note, "instrument", id=f"{self.part_id}-I{event.pitches[k].midi}")
            sub(note, "voice", str(voice_index + 1))
            if not piece.whole_bar or note_value(event.duration_quarters) is not None:
                sub(note, "type", piece.note_type)
                for _ in range(piece.dots):
                    sub(note, "dot")
            if accidental:
                sub(note, "accidental", accidental)
            if event.tuplet is not None and not event.grace:
                modification = sub(note, "time-modification")
                sub(modification, "actual-notes", str(event.tuplet.actual))
                sub(modification, "normal-notes", str(event.tuplet.normal))
            if self.part.percussion and k >= 0:
                head_shape = _DRUM_STAFF.get(event.pitches[k].midi, ("E", 5, "x"))[2]
                if head_shape:
                    sub(note, "notehead", head_shape)
            if head == 0:
                for level, value in enumerate(piece.beams, start=1):
                    sub(note, "beam", value, number=str(level))
            self._write_notations(note, piece, k, head)
            if head == 0 and piece.first:
                for lyric in event.lyrics:
                    write_lyric(note, lyric)

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
            unpitched = sub(note, "unpitched")
            sub(unpitched, "display-step", step)
            sub(unpitched, "display-octave", str(octave))
            return ""
        pitch = written_pitch(sounding, self.part.transpose_semitones)
        if not 0 <= pitch.octave <= 9:
            raise ScoreError(f"the note {pitch.name} lies outside the octaves 0 to 9", "Move it by octaves.")
        element = sub(note, "pitch")
        sub(element, "step", pitch.step)
        alter = Fraction(pitch.alter).limit_denominator(100)
        if alter:
            sub(element, "alter", decimal_text(alter))
        sub(element, "octave", str(pitch.octave))
        place = (pitch.step, pitch.octave)
        if continues:  # a held note takes no new accidental, even across the bar line
            return ""
        valid = shown.get(place, state.get(pitch.step, Fraction(0)))
        if alter == valid:
            return ""
        shown[place] = alter
        return _ACCIDENTALS.get(alter, "")

    def _write_notations(self, note: etree._Element, piece: Piece, k: int, head: int) -> None:
        event = piece.event
        notations = etree.Element("notations")
        if k >= 0:
            if piece.in_[k]:
                sub(notations, "tied", type="stop")
            if piece.out[k]:
                sub(notations, "tied", type="start")
        if head == 0:
            if event.tuplet is not None and not event.grace:
                if event.tuplet.start and piece.first:
                    sub(notations, "tuplet", type="start", number="1")
                if event.tuplet.stop and piece.last:
                    sub(notations, "tuplet", type="stop", number="1")
            if piece.last:
                for name in event.slur_stops:
                    if name in self.slur_numbers:
                        sub(notations, "slur", type="stop", number=str(self.slur_numbers.pop(name)))
            if piece.first:
                for name in event.slur_starts:
                    if name in self.slur_names:
                        sub(notations, "slur", type="start", number=str(self._free_slur(name)))
            if piece.first:
                _write_signs(notations, event)
            if event.fermata and piece.last:
                sub(notations, "fermata")
        if piece.first and k >= 0:
            _write_fingers(notations, event, head)
        if event.arpeggiated and piece.first and k >= 0 and len(event.pitches) > 1:
            sub(notations, "arpeggiate")
        if len(notations):
            note.append(notations)

    def _free_slur(self, name: str) -> int:
        taken = set(self.slur_numbers.values())
        number = next((n for n in range(1, 17) if n not in taken), None)  # number-level is 1..16 in MusicXML 4.0
        if number is None:
            raise ScoreError("more than 16 slurs are open at once", "Close some of them.")
        self.slur_numbers[name] = number
        return number


def _write_signs(notations: etree._Element, event: WrittenEvent) -> None:
    if event.ornaments:
        ornaments = sub(notations, "ornaments")
        for name in event.ornaments:
            if name.startswith("tremolo-"):
                sub(ornaments, "tremolo", name.removeprefix("tremolo-"), type="single")
            else:
                sub(ornaments, name)
    if event.technical:
        technical = sub(notations, "technical")
        for name in event.technical:
            element = sub(technical, name)
            if name == "harmonic":
                sub(element, "natural")
    if event.articulations:
        articulations = sub(notations, "articulations")
        for name in event.articulations:
            sub(articulations, name)


def _write_fingers(notations: etree._Element, event: WrittenEvent, head: int) -> None:
    top = head == len(event.pitches) - 1
    fingers = event.fingerings[head:] if top else event.fingerings[head : head + 1]
    strings = event.string_numbers[head : head + 1]
    if not fingers and not strings:
        return
    technical = notations.find("technical")
    if technical is None:
        technical = sub(notations, "technical")
    for finger in fingers:
        sub(technical, "fingering", finger)
    for number in strings:
        sub(technical, "string", str(number))
