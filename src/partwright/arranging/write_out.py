"""A part as written music again: what a version, a second part or the tune in another key is printed from.

Notes, slurs, articulations, dynamics, words, chord symbols, tempo, bar lines and jumps of the `Part` go in; what
stands at a moment where no note begins (a chord symbol over a held note) goes into a second voice of invisible rests.
Units: quarter notes as `Fraction`.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from partwright.arranging.clefs import clefs_for
from partwright.files import content_hash
from partwright.score import (
    Bar,
    ChordSymbol,
    Direction,
    Note,
    Part,
    TempoMark,
    Tune,
    WrittenBar,
    WrittenChord,
    WrittenEvent,
    WrittenKey,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
    WrittenWords,
    compose_musicxml,
    musicxml_bytes,
    tune_from_tree,
)
from partwright.score.written import Tuplet, WrittenLyric

__all__ = ["bar_frames", "written_chord", "written_part", "written_score", "written_tune"]

_GRACE = Fraction(1, 2)  # graces are printed as quavers; the part does not keep their value in time


@dataclass(slots=True)
class _Here:
    """What stands before one moment of a bar."""

    chords: list[WrittenChord] = field(default_factory=list)
    words: list[WrittenWords] = field(default_factory=list)
    dynamic: str = ""
    wedge: str = ""
    wedge_stop: bool = False
    tempo: WrittenTempo | None = None


def written_part(
    part: Part,
    *,
    name: str = "",
    clefs: Sequence[str] = ("bass", "tenor", "treble"),
    with_chords: bool = True,
    midi_program: int | None = None,
) -> WrittenPart:
    """The part as bars of written events, in the clefs that need the fewest ledger lines.

    Note ids are kept, so that a plan of the part holds for what is read back.
    """
    notes: list[list[Note]] = [[] for _ in part.bars]
    for note in part.notes:
        notes[note.bar_index].append(note)
    here = _moments(part, with_chords=with_chords)
    chosen = clefs_for(part, clefs)
    frames = bar_frames(part)
    bars = []
    for bar, frame, clef, in_bar in zip(part.bars, frames, chosen, notes, strict=True):
        voices = _voices(bar, in_bar, here.get(bar.index, {}))
        before = chosen[bar.index - 1] if bar.index else ""
        bars.append(replace(frame, voices=voices, clef=clef if clef != before else ""))
    return WrittenPart(
        name=name or part.name,
        bars=tuple(bars),
        transpose_semitones=part.transpose_semitones,
        midi_program=midi_program,
    )


def bar_frames(part: Part) -> tuple[WrittenBar, ...]:
    """The bars of a part without what is in them: numbers, signatures, lines, endings, jumps."""
    frames = [_frame(bar, part.bars[bar.index - 1] if bar.index else None) for bar in part.bars]
    if frames[-1].right_line:
        frames[-1] = replace(frames[-1], right_line="light-heavy")  # a piece ends with the final bar line
    return tuple(frames)


def _frame(bar: Bar, before: Bar | None) -> WrittenBar:
    metre_changed = before is None or (bar.beats, bar.beat_type) != (before.beats, before.beat_type)
    key_changed = before is None or (bar.fifths, bar.mode) != (before.fifths, before.mode)
    coda = {"": "", "fine": " al Fine", "coda": " al Coda"}[bar.jump_until]
    short = bar.length_quarters < bar.nominal_quarters
    return WrittenBar(
        number=bar.number,
        voices=(),
        metre=WrittenMetre(beats=(bar.beats,), beat_type=bar.beat_type) if metre_changed and bar.metre_given else None,
        free_metre=not bar.metre_given and (before is None or before.metre_given),
        key=WrittenKey(fifths=bar.fifths, mode=bar.mode) if key_changed else None,
        implicit=bar.pickup or (short and bar.beat_offset_quarters > 0),
        aligned="end" if bar.pickup or bar.beat_offset_quarters > 0 else "start",
        repeat_start=bar.repeat_start,
        repeat_end=bar.repeat_end,
        repeat_times=bar.repeat_times,
        ending_start=", ".join(map(str, bar.endings)) if bar.ending_starts else "",
        ending_stop=", ".join(map(str, bar.endings)) if bar.ending_stops else "",
        right_line="light-light" if bar.double_bar and not bar.repeat_end else "",
        segno=bar.segno,
        coda=bar.coda,
        to_coda=bar.to_coda,
        fine=bar.fine,
        da_capo=f"D.C.{coda}" if bar.da_capo else "",
        dal_segno=f"D.S.{coda}" if bar.dal_segno else "",
    )


def written_score(parts: Sequence[WrittenPart], part: Part, *, subtitle: str = "", remarks: str = "") -> WrittenScore:
    """A score of these parts with the tune's credits."""
    credit = part.credits
    creators = [("composer", credit.composer), ("arranger", credit.arranger), ("lyricist", credit.lyricist)]
    return WrittenScore(
        parts=tuple(parts),
        title=credit.title,
        subtitle=subtitle or credit.subtitle,
        creators=tuple((role, name) for role, name in creators if name),
        rights=credit.rights,
        other=(("partwright-remarks", remarks),) if remarks else (),
    )


def written_tune(score: WrittenScore, *, name: str, part: str | None = None, voice: str | None = None) -> Tune:
    """The score as a tune, read back from the MusicXML written for it. Raises ScoreError for what cannot be printed."""
    document = compose_musicxml(score)
    digest = content_hash(musicxml_bytes(document))
    return tune_from_tree(document, source=Path(name), source_bytes_hash=digest, part=part, voice=voice)


def written_chord(symbol: ChordSymbol, text: str = "") -> WrittenChord:
    """A chord symbol as it is written."""
    return WrittenChord(
        text=text or symbol.text,
        root_step=symbol.root_step,
        root_alter=round(symbol.root_alter),
        kind=symbol.kind or "major",
        kind_text=_kind_text(symbol),
        bass_step=symbol.bass_step,
        bass_alter=round(symbol.bass_alter),
        degrees=tuple((value, round(alter), what) for value, alter, what in symbol.degrees),
    )


def _kind_text(symbol: ChordSymbol) -> str:
    """What is printed after the root: the text without root and bass."""
    text = symbol.text.partition("/")[0]
    sign = {-2: "bb", -1: "b", 1: "#", 2: "##"}.get(round(symbol.root_alter), "")
    return text.removeprefix(symbol.root_step + sign)


# What stands before a moment ------------------------------------------------------------------------------------------


def _moments(part: Part, *, with_chords: bool) -> dict[int, dict[Fraction, _Here]]:
    """By bar index and offset in the bar."""
    found: dict[int, dict[Fraction, _Here]] = {}

    def at(onset: Fraction, bar_index: int | None = None) -> _Here:
        bar = part.bars[bar_index] if bar_index is not None else part.bar_at(onset)
        offset = min(max(onset - bar.start_quarters, Fraction(0)), bar.length_quarters)
        return found.setdefault(bar.index, {}).setdefault(offset, _Here())

    for symbol in part.chord_symbols if with_chords else ():
        if symbol.root_step:
            at(symbol.onset_quarters, symbol.bar_index).chords.append(written_chord(symbol))
        else:  # what could not be read as a chord stays on the page as words
            words = WrittenWords(text=symbol.text)
            at(symbol.onset_quarters, symbol.bar_index).words.append(words)
    for direction in part.directions:
        bar = part.bars[direction.bar_index]
        if direction.kind == "wedge-stop" and direction.onset_quarters == bar.start_quarters and bar.index > 0:
            at(bar.start_quarters, bar.index - 1).wedge_stop = True  # it ends with the bar before
            continue
        _add_direction(at(direction.onset_quarters, direction.bar_index), direction)
    for mark in part.tempo_marks:
        at(mark.onset_quarters).tempo = _tempo(mark)
    for bar in part.bars:
        if bar.rehearsal:
            at(bar.start_quarters, bar.index).words.append(WrittenWords(text=bar.rehearsal, kind="rehearsal"))
    return found


def _tempo(mark: TempoMark) -> WrittenTempo:
    return WrittenTempo(
        tempo_qpm=Fraction(mark.tempo_qpm).limit_denominator(100),
        words=mark.words,
        shown=mark.source == "metronome",
    )


def _add_direction(here: _Here, direction: Direction) -> None:
    if direction.kind == "dynamics":
        here.dynamic = direction.text
    elif direction.kind in ("wedge-crescendo", "wedge-diminuendo"):
        here.wedge = direction.kind.removeprefix("wedge-")
    elif direction.kind == "wedge-stop":
        here.wedge_stop = True
    elif direction.kind == "words":
        here.words.append(WrittenWords(text=direction.text))


# Events ---------------------------------------------------------------------------------------------------------------


def _voices(bar: Bar, notes: Sequence[Note], here: Mapping[Fraction, _Here]) -> tuple[tuple[WrittenEvent, ...], ...]:
    """The bar's voices, the one with most notes first; what stands between its notes in an invisible voice."""
    by_voice: dict[str, list[Note]] = {}
    for note in notes:
        by_voice.setdefault(note.voice, []).append(note)
    ranked = sorted(by_voice, key=lambda voice: (-len(by_voice[voice]), voice))
    left = dict(here)
    voices = []
    for rank, voice in enumerate(ranked or [""]):
        voices.append(_events(bar, by_voice.get(voice, []), left if rank == 0 else {}))
    if left:
        voices.append(_invisible(bar, left))
    return tuple(voices)


def _events(bar: Bar, notes: Sequence[Note], here: dict[Fraction, _Here]) -> tuple[WrittenEvent, ...]:
    """One voice from the bar's start to its end, rests filled in. Takes out of `here` what it carries."""
    groups: list[list[Note]] = []
    for note in notes:
        same = groups and groups[-1][0].onset_quarters == note.onset_quarters
        if same and bool(groups[-1][0].grace) == bool(note.grace) and (note.chord or not note.grace):
            groups[-1].append(note)
        else:
            groups.append([note])
    events: list[WrittenEvent] = []
    position = Fraction(0)
    for group in groups:
        onset = group[0].onset_quarters - bar.start_quarters
        if onset > position:
            _rest(events, position, onset, here)
            position = onset
        event = _event(group)
        if position in here:
            _end_wedge(events, here[position])
            event = _with(event, here.pop(position))
        events.append(event)
        position += event.lasts
    end = bar.length_quarters
    if position < end or not events:
        _rest(events, position, end, here)
    if end in here and here[end].wedge_stop and events:
        # A wedge that ends with the bar ends with its last note.
        events[-1] = replace(events[-1], wedge_stop=True)
    here.pop(end, None)
    return _with_tuplets(events)


def _event(group: Sequence[Note]) -> WrittenEvent:
    first = group[0]
    ordered = sorted(group, key=lambda note: note.midi)
    return WrittenEvent(
        duration_quarters=_GRACE if first.grace else max(note.duration_quarters for note in group),
        pitches=tuple(note.pitch for note in ordered),
        ties=tuple(note.tied_to is not None for note in ordered),
        id=first.id,
        grace=first.grace,
        slur_starts=tuple(dict.fromkeys(name for note in group for name in note.slur_starts)),
        slur_stops=tuple(dict.fromkeys(name for note in group for name in note.slur_stops)),
        articulations=tuple(sorted({word for note in group for word in note.articulations})),
        ornaments=tuple(sorted({word for note in group for word in note.ornaments}))
        + ((f"tremolo-{first.tremolo}",) if first.tremolo else ()),
        technical=((f"{first.bow}-bow",) if first.bow else ()) + (("harmonic",) if first.harmonic else ()),
        fermata=any(note.fermata for note in group),
        arpeggiated=any(note.arpeggiated for note in group),
        lyrics=(WrittenLyric(text=first.lyric),) if first.lyric else (),
        tuplet=Tuplet(actual=first.tuplet[0], normal=first.tuplet[1]) if first.tuplet else None,
    )


def _rest(events: list[WrittenEvent], start: Fraction, end: Fraction, here: dict[Fraction, _Here]) -> None:
    """Add rests that fill a gap, cut where something stands before one of them."""
    cuts = {start, end, *(offset for offset in here if start < offset < end)}
    if _odd(start) or _odd(end):
        cuts |= {Fraction(k) for k in range(int(start) + 1, int(end) + 1) if start < k < end}
    ordered = sorted(cuts)
    for one, two in itertools.pairwise(ordered):
        event = WrittenEvent(duration_quarters=two - one)
        if one in here:
            _end_wedge(events, here[one])
            event = _with(event, here.pop(one))
        events.append(event)


def _end_wedge(events: list[WrittenEvent], here: _Here) -> None:
    """A wedge that stops at a moment ends with the event before it."""
    if here.wedge_stop and events:
        events[-1] = replace(events[-1], wedge_stop=True)


def _with(event: WrittenEvent, here: _Here) -> WrittenEvent:
    return replace(
        event,
        chord_symbols=tuple(here.chords),
        words=tuple(here.words),
        dynamic=here.dynamic,
        wedge=here.wedge,  # type: ignore[arg-type]
        tempo=here.tempo,
    )


def _invisible(bar: Bar, here: Mapping[Fraction, _Here]) -> tuple[WrittenEvent, ...]:
    cuts = sorted({Fraction(0), bar.length_quarters, *(o for o in here if o < bar.length_quarters)})
    events = []
    for one, two in itertools.pairwise(cuts):
        event = WrittenEvent(duration_quarters=two - one, invisible=True)
        events.append(_with(event, here[one]) if one in here else event)
    return tuple(events)


def _with_tuplets(events: Sequence[WrittenEvent]) -> tuple[WrittenEvent, ...]:
    """Tuplets with their ends: a group is whole where the time it has taken is a plain one again."""
    found: list[WrittenEvent] = []
    taken = Fraction(0)
    for event in events:
        needed = event.tuplet
        if needed is None and not event.grace and _odd(event.duration_quarters):
            odd = event.duration_quarters.denominator
            while odd % 2 == 0:
                odd //= 2
            needed = Tuplet(actual=odd, normal=2 ** (odd.bit_length() - 1))
        if needed is None or event.grace:
            found.append(event)
            continue
        start = taken == 0
        taken += event.duration_quarters
        # Three thirds of a crotchet: plain as a sum, and a whole number of the tuplet's own notes.
        stop = not _odd(taken)
        found.append(replace(event, tuplet=Tuplet(actual=needed.actual, normal=needed.normal, start=start, stop=stop)))
        if stop:
            taken = Fraction(0)
    return tuple(found)


def _odd(length: Fraction) -> bool:
    return length.denominator & (length.denominator - 1) != 0
