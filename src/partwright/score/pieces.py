"""A voice cut into printed note values: ties, dots, beams; and the divisions that all of them need.

Units: durations in quarter notes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

from partwright.errors import Place, ScoreError
from partwright.score.beams import BeamedNote, beam_groups, beam_lines, strong_points
from partwright.score.note_values import BASE_VALUES, note_value, split_duration
from partwright.score.part import Pitch
from partwright.score.written import WrittenBar, WrittenEvent, WrittenMetre, WrittenPart

__all__ = ["MOST_DIVISIONS", "Piece", "common_divisions", "pieces_of", "whole_slurs"]

MOST_DIVISIONS = 16383
"""Most divisions of a quarter note. Source: MusicXML 4.0, divisions: "maximum values is 16383" for MIDI exchange."""


@dataclass(slots=True)
class Piece:
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


def common_divisions(part: WrittenPart) -> int:
    """Divisions of a quarter in which every duration is whole. Raises ScoreError where they are too many."""
    divisions = 1
    for bar in part.bars:
        for voice in bar.voices:
            for event in voice:
                if event.duration_quarters <= 0:
                    raise ScoreError(
                        "a note has no duration", "Give it a length above zero.", place=Place(bar=bar.number)
                    )
                divisions = lcm(divisions, *_needed_divisions(event))
                if divisions > MOST_DIVISIONS:
                    raise ScoreError(
                        f"the note lengths have no common division of the quarter below {MOST_DIVISIONS}",
                        "Use simpler lengths or tuplets here.",
                        place=Place(bar=bar.number),
                    )
    return divisions


def whole_slurs(part: WrittenPart) -> set[str]:
    """Names of the slurs that both begin and end."""
    starts: set[str] = set()
    whole: set[str] = set()
    for bar in part.bars:
        for voice in bar.voices:
            for event in voice:
                whole.update(name for name in event.slur_stops if name in starts)
                starts.update(event.slur_starts)
    return whole


def pieces_of(
    part: WrittenPart, bar: WrittenBar, bar_index: int, voice_index: int, metre: WrittenMetre | None
) -> list[Piece]:
    """The printed notes of one voice of a bar. Raises ScoreError for a duration that no note values print."""
    longest = bar.length_quarters
    pieces: list[Piece] = []
    start = Fraction(0)
    if metre is not None and bar.aligned == "end" and longest < metre.length_quarters:
        start = metre.length_quarters - longest
    points = strong_points(metre)
    offset = Fraction(0)
    carried: dict[Pitch, bool] = _carried_ties(part, bar_index, voice_index)
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
                place=Place(bar=bar.number),
            )
        out = _tie_flags(part, bar_index, voice_index, event_index)
        came = tuple(carried.get(pitch, False) for pitch in event.pitches)
        for k, value in enumerate(values):
            last = k == len(values) - 1
            lasts = Fraction(0) if event.grace else value / ratio
            note_type, dots = note_value(value) or ("whole", 0)
            pieces.append(
                Piece(
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
    _beam(pieces, metre)
    return pieces


def _tie_flags(part: WrittenPart, bar_index: int, voice_index: int, event_index: int) -> tuple[bool, ...]:
    """Per pitch of the event: whether it is held over, which needs the same pitch in the voice's next event."""
    voice = part.bars[bar_index].voices[voice_index]
    event = voice[event_index]
    if event.grace or not any(event.tied(k) for k in range(len(event.pitches))):
        return (False,) * len(event.pitches)
    following = next((other for other in voice[event_index + 1 :] if not other.grace), None)
    if following is None and bar_index + 1 < len(part.bars):
        after = part.bars[bar_index + 1].voices
        if voice_index < len(after):
            following = next((other for other in after[voice_index] if not other.grace), None)
    pitches = following.pitches if following is not None else ()
    return tuple(event.tied(k) and pitch in pitches for k, pitch in enumerate(event.pitches))


def _carried_ties(part: WrittenPart, bar_index: int, voice_index: int) -> dict[Pitch, bool]:
    if bar_index == 0 or voice_index >= len(part.bars[bar_index - 1].voices):
        return {}
    voice = part.bars[bar_index - 1].voices[voice_index]
    for event_index in range(len(voice) - 1, -1, -1):
        if not voice[event_index].grace:
            flags = _tie_flags(part, bar_index - 1, voice_index, event_index)
            return {pitch: flag for pitch, flag in zip(voice[event_index].pitches, flags, strict=True) if flag}
    return {}


def _beam(pieces: list[Piece], metre: WrittenMetre | None) -> None:
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
        for group in _runs_of_graces(chosen) if graces else beam_groups(notes, metre):
            for index, lines in zip(group, beam_lines([notes[k].beams for k in group]), strict=True):
                chosen[index].beams = lines


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


def _runs_of_graces(graces: list[Piece]) -> list[list[int]]:
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
