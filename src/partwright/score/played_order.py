"""The order in which written bars and notes are played: repeats, endings, D.C., D.S., coda and Fine unfolded.

Rules (common practice; MusicXML 4.0 gives the same for its `sound` attributes):
- a backward repeat goes to the last forward repeat, else behind the last finished repeat, else to the beginning;
- endings are taken on the passes they name;
- after D.C. or D.S. repeats are not taken again (unless the repeat says after-jump) and the last ending is played;
- the jump to the coda and the stop at Fine count only after D.C. or D.S.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from partwright.errors import Place, ScoreError
from partwright.score.part import Bar, PlayedBar, PlayedNote

if TYPE_CHECKING:
    from partwright.score.part import Note, Part

__all__ = ["MAX_PLAYED_BARS", "MAX_PLAYED_NOTES", "unfold_bars", "unfold_notes"]

MAX_PLAYED_BARS = 20_000
MAX_PLAYED_NOTES = 500_000
_MAX_STEPS = 1_000_000


@dataclass(slots=True)
class _Section:
    """A repeated section being played: where it starts and which time through this is."""

    start: int
    playing: int = 1


def unfold_bars(bars: Sequence[Bar]) -> tuple[PlayedBar, ...]:
    """Bars in the order they are played. Raises ScoreError beyond MAX_PLAYED_BARS."""
    played: list[PlayedBar] = []
    times_played = [0] * len(bars)
    now = Fraction(0)
    for index in _Order(bars).walk():
        if len(played) >= MAX_PLAYED_BARS:
            raise ScoreError(
                f"with its repeats the piece would be more than {MAX_PLAYED_BARS:,} bars long",
                "Correct the repeats in the source.",
                place=Place(bar=bars[index].number),
            )
        times_played[index] += 1
        played.append(PlayedBar(bar_index=index, pass_number=times_played[index], start_quarters=now))
        now += bars[index].length_quarters
    return tuple(played)


class _Order:
    """The walk over bar indices as played. Absurd repeat counts make it very long, so the caller counts."""

    def __init__(self, bars: Sequence[Bar]) -> None:
        self.bars = bars
        self.group_of, self.groups = ending_groups(bars)
        self.last_of_group = {group: index for index, group in enumerate(self.group_of)}
        self.retaking = {
            group for bar, group in zip(bars, self.group_of, strict=True) if bar.repeat_end and bar.repeat_after_jump
        }
        self.steps = 0

    def walk(self) -> Iterator[int]:
        bars = self.bars
        index = 0
        open_sections: list[_Section] = []
        fresh_start = 0  # where an unmatched backward repeat goes
        fresh_pass = 1
        came_back = False  # arrived here by a repeat, so a forward repeat here is no new section
        jumped = False  # past D.C. or D.S.: Fine and coda count from now on
        straight = False  # past it and not yet in the coda: repeats are not taken
        until = ""
        while 0 <= index < len(bars):
            self.count_step(bars[index])
            bar = bars[index]
            section = open_sections[-1] if open_sections else _Section(fresh_start, fresh_pass)
            if bar.endings and bar.ending_starts:
                group = self.group_of[index]
                playing = self.last_ending(group) if straight and group not in self.retaking else section.playing
                if playing not in bar.endings:
                    index = self.after_ending(index)
                    came_back = False
                    if index >= len(bars) or self.group_of[index] != group:
                        if open_sections:
                            open_sections.pop()
                        fresh_start, fresh_pass = index, 1
                    continue
            if bar.repeat_start and not came_back:
                if bar.endings and open_sections and section.playing >= self.last_ending(self.group_of[index]):
                    open_sections.pop()  # the last ending opens a new section
                open_sections.append(_Section(index))
                section = open_sections[-1]
            came_back = False
            yield index
            if bar.repeat_end and (not straight or bar.repeat_after_jump) and section.playing < self.times(index):
                if open_sections:
                    open_sections[-1].playing += 1
                else:
                    fresh_pass += 1
                index = section.start
                came_back = True
                continue
            if bar.fine and jumped and until != "coda":
                return
            if bar.to_coda and jumped and until != "fine":
                landing = next((i for i in range(len(bars)) if bars[i].coda and i != index), None)
                if landing is not None:
                    index = landing
                    open_sections.clear()
                    fresh_start, fresh_pass = index, 1
                    straight, until = False, "fine"  # the coda is new music, and it is not left again
                    continue
            if (bar.da_capo or bar.dal_segno) and not jumped:
                target = 0
                if bar.dal_segno:
                    target = next((i for i in range(index, -1, -1) if bars[i].segno), -1)
                    if target < 0:
                        target = next((i for i in range(len(bars)) if bars[i].segno), -1)
                if target >= 0:
                    jumped, straight, until = True, True, bar.jump_until
                    index = target
                    open_sections.clear()
                    fresh_start, fresh_pass = target, 1
                    continue
            group = self.group_of[index]
            leaves_group = group >= 0 and (index + 1 >= len(bars) or self.group_of[index + 1] != group)
            if bar.repeat_end or leaves_group:
                begun_here = bool(open_sections) and group >= 0 and self.group_of[open_sections[-1].start] == group
                if open_sections and (bar.repeat_end or not begun_here):
                    open_sections.pop()
                fresh_start, fresh_pass = index + 1, 1
            index += 1

    def times(self, index: int) -> int:
        """How often the section ending at this bar is played."""
        bar = self.bars[index]
        group = self.group_of[index]
        if group < 0:
            return bar.repeat_times
        numbers = self.groups[group]
        if index == self.last_of_group[group] and bar.endings == tuple(sorted(numbers)):
            return max(numbers) + 1  # the only ending of its group: what follows is played the last time
        return max(max(numbers), 2)

    def last_ending(self, group: int) -> int:
        return max(self.groups[group]) if group >= 0 else 1

    def count_step(self, bar: Bar) -> None:
        """Passing over endings plays nothing, so it is counted apart from the bars played."""
        self.steps += 1
        if self.steps > _MAX_STEPS:
            raise ScoreError(
                "the repeats and endings lead nowhere", "Correct them in the source.", place=Place(bar=bar.number)
            )

    def after_ending(self, index: int) -> int:
        """The bar behind the ending that starts at `index`."""
        index += 1
        while index < len(self.bars) and self.bars[index].endings and not self.bars[index].ending_starts:
            self.count_step(self.bars[index])
            index += 1
        return index


def ending_groups(bars: Sequence[Bar]) -> tuple[list[int], list[set[int]]]:
    """Which group of neighbouring endings each bar belongs to (-1: none), and the passes each group names."""
    group_of = [-1] * len(bars)
    groups: list[set[int]] = []
    current = -1
    for index, bar in enumerate(bars):
        if not bar.endings:
            current = -1
            continue
        if current >= 0 and bar.ending_starts and min(bar.endings) <= min(groups[current]):
            current = -1  # a first ending again: a new group
        if current < 0:
            groups.append(set())
            current = len(groups) - 1
        groups[current].update(bar.endings)
        group_of[index] = current
    return group_of, groups


def unfold_notes(part: Part) -> tuple[PlayedNote, ...]:
    """Notes in the order they sound. A tempo mark holds from where it is passed until the next one passed; going back
    (a repeat, D.C., D.S.) also goes back to the tempo in force there, as players do after a ritardando.

    Times in seconds from the first bar's start; grace notes last 0 s. Raises ScoreError beyond MAX_PLAYED_NOTES.
    """
    by_bar: list[list[Note]] = [[] for _ in part.bars]
    for note in part.notes:
        by_bar[note.bar_index].append(note)
    tempi = _tempi_by_bar(part)
    tempo_qpm = first_qpm = part.tempo_marks[0].tempo_qpm
    last_index = -1
    seconds = 0.0
    played: list[PlayedNote] = []
    offsets: dict[int, tuple[float, float]] = {}
    for played_bar in part.played_bars:
        bar = part.bars[played_bar.bar_index]
        if bar.index <= last_index:
            tempo_qpm = next((tempi[i][-1][1] for i in range(bar.index - 1, -1, -1) if tempi[i]), first_qpm)
        last_index = bar.index
        clock = _BarClock(tempo_qpm, tempi[bar.index])
        notes = by_bar[bar.index]
        if len(played) + len(notes) > MAX_PLAYED_NOTES:
            raise ScoreError(
                f"with its repeats the piece would have more than {MAX_PLAYED_NOTES:,} notes",
                "Correct the repeats in the source.",
                place=Place(bar=bar.number),
            )
        for note in notes:
            span = offsets.get(note.index)
            if span is None:
                start = float(note.onset_quarters - bar.start_quarters)
                span = offsets[note.index] = (start, start + float(note.duration_quarters))
            onset = clock.seconds(span[0])
            played.append(
                PlayedNote(
                    note_index=note.index,
                    pass_number=played_bar.pass_number,
                    onset_quarters=played_bar.start_quarters + (note.onset_quarters - bar.start_quarters),
                    onset_seconds=seconds + onset,
                    duration_seconds=clock.seconds(span[1]) - onset,
                )
            )
        seconds += clock.seconds(float(bar.length_quarters))
        tempo_qpm = clock.last_qpm
    return tuple(played)


def _tempi_by_bar(part: Part) -> list[list[tuple[float, float]]]:
    """For each bar the tempo changes in it: (quarters from its start, quarters a minute)."""
    tempi: list[list[tuple[float, float]]] = [[] for _ in part.bars]
    at = 0
    for mark in part.tempo_marks:
        while at + 1 < len(part.bars) and part.bars[at + 1].start_quarters <= mark.onset_quarters:
            at += 1
        tempi[at].append((float(mark.onset_quarters - part.bars[at].start_quarters), mark.tempo_qpm))
    return tempi


class _BarClock:
    """Quarters from the start of a bar to seconds from its start, through the tempo changes in it."""

    __slots__ = ("_pieces", "last_qpm")

    def __init__(self, tempo_qpm: float, changes: Sequence[tuple[float, float]]) -> None:
        pieces = [(0.0, 0.0, 60.0 / tempo_qpm)]  # from quarters, from seconds, seconds per quarter
        for quarters, qpm in changes:
            start, seconds, pace = pieces[-1]
            pieces.append((quarters, seconds + (quarters - start) * pace, 60.0 / qpm))
        self._pieces = pieces
        self.last_qpm = changes[-1][1] if changes else tempo_qpm

    def seconds(self, quarters: float) -> float:
        for start, seconds, pace in reversed(self._pieces):
            if quarters >= start:
                return seconds + (quarters - start) * pace
        return 0.0
