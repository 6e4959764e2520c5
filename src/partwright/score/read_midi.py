"""Reads a Standard MIDI File and makes MusicXML of one melody in it, once.

A MIDI file holds key presses in time; note values, spelling, key and pick-up have to be found. What was found, and
how, is said in remarks, so that nothing is guessed silently (docs/reading_abc_midi.md tells the methods).

>>> import inspect
>>> list(inspect.signature(midi_to_musicxml).parameters)
['data', 'file', 'track', 'grid']
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from partwright.errors import InputError, Place, ScoreError
from partwright.score.composing import clef_for_range, compose_musicxml
from partwright.score.converted import Converted
from partwright.score.melody_bars import LineEvent, Placed, bar_frames, beat_of, lay_out
from partwright.score.part import Pitch
from partwright.score.pickup import find_pickup
from partwright.score.quantise import GRIDS, BeatGrid, quantise
from partwright.score.read_midi_events import MidiSong, MidiTrack, read_song
from partwright.score.spelling import estimate_key, key_name, spelled
from partwright.score.written import (
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
    WrittenWords,
)

__all__ = ["midi_to_musicxml"]

_MOST_NOTES = 50_000
_MOST_LISTED = 12
_MOST_TEMPI = 60  # more changes than this are a performance, not tempo marks
_COMMON = WrittenMetre(beats=(4,), beat_type=4)
_NOTE_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def midi_to_musicxml(data: bytes, *, file: str, track: str | None = None, grid: str = "auto") -> Converted:
    """One melody of a MIDI file as MusicXML 4.0, with a remark for everything that was assumed.

    `track`: name of a track, or its number from 1 among those that carry pitched notes (channels, in a file of type
    0). `grid`: one of quantise.GRIDS. Raises InputError when a choice is needed (it lists the tracks), ScoreError for
    a file that cannot be read or holds no melody.
    """
    if grid not in GRIDS:
        raise InputError(f'there is no grid "{grid}"', f"Choose one of {', '.join(GRIDS)}.", place=Place(file=file))
    song = read_song(data, file=file)
    chosen = _chosen(song, track, file)
    if len(chosen.notes) > _MOST_NOTES:
        raise ScoreError(f"the track has more than {_MOST_NOTES} notes", "Cut it down.", place=Place(file=file))
    return _Melody(song, chosen, grid, file).converted()


def _describe(song: MidiSong, position: int, track: MidiTrack) -> str:
    low = min(note.midi for note in track.notes)
    high = max(note.midi for note in track.notes)
    name = f" {track.name[:40]}" if track.name else f" channel {track.number}" if song.kind == "channel" else ""
    return f"{position}{name} ({len(track.notes)} notes, {_plain_name(low)} to {_plain_name(high)})"


def _plain_name(midi: int) -> str:
    return f"{_NOTE_NAMES[midi % 12]}{midi // 12 - 1}"


def _chosen(song: MidiSong, wanted: str | None, file: str) -> MidiTrack:
    place = Place(file=file)
    pitched = [track for track in song.tracks if not track.percussion]
    if not song.tracks:
        raise ScoreError("the MIDI file holds no notes", "Export it again with the melody.", place=place)
    if not pitched:
        raise ScoreError("the MIDI file holds only percussion (channel 10)", "Give a file with a melody.", place=place)
    listed = ", ".join(_describe(song, k, track) for k, track in enumerate(pitched[:_MOST_LISTED], start=1))
    if len(pitched) > _MOST_LISTED:
        listed += f" … and {len(pitched) - _MOST_LISTED} more"
    if wanted is None:
        if len(pitched) == 1:
            return pitched[0]
        raise InputError(
            f"{len(pitched)} {song.kind}s carry notes: {listed}",
            "Choose the melody by number or name with --part.",
            place=place,
        )
    asked = wanted.strip().casefold()
    named = [track for track in pitched if track.name and track.name.casefold() == asked]
    if len(named) == 1:
        return named[0]
    if asked.isascii() and asked.isdigit() and len(asked) < 4 and 1 <= int(asked) <= len(pitched):
        return pitched[int(asked) - 1]
    raise InputError(
        f"no {song.kind} with notes is called {wanted[:60]!r}; it holds {listed}",
        "Choose one by number or name with --part.",
        place=place,
    )


@dataclass(slots=True)
class _Group:
    """Notes that begin together."""

    onset: Fraction
    played: float
    end: float
    midi: list[int]
    index: int


class _Melody:
    """The steps from key presses to bars, each leaving its remark."""

    def __init__(self, song: MidiSong, track: MidiTrack, grid: str, file: str) -> None:
        self.song = song
        self.track = track
        self.grid = grid
        self.file = file
        self.remarks = list(song.remarks)

    def _ours(self, number: int) -> bool:
        """Whether what stands in track `number` (from 0) holds for the chosen one."""
        return not self.song.own_times or number + 1 == self.track.number

    def converted(self) -> Converted:
        metres = self._metres()
        groups, beat_places = self._grouped(metres)
        ends = self._ends(groups, metres, beat_places)
        metres, start, pickup = self._start(groups, metres, ends)
        frames = bar_frames(metres, start=start, end=max(ends), pickup=pickup)
        keys = self._keys(groups, ends)
        events = self._spelled(groups, ends, keys)
        placed = self._placed(start, keys)
        clef = clef_for_range([midi for group in groups for midi in group.midi])
        bars = lay_out(events, frames, key=keys[0][1], clef=clef, placed=placed)
        name = self.track.name or self.song.title or "Melody"
        part = WrittenPart(name=name, bars=bars, midi_program=self.track.program)
        score = WrittenScore(
            title=self.song.title,
            rights=self.song.rights,
            other=tuple(("midi-text", text) for text in self.song.texts if text),
            parts=(part,),
        )
        try:
            tree = compose_musicxml(score)
        except ScoreError as error:
            raise error.at(Place(file=self.file)) from error
        return Converted(tree, tuple(f"{self.file}: {remark}" for remark in self.remarks))

    # Metre and grid

    def _metres(self) -> list[tuple[Fraction, WrittenMetre]]:
        metres: list[tuple[Fraction, WrittenMetre]] = []
        for number, at, metre in self.song.metres:
            if self._ours(number):
                time = Fraction(round(at * 96), 96)
                if metres and metres[-1][0] == time:
                    metres.pop()
                if not metres or metres[-1][1] != metre:
                    metres.append((time, metre))
        if not metres or metres[0][0] > 0:
            if not metres:
                self.remarks.append("The file gives no metre; 4/4 was assumed.")
            metres.insert(0, (Fraction(0), _COMMON))
        return metres

    def _grouped(
        self, metres: Sequence[tuple[Fraction, WrittenMetre]]
    ) -> tuple[list[_Group], dict[Fraction, tuple[Fraction, BeatGrid]]]:
        """Notes on the grid, those on one place together; and by beat start its length and places."""
        notes = self.track.notes
        printed: list[Fraction] = []
        places: dict[Fraction, tuple[Fraction, BeatGrid]] = {}
        squares, collided = 0.0, 0
        first = 0
        for k, (start, metre) in enumerate(metres):
            stop = metres[k + 1][0] if k + 1 < len(metres) else None
            last = first
            while last < len(notes) and (stop is None or notes[last].onset < stop - Fraction(1, 16)):
                last += 1
            beat = beat_of(metre)
            part = quantise(
                [note.onset - float(start) for note in notes[first:last]], beat_quarters=beat, grid=self.grid
            )
            printed += [max(start + onset, Fraction(0)) for onset in part.onsets]
            places |= {start + index * beat: (beat, chosen) for index, chosen in part.beat_grids.items()}
            squares += part.deviation_quarters**2 * (last - first)
            collided += part.collided
            first = last
        deviation = (squares / len(notes)) ** 0.5
        self._say_grid(places, deviation, collided)
        groups: list[_Group] = []
        for index, (note, onset) in enumerate(zip(notes, printed, strict=True)):
            if groups and onset <= groups[-1].onset:
                group = groups[-1]
                if note.midi not in group.midi:
                    group.midi.append(note.midi)
                group.end = max(group.end, note.end)
            else:
                groups.append(_Group(onset, note.onset, note.end, [note.midi], index))
        chords = sum(len(group.midi) > 1 for group in groups)
        if chords:
            were = "chord was" if chords == 1 else "chords were"
            self.remarks.append(f"{chords} {were} read from notes that begin together.")
        return groups, places

    def _say_grid(self, places: dict[Fraction, tuple[Fraction, BeatGrid]], deviation: float, collided: int) -> None:
        triplets = sum(chosen.triplets for _, chosen in places.values())
        plain = [(len(chosen.places), beat) for beat, chosen in places.values() if not chosen.triplets]
        finest = max((count / beat for count, beat in plain), default=Fraction(1))
        value = "quarters" if finest <= 1 else "eighths" if finest <= 2 else "16ths" if finest <= 4 else "32nds"
        with_triplets = f", with triplets in {triplets} {'beat' if triplets == 1 else 'beats'}" if triplets else ""
        chosen = "chosen by fit" if self.grid == "auto" else "as asked"
        self.remarks.append(
            f"Note beginnings were put on a grid of {value}{with_triplets} ({chosen}); "
            f"they lay {deviation:.3f} of a quarter from it on average."
        )
        if deviation > 0.06:
            self.remarks.append(
                "The notes lie far from any grid: the file was perhaps not played to its own beat, so check the rhythm."
            )
        if collided:
            self.remarks.append(
                f"{collided} notes were too close to the one before for the grid and fell on its place."
            )

    # Note ends

    def _exact(self) -> bool:
        """Whether the file was written from a score: nearly all beginnings and ends on simple fractions of a beat."""
        tolerance = max(0.004, 1.01 / self.song.ticks_per_quarter)
        if tolerance > 0.02:
            return True
        near = sum(
            abs(time * 24 - round(time * 24)) <= tolerance * 24
            for note in self.track.notes
            for time in (note.onset, note.end)
        )
        return near >= 0.9 * 2 * len(self.track.notes)

    def _ends(
        self,
        groups: Sequence[_Group],
        metres: Sequence[tuple[Fraction, WrittenMetre]],
        places: dict[Fraction, tuple[Fraction, BeatGrid]],
    ) -> list[Fraction]:
        """Printed ends: as written where the file is exact, stretched to the next note where it was played."""
        exact = self._exact()
        ends: list[Fraction] = []
        shortened = stretched = 0
        for k, group in enumerate(groups):
            following = groups[k + 1].onset if k + 1 < len(groups) else None
            end = _grid_end(group.end, metres, places)
            if following is None:
                ends.append(end if end > group.onset else group.onset + Fraction(1, 2))
                continue
            gap = float(following) - group.end
            span = float(following - group.onset)
            if gap < -0.13:
                shortened += 1
            if gap <= 0.02 or (not exact and gap < 0.9 and gap < max(0.45 * span, 0.15)):
                stretched += gap > 0.02
                ends.append(following)
                continue
            ends.append(min(end, following) if end > group.onset else following)
        if shortened:
            self.remarks.append(
                f"{shortened} notes sounded into the next one and were ended there: a part is one line."
            )
        if stretched:
            self.remarks.append(f"{stretched} notes were held to the next one; gaps that are rests were kept.")
        return ends

    # Where the bars begin

    def _start(
        self, groups: Sequence[_Group], metres: list[tuple[Fraction, WrittenMetre]], ends: Sequence[Fraction]
    ) -> tuple[list[tuple[Fraction, WrittenMetre]], Fraction, Fraction]:
        """Metres, the time of the first bar line or pick-up note, and the pick-up's length."""
        zero = Fraction(0)
        length = metres[0][1].length_quarters
        if len(metres) > 1 and metres[1][0] == length and length < metres[1][1].length_quarters:
            self.remarks.append(f"The first bar of {_metre_name(metres[0][1])} was read as a pick-up.")
            return [(zero, metres[1][1]), *metres[2:]], zero, length
        first = groups[0].onset
        others = [t for t in self.song.tracks if t is not self.track] if not self.song.own_times else []
        earliest = min((t.notes[0].onset for t in others), default=float(first))
        if first > 0 and earliest >= float(first) - 0.05:
            k = max(index for index, (at, _) in enumerate(metres) if at <= first)
            at, metre = metres[k]
            bars = (first - at) // metre.length_quarters
            inside = first - at - bars * metre.length_quarters
            kept = [(first, metre), *metres[k + 1 :]]
            if inside:
                pickup = metre.length_quarters - inside
                self.remarks.append(
                    f"The silence before the first note was left out; it begins with a pick-up of {_quarters(pickup)}."
                )
                return kept, first, pickup
            self.remarks.append("The silence before the first note was left out.")
            return kept, first, zero
        if first == 0 and len(metres) == 1:
            line = [(group.onset, end, max(group.midi)) for group, end in zip(groups, ends, strict=True)]
            pickup = find_pickup(line, metres[0][1])
            if pickup:
                self.remarks.append(
                    f"Long notes and the end of the tune ask for a pick-up of {_quarters(pickup)}, "
                    "and the bar lines were put so; the file does not say."
                )
            return metres, zero, pickup
        return metres, zero, zero

    # Key and spelling

    def _keys(self, groups: Sequence[_Group], ends: Sequence[Fraction]) -> list[tuple[Fraction, WrittenKey]]:
        midi = [number for group in groups for number in group.midi]
        lengths = [float(end - group.onset) for group, end in zip(groups, ends, strict=True) for _ in group.midi]
        keys: list[tuple[Fraction, WrittenKey]] = []
        for number, at, fifths, mode in self.song.keys:
            if self._ours(number):
                time = Fraction(round(at * 96), 96)
                key = WrittenKey(fifths=fifths, mode=mode)
                if keys and keys[-1][0] == time:
                    keys.pop()
                if not keys or keys[-1][1] != key:
                    keys.append((time, key))
        found = estimate_key(midi, lengths)
        if not keys or keys[0][0] > groups[0].onset:
            self.remarks.append(
                f"The file gives no key at its start; by its notes it is in {key_name(found.fifths, found.mode)} "
                f"(agreement {found.correlation:.2f}, next best {found.next_correlation:.2f})."
            )
            keys.insert(0, (Fraction(0), WrittenKey(fifths=found.fifths, mode=found.mode)))
        elif len(keys) == 1 and keys[0][1].fifths == 0 and found.fifths != 0 and found.correlation > 0.8:
            self.remarks.append(
                "The file says C major or A minor, as many programs do by default; by its notes it is in "
                f"{key_name(found.fifths, found.mode)}. The file's key was kept."
            )
        return keys

    def _spelled(
        self, groups: Sequence[_Group], ends: Sequence[Fraction], keys: Sequence[tuple[Fraction, WrittenKey]]
    ) -> list[LineEvent]:
        pitches: dict[tuple[int, int], Pitch] = {}
        for k, (start, key) in enumerate(keys):
            stop = keys[k + 1][0] if k + 1 < len(keys) else None
            places = [
                (g, number)
                for g, group in enumerate(groups)
                if (k == 0 or group.onset >= start) and (stop is None or group.onset < stop)
                for number in sorted(group.midi)
            ]
            names = spelled([number for _, number in places], fifths=key.fifths)
            pitches |= dict(zip(places, names, strict=True))
        sung = self._lyrics(groups)
        return [
            LineEvent(
                onset=group.onset,
                end=end,
                pitches=tuple(pitches[g, number] for number in sorted(group.midi)),
                lyrics=sung.get(g, ()),
            )
            for g, (group, end) in enumerate(zip(groups, ends, strict=True))
        ]

    def _lyrics(self, groups: Sequence[_Group]) -> dict[int, tuple[WrittenLyric, ...]]:
        """Syllables under the notes they were played with (within an eighth)."""
        sung: dict[int, tuple[WrittenLyric, ...]] = {}
        position = 0
        for at, text in self.track.syllables:
            clean = text.strip().strip("/\\")
            if not clean:
                continue
            while position + 1 < len(groups) and abs(groups[position + 1].played - at) <= abs(
                groups[position].played - at
            ):
                position += 1
            if abs(groups[position].played - at) <= 0.5:
                goes_on = clean.endswith("-")
                sung[position] = (
                    WrittenLyric(text=clean.rstrip("-") or "-", syllabic="begin" if goes_on else "single"),
                )
        return sung

    # Tempo, markers, key changes

    def _placed(self, start: Fraction, keys: Sequence[tuple[Fraction, WrittenKey]]) -> list[Placed]:
        placed = [Placed(at=at, key=key) for at, key in keys[1:]]
        tempi = [(at, qpm) for number, at, qpm in self.song.tempi if self._ours(number)]
        kept: list[tuple[float, float]] = []
        for at, qpm in tempi:
            if kept and at == kept[-1][0]:
                kept.pop()
            if not kept or abs(qpm / kept[-1][1] - 1) > 0.01:
                kept.append((at, qpm))
        if not kept:
            self.remarks.append("The file gives no tempo; 120 quarters a minute was assumed, as its standard says.")
            kept = [(0.0, 120.0)]
        if len(kept) > _MOST_TEMPI:
            self.remarks.append(
                f"The tempo changes {len(kept)} times, as in a performance; only the first one was written."
            )
            kept = kept[:1]
        metre = beat_of(self._metres_quiet())
        for at, qpm in kept:
            exact = Fraction(round(qpm * 100), 100)
            if not 1 <= exact <= 2000:
                self.remarks.append(f"A tempo of {float(exact):g} quarters a minute was left out as impossible.")
                continue
            placed.append(
                Placed(
                    at=max(Fraction(round(at * 96), 96), start),
                    tempo=WrittenTempo(tempo_qpm=exact, beat_quarters=max(metre, Fraction(1))),
                )
            )
        placed += [
            Placed(at=Fraction(round(at * 96), 96), words=WrittenWords(text=text, kind="rehearsal"))
            for number, at, text in self.song.markers
            if text and self._ours(number)
        ]
        return placed

    def _metres_quiet(self) -> WrittenMetre:
        return next((metre for number, _, metre in self.song.metres if self._ours(number)), _COMMON)


def _grid_end(
    end: float, metres: Sequence[tuple[Fraction, WrittenMetre]], places: dict[Fraction, tuple[Fraction, BeatGrid]]
) -> Fraction:
    """A note's end on the grid of the beat it lies in; in a beat without notes, on the coarsest that is near."""
    start, metre = next(((at, m) for at, m in reversed(metres) if at <= end + 0.01), metres[0])
    beat = beat_of(metre)
    index = int((end - float(start)) / float(beat) + 1e-6)
    low = start + index * beat
    known = places.get(low)
    within = (end - float(low)) / float(beat)
    if known is not None and len(known[1].places) > 1:
        return low + known[1].nearest(within) * beat
    choices = (1, 3, 6, 12) if beat.numerator % 3 == 0 else (1, 2, 4, 3, 8, 6)
    best = next((n for n in choices if abs(within * n - round(within * n)) / n * float(beat) < 0.02), choices[2])
    return low + Fraction(round(within * best), best) * beat


def _metre_name(metre: WrittenMetre) -> str:
    return f"{'+'.join(str(beats) for beats in metre.beats)}/{metre.beat_type}"


def _quarters(length: Fraction) -> str:
    return "one quarter" if length == 1 else f"{float(length):g} quarters"
