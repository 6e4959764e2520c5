"""Standard MIDI Files: the guide, chords and drums with tempo map, metres and names; repeats unfolded or as written.

Source of the format: Standard MIDI Files 1.0 (MIDI Association), written with the `mido` library. Ticks: 960 a quarter.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from fractions import Fraction

import mido

from partwright.score import Part
from partwright.sound.chords import plain_chords
from partwright.sound.clock import Clock, make_clock, whole_passage

__all__ = ["midi_bytes"]

TICKS = 960
_PROGRAMS = {"violin": 40, "viola": 41, "cello": 42, "double_bass": 43}
_CHORD_PROGRAM, _BASS_PROGRAM = 24, 32


def midi_bytes(
    part: Part,
    *,
    unfolded: bool = True,
    speed: float = 1.0,
    tempo_qpm: float | None = None,
    instrument: str = "cello",
    title: str = "",
    others: Sequence[tuple[Part, int | None]] = (),
) -> bytes:
    """The tune as a type 1 file. `unfolded`: bars as they are played; else as they stand on the page, each once.

    `others` are arranged parts with their General MIDI program (None: percussion); without them chord symbols are
    written as plain chords. Raises InputError for a tempo that cannot be played to.
    """
    if not unfolded:
        part, others = _as_written(part), [(_as_written(other), program) for other, program in others]
    clock = make_clock(part, speed=speed, tempo_qpm=tempo_qpm)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks.append(_conductor(part, clock, title or part.credits.title))
    file.tracks.append(_melody(part, part.name or instrument, 0, _PROGRAMS.get(instrument, 42)))
    channels = iter([1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15] * 8)
    for other, program in others:
        channel = 9 if program is None else next(channels)
        file.tracks.append(_melody(other, other.name, channel, program))
    if not others and part.chord_symbols:
        file.tracks += _chords(part)
    target = io.BytesIO()
    file.save(file=target)
    return target.getvalue()


def _as_written(part: Part) -> Part:
    """The same part without repeats and jumps."""
    from dataclasses import replace

    bars = tuple(
        replace(
            bar, repeat_start=False, repeat_end=False, endings=(), ending_starts=False, ending_stops=False,
            da_capo=False, dal_segno=False, fine=False, to_coda=False, segno=False, coda=False,
        )
        for bar in part.bars
    )  # fmt: skip
    return replace(part, bars=bars)


Timed = tuple[int, int, mido.Message | mido.MetaMessage]
"""Tick, rank among events of one tick (offs first), message."""


def _conductor(part: Part, clock: Clock, title: str) -> mido.MidiTrack:
    events: list[Timed] = [(0, 0, mido.MetaMessage("track_name", name=title or "tune"))]
    for piece in clock.pieces:
        tempo = round(60_000_000 / piece.tempo_qpm)
        events.append((_tick(piece.start_quarters), 1, mido.MetaMessage("set_tempo", tempo=tempo)))
    metre: tuple[int, int] | None = None
    key: tuple[int, str] | None = None
    for played in part.played_bars:
        bar = part.bars[played.bar_index]
        tick = _tick(played.start_quarters)
        if (bar.beats, bar.beat_type) != metre and bar.beat_type & (bar.beat_type - 1) == 0 and 0 < bar.beats < 256:
            metre = (bar.beats, bar.beat_type)
            message = mido.MetaMessage("time_signature", numerator=bar.beats, denominator=bar.beat_type)
            events.append((tick, 1, message))
        if (bar.fifths, bar.mode) != key and -7 <= bar.fifths <= 7:
            key = (bar.fifths, bar.mode)
            events.append((tick, 1, mido.MetaMessage("key_signature", key=_key_name(bar.fifths, bar.mode == "minor"))))
        if bar.rehearsal:
            events.append((tick, 1, mido.MetaMessage("marker", text=bar.rehearsal)))
    return _track(events, _tick(clock.length_quarters))


def _key_name(fifths: int, minor: bool) -> str:
    order = ["Fb", "Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#"]
    return f"{order[fifths + 11]}m" if minor else order[fifths + 8]


def _melody(part: Part, name: str, channel: int, program: int | None) -> mido.MidiTrack:
    events: list[Timed] = [(0, 0, mido.MetaMessage("track_name", name=name or "part"))]
    if program is not None:
        events.append((0, 1, mido.Message("program_change", channel=channel, program=program)))
    sounding: dict[str, list[int]] = {}
    notes: list[list[int]] = []  # start tick, end tick, key, velocity
    played_before = -1
    for played in part.played_notes:
        note = part.notes[played.note_index]
        if not 0 <= note.midi <= 127:
            continue
        start = _tick(played.onset_quarters)
        if note.tied_from in sounding and played_before >= 0:
            row = sounding.pop(note.tied_from or "")
            if row[1] == start:  # a tie into a bar that is not reached from its own is struck again
                row[1] = _tick(played.onset_quarters + note.duration_quarters)
                sounding[note.id] = row
                continue
        end = _tick(played.onset_quarters + note.duration_quarters)
        if note.grace:
            start, end = max(0, start - TICKS // 8), max(start, TICKS // 8)
        velocity = max(1, min(127, round(20 + 100 * note.dynamic + (12 if "accent" in note.articulations else 0))))
        row = [start, end, note.midi, velocity]
        notes.append(row)
        sounding[note.id] = row
        played_before = start
    for start, end, key, velocity in notes:
        events.append((start, 3, mido.Message("note_on", channel=channel, note=key, velocity=velocity)))
        events.append((end, 2, mido.Message("note_off", channel=channel, note=key, velocity=64)))
    return _track(events, 0)


def _chords(part: Part) -> list[mido.MidiTrack]:
    chords = plain_chords(part, whole_passage(part))
    tracks = []
    for name, channel, program in (("Chords", 1, _CHORD_PROGRAM), ("Bass", 2, _BASS_PROGRAM)):
        events: list[Timed] = [
            (0, 0, mido.MetaMessage("track_name", name=name)),
            (0, 1, mido.Message("program_change", channel=channel, program=program)),
        ]
        for chord in chords:
            start, end = _tick(chord.start_quarters), _tick(chord.start_quarters + chord.length_quarters)
            for key in chord.chord_midi if channel == 1 else (chord.bass_midi,):
                events.append((start, 3, mido.Message("note_on", channel=channel, note=key, velocity=64)))
                events.append((end, 2, mido.Message("note_off", channel=channel, note=key, velocity=64)))
        tracks.append(_track(events, 0))
    return tracks


def _track(events: list[Timed], end_tick: int) -> mido.MidiTrack:
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: (event[0], event[1])):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end_tick - now)))
    return track


def _tick(quarters: Fraction) -> int:
    return round(quarters * TICKS)
