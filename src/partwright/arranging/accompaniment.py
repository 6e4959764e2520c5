"""An accompaniment from chord symbols: bass, chords and light percussion in the tune's bars.

Style: a row of `data/styles.toml`; where the metre is not the style's, the held style stands in. Chords are voice-led:
of all ways to lay a chord in the middle of the keyboard the one that moves least from the chord before (general theory;
E. Prout, Harmony (1889): each part goes to the nearest note of the next chord, from memory). A seventh chord leaves its
fifth to the bass. Units: quarter notes, MIDI.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.resources import files

from partwright.arranging.cheapest import cheapest_row
from partwright.arranging.harmony import Harmony, Span, key_spelling
from partwright.arranging.new_notes import Sound, part_of_sounds
from partwright.arranging.write_out import written_part, written_score
from partwright.errors import InputError
from partwright.nearest import nearest_sentence
from partwright.score import Bar, Part, Pitch, WrittenScore

__all__ = ["Accompaniment", "Style", "accompaniment_score", "accompany", "style_for", "style_table"]

_LOW, _HIGH, _MIDDLE = 53, 74, 62  # where the chords lie
_BASS_LOW, _BASS_HIGH = 36, 52


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """One row of the table: what bass, chords and drums do in a bar; offsets and lengths in quarters."""

    name: str
    words: str
    metres: tuple[str, ...]
    bass: tuple[tuple[Fraction, Fraction, str], ...]
    chord: tuple[tuple[Fraction, Fraction, int | None], ...]
    drums: tuple[tuple[Fraction, int], ...]


@dataclass(frozen=True, kw_only=True)
class Accompaniment:
    """Three parts in the tune's bars; `drums` holds General MIDI percussion keys as pitches, and may be empty."""

    style: str
    bass: Part
    chords: Part
    drums: Part
    remarks: tuple[str, ...]

    @property
    def parts(self) -> tuple[tuple[Part, str], ...]:
        """Each part that has notes, with what it is to sound like: "bass", "piano" or "drums"."""
        named = ((self.bass, "bass"), (self.chords, "piano"), (self.drums, "drums"))
        return tuple((part, voice) for part, voice in named if part.notes)


@cache
def style_table() -> Mapping[str, Style]:
    """All styles by name."""
    data = tomllib.loads(files("partwright.arranging").joinpath("data", "styles.toml").read_text(encoding="utf-8"))
    return {
        name: Style(
            name=name,
            words=row["words"],
            metres=tuple(row["metres"]),
            bass=tuple((Fraction(a), Fraction(b), str(c)) for a, b, c in row["bass"]),
            chord=tuple((Fraction(r[0]), Fraction(r[1]), int(r[2]) if len(r) > 2 else None) for r in row["chord"]),
            drums=tuple((Fraction(a), int(key)) for a, key in row["drums"]),
        )
        for name, row in data.items()
    }


def style_for(part: Part, name: str = "") -> Style:
    """The style asked for, or the first one made for the tune's metre. Raises InputError for an unknown name.

    A style in four serves a tune in two or in three dotted beats by its sister made for that metre.
    """
    table = style_table()
    if name and name not in table:
        raise InputError(f'there is no style "{name}"', nearest_sentence(name, table))
    metre = _metre(_main_bar(part))
    if name:
        sister = next((row for key, row in table.items() if key.startswith(f"{name} ") and metre in row.metres), None)
        return table[name] if metre in table[name].metres or sister is None else sister
    return next((row for row in table.values() if metre in row.metres), table["held"])


def accompany(part: Part, *, style: str = "", harmony: Harmony | None = None, proposed: bool = False) -> Accompaniment:
    """Bass, chords and drums for the whole tune, in its bars and repeats.

    Raises InputError for an unknown style, or where there are no chords to play.
    """
    harmony = harmony or Harmony(part)
    if not harmony.spans:
        raise InputError("there are no chord symbols to accompany with", "Write them in, or have them proposed.")
    chosen = style_for(part, style)
    voicings = _voicings(harmony.spans)
    bass: list[Sound] = []
    chords: list[Sound] = []
    drums: list[Sound] = []
    strange: list[str] = []
    for bar in part.bars:
        row = chosen
        if chosen.metres and _metre(bar) not in chosen.metres:
            row = style_table()["held"]
            strange.append(bar.number)
        last = bar.index == len(part.bars) - 1
        if last and harmony.at(bar.start_quarters) is not None:
            row = style_table()["held"]  # the last bar comes to rest
        bass += _bass(bar, row, harmony)
        chords += _chords(bar, row, harmony, voicings)
        if harmony.at(bar.start_quarters) is not None:
            drums += _drums(bar, row)
    remarks = []
    if strange:
        remarks.append(f"style {chosen.name} is not made for the metre of bar {strange[0]}; held chords stand there")
    if proposed:
        remarks.append("The chords are a proposal made from the melody.")
    return Accompaniment(
        style=chosen.name,
        bass=part_of_sounds(part, bass, name="Bass", octaves_written=0),
        chords=part_of_sounds(part, chords, name="Piano", octaves_written=0),
        drums=part_of_sounds(part, drums, name="Drums", octaves_written=0),
        remarks=tuple(remarks),
    )


def accompaniment_score(accompaniment: Accompaniment, part: Part) -> WrittenScore:
    """The accompaniment as a score of several parts."""
    clefs = {"bass": ("bass",), "piano": ("treble", "bass"), "drums": ("treble",)}
    programs = {"bass": 32, "piano": 0, "drums": None}
    written = []
    for made, voice in accompaniment.parts:
        row = written_part(
            replace(made, transpose_semitones=0), clefs=clefs[voice], with_chords=False, midi_program=programs[voice]
        )
        if voice == "drums":
            row = replace(row, bars=tuple(replace(bar, clef="") for bar in row.bars), percussion=True)
        written.append(row)
    remark = " ".join(accompaniment.remarks)
    return written_score(written, part, subtitle=f"Accompaniment, {accompaniment.style}", remarks=remark)


def _metre(bar: Bar) -> str:
    return f"{bar.beats}/{bar.beat_type}"


def _main_bar(part: Part) -> Bar:
    """A bar of the metre that most of the tune stands in."""
    counted: dict[str, Fraction] = {}
    for bar in part.bars:
        counted[_metre(bar)] = counted.get(_metre(bar), Fraction(0)) + bar.length_quarters
    most = max(counted, key=lambda key: counted[key])
    return next(bar for bar in part.bars if _metre(bar) == most)


def _bass(bar: Bar, style: Style, harmony: Harmony) -> list[Sound]:
    """The style's bass notes, and one at each chord that begins where the style has none."""
    events = [(_onset(bar, offset), length, which) for offset, length, which in style.bass]
    events = [event for event in events if bar.start_quarters <= event[0] < bar.end_quarters]
    begun = {onset for onset, _, _ in events}
    inside = [s for s in harmony.spans if bar.start_quarters <= s.start_quarters < bar.end_quarters]
    events = [
        (onset, length, "root" if any(span.start_quarters == onset for span in inside) else which)
        for onset, length, which in events
    ]
    events += [(s.start_quarters, Fraction(99), "root") for s in inside if s.start_quarters not in begun]
    if bar.start_quarters not in {onset for onset, _, _ in events} and bar.beat_offset_quarters:
        events.append((bar.start_quarters, Fraction(99), "root"))
    events.sort()
    found = []
    for k, (onset, length, which) in enumerate(events):
        span = harmony.at(onset)
        if span is None:
            continue
        after = events[k + 1][0] if k + 1 < len(events) else bar.end_quarters
        end = min(onset + length, after, span.end_quarters, bar.end_quarters)
        if end > onset:
            found.append((onset, end, _bass_pitch(span, which, bar)))
    return found


def _bass_pitch(span: Span, which: str, bar: Bar) -> Pitch:
    above = sorted((tone - span.root) % 12 for tone in span.classes)
    fifth = next((a for a in above if a in (6, 7, 8)), 0)
    third = next((a for a in above if a in (2, 3, 4, 5)), fifth)
    place = span.bass if which == "root" else (span.root + (fifth if which == "fifth" else third)) % 12
    midi = _BASS_LOW + (place - _BASS_LOW) % 12
    if which != "root" and midi - (_BASS_LOW + (span.bass - _BASS_LOW) % 12) > 7 and midi - 12 >= _BASS_LOW:
        midi -= 12
    return span.spelled(min(midi, _BASS_HIGH), bar.fifths)


def _chords(bar: Bar, style: Style, harmony: Harmony, voicings: Mapping[Fraction, tuple[int, ...]]) -> list[Sound]:
    found: list[Sound] = []
    events = [(_onset(bar, offset), length, which) for offset, length, which in style.chord]
    held = any(length > 90 for _, length, _ in style.chord)
    if held:
        inside = [s.start_quarters for s in harmony.spans if bar.start_quarters < s.start_quarters < bar.end_quarters]
        events = [(max(bar.start_quarters, events[0][0]), Fraction(99), None)]
        events += [(onset, Fraction(99), None) for onset in inside]
    for k, (onset, length, which) in enumerate(events):
        span = harmony.at(onset)
        if span is None or not bar.start_quarters <= onset < bar.end_quarters:
            continue
        end = min(onset + length, bar.end_quarters, span.end_quarters)
        if held and k + 1 < len(events):
            end = min(end, events[k + 1][0])
        notes = voicings[span.start_quarters]
        struck = notes if which is None else (notes[min(which, len(notes) - 1)],)
        if end > onset:
            found += [(onset, end, span.spelled(midi, bar.fifths)) for midi in struck]
    return found


def _drums(bar: Bar, style: Style) -> list[Sound]:
    found = []
    onsets = sorted({_onset(bar, offset) for offset, _ in style.drums})
    for offset, key in style.drums:
        onset = _onset(bar, offset)
        after = next((other for other in onsets if other > onset), bar.end_quarters)
        if bar.start_quarters <= onset < bar.end_quarters:
            end = min(after, bar.end_quarters, onset + 1)
            found.append((onset, end, key_spelling(key, 0)))
    return found


def _onset(bar: Bar, offset: Fraction) -> Fraction:
    return bar.start_quarters + offset - bar.beat_offset_quarters


def _voicings(spans: Sequence[Span]) -> dict[Fraction, tuple[int, ...]]:
    """For each chord, by its start, the notes of the right hand: the row that moves least, found exactly."""
    columns = [_layings(span) for span in spans]
    own = [[0.05 * abs(sum(notes) / len(notes) - _MIDDLE) for notes in column] for column in columns]
    own[0] = [abs(sum(notes) / len(notes) - _MIDDLE) for notes in columns[0]]  # the first one sets the height
    row = cheapest_row(own, lambda k, a, b: _movement(columns[k][a], columns[k + 1][b]))
    return {span.start_quarters: column[k] for span, column, k in zip(spans, columns, row, strict=True)}


def _layings(span: Span) -> list[tuple[int, ...]]:
    """Every close way to lay three notes of the chord between the limits, each note once."""
    above = sorted({(tone - span.root) % 12 for tone in span.classes})
    own = [a for a in above if (span.root + a) % 12 != span.bass or a in (0, 3, 4, 7)]
    if len(own) > 3:
        order = [a for a in (3, 4, 10, 11, 9, 0, 2, 5, 6, 8, 7, 1) if a in own]
        own = sorted(order[:3])
    found = []
    for low in range(_LOW, _HIGH + 1):
        classes = {(span.root + a) % 12 for a in own}
        if low % 12 not in classes:
            continue
        notes = [low]
        midi = low
        while len(notes) < len(classes):
            midi += 1
            if midi % 12 in classes - {n % 12 for n in notes}:
                notes.append(midi)
        if notes[-1] <= _HIGH:
            found.append(tuple(notes))
    return found


def _movement(one: Sequence[int], two: Sequence[int]) -> float:
    if len(one) == len(two):
        return float(sum(abs(a - b) for a, b in zip(one, two, strict=True)))
    return float(sum(min(abs(a - b) for a in one) for b in two))
