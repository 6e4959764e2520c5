"""What is put on the recorded lesson where it is played: finger, string, position and bow of the notes heard.

The take check follows the recording through the score; its onsets take the place of the timing map's, and the pieces
are those of the demonstration. Times in seconds of the recording.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from partwright.video.overlays import Piece, timeline_pieces
from partwright.video.timeline import make_timeline

if TYPE_CHECKING:
    from partwright.bowing import BowingPlan
    from partwright.checking.take import ScoreEvent, TakeCheck, TakeNote
    from partwright.fingering import FingeringPlan
    from partwright.instrument import Instrument
    from partwright.lesson import TaughtSection
    from partwright.sound import TimedBar, TimedNote, TimingMap

__all__ = ["PlayedPieces", "played_pieces"]

_LEAST_NOTES = 4  # fewer in a row may be speech that happens to lie at their pitches
_LEAST_RIGHT = 0.5  # of the notes whose pitch was judged
_BRIDGED_SECONDS = 0.4  # a shorter silence between two notes does not blank the line


@dataclass(frozen=True, kw_only=True)
class PlayedPieces:
    """Pieces in order of time; where it is played, as (start, end); and (seconds, index) of each bar as it begins."""

    pieces: tuple[Piece, ...] = ()
    spans: tuple[tuple[float, float], ...] = ()
    bars: tuple[tuple[float, int], ...] = ()


def played_pieces(
    check: TakeCheck,
    *,
    plan: FingeringPlan,
    bowing: BowingPlan,
    instrument: Instrument,
    sections: Sequence[TaughtSection],
    sound_begins_seconds: float = 0.0,
) -> PlayedPieces:
    """Pieces for every passage that is played, those played again too. `sound_begins_seconds`: in the film's time."""
    from partwright.sound import make_timing

    base = make_timing(check.part)
    pieces: list[Piece] = []
    spans: list[tuple[float, float]] = []
    bars: list[tuple[float, int]] = []
    ordered = sorted(check.notes, key=lambda note: (note.attempt, note.time_s))
    for _, attempt in groupby(ordered, key=lambda note: note.attempt):
        notes = [note for note in attempt if note.kind != "missed"]
        if not _surely_played(notes):
            continue
        timing = _heard_timing(base, notes, check.events, sound_begins_seconds)
        timeline = make_timeline(
            check.part,
            plan,
            bowing,
            timing,
            instrument=instrument,
            sections=sections,
            title="",
            seconds=timing.seconds,
        )
        begins = timing.notes[0].start_seconds
        pieces += [
            replace(piece, start_seconds=max(begins, piece.start_seconds))
            for piece in timeline_pieces(timeline, instrument, kinds=("line", "hand", "bow"))
            if piece.end_seconds > begins
        ]
        spans.append((begins, timing.seconds))
        bars += [(bar.start_seconds, bar.bar_index) for bar in timing.bars]
    return PlayedPieces(
        pieces=tuple(sorted(pieces, key=lambda piece: piece.start_seconds)),
        spans=tuple(sorted(spans)),
        bars=tuple(sorted(bars)),
    )


def _surely_played(notes: Sequence[TakeNote]) -> bool:
    judged = [note for note in notes if note.pitch != "not judged"]
    right = sum(note.kind != "wrong note" for note in judged)
    return len({note.event for note in notes}) >= _LEAST_NOTES and right >= _LEAST_RIGHT * len(judged)


def _heard_timing(base: TimingMap, notes: Sequence[TakeNote], events: Sequence[ScoreEvent], begins: float) -> TimingMap:
    """The timing map of one passage as it was heard, in the film's own time."""
    from partwright.sound import TimedNote

    starts = sorted({note.time_s for note in notes})
    following = dict(pairwise(starts))
    timed: list[TimedNote] = []
    bars: list[TimedBar] = []
    played = -1
    for note in notes:
        event = events[note.event]
        if event.played_bar != played:
            played = event.played_bar
            bars.append(replace(base.bars[played], start_seconds=begins + note.time_s))
        after = following.get(note.time_s)
        end = max(note.end_s, note.time_s + 0.02)
        if after is not None and (after < end or after - end < _BRIDGED_SECONDS):
            end = after
        timed.append(
            TimedNote(
                id=note.note_id,
                bar=note.bar,
                beat=note.beat,
                pass_number=event.pass_number,
                played_bar=len(bars) - 1,
                start_seconds=begins + note.time_s,
                end_seconds=begins + end,
            )
        )
    ends = max(note.end_seconds for note in timed)
    closed = [
        replace(bar, end_seconds=after)
        for bar, after in zip(bars, [*(bar.start_seconds for bar in bars[1:]), ends], strict=True)
    ]
    return replace(base, count_in_seconds=0.0, seconds=ends, bars=tuple(closed), notes=tuple(timed), beats=())
