"""What is put on the recorded lesson: corrections, captions, and finger and string of the notes that are spoken of.

All times are those of the recording, as the transcript gives them. Where it is played, what is played goes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from partwright.video.captions import Caption, Chapter, consistent_words, shape_captions
from partwright.video.overlays import Piece, stop_words
from partwright.video.played import PlayedPieces
from partwright.video.timeline import spelled

if TYPE_CHECKING:
    from partwright.checking.narration import CorrectionCard, NarrationCheck
    from partwright.fingering import FingeringPlan
    from partwright.instrument import Instrument
    from partwright.lesson import TaughtSection

__all__ = ["NarratedPieces", "narrated_pieces", "spoken_captions"]

_LINE_SECONDS = 3.0  # how long finger and string stay after a note was named
_TITLE_SECONDS = 5.0
_SURE = 0.6
_CARD_AFTER_SECONDS = 0.4  # a correction comes after the slip, not before it is heard


@dataclass(frozen=True, kw_only=True)
class NarratedPieces:
    """Pieces for the footage, and its chapters: a section begins where it is first spoken of, else first played."""

    pieces: tuple[Piece, ...]
    chapters: tuple[Chapter, ...]


def spoken_captions(vtt: bytes, *, seconds: float | None = None) -> tuple[Caption, ...]:
    """Captions of a corrected transcript (WebVTT), spelled one way and shaped for reading."""
    from partwright.checking.narration import parse_transcript

    cues = parse_transcript(vtt, file="captions.vtt").cues
    found = [
        Caption(
            start_seconds=cue.start_s,
            end_seconds=cue.end_s if cue.end_s is not None else cue.start_s + 2.0,
            text=consistent_words(" ".join(cue.text.split())),
        )
        for cue in cues
        if cue.start_s is not None and (seconds is None or cue.start_s < seconds)
    ]
    return shape_captions(found, seconds=seconds)


def narrated_pieces(
    check: NarrationCheck | None,
    cards: Sequence[CorrectionCard],
    captions: Sequence[Caption],
    *,
    plan: FingeringPlan,
    instrument: Instrument,
    sections: Sequence[TaughtSection],
    seconds: float,
    played: PlayedPieces | None = None,
) -> NarratedPieces:
    """Everything that is put on the footage, and its chapters. What lies beyond the footage's end is left out.

    `check`: None where nothing is said. `played`: what is played on the footage, where it was followed.
    """
    heard = played or PlayedPieces()
    pieces = [
        Piece(start_seconds=c.start_seconds, end_seconds=c.end_seconds, kind="caption", words=c.text)
        for c in captions
        if c.start_seconds < seconds
    ]
    pieces += card_pieces(cards)
    named = _named_notes(check) if check is not None else []
    lines = _spoken_lines(check, named, plan, instrument, seconds) if check is not None else ()
    bars = [(at, check.places[place].note.bar_index) for at, place in named] if check is not None else []
    chapters = _chapters(bars, heard.bars, sections, seconds)
    titles = [
        Piece(
            start_seconds=c.start_seconds,
            end_seconds=min(c.start_seconds + _TITLE_SECONDS, c.end_seconds),
            kind="title",
            words=c.title,
        )
        for c in chapters[1:]
    ]
    spoken = _outside(lines, heard.spans)
    kept = [p for p in (*pieces, *spoken, *heard.pieces, *titles) if p.start_seconds < seconds]
    return NarratedPieces(pieces=tuple(sorted(kept, key=lambda p: p.start_seconds)), chapters=chapters)


def _spoken_lines(
    check: NarrationCheck,
    named: Sequence[tuple[float, int]],
    plan: FingeringPlan,
    instrument: Instrument,
    seconds: float,
) -> tuple[Piece, ...]:
    """Bar, finger and string of each note that is spoken of."""
    lines: list[Piece] = []
    for index, (at, place) in enumerate(named):
        note = check.places[place].note
        fingered = plan.by_id.get(note.id)
        if fingered is None:
            continue
        stop = fingered.placement
        words = f"Bar {note.bar}  " + stop_words(instrument, stop.string, stop.finger, spelled(note), stop.harmonic)
        end = min(at + _LINE_SECONDS, named[index + 1][0] if index + 1 < len(named) else seconds, seconds)
        if lines and lines[-1].words == words and at - lines[-1].end_seconds < _LINE_SECONDS:
            lines[-1] = replace(lines[-1], end_seconds=end)
        elif end > at:
            lines.append(Piece(start_seconds=at, end_seconds=end, kind="line", words=words))
    return tuple(lines)


def _outside(pieces: Sequence[Piece], spans: Sequence[tuple[float, float]]) -> tuple[Piece, ...]:
    """Pieces without what of them lies in the spans, the part before it alone where a span cuts into one."""
    found: list[Piece] = []
    for piece in pieces:
        start, end = piece.start_seconds, piece.end_seconds
        for first, last in spans:
            if first <= start < last:
                start = last
            elif start < first < end:
                end = first
        if end - start > 0.2:
            found.append(replace(piece, start_seconds=start, end_seconds=end))
    return tuple(found)


def card_pieces(cards: Sequence[CorrectionCard]) -> tuple[Piece, ...]:
    """Corrections as pieces, a moment after the slip, none over another."""
    found: list[Piece] = []
    for card in cards:
        start = card.start_s + _CARD_AFTER_SECONDS
        if found:
            start = max(start, found[-1].end_seconds + 0.2)
        found.append(
            Piece(
                start_seconds=round(start, 3),
                end_seconds=round(start + card.end_s - card.start_s, 3),
                kind="card",
                words=f"Correction\n{card.text}",
            )
        )
    return tuple(found)


def _named_notes(check: NarrationCheck) -> list[tuple[float, int]]:
    """(when, place) of every claim that is surely about a place, in time."""
    found: list[tuple[float, int]] = []
    for judged in check.judged:
        at = check.words[judged.first_word].start_s if judged.first_word >= 0 else None
        if judged.place >= 0 and at is not None and judged.confidence >= _SURE:
            found.append((at, judged.place))
    return sorted(found)


def _chapters(
    spoken: Sequence[tuple[float, int]],
    played: Sequence[tuple[float, int]],
    sections: Sequence[TaughtSection],
    seconds: float,
) -> tuple[Chapter, ...]:
    """A chapter a section, from (seconds, index of the bar): where it is first spoken of, else where first played."""
    starts: list[tuple[float, str]] = []
    seen: set[str] = set()
    for at, bar in (*spoken, *played):
        section = next((s for s in sections if s.first <= bar <= s.last), None)
        if section is None and sections and bar < sections[0].first:
            section = sections[0]  # a pick-up belongs to what it leads into
        if section is not None and section.name not in seen and at < seconds:
            seen.add(section.name)
            name = f"Section {section.name}" if len(section.name) <= 2 else section.name
            starts.append((at, f"{name}, bars {section.first_bar}–{section.last_bar}"))
    starts = [(0.0, "Welcome"), *sorted(starts)]
    ends = [start for start, _ in starts[1:]] + [seconds]
    return tuple(
        Chapter(start_seconds=round(start, 3), end_seconds=round(end, 3), title=title)
        for (start, title), end in zip(starts, ends, strict=True)
        if end > start
    )
