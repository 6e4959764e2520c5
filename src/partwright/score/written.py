"""Music to be written down, as plain values: what `compose_musicxml` turns into a MusicXML tree.

Units: durations in quarter notes as `Fraction`; pitches are what sounds, spelled. A bar is a tuple of voices, a
voice a tuple of events that fill the bar from its start. Anything that stands *before* a note (tempo, dynamics,
words, chord symbols, a clef) is a field of the event it stands before; bar lines and jumps belong to the bar.

>>> from fractions import Fraction
>>> from partwright.score.part import Pitch
>>> event = WrittenEvent(duration_quarters=Fraction(5, 2), pitches=(Pitch("D", 0, 3),))
>>> event.rest
False
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.score.part import Pitch

__all__ = [
    "Tuplet",
    "WrittenBar",
    "WrittenChord",
    "WrittenEvent",
    "WrittenKey",
    "WrittenLyric",
    "WrittenMetre",
    "WrittenPart",
    "WrittenScore",
    "WrittenTempo",
    "WrittenWords",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenMetre:
    """A time signature. `beats` holds one number, or several for an additive metre (3+2+2 over 8)."""

    beats: tuple[int, ...] = (4,)
    beat_type: int = 4
    symbol: Literal["", "common", "cut"] = ""

    @property
    def length_quarters(self) -> Fraction:
        return Fraction(4 * sum(self.beats), self.beat_type)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenKey:
    """A key signature: sharps positive, flats negative. `alters` replaces it where it is not a usual one.

    `alters` holds (step, semitones) pairs in the order printed.
    """

    fifths: int = 0
    mode: str = ""  # major, minor, dorian …
    alters: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenTempo:
    """A tempo: quarters per minute, the note value the metronome mark counts (in quarters), and words before it.

    `tempo_qpm` None: words only. `shown` False: it sounds so, but no metronome mark is printed.
    """

    tempo_qpm: Fraction | None = None
    beat_quarters: Fraction = Fraction(1)
    words: str = ""
    shown: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenWords:
    """Words at an event. `kind` rehearsal prints them in a frame."""

    text: str
    placement: Literal["above", "below"] = "above"
    kind: Literal["words", "rehearsal"] = "words"


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenLyric:
    """One syllable. `syllabic` as in MusicXML; `extends`: held on over the following notes."""

    text: str
    syllabic: Literal["single", "begin", "middle", "end"] = "single"
    extends: bool = False
    verse: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenChord:
    """A chord symbol in MusicXML's own terms: kind `minor-seventh`, degrees as (value, alter, add|alter|subtract)."""

    text: str
    root_step: str
    root_alter: int = 0
    kind: str = "major"
    kind_text: str = ""
    bass_step: str = ""
    bass_alter: int = 0
    degrees: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuplet:
    """`actual` notes in the time of `normal`. `start` and `stop` mark the ends of the group."""

    actual: int
    normal: int
    start: bool = False
    stop: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenEvent:
    """A note, chord or rest (no pitches) and everything that hangs on it.

    `duration_quarters` is what it lasts, tuplets applied; for a grace note what it is printed as (it takes no time).
    A duration that no single note value can print is written as tied notes. `ties`: one flag per pitch (or a single
    one for all), held over into the next event of the voice that has the same pitch.
    """

    duration_quarters: Fraction
    pitches: tuple[Pitch, ...] = ()
    ties: tuple[bool, ...] = ()
    id: str = ""
    grace: Literal["", "slashed", "unslashed"] = ""
    tuplet: Tuplet | None = None
    invisible: bool = False
    slur_starts: tuple[str, ...] = ()  # names of slurs, each used once as a start and once as a stop
    slur_stops: tuple[str, ...] = ()
    articulations: tuple[str, ...] = ()  # MusicXML element names
    ornaments: tuple[str, ...] = ()  # MusicXML element names; "tremolo-3" = three strokes on the stem
    technical: tuple[str, ...] = ()  # MusicXML element names: up-bow, down-bow, open-string, thumb-position …
    fingerings: tuple[str, ...] = ()  # as printed; one per pitch from the lowest, further ones on the last
    string_numbers: tuple[int, ...] = ()  # MusicXML <string>, 1 = highest; as fingerings
    fermata: bool = False
    arpeggiated: bool = False
    chord_symbols: tuple[WrittenChord, ...] = ()
    dynamic: str = ""  # MusicXML element name: p, mf, sfz …
    wedge: Literal["", "crescendo", "diminuendo"] = ""  # starts before this event
    wedge_stop: bool = False  # stops after this event
    tempo: WrittenTempo | None = None
    words: tuple[WrittenWords, ...] = ()
    lyrics: tuple[WrittenLyric, ...] = ()
    clef: str = ""  # a clef change before this event
    key: WrittenKey | None = None  # a key change before this event
    beam_break: bool = False  # no beam joins this event to the one before

    @property
    def rest(self) -> bool:
        return not self.pitches

    @property
    def lasts(self) -> Fraction:
        """Time it takes in quarters; nothing for a grace note."""
        return Fraction(0) if self.grace else self.duration_quarters

    def tied(self, index: int) -> bool:
        """Whether the pitch at `index` is held over into the next event."""
        if len(self.ties) == 1:
            return self.ties[0]
        return index < len(self.ties) and self.ties[index]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenBar:
    """One bar. Signatures stand here only where they change (always in the first bar)."""

    number: str
    voices: tuple[tuple[WrittenEvent, ...], ...]
    metre: WrittenMetre | None = None
    free_metre: bool = False  # from here on no metre is given
    key: WrittenKey | None = None
    clef: str = ""
    implicit: bool = False  # a pick-up, or the second half of a bar cut by a repeat sign: not counted
    aligned: Literal["start", "end"] = "start"  # where a short bar lies in its metre (for beams)
    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    ending_start: str = ""  # "1", "1, 2"
    ending_stop: str = ""
    ending_open: bool = False  # the bracket ends without a hook down
    right_line: Literal["", "light-light", "light-heavy", "heavy-light", "dashed", "dotted", "none"] = ""
    left_line: Literal["", "light-light", "heavy-light"] = ""
    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    fine: bool = False
    da_capo: str = ""  # the words printed: "D.C. al Fine"
    dal_segno: str = ""
    new_system: bool = False

    @property
    def length_quarters(self) -> Fraction:
        """Length of the longest voice."""
        return max((sum((e.lasts for e in voice), Fraction(0)) for voice in self.voices), default=Fraction(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenPart:
    """One player's bars. `transpose_semitones`: sounding minus written, for parts not written at pitch."""

    name: str
    bars: tuple[WrittenBar, ...]
    abbreviation: str = ""
    midi_program: int | None = None  # 0..127
    percussion: bool = False  # pitches are General MIDI percussion keys, drawn where the pitch lies
    transpose_semitones: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenScore:
    """A whole score. `creators`: (role, name); `other`: (name, text) pairs kept as miscellaneous fields."""

    parts: tuple[WrittenPart, ...]
    title: str = ""
    subtitle: str = ""
    creators: tuple[tuple[str, str], ...] = ()
    rights: tuple[str, ...] = ()
    source: str = ""
    other: tuple[tuple[str, str], ...] = ()
