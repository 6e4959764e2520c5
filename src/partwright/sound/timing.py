"""The timing map: when each written note sounds in a product, seconds ↔ bar and beat. Everything that moves reads it.

Repeats, ritardandi, held notes, tempo and count-in are all in it. Times are seconds from the start of the file; beats
count from 1 in the metre's own beats.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from partwright.score import Bar, Part, beat_text
from partwright.sound.clock import Clock, make_clock, whole_passage

__all__ = ["TimedBar", "TimedBeat", "TimedNote", "TimingMap", "beat_step", "make_timing", "timing_document"]

_GRACE_SECONDS = 0.09  # a grace note on bowed strings; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedNote:
    """One sounding of a written note, from its onset to the end of its written value.

    A tied note has its own entry; `tied` says that it is the note before it going on. `played_bar` is an index into
    the map's bars.
    """

    id: str
    bar: str
    beat: Fraction
    pass_number: int
    played_bar: int
    start_seconds: float
    end_seconds: float
    tied: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedBar:
    """One bar as it is played. `quarters_from_start` counts from the passage's first bar."""

    bar: str
    bar_index: int
    pass_number: int
    start_seconds: float
    end_seconds: float
    quarters_from_start: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedBeat:
    """One beat of the metre: where a click falls. `count_in`: before the music; `strong`: a bar's first."""

    bar: str
    beat: Fraction
    seconds: float
    strong: bool
    count_in: bool = False


@dataclass(frozen=True, kw_only=True)
class TimingMap:
    """When everything sounds in one product. `seconds` is where the last bar ends; sound may ring on beyond it."""

    tempo_qpm: float
    speed: float
    count_in_seconds: float
    seconds: float
    bars: tuple[TimedBar, ...]
    notes: tuple[TimedNote, ...]
    beats: tuple[TimedBeat, ...]
    clock: Clock

    @cached_property
    def by_id(self) -> Mapping[str, tuple[TimedNote, ...]]:
        """Every sounding of each written note, in order."""
        found: dict[str, list[TimedNote]] = {}
        for note in self.notes:
            found.setdefault(note.id, []).append(note)
        return {key: tuple(value) for key, value in found.items()}

    @cached_property
    def _starts(self) -> tuple[float, ...]:
        return tuple(bar.start_seconds for bar in self.bars)

    def bar_at(self, seconds: float) -> TimedBar | None:
        """The bar that sounds at a time; None during the count-in; the last bar for anything after it."""
        found = bisect_right(self._starts, seconds + 1e-9) - 1
        return self.bars[found] if found >= 0 else None

    def seconds_at(self, played_quarters: Fraction | float) -> float:
        """The time of a place in the played order, count-in included."""
        return self.count_in_seconds + self.clock.seconds_at(played_quarters)

    def quarters_at(self, seconds: float) -> float:
        """The place in the played order that sounds at a time."""
        return self.clock.quarters_at(seconds - self.count_in_seconds)


def make_timing(
    part: Part,
    *,
    speed: float = 1.0,
    tempo_qpm: float | None = None,
    count_in_bars: int = 0,
    passage: tuple[int, int] | None = None,
) -> TimingMap:
    """The timing map of a passage of the played order (all of it if none is given).

    `count_in_bars` whole bars are counted, and after them the beats of the first bar that a pick-up leaves out. Raises
    InputError for a tempo that cannot be played to.
    """
    first, last = passage or whole_passage(part)
    clock = make_clock(part, speed=speed, tempo_qpm=tempo_qpm, passage=(first, last))
    played = part.played_bars[first:last]
    base = played[0].start_quarters
    counted, count_in = _count_in(part.bars[played[0].bar_index], clock, count_in_bars)
    bars, notes, beats = [], [], [*counted]
    by_bar: list[list[int]] = [[] for _ in part.bars]
    for note in part.notes:
        by_bar[note.bar_index].append(note.index)
    before: set[str] = set()
    for number, item in enumerate(played):
        bar = part.bars[item.bar_index]
        start = item.start_quarters - base

        def at(written: Fraction, bar: Bar = bar, start: Fraction = start) -> float:
            return count_in + clock.seconds_at(start + written - bar.start_quarters)

        bars.append(
            TimedBar(
                bar=bar.number,
                bar_index=bar.index,
                pass_number=item.pass_number,
                start_seconds=at(bar.start_quarters),
                end_seconds=at(bar.end_quarters),
                quarters_from_start=start,
            )
        )
        here = {part.notes[index].id for index in by_bar[bar.index]}
        sounding = before | here  # a tie into a bar that is not reached from its own bar is struck again
        for index in by_bar[bar.index]:
            note = part.notes[index]
            tied = note.tied_from is not None and note.tied_from in sounding
            notes.append(
                TimedNote(
                    id=note.id,
                    bar=note.bar,
                    beat=note.beat,
                    pass_number=item.pass_number,
                    played_bar=number,
                    start_seconds=at(note.onset_quarters),
                    end_seconds=at(note.end_quarters),
                    tied=tied,
                )
            )
        before = here
        beats += _bar_beats(bar, at)
    return TimingMap(
        tempo_qpm=clock.pieces[0].tempo_qpm,
        speed=speed,
        count_in_seconds=count_in,
        seconds=count_in + clock.seconds,
        bars=tuple(bars),
        notes=_with_graces(part, notes),
        beats=tuple(beats),
        clock=clock,
    )


def beat_step(bar: Bar) -> Fraction:
    """How far apart clicks are, in beats: three in a compound metre (6/8, 9/8, 12/8), else one."""
    compound = bar.beat_type >= 8 and bar.beats in (6, 9, 12)
    return Fraction(3 if compound else 1)


def _bar_beats(bar: Bar, at: Callable[[Fraction], float]) -> list[TimedBeat]:
    unit = Fraction(4, bar.beat_type)
    step = beat_step(bar)
    beat = Fraction(0)
    found = []
    while (place := beat * unit - bar.beat_offset_quarters) < bar.length_quarters:
        if place >= 0:
            seconds = at(bar.start_quarters + place)
            found.append(TimedBeat(bar=bar.number, beat=beat + 1, seconds=seconds, strong=beat == 0))
        beat += step
    return found


def _count_in(bar: Bar, clock: Clock, bars: int) -> tuple[list[TimedBeat], float]:
    """The counted beats and their length: whole bars, then what the pick-up leaves out of its own."""
    if bars <= 0:
        return [], 0.0
    unit, step = Fraction(4, bar.beat_type), beat_step(bar)
    nominal = bar.nominal_quarters or bar.length_quarters
    length = bars * nominal + bar.beat_offset_quarters
    per_quarter = 60.0 / clock.pieces[0].tempo_qpm
    beats = []
    at = Fraction(0)
    while at < length:
        inside = at % nominal
        beats.append(
            TimedBeat(
                bar="", beat=inside / unit + 1, seconds=float(at) * per_quarter, strong=inside == 0, count_in=True
            )
        )
        at = at + step * unit
        if at // nominal != (at - step * unit) // nominal:
            at = at // nominal * nominal  # each bar begins afresh, whatever its metre
    return beats, float(length) * per_quarter


def _with_graces(part: Part, notes: list[TimedNote]) -> tuple[TimedNote, ...]:
    """Grace notes given time: before the beat, out of the note before; on the beat where nothing is before it."""
    index_of = {note.id: note for note in part.notes}
    timed = list(notes)
    position = 0
    while position < len(timed):
        if not index_of[timed[position].id].grace:
            position += 1
            continue
        end = position
        while (
            end < len(timed) and index_of[timed[end].id].grace and timed[end].played_bar == timed[position].played_bar
        ):
            end += 1
        group = range(position, end)
        columns: list[list[int]] = []
        for i in group:
            if index_of[timed[i].id].chord and columns:
                columns[-1].append(i)
            else:
                columns.append([i])
        beat = timed[position].start_seconds
        before = [
            i for i in range(max(0, position - 8), position)
            if abs(timed[i].end_seconds - beat) < 1e-6 and not index_of[timed[i].id].grace
        ]  # fmt: skip
        room = min((timed[i].end_seconds - timed[i].start_seconds for i in before), default=beat)
        each = min(_GRACE_SECONDS, room / 2 / len(columns)) if room > 0 else 0.0
        if each >= 0.02:
            for i in before:
                timed[i] = replace(timed[i], end_seconds=timed[i].end_seconds - each * len(columns))
            start = beat - each * len(columns)
        else:
            after = [
                i for i in range(end, min(len(timed), end + 8))
                if abs(timed[i].start_seconds - beat) < 1e-6 and not index_of[timed[i].id].grace
            ]  # fmt: skip
            room = min((timed[i].end_seconds - timed[i].start_seconds for i in after), default=_GRACE_SECONDS)
            each = min(_GRACE_SECONDS, room / 2 / len(columns))
            for i in after:
                timed[i] = replace(timed[i], start_seconds=beat + each * len(columns))
            start = beat
        for number, column in enumerate(columns):
            for i in column:
                timed[i] = replace(
                    timed[i], start_seconds=start + number * each, end_seconds=start + (number + 1) * each
                )
        position = end
    return tuple(timed)


def timing_document(timing: TimingMap) -> dict[str, object]:
    """The map as plain values for JSON; times in seconds to the microsecond."""
    return {
        "tempo_qpm": round(timing.tempo_qpm, 6),
        "speed": timing.speed,
        "count_in_seconds": round(timing.count_in_seconds, 6),
        "seconds": round(timing.seconds, 6),
        "length_quarters": str(timing.clock.length_quarters),
        "tempi": [
            {
                "start_s": round(timing.count_in_seconds + piece.start_seconds, 6),
                "quarters": str(piece.start_quarters),
                "tempo_qpm": piece.tempo_qpm,
            }
            for piece in timing.clock.pieces
        ],
        "bars": [
            {
                "bar": bar.bar,
                "index": bar.bar_index,
                "pass": bar.pass_number,
                "quarters": str(bar.quarters_from_start),
                "start_s": round(bar.start_seconds, 6),
                "end_s": round(bar.end_seconds, 6),
            }
            for bar in timing.bars
        ],
        "beats": [
            {
                "bar": beat.bar,
                "beat": beat_text(beat.beat),
                "at_s": round(beat.seconds, 6),
                "strong": beat.strong,
                "count_in": beat.count_in,
            }
            for beat in timing.beats
        ],
        "notes": [
            {
                "id": note.id,
                "bar": note.bar,
                "beat": beat_text(note.beat),
                "pass": note.pass_number,
                "played_bar": note.played_bar,
                "start_s": round(note.start_seconds, 6),
                "end_s": round(note.end_seconds, 6),
                "tied": note.tied,
            }
            for note in timing.notes
        ],
    }
