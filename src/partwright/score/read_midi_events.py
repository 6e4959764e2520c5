"""A Standard MIDI File as tracks of notes in quarters, and what it says of tempo, metre, key and names.

Source for the format: Standard MIDI Files 1.0 (RP-001); the bytes are read by the library `mido`. Nothing is
quantised or decided here; what the file leaves open is a remark.
"""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from typing import Any

import mido

from partwright.errors import Place, ScoreError
from partwright.score.written import WrittenMetre

__all__ = ["MidiNote", "MidiSong", "MidiTrack", "read_song"]

_MOST_BYTES = 20_000_000
_MOST_EVENTS = 500_000
_MOST_QUARTERS = 40_000
_LOWEST = 13  # spelled pitches below octave 0 cannot be written in MusicXML
PERCUSSION_CHANNEL = 9  # General MIDI: channel 10
_TEMPO_SMPTE_QPM = 120  # RP-001: the default tempo, 500,000 microseconds a quarter
_MAJOR_KEYS = {
    name: fifths
    for fifths, name in enumerate(
        ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"], start=-7
    )
}
_MINOR_KEYS = {
    name: fifths
    for fifths, name in enumerate(
        ["Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#"], start=-7
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MidiNote:
    """One key press, in quarters from the start of the file."""

    onset: float
    end: float
    midi: int
    velocity: int
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MidiTrack:
    """One thing that could be a part: a track, or in a file of type 0 a channel. `number` as in the file, from 1."""

    number: int
    name: str
    notes: tuple[MidiNote, ...]  # by onset, then pitch
    program: int | None
    percussion: bool
    syllables: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MidiSong:
    """What the file holds. Times in quarters; `kind` says whether `tracks` are tracks or channels.

    `own` holds, for a file of type 2, tempi, metres and keys per track; for the others they hold for all.
    """

    kind: str
    ticks_per_quarter: float
    tracks: tuple[MidiTrack, ...]
    tempi: tuple[tuple[int, float, float], ...]  # (track, quarters, quarters a minute)
    metres: tuple[tuple[int, float, WrittenMetre], ...]
    keys: tuple[tuple[int, float, int, str], ...]  # (track, quarters, fifths, mode)
    markers: tuple[tuple[int, float, str], ...]
    title: str
    rights: tuple[str, ...]
    texts: tuple[str, ...]
    own_times: bool  # type 2: every track has its own time
    remarks: tuple[str, ...]


def read_song(data: bytes, *, file: str) -> MidiSong:
    """Reads a file of type 0, 1 or 2 (also inside a RIFF wrapper). Raises ScoreError, never anything of mido's."""
    place = Place(file=file)
    if len(data) > _MOST_BYTES:
        raise ScoreError("the MIDI file is larger than 20 MB", "Cut it down to the tune.", place=place)
    if data[:4] == b"RIFF" and data[8:12] == b"RMID":
        data = data[20:]
    if data[:4] != b"MThd":
        raise ScoreError("this is no MIDI file", "A Standard MIDI File begins with MThd.", place=place)
    try:
        midi = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except MemoryError:
        raise
    except Exception as error:  # the library raises whatever the bytes lead it into
        told = str(error) if isinstance(error, (OSError, ValueError)) else ""
        reason = " ".join(told.split())[:120] or "it ends in the middle of an event"
        raise ScoreError(
            f"the MIDI file is damaged ({reason.rstrip('.').lower()})", "Export it again.", place=place
        ) from error
    return _Reader(midi, place).song()


class _Reader:
    def __init__(self, midi: Any, place: Place) -> None:
        self.midi = midi
        self.place = place
        self.remarks: list[str] = []
        self.ticks = self._ticks_per_quarter(int(midi.ticks_per_beat))
        self.tempi: list[tuple[int, float, float]] = []
        self.metres: list[tuple[int, float, WrittenMetre]] = []
        self.keys: list[tuple[int, float, int, str]] = []
        self.markers: list[tuple[int, float, str]] = []
        self.rights: list[str] = []
        self.texts: list[str] = []
        self.unclosed = 0
        self.too_low = 0

    def _ticks_per_quarter(self, division: int) -> float:
        if division > 0:
            return float(division)
        frames, ticks = -(division >> 8), division & 0xFF
        if division == 0 or frames not in (24, 25, 29, 30) or ticks == 0:
            raise ScoreError("the MIDI file gives no usable time division", "Export it again.", place=self.place)
        rate = 30000 / 1001 if frames == 29 else float(frames)
        self.remarks.append(
            f"The file counts time in film frames ({frames} a second), not in notes; it was read at "
            f"{_TEMPO_SMPTE_QPM} quarters a minute."
        )
        return rate * ticks * 60 / _TEMPO_SMPTE_QPM

    def song(self) -> MidiSong:
        if self.midi.type not in (0, 1, 2):
            raise ScoreError(f"MIDI file type {self.midi.type} does not exist", "Export it again.", place=self.place)
        if sum(len(track) for track in self.midi.tracks) > _MOST_EVENTS:
            raise ScoreError("the MIDI file has over half a million events", "Cut it down.", place=self.place)
        names: list[str] = []
        by_track: list[list[MidiNote]] = []
        programs: list[dict[int, int]] = []
        syllables: list[list[tuple[float, str]]] = []
        for number, track in enumerate(self.midi.tracks):
            name, notes, program, sung = self._track(number, track)
            names.append(name)
            by_track.append(notes)
            programs.append(program)
            syllables.append(sung)
        if self.unclosed:
            self.remarks.append(f"{self.unclosed} notes are never released; they were ended with the track.")
        if self.too_low:
            self.remarks.append(f"{self.too_low} notes below C sharp 0, lower than any string, were left out.")
        smpte = self.midi.ticks_per_beat < 0
        title = next((name for name, notes in zip(names, by_track, strict=True) if name and not notes), "")
        if self.midi.type == 0 and names:
            title = names[0]
            tracks = self._channels(by_track[0], programs[0], syllables[0])
            kind = "channel"
        else:
            kind = "track"
            tracks = [
                MidiTrack(
                    number=number + 1,
                    name=names[number],
                    notes=tuple(note for note in notes if note.channel != PERCUSSION_CHANNEL) or tuple(notes),
                    program=next(iter(programs[number].values()), None),
                    percussion=all(note.channel == PERCUSSION_CHANNEL for note in notes),
                    syllables=tuple(syllables[number]),
                )
                for number, notes in enumerate(by_track)
                if notes
            ]
            sung_apart = [s for s, notes in zip(syllables, by_track, strict=True) if s and not notes]
            if sung_apart and len(tracks) == 1 and not tracks[0].syllables:
                only = tracks[0]
                tracks = [
                    MidiTrack(
                        number=only.number, name=only.name, notes=only.notes, program=only.program,
                        percussion=only.percussion, syllables=tuple(sung_apart[0]),
                    )
                ]  # fmt: skip
        return MidiSong(
            kind=kind,
            ticks_per_quarter=self.ticks,
            tracks=tuple(tracks),
            tempi=() if smpte else tuple(sorted(self.tempi, key=lambda item: item[1])),
            metres=tuple(sorted(self.metres, key=lambda item: item[1])),
            keys=tuple(sorted(self.keys, key=lambda item: item[1])),
            markers=tuple(sorted(self.markers, key=lambda item: item[1])),
            title=title,
            rights=tuple(dict.fromkeys(self.rights)),
            texts=tuple(dict.fromkeys(self.texts)),
            own_times=self.midi.type == 2,
            remarks=tuple(self.remarks),
        )

    def _channels(
        self, notes: list[MidiNote], programs: dict[int, int], syllables: list[tuple[float, str]]
    ) -> list[MidiTrack]:
        channels = sorted({note.channel for note in notes})
        return [
            MidiTrack(
                number=channel + 1,
                name="",
                notes=tuple(note for note in notes if note.channel == channel),
                program=programs.get(channel),
                percussion=channel == PERCUSSION_CHANNEL,
                syllables=tuple(syllables),
            )
            for channel in channels
        ]

    def _track(self, number: int, track: Any) -> tuple[str, list[MidiNote], dict[int, int], list[tuple[float, str]]]:
        name = ""
        notes: list[MidiNote] = []
        sounding: dict[tuple[int, int], list[tuple[int, int]]] = {}
        programs: dict[int, int] = {}
        syllables: list[tuple[float, str]] = []
        tick = 0
        for message in track:
            tick += int(message.time)
            at = tick / self.ticks
            if at > _MOST_QUARTERS:
                if message.type == "end_of_track":
                    break
                raise ScoreError(
                    f"the MIDI file lasts longer than {_MOST_QUARTERS} quarters", "Cut it down.", place=self.place
                )
            kind = message.type
            if kind == "note_on" and message.velocity > 0:
                sounding.setdefault((message.channel, message.note), []).append((tick, message.velocity))
            elif kind in ("note_on", "note_off"):
                begun = sounding.get((message.channel, message.note))
                if begun:
                    self._add_note(notes, begun.pop(0), tick, message.note, message.channel)
            elif kind == "program_change":
                programs.setdefault(message.channel, message.program)
            elif kind == "track_name":
                name = name or _text(message.name)
            elif kind == "lyrics":
                syllables.append((at, _text(message.text, strip=False)))
            else:
                self._meta(number, at, message)
        for (channel, midi), begun in sounding.items():
            for start in begun:
                self.unclosed += 1
                self._add_note(notes, start, tick, midi, channel)
        notes.sort(key=lambda note: (note.onset, note.midi))
        return name, notes, programs, syllables

    def _add_note(self, notes: list[MidiNote], start: tuple[int, int], tick: int, midi: int, channel: int) -> None:
        if midi < _LOWEST:
            self.too_low += 1
            return
        notes.append(
            MidiNote(
                onset=start[0] / self.ticks,
                end=max(tick, start[0] + 1) / self.ticks,
                midi=midi,
                velocity=start[1],
                channel=channel,
            )
        )

    def _meta(self, number: int, at: float, message: Any) -> None:
        match message.type:
            case "set_tempo":
                if message.tempo > 0:
                    self.tempi.append((number, at, 60_000_000 / message.tempo))
            case "time_signature":
                beats, beat_type = int(message.numerator), int(message.denominator)
                if 1 <= beats <= 64 and beat_type in (1, 2, 4, 8, 16, 32, 64):
                    self.metres.append((number, at, WrittenMetre(beats=(beats,), beat_type=beat_type)))
                else:
                    self.remarks.append(f"The metre {beats}/{beat_type} cannot be written and was left out.")
            case "key_signature":
                minor = message.key.endswith("m")
                fifths = (_MINOR_KEYS if minor else _MAJOR_KEYS).get(message.key.rstrip("m"))
                if fifths is not None:
                    self.keys.append((number, at, fifths, "minor" if minor else "major"))
            case "marker":
                self.markers.append((number, at, _text(message.text)))
            case "copyright":
                self.rights.append(_text(message.text))
            case "text":
                if len(self.texts) < 100:
                    self.texts.append(_text(message.text))
            case _:
                pass


def _text(text: str, *, strip: bool = True) -> str:
    """mido reads text as Latin-1; most files of today mean UTF-8."""
    with contextlib.suppress(UnicodeError):
        text = text.encode("latin-1").decode("utf-8")
    return text.strip("\0 \t\r\n") if strip else text.strip("\0")
