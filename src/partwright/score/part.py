"""What a tune is: notes in bars, and the order in which they sound.

Units: times in quarter notes as `Fraction` (an int where whole is fine); pitch in semitones as MIDI numbers
(60 = middle C = C4). Bars are numbered as printed (a string), beats from 1 in the metre's own beats.
A `Part` is read once and never changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = [
    "Bar",
    "ChordSymbol",
    "Credits",
    "Direction",
    "LooseEnd",
    "Note",
    "Part",
    "Pitch",
    "PlayedBar",
    "PlayedNote",
    "SourceFingering",
    "TempoMark",
    "beat_text",
]

_STEP_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch. `alter` is in semitones and may be fractional (quarter tones).

    >>> Pitch("F", 1, 3).name, Pitch("F", 1, 3).midi
    ('F#3', 54)
    """

    step: str
    alter: float
    octave: int

    @property
    def midi(self) -> int:
        """The nearest equal-tempered MIDI number."""
        return round(12 * (self.octave + 1) + _STEP_SEMITONES[self.step] + self.alter)

    @property
    def name(self) -> str:
        """Letter, accidental and octave, as in "F#3"; quarter tones are named by the nearest semitone."""
        return f"{self.step}{_ACCIDENTALS.get(round(self.alter), '')}{self.octave}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFingering:
    """One finger printed in the source: its text as found ("0".."5", "T", "+" …) and MusicXML's two attributes."""

    text: str
    substitution: bool = False
    alternate: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One written, pitched note. A rest is the absence of notes; a chord is several notes with one onset and voice.

    `onset_quarters` counts from the start of the written part; grace notes have duration 0 and stand in order
    before the note they decorate. `pitch` is what sounds; `written_pitch` what is printed (transposing parts,
    octave-shift lines, double bass).
    """

    id: str
    index: int
    onset_quarters: Fraction
    duration_quarters: Fraction
    pitch: Pitch
    written_pitch: Pitch
    bar_index: int
    bar: str
    beat: Fraction
    voice: str = "1"
    staff: int = 1
    chord: bool = False  # a further note of the chord begun by the note before it
    grace: Literal["", "slashed", "unslashed"] = ""
    tied_to: str | None = None  # id of the note this one is held over into
    tied_from: str | None = None  # id of the note this one continues
    slurred_to_next: bool = False  # a slur joins this note's event to the next event in its voice
    slur_starts: tuple[str, ...] = ()  # ids unique in the part, e.g. "slur3"
    slur_stops: tuple[str, ...] = ()
    articulations: frozenset[str] = frozenset()  # MusicXML element names: staccato, accent, tenuto …
    fingerings: tuple[SourceFingering, ...] = ()
    string_number: int | None = None  # MusicXML <string>: 1 = highest
    bow: Literal["", "down", "up"] = ""
    open_string: bool = False
    harmonic: bool = False
    thumb: bool = False
    pizzicato: bool = False
    tremolo: int = 0  # number of strokes on the stem; 0 = none
    ornaments: frozenset[str] = frozenset()  # MusicXML element names: trill-mark, mordent …
    arpeggiated: bool = False
    glissando_to_next: bool = False
    fermata: bool = False
    breath_after: bool = False
    dynamic: float = 0.55  # 0 = ppp … 1 = fff, carried from the last dynamic mark; mf when none is given
    lyric: str = ""
    written_type: str = ""  # quarter, eighth … as printed
    dots: int = 0
    tuplet: tuple[int, int] | None = None  # actual, normal
    clef: str = ""  # the clef the note is printed in: bass, tenor, treble …

    @property
    def midi(self) -> int:
        return self.pitch.midi

    @property
    def end_quarters(self) -> Fraction:
        return self.onset_quarters + self.duration_quarters


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One written bar. `length_quarters` is how long it lasts, `nominal_quarters` how long its metre says."""

    index: int
    number: str
    start_quarters: Fraction
    length_quarters: Fraction
    nominal_quarters: Fraction
    beats: int
    beat_type: int
    metre_given: bool = True  # False: no time signature, or senza misura
    metre_changes: bool = False
    fifths: int = 0  # key signature: sharps positive
    mode: str = ""  # major, minor … where the source says
    key_changes: bool = False
    clef: str = ""  # bass, tenor, treble, alto … at the bar's start
    pickup: bool = False
    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    endings: tuple[int, ...] = ()  # which passes this bar belongs to; empty = all
    ending_starts: bool = False
    ending_stops: bool = False
    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    fine: bool = False
    da_capo: bool = False
    dal_segno: bool = False
    double_bar: bool = False
    rehearsal: str = ""
    new_system: bool = False
    beat_offset_quarters: Fraction = Fraction(0)  # how much of the metre is already past where the bar begins (pick-up)
    repeat_after_jump: bool = False  # the repeat is taken again after D.C. or D.S.
    jump_until: Literal["", "fine", "coda"] = ""  # what the words of D.C. or D.S. name: al Fine, al Coda

    @property
    def end_quarters(self) -> Fraction:
        return self.start_quarters + self.length_quarters


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordSymbol:
    """A chord symbol as printed, with its parts in MusicXML's own terms."""

    onset_quarters: Fraction
    bar_index: int
    bar: str
    beat: Fraction
    text: str  # "Dm7", "G/B"
    root_step: str = ""
    root_alter: float = 0
    kind: str = ""  # MusicXML kind: major, minor-seventh …
    bass_step: str = ""
    bass_alter: float = 0
    degrees: tuple[tuple[int, float, str], ...] = ()  # value, alter, add|alter|subtract


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoMark:
    """A tempo: quarters per minute, where it was found ("metronome", "sound", "words"), and its words."""

    onset_quarters: Fraction
    tempo_qpm: float
    source: Literal["metronome", "sound", "words", "assumed"]
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """Words on the page that are not tempo, rehearsal or dynamics: "pizz.", "dolce", "sul D" …"""

    onset_quarters: Fraction
    bar_index: int
    bar: str
    beat: Fraction
    text: str
    kind: str = "words"  # words, dynamics, wedge-crescendo, wedge-diminuendo, wedge-stop, pedal …


@dataclass(frozen=True, slots=True, kw_only=True)
class Credits:
    """Who made what, as the source says."""

    title: str = ""
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    lyricist: str = ""
    rights: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedBar:
    """One bar as it is played: which written bar, on which pass, and when it starts counting from the first note."""

    bar_index: int
    pass_number: int  # 1 the first time this written bar is played
    start_quarters: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedNote:
    """One sounding of a written note. Its time in seconds follows the tempo marks as they are passed."""

    note_index: int
    pass_number: int
    onset_quarters: Fraction
    onset_seconds: float
    duration_seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LooseEnd:
    """A tie or slur with only one end, at the note that has it."""

    kind: Literal["tie", "slur"]
    note_id: str


@dataclass(frozen=True, kw_only=True)
class Part:
    """A tune for one player, read once from its source and frozen."""

    name: str
    part_id: str
    notes: tuple[Note, ...]
    bars: tuple[Bar, ...]
    tempo_marks: tuple[TempoMark, ...]  # never empty: an assumed one says so
    chord_symbols: tuple[ChordSymbol, ...] = ()
    directions: tuple[Direction, ...] = ()
    credits: Credits = field(default_factory=Credits)
    transpose_semitones: int = 0  # sounding minus written
    remarks: tuple[str, ...] = ()  # what was assumed or could not be read, each a sentence with its place
    loose_ends: tuple[LooseEnd, ...] = ()  # ties and slurs that lead nowhere

    @cached_property
    def by_id(self) -> Mapping[str, Note]:
        return {note.id: note for note in self.notes}

    @cached_property
    def played_bars(self) -> tuple[PlayedBar, ...]:
        """Bars in the order they are played, repeats, voltas and jumps unfolded."""
        from partwright.score.played_order import unfold_bars

        return unfold_bars(self.bars)

    @cached_property
    def played_notes(self) -> tuple[PlayedNote, ...]:
        """Notes in the order they sound. Tied continuations are included; their `tied_from` tells."""
        from partwright.score.played_order import unfold_notes

        return unfold_notes(self)

    def played_order(self) -> tuple[int, ...]:
        """Indices of the written notes in the order in which they sound."""
        return tuple(played.note_index for played in self.played_notes)

    @cached_property
    def table(self) -> npt.NDArray[np.void]:
        """One row per written note, columns with their unit in the name. Shape (notes,)."""
        from partwright.score.table import note_table

        return note_table(self)

    def bar_at(self, onset_quarters: Fraction) -> Bar:
        """The written bar that holds this onset; the last one for anything after it."""
        found = self.bars[0]
        for bar in self.bars:
            if bar.start_quarters > onset_quarters:
                break
            found = bar
        return found


def beat_text(beat: Fraction) -> str:
    """A beat as printed in reports.

    >>> beat_text(Fraction(2)), beat_text(Fraction(5, 2))
    ('2', '2+1/2')
    """
    whole, rest = divmod(beat, 1)
    return str(whole) if rest == 0 else f"{whole}+{rest}"
