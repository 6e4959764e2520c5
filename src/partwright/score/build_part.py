"""Raw values of one part and voice to a frozen `Part`: ties and slurs joined, pitches transposed, marks placed."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from partwright.score.choose import VoiceChoice
from partwright.score.dynamics import MEZZO_FORTE, DynamicLine, dynamic_level, percent_level
from partwright.score.faults import fault_remarks
from partwright.score.jumps import BarJumps, bar_jumps
from partwright.score.new_note import new_note
from partwright.score.parse_directions import RawMark
from partwright.score.parse_notes import RawNote
from partwright.score.part import Bar, ChordSymbol, Credits, Direction, LooseEnd, Note, Part, Pitch, TempoMark
from partwright.score.spell import Transposer
from partwright.score.tempo_map import TempoSaying, tempo_marks
from partwright.score.ticks import Ticks
from partwright.score.tune import NotePlace
from partwright.score.walk_part import RawBar, RawPart

__all__ = ["build_part"]


def build_part(
    raw: RawPart,
    choice: VoiceChoice,
    *,
    ticks: Ticks,
    name: str,
    part_id: str,
    credits: Credits,  # noqa: A002 - the trade's word; a site builtin nobody calls here
    taken_ids: Mapping[str, int],
    sounding_pitches: bool,
    remarks: Sequence[str],
) -> tuple[Part, tuple[NotePlace, ...]]:
    """The part and where each of its notes stands in the source.

    `taken_ids` counts the ids of the whole document; `sounding_pitches` says that the source writes what sounds
    (MusicXML's concert-score).
    """
    starts = [bar.start for bar in raw.bars]
    ordered = sorted(choice.notes, key=lambda note: (note.bar_index, note.onset, not note.grace))
    staves = {note.staff for note in ordered} or {1}
    main_staff = max(sorted(staves), key=lambda staff: sum(note.staff == staff for note in ordered))
    said: list[str] = list(remarks)
    own_marks = [
        mark for mark in raw.marks if mark.staff == 0 or mark.staff in staves or mark.kind in ("rehearsal", "metronome")
    ]
    tempi, tempo_words, tempo_remarks = _tempo(own_marks, raw.bars, starts, ticks)
    said += tempo_remarks
    bars = _bars(raw, main_staff, bar_jumps(own_marks, raw.bars), ticks)
    ids = _note_ids(ordered, taken_ids)
    ties = _ties(ordered, starts, ids)
    slurs = _slurs(ordered)
    notes = _notes(ordered, ids, ties, slurs, choice.merged, raw, bars, own_marks, ticks, sounding_pitches)
    part = Part(
        name=name,
        part_id=part_id,
        notes=notes,
        bars=bars,
        tempo_marks=tempi,
        chord_symbols=_chords(raw, bars, ticks),
        directions=_directions(own_marks, bars, starts, ticks, tempo_words),
        credits=credits,
        transpose_semitones=0 if sounding_pitches or not ordered else ordered[0].transpose[1],
        loose_ends=tuple(LooseEnd(kind="tie", note_id=ids[index]) for index in ties.loose)
        + tuple(LooseEnd(kind="slur", note_id=ids[index]) for index in slurs.loose),
        remarks=tuple(said),
    )
    part = replace(part, remarks=(*part.remarks, *fault_remarks(part)))
    return part, tuple(NotePlace(note.bar_index, note.order) for note in ordered)


_TEMPO_KINDS: Mapping[str, Literal["metronome", "sound-tempo", "words"]] = {
    "metronome": "metronome",
    "sound-tempo": "sound-tempo",
    "words": "words",
}


def _tempo(
    marks: Sequence[RawMark], bars: Sequence[RawBar], starts: Sequence[int], ticks: Ticks
) -> tuple[tuple[TempoMark, ...], frozenset[tuple[Fraction, str]], list[str]]:
    sayings = []
    for mark in marks:
        kind = _TEMPO_KINDS.get(mark.kind)
        if kind is not None:
            bar = bars[mark.bar_index]
            sayings.append(
                TempoSaying(
                    ticks.quarters(starts[mark.bar_index] + mark.tick),
                    kind,
                    bar.number,
                    bar.metre.beats,
                    bar.metre.beat_type,
                    mark.text,
                    mark.value,
                    mark.metronome,
                )
            )
    grace = ticks.quarters(bars[min(1, len(bars) - 1)].start + bars[min(1, len(bars) - 1)].length)
    return tempo_marks(sayings, grace_quarters=grace)


def _bars(raw: RawPart, staff: int, jumps: Mapping[int, BarJumps], ticks: Ticks) -> tuple[Bar, ...]:
    made: list[Bar] = []
    clef = _ClefLine(raw, staff)
    rehearsals = {mark.bar_index: mark.text for mark in reversed(raw.marks) if mark.kind == "rehearsal"}
    nothing = BarJumps()
    before: Bar | None = None
    endings = _endings_by_bar(raw)
    for bar in raw.bars:
        metre = bar.metre
        nominal = metre.quarters if metre.given else ticks.quarters(bar.length)
        length = ticks.quarters(bar.length)
        pickup = bar.index == 0 and length < nominal and len(raw.bars) > 1
        offset = nominal - length if pickup else Fraction(0)
        if (
            not pickup
            and before is not None
            and bar.implicit
            and length < nominal
            and before.length_quarters < before.nominal_quarters
            and before.length_quarters + before.beat_offset_quarters + length <= nominal
        ):
            offset = before.beat_offset_quarters + before.length_quarters  # the second half of a divided bar
        fifths, mode = bar.keys.get(staff, bar.keys.get(0, (0, "")))
        line, jump = bar.barline, jumps.get(bar.index, nothing)
        before = Bar(
            index=bar.index,
            number=bar.number,
            start_quarters=ticks.quarters(bar.start),
            length_quarters=length,
            nominal_quarters=nominal,
            beats=metre.beats,
            beat_type=metre.beat_type,
            metre_given=metre.given,
            metre_changes=bar.metre_changed,
            fifths=fifths,
            mode=mode,
            key_changes=bar.keys_changed,
            clef=clef.at(bar.index, 0),
            pickup=pickup,
            repeat_start=line.repeat_start or jump.forward_repeat,
            repeat_end=line.repeat_end,
            repeat_times=line.repeat_times,
            endings=endings[bar.index],
            ending_starts=line.ending_starts,
            ending_stops=line.ending_stops,
            segno=jump.segno,
            coda=jump.coda,
            to_coda=jump.to_coda,
            fine=jump.fine,
            da_capo=jump.da_capo,
            dal_segno=jump.dal_segno,
            double_bar=line.double,
            rehearsal=rehearsals.get(bar.index, ""),
            new_system=bar.new_system,
            beat_offset_quarters=offset,
            repeat_after_jump=line.after_jump,
            jump_until=jump.until,
        )
        made.append(before)
    return tuple(made)


def _endings_by_bar(raw: RawPart) -> tuple[tuple[int, ...], ...]:
    """Which passes each bar belongs to: an ending lasts from its first bar to where its bracket stops.

    A bracket that never stops covers the one bar it stands over.
    """
    found = [bar.barline.endings for bar in raw.bars]
    for first, bar in enumerate(raw.bars):
        if not bar.barline.ending_starts or bar.barline.ending_stops:
            continue
        last = next(
            (i for i in range(first + 1, len(raw.bars)) if raw.bars[i].barline.ending_stops or found[i]),
            None,
        )
        if last is not None and not raw.bars[last].barline.ending_starts:
            found[first + 1 : last + 1] = [bar.barline.endings] * (last - first)
    return tuple(found)


_NO_TRANSPOSITION = (None, 0)


class _ClefLine:
    """Which clef is in force where on one staff; asked in rising order of time."""

    def __init__(self, raw: RawPart, staff: int) -> None:
        changes = sorted((bar, tick, order) for order, (bar, tick, where, _) in enumerate(raw.clefs) if where == staff)
        self._places = [(bar, tick) for bar, tick, _ in changes]
        self._names = [raw.clefs[order][3] for _, _, order in changes]
        self._next = 0
        self._current = ""

    def at(self, bar_index: int, tick: int) -> str:
        places = self._places
        while self._next < len(places) and places[self._next] <= (bar_index, tick):
            self._current = self._names[self._next]
            self._next += 1
        return self._current


def _notes(
    ordered: Sequence[RawNote],
    ids: Sequence[str],
    ties: _Ties,
    slurs: _Slurs,
    merged: bool,
    raw: RawPart,
    bars: Sequence[Bar],
    marks: Sequence[RawMark],
    ticks: Ticks,
    sounding_pitches: bool,
) -> tuple[Note, ...]:
    starts = [bar.start for bar in raw.bars]
    loudness = _loudness(marks, ordered, starts)
    plucked = _steps((starts[m.bar_index] + m.tick, m.value > 0) for m in marks if m.kind == "pizzicato")
    shifts = _octave_shifts(marks, starts)
    clefs = {staff: _ClefLine(raw, staff) for staff in {note.staff for note in ordered}}
    transposer = Transposer()
    may_be_plucked = bool(plucked[0])
    none: frozenset[str] = frozenset()
    beat_tables: dict[tuple[int, Fraction], dict[int, Fraction]] = {}  # by metre: tick in the bar to beat
    beats: dict[int, Fraction] = {}
    last_bar: Bar | None = None
    made: list[Note] = []
    for index, note in enumerate(ordered):
        bar = bars[note.bar_index]
        onset = starts[note.bar_index] + note.onset
        if bar is not last_bar:
            beats = beat_tables.setdefault((bar.beat_type, bar.beat_offset_quarters), {})
            last_bar = bar
        beat = beats.get(note.onset)
        if beat is None:
            beat = beats[note.onset] = _beat(bar, note.onset, ticks)
        data = note.pitch
        assert data is not None  # the walk keeps only pitched notes
        sounding = written = data
        if note.transpose != _NO_TRANSPOSITION:
            if sounding_pitches:
                written = transposer.written(data, *note.transpose)
            else:
                sounding = transposer.sounding(data, *note.transpose)
        if shifts:
            written = _shifted(written, shifts.get(note.staff, ()), onset)
        chord = note.chord
        if merged and made and not note.grace:
            last = ordered[index - 1]
            chord = not last.grace and last.bar_index == note.bar_index and last.onset == note.onset
        made.append(
            new_note(
                id=ids[index],
                index=index,
                onset_quarters=ticks.quarters(onset),
                duration_quarters=ticks.quarters(note.duration),
                pitch=sounding,
                written_pitch=written,
                bar_index=note.bar_index,
                bar=bar.number,
                beat=beat,
                voice=note.voice,
                staff=note.staff,
                chord=chord,
                grace=note.grace,  # type: ignore[arg-type]  # parse_notes sets only the three values
                tied_to=ties.to.get(index),
                tied_from=ties.of.get(index),
                slurred_to_next=index in slurs.joined,
                slur_starts=slurs.starts.get(index, ()),
                slur_stops=slurs.stops.get(index, ()),
                articulations=frozenset(note.articulations) if note.articulations else none,
                fingerings=note.fingerings,
                string_number=note.string_number,
                bow=note.bow,  # type: ignore[arg-type]
                open_string=note.open_string,
                harmonic=note.harmonic,
                thumb=note.thumb,
                pizzicato=_plucked(note, plucked, onset)
                if may_be_plucked or note.pizzicato or note.articulations
                else False,
                tremolo=note.tremolo,
                ornaments=frozenset(note.ornaments) if note.ornaments else none,
                arpeggiated=note.arpeggiated,
                glissando_to_next=note.glissando,
                fermata=note.fermata,
                breath_after=note.breath,
                dynamic=loudness.at(onset) if loudness is not None else MEZZO_FORTE,
                lyric=note.lyric,
                written_type=note.type,
                dots=note.dots,
                tuplet=note.tuplet,
                clef=clefs[note.staff].at(note.bar_index, note.onset),
            )
        )
    return tuple(made)


def _note_ids(ordered: Sequence[RawNote], taken: Mapping[str, int]) -> list[str]:
    """The source's id where it is the only one of its kind, else n{bar index}-{place in the bar}."""
    ids = []
    for note in ordered:
        if note.xml_id and taken.get(note.xml_id) == 1:
            ids.append(note.xml_id)
            continue
        made = f"n{note.bar_index}-{note.order + 1}"
        while made in taken:
            made += "x"
        ids.append(made)
    return ids


@dataclass(frozen=True, slots=True)
class _Ties:
    """By note index: the id of the note it is held into, and of the note it continues; and ties left over."""

    to: dict[int, str]
    of: dict[int, str]
    loose: tuple[int, ...]


def _ties(ordered: Sequence[RawNote], starts: Sequence[int], ids: Sequence[str]) -> _Ties:
    """Which note is held over into which: same written pitch, and the second begins where the first ends.

    <tie> is what sounds, <tied> what is drawn; the drawing counts only where no <tie> speaks (MusicXML 4.0).
    """
    tied_to: dict[int, str] = {}
    tied_from: dict[int, str] = {}
    loose: list[int] = []
    open_ties: dict[tuple[str, float, int], list[int]] = {}
    for index, note in enumerate(ordered):
        starting = note.tie_start or (note.tied_start and not note.tie_stop)
        stopping = note.tie_stop or (note.tied_stop and not note.tie_start)
        if note.tied_start and note.tied_stop and not (note.tie_start or note.tie_stop):
            starting = stopping = True
        if not starting and not stopping:
            continue
        pitch = note.pitch
        assert pitch is not None
        key = (pitch.step, pitch.alter, pitch.octave)
        if stopping:
            waiting = open_ties.get(key, [])
            onset = starts[note.bar_index] + note.onset
            for candidate in reversed(waiting):
                first = ordered[candidate]
                ends = starts[first.bar_index] + first.onset + first.duration
                if ends == onset and (first.voice == note.voice or len(waiting) == 1):
                    tied_to[candidate], tied_from[index] = ids[index], ids[candidate]
                    waiting.remove(candidate)
                    break
        if starting:
            waiting = open_ties.setdefault(key, [])
            if len(waiting) > 7:  # ties that were never ended must not pile up
                loose.append(waiting.pop(0))
            waiting.append(index)
    loose += (index for waiting in open_ties.values() for index in waiting)
    return _Ties(tied_to, tied_from, tuple(sorted(loose)))


_MOST_OPEN_SLURS = 64  # more at once are no music; the oldest is given up


@dataclass(frozen=True, slots=True)
class _Slurs:
    """By note index: slurs that start and stop there; notes joined to the next event; slurs with one end."""

    starts: dict[int, tuple[str, ...]]
    stops: dict[int, tuple[str, ...]]
    joined: set[int]
    loose: tuple[int, ...]


def _slurs(ordered: Sequence[RawNote]) -> _Slurs:
    """Starts and stops with ids, and the notes whose event is slurred to the next event.

    Slurs are matched by voice and number, in the order of the notes; a slur without its other end is left out.
    """
    open_slurs: dict[tuple[str, str], int] = {}
    pairs: list[tuple[int, int]] = []
    loose: list[int] = []
    for index, note in enumerate(ordered):
        if not note.slurs:
            continue
        for wanted in ("stop", "start"):  # on one note the old slur ends before the new one begins
            for kind, number in note.slurs:
                if kind != wanted:
                    continue
                if kind == "start":
                    forgotten = open_slurs.get((note.voice, number))
                    if forgotten is not None:
                        loose.append(forgotten)
                    open_slurs[note.voice, number] = index
                    if len(open_slurs) > _MOST_OPEN_SLURS:
                        loose.append(open_slurs.pop(next(iter(open_slurs))))
                    continue
                first = open_slurs.pop((note.voice, number), None)
                if first is None:  # ends in another voice
                    others = [key for key in open_slurs if key[1] == number]
                    first = open_slurs.pop(others[-1]) if others else None
                if first is None:
                    loose.append(index)
                else:
                    pairs.append((first, index))
    starts: dict[int, tuple[str, ...]] = {}
    stops: dict[int, tuple[str, ...]] = {}
    events = _event_numbers(ordered)
    deltas = [0] * (len(ordered) + 2)
    for count, (first, last) in enumerate(sorted(pairs), 1):
        name = f"slur{count}"
        starts[first] = (*starts.get(first, ()), name)
        stops[last] = (*stops.get(last, ()), name)
        if events[last] > events[first]:
            deltas[events[first]] += 1
            deltas[events[last]] -= 1
    slurred: set[int] = set()
    depth = event = 0
    for index in range(len(ordered)):
        while event <= events[index]:
            depth += deltas[event]
            event += 1
        if depth > 0:
            slurred.add(index)
    loose += open_slurs.values()
    return _Slurs(starts, stops, slurred, tuple(sorted(loose)))


def _event_numbers(ordered: Sequence[RawNote]) -> list[int]:
    """Which event each note belongs to: a grace note or chord of them is one, all notes with one onset are one."""
    numbers: list[int] = []
    event = -1
    last: RawNote | None = None
    for note in ordered:
        together = last is not None and (
            note.chord
            or (not note.grace and not last.grace and (note.bar_index, note.onset) == (last.bar_index, last.onset))
        )
        if not together:
            event += 1
        numbers.append(event)
        last = note
    return numbers


def _loudness(marks: Sequence[RawMark], notes: Sequence[RawNote], starts: Sequence[int]) -> DynamicLine | None:
    printed: dict[int, float] = {}
    played: dict[int, float] = {}
    hairpins: list[tuple[int, int, int]] = []
    open_hairpin: tuple[int, int] | None = None
    for tick, mark in sorted(((starts[m.bar_index] + m.tick, m) for m in marks), key=lambda pair: pair[0]):
        if mark.kind == "dynamics":
            level = dynamic_level(mark.text)
            if level is not None:
                printed[tick] = level
        elif mark.kind == "sound-dynamics":
            played[tick] = percent_level(mark.value)
        elif mark.kind == "wedge":
            if open_hairpin is not None and mark.text in ("stop", "crescendo", "diminuendo"):
                hairpins.append((open_hairpin[0], tick, open_hairpin[1]))
                open_hairpin = None
            if mark.text in ("crescendo", "diminuendo"):
                open_hairpin = (tick, 1 if mark.text == "crescendo" else -1)
    for note in notes:
        level = dynamic_level(note.dynamic_mark) if note.dynamic_mark else None
        if level is not None:
            printed[starts[note.bar_index] + note.onset] = level
    if not printed and not played and not hairpins:
        return None
    return DynamicLine(sorted({**played, **printed}.items()), hairpins)


def _steps(changes: Iterable[tuple[int, bool]]) -> tuple[list[int], list[bool]]:
    pairs = sorted(changes, key=lambda pair: pair[0])
    return [tick for tick, _ in pairs], [value for _, value in pairs]


def _plucked(note: RawNote, steps: tuple[list[int], list[bool]], onset: int) -> bool:
    if note.pizzicato in ("yes", "no"):
        return note.pizzicato == "yes"
    if "snap-pizzicato" in note.articulations:
        return True
    at = bisect_right(steps[0], onset)
    return steps[1][at - 1] if at else False


def _octave_shifts(marks: Sequence[RawMark], starts: Sequence[int]) -> dict[int, tuple[tuple[int, int, int], ...]]:
    """Octave lines by staff: (first tick, end tick, octaves from the pitch in the file to the printed one)."""
    spans: dict[int, list[tuple[int, int, int]]] = {}
    open_shifts: dict[int, tuple[int, int]] = {}
    far = 1 << 62
    lines = [(starts[m.bar_index] + m.tick, m) for m in marks if m.kind == "octave-shift"]
    for tick, mark in sorted(lines, key=lambda pair: (pair[0], pair[1].text != "stop")):
        staff = mark.staff or 1
        begun = open_shifts.pop(staff, None) if mark.text in ("stop", "up", "down") else None
        if begun is not None:
            spans.setdefault(staff, []).append((begun[0], tick, begun[1]))
        if mark.text in ("up", "down"):
            octaves = min(3, max(1, int(mark.value)))
            open_shifts[staff] = (tick, octaves if mark.text == "up" else -octaves)
    for staff, (first, octaves) in open_shifts.items():
        spans.setdefault(staff, []).append((first, far, octaves))
    return {staff: tuple(found) for staff, found in spans.items()}


def _shifted(pitch: Pitch, spans: Sequence[tuple[int, int, int]], onset: int) -> Pitch:
    for first, end, octaves in spans:
        if first <= onset < end:
            return Pitch(pitch.step, pitch.alter, pitch.octave + octaves)
    return pitch


def _chords(raw: RawPart, bars: Sequence[Bar], ticks: Ticks) -> tuple[ChordSymbol, ...]:
    return tuple(
        ChordSymbol(
            onset_quarters=ticks.quarters(raw.bars[chord.bar_index].start + chord.tick),
            bar_index=chord.bar_index,
            bar=bars[chord.bar_index].number,
            beat=_beat(bars[chord.bar_index], chord.tick, ticks),
            text=chord.text,
            root_step=chord.root_step,
            root_alter=chord.root_alter,
            kind=chord.kind,
            bass_step=chord.bass_step,
            bass_alter=chord.bass_alter,
            degrees=chord.degrees,
        )
        for chord in sorted(raw.chords, key=lambda chord: (chord.bar_index, chord.tick))
    )


def _directions(
    marks: Sequence[RawMark],
    bars: Sequence[Bar],
    starts: Sequence[int],
    ticks: Ticks,
    tempo_words: frozenset[tuple[Fraction, str]],
) -> tuple[Direction, ...]:
    found = []
    for mark in marks:
        if mark.kind == "words":
            kind = "words"
        elif mark.kind == "dynamics":
            kind = "dynamics"
        elif mark.kind == "wedge":
            kind = f"wedge-{mark.text}"
        elif mark.kind == "other":
            kind = mark.text.split()[0]
        else:
            continue
        onset = ticks.quarters(starts[mark.bar_index] + mark.tick)
        if kind == "words" and (onset, mark.text) in tempo_words:
            continue
        bar = bars[mark.bar_index]
        found.append(
            Direction(
                onset_quarters=onset,
                bar_index=mark.bar_index,
                bar=bar.number,
                beat=_beat(bar, mark.tick, ticks),
                text=mark.text,
                kind=kind,
            )
        )
    return tuple(sorted(found, key=lambda direction: direction.onset_quarters))


def _beat(bar: Bar, tick: int, ticks: Ticks) -> Fraction:
    return (bar.beat_offset_quarters + ticks.quarters(tick)) * bar.beat_type / 4 + 1
