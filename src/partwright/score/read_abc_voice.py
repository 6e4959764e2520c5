"""One voice of an ABC tune: tokens in, bars of written events out.

Holds what ABC carries from note to note: key and accidentals of the bar, unit note length, broken rhythm, tuplets,
ties, slurs, and the signs that wait for the next note.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

from partwright.score.chord_text import chord_from_text
from partwright.score.part import Pitch
from partwright.score.read_abc_fields import ReadKey, default_length, read_text
from partwright.score.read_abc_signs import DEFAULT_LETTERS, SIGNS
from partwright.score.read_abc_tokens import BadMusic, Token
from partwright.score.written import (
    Tuplet,
    WrittenBar,
    WrittenChord,
    WrittenEvent,
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenTempo,
    WrittenWords,
)

__all__ = ["MOST_BARS", "MOST_NOTES", "AbcEvent", "AbcVoice"]

MOST_NOTES = 50_000
MOST_BARS = 10_000
_LONGEST_QUARTERS = 256
_ANNOTATION_PLACES = {"^": "above", "_": "below", "<": "above", ">": "above", "@": "above"}
_FINGERS = frozenset("012345")


@dataclass(slots=True)
class AbcEvent:
    """A note, chord or rest while it is being put together."""

    line: int
    column: int
    duration: Fraction
    pitches: list[Pitch] = field(default_factory=list)
    marked: list[bool] = field(default_factory=list)  # an accidental is written on this pitch
    ties: list[bool] = field(default_factory=list)
    tuplet: Tuplet | None = None
    grace: str = ""
    invisible: bool = False
    slur_starts: list[str] = field(default_factory=list)
    slur_stops: list[str] = field(default_factory=list)
    articulations: list[str] = field(default_factory=list)
    ornaments: list[str] = field(default_factory=list)
    technical: list[str] = field(default_factory=list)
    fingerings: list[str] = field(default_factory=list)
    fermata: bool = False
    arpeggiated: bool = False
    chord_symbols: list[WrittenChord] = field(default_factory=list)
    dynamic: str = ""
    wedge: str = ""
    wedge_stop: bool = False
    tempo: WrittenTempo | None = None
    words: list[WrittenWords] = field(default_factory=list)
    lyrics: list[WrittenLyric] = field(default_factory=list)
    clef: str = ""
    key: WrittenKey | None = None
    bar_index: int = 0

    @property
    def sings(self) -> bool:
        """Whether a syllable can stand under it."""
        return bool(self.pitches) and not self.grace

    def freeze(self) -> WrittenEvent:
        values = {f.name: getattr(self, f.name) for f in dataclasses.fields(WrittenEvent) if hasattr(self, f.name)}
        values = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
        return WrittenEvent(duration_quarters=self.duration, **values)


@dataclass(slots=True)
class _Bar:
    layers: list[list[AbcEvent]] = field(default_factory=lambda: [[]])
    metre: WrittenMetre | None = None
    free_metre: bool = False
    key: WrittenKey | None = None
    clef: str = ""
    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    ending: str = ""
    ending_stop: str = ""
    ending_open: bool = False
    right_line: str = ""
    left_line: str = ""
    jumps: dict[str, str] = field(default_factory=dict)
    section_before: bool = False  # a double bar, a repeat or the start stands before it
    metre_valid: WrittenMetre | None = None
    line: int = 0

    @property
    def empty(self) -> bool:
        return not any(self.layers)

    @property
    def length(self) -> Fraction:
        return max(
            (sum((e.duration for e in layer if not e.grace), Fraction(0)) for layer in self.layers),
            default=Fraction(0),
        )


class AbcVoice:
    """Builds one voice. `remark(key, sentence, line, column)` gathers what was assumed or left out."""

    def __init__(
        self,
        *,
        key: ReadKey,
        metre: WrittenMetre | None,
        unit: Fraction | None,
        remark: Callable[[str, str, int, int], None],
        letters: dict[str, str],
        propagate: str = "pitch",
    ) -> None:
        self.remark = remark
        self.letters = letters
        self.propagate = propagate
        self.name = ""
        self.abbreviation = ""
        self.metre = metre
        self.unit_given = unit is not None
        self.unit = unit if unit is not None else default_length(metre)
        self.alters = dict(key.alters)
        self.clef = key.clef or "treble"
        self.clef_octaves = key.octaves
        self.bars: list[_Bar] = []
        self.bar = _Bar(
            metre=metre, free_metre=metre is None, key=key.key or WrittenKey(), clef=self.clef, section_before=True
        )
        self.bar.metre_valid = metre
        self.layer = 0
        self.accidentals: dict[tuple[str, int], Fraction] = {}
        self.accidental_octave: dict[str, int] = {}
        self.waiting = AbcEvent(line=0, column=0, duration=Fraction(1))  # signs for the next event
        self.waiting_slurs: list[tuple[str, int, int]] = []
        self.open_slurs: list[tuple[str, AbcEvent]] = []
        self.graces: list[AbcEvent] | None = None
        self.grace_slash = False
        self.main_signs = self.waiting
        self.ready_graces: list[AbcEvent] = []
        self.chord: AbcEvent | None = None
        self.chord_first: Fraction | None = None
        self.tuplet: tuple[int, int, int, bool] | None = None  # p, q, how many are left, first
        self.broken = Fraction(1)
        self.last: AbcEvent | None = None
        self.tied: AbcEvent | None = None
        self.line_events: list[AbcEvent] = []
        self.slur_count = 0
        self.note_count = 0
        self.ending_runs = ""
        self.jumps_waiting: dict[str, str] = {}

    # Fields

    def set_key(self, read: ReadKey) -> None:
        if read.key is not None:
            self.alters = dict(read.alters)
            self.accidentals.clear()
        if read.clef:
            self.clef = read.clef
        if read.clef or read.octaves:
            self.clef_octaves = read.octaves
        if self.bar.empty:
            self.bar.key = read.key or self.bar.key
            self.bar.clef = read.clef or self.bar.clef
        else:
            self.waiting.key = read.key or self.waiting.key
            self.waiting.clef = read.clef or self.waiting.clef

    def set_metre(self, metre: WrittenMetre | None, *, line: int) -> None:
        if not self.bar.empty:
            if self.layer == 0 and self.bar.length and metre != self.metre:
                self.remark("metre", "the metre changes inside a bar; a bar line was put there", line, 1)
            self._close_bar()
        self.metre = metre
        if not self.unit_given:
            self.unit = default_length(metre)
        self.bar.metre, self.bar.free_metre, self.bar.metre_valid = metre, metre is None, metre

    def set_unit(self, unit: Fraction) -> None:
        self.unit, self.unit_given = unit, True

    def set_clef(self, clef: str, octaves: int) -> None:
        self.set_key(ReadKey(key=None, clef=clef, octaves=octaves))

    def set_tempo(self, tempo: WrittenTempo) -> None:
        self.waiting.tempo = tempo

    def add_words(self, words: WrittenWords) -> None:
        self.waiting.words.append(words)

    # Tokens

    def begin_line(self) -> None:
        """A line of music begins: syllables that follow belong to it."""
        self.line_events = []

    def take(self, token: Token, line: int) -> None:
        """One token. Raises BadMusic."""
        match token.kind:
            case "note":
                self._note(token, line)
            case "rest" if self.chord is not None:
                self.remark("rest in chord", "a rest inside a chord was left out", line, token.column)
            case "rest":
                self._event(self._new_event(token, line))
            case "bars_rest":
                self._rest_bars(token, line)
            case "chord_open":
                self.chord = self._new_event(token, line)
                self.chord_first = None
            case "chord_close":
                self._close_chord(token, line)
            case "grace_open":
                self._open_graces(token)
            case "grace_close":
                self._close_graces()
            case "tuplet":
                self._open_tuplet(token, line)
            case "slur_open":
                self.slur_count += 1
                self.waiting_slurs.append((f"slur{self.slur_count}", line, token.column))
            case "slur_close":
                self._close_slur(token, line)
            case "tie":
                self._tie(token, line)
            case "broken":
                self._broken(token, line)
            case "bar":
                self._bar_line(token, line)
            case "ending":
                self._ending(token)
            case "decoration":
                self._sign(token.text, line, token.column)
            case "letter":
                self._letter(token, line)
            case "quoted":
                self._quoted(token, line)
            case "overlay":
                self._overlay(token, line)
            case _:
                self.remark(
                    f"unknown {token.text}", f'the sign "{token.text}" means nothing here and was left out',
                    line, token.column,
                )  # fmt: skip

    def _note(self, token: Token, line: int) -> None:
        self.note_count += 1
        if self.note_count > MOST_NOTES:
            raise BadMusic(token.column, f"the tune has more than {MOST_NOTES} notes", "Split it into several.")
        pitch = self._pitch(token, line)
        if self.chord is not None:
            if self.chord_first is None:
                self.chord_first = token.length
            elif token.length != self.chord_first:
                self.remark(
                    "chord lengths",
                    "the notes of a chord have different lengths; all were given the first one's",
                    line,
                    token.column,
                )
            if self.waiting.fingerings:
                self.chord.fingerings += self.waiting.fingerings
                self.waiting.fingerings = []
            if pitch not in self.chord.pitches:
                self.chord.pitches.append(pitch)
                self.chord.marked.append(token.alter is not None)
                self.chord.ties.append(False)
            return
        event = self._new_event(token, line)
        event.pitches, event.marked, event.ties = [pitch], [token.alter is not None], [False]
        self._event(event)

    def _pitch(self, token: Token, line: int) -> Pitch:
        octave = token.octave + self.clef_octaves
        place = (token.step, octave)
        if token.alter is not None:
            alter = token.alter
            self.accidental_octave[token.step] = octave
            if self.propagate == "pitch" and self.graces is None:
                for other in range(-2, 14):
                    self.accidentals[(token.step, other)] = alter
            elif self.propagate != "not":  # of a grace note: its own octave only
                self.accidentals[place] = alter
        else:
            held = self._held_alter(token.step, octave)
            default = self.accidentals.get(place, Fraction(self.alters.get(token.step, 0)))
            alter = held if held is not None else default
            of_key = Fraction(self.alters.get(token.step, 0))
            if held is None and default != of_key and self.accidental_octave.get(token.step) != octave:
                self.remark(
                    "octaves",
                    "an accidental was carried to the same note in another octave, as the standard has it "
                    "(older books may mean its own octave only)",
                    line,
                    token.column,
                )
        shift = -1 if self.clef.endswith("-8") else 1 if self.clef.endswith("+8") else 0
        sounding = octave + shift
        number = int(alter) if alter.denominator == 1 else float(alter)
        return Pitch(token.step, number, min(max(sounding, 0), 9))

    def _held_alter(self, step: str, octave: int) -> Fraction | None:
        """The accidental of a note held over into this one: a tie carries it across the bar line."""
        if self.tied is None or self.graces is not None:
            return None
        shift = -1 if self.clef.endswith("-8") else 1 if self.clef.endswith("+8") else 0
        for pitch, tie in zip(self.tied.pitches, self.tied.ties, strict=True):
            if tie and (pitch.step, pitch.octave) == (step, octave + shift):
                return Fraction(pitch.alter)
        return None

    def _new_event(self, token: Token, line: int) -> AbcEvent:
        return AbcEvent(line=line, column=token.column, duration=token.length * self.unit, invisible=token.text == "x")

    def _event(self, event: AbcEvent) -> None:
        """Adds a finished event to the bar (or to the grace notes being read)."""
        self._hang_signs(event)
        if self.graces is not None:
            if event.pitches:
                event.grace = "slashed" if self.grace_slash else "unslashed"
                self.graces.append(event)
            return
        event.duration *= self.broken
        self.broken = Fraction(1)
        if self.tuplet is not None:
            p, q, left, first = self.tuplet
            event.duration *= Fraction(q, p)
            event.tuplet = Tuplet(actual=p, normal=q, start=first, stop=left == 1)
            self.tuplet = (p, q, left - 1, False) if left > 1 else None
        if event.duration > _LONGEST_QUARTERS:
            raise BadMusic(event.column, "a note is longer than 64 whole notes", "Check its length.")
        self._resolve_tie(event)
        layer = self.bar.layers[self.layer]
        for grace in self.ready_graces:
            grace.bar_index = len(self.bars)
            layer.append(grace)
        self.ready_graces = []
        event.bar_index = len(self.bars)
        if not layer and not self.bar.line:
            self.bar.line = event.line
        layer.append(event)
        self.last = event
        if self.layer == 0:
            self.line_events.append(event)

    def _hang_signs(self, event: AbcEvent) -> None:
        waiting = self.waiting
        for name in (
            "articulations", "ornaments", "technical", "chord_symbols", "words", "fingerings",
        ):  # fmt: skip
            getattr(event, name).extend(getattr(waiting, name))
        event.fermata = waiting.fermata
        event.arpeggiated = waiting.arpeggiated
        event.dynamic, event.wedge, event.wedge_stop = waiting.dynamic, waiting.wedge, waiting.wedge_stop
        event.tempo, event.clef, event.key = waiting.tempo, waiting.clef, waiting.key
        if not event.pitches:
            kept = [sign for sign in event.articulations if sign in ("breath-mark", "caesura")]
            dropped = len(event.articulations) - len(kept) + len(event.ornaments) + len(event.technical)
            if dropped + len(event.fingerings):
                self.remark("signs on rest", "signs that belong to notes stand before a rest and were left out",
                            event.line, event.column)  # fmt: skip
            event.articulations, event.ornaments, event.technical, event.fingerings = kept, [], [], []
        for name, line, column in self.waiting_slurs:
            if event.pitches:
                event.slur_starts.append(name)
                self.open_slurs.append((name, event))
            else:
                self.remark("slur on rest", "a slur that begins on a rest was left out", line, column)
        self.waiting_slurs = []
        self.waiting = AbcEvent(line=0, column=0, duration=Fraction(1))

    def _close_chord(self, token: Token, line: int) -> None:
        chord, self.chord = self.chord, None
        if chord is None or not chord.pitches:
            self.remark("empty chord", "a chord without notes was left out", line, token.column)
            return
        chord.duration = token.length * (self.chord_first or Fraction(1)) * self.unit
        ties = chord.ties
        self._event(chord)
        if any(ties) and not chord.grace:
            self.tied = chord

    def _open_graces(self, token: Token) -> None:
        if self.graces is not None:
            raise BadMusic(token.column, "grace notes begin inside grace notes", "Close the first ones with }.")
        self.graces, self.grace_slash = [], token.text == "/"
        self.main_signs = self.waiting  # what was said before the grace notes is meant for the note they decorate
        self.waiting = AbcEvent(line=0, column=0, duration=Fraction(1))

    def _close_graces(self) -> None:
        graces, self.graces = self.graces or [], None
        self.waiting = self.main_signs
        value = Fraction(1, 2) if len(graces) == 1 else Fraction(1, 4)
        for grace in graces:
            grace.duration = value
        self.ready_graces += graces

    def _open_tuplet(self, token: Token, line: int) -> None:
        p, q, r = token.numbers
        compound = self.metre is not None and self.metre.beat_type >= 8 and sum(self.metre.beats) % 3 == 0
        by_metre = 3 if compound and self.metre is not None and sum(self.metre.beats) > 3 else 2
        defaults = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
        q = q or defaults.get(p, by_metre)
        r = r or p
        if not 1 <= p <= 64 or not 1 <= q <= 64 or not 1 <= r <= 64:
            raise BadMusic(
                token.column, f"a tuplet of {p} in the time of {q} cannot be read", "Write it as (3 or (3:2:3."
            )
        if self.tuplet is not None:
            self.remark("tuplet in tuplet", "a tuplet begins inside another, which was ended there", line, token.column)
            self._stop_tuplet()
        if (p, q) != (1, 1) and p != q:
            self.tuplet = (p, q, r, True)

    def _stop_tuplet(self) -> None:
        self.tuplet = None
        if self.last is not None and self.last.tuplet is not None:
            self.last.tuplet = dataclasses.replace(self.last.tuplet, stop=True)

    def _close_slur(self, token: Token, line: int) -> None:
        target = self.graces[-1] if self.graces else self.last
        if not self.open_slurs or target is None or not target.pitches:
            self.remark("slur end", "a slur ends here that never began; it was left out", line, token.column)
            return
        name, start = self.open_slurs.pop()
        if start is target:
            start.slur_starts.remove(name)
            self.remark("slur one note", "a slur over a single note was left out", line, token.column)
            return
        target.slur_stops.append(name)

    def _tie(self, token: Token, line: int) -> None:
        if self.chord is not None:
            if self.chord.ties:
                self.chord.ties[-1] = True
            return
        if self.graces is not None or self.last is None or not self.last.pitches:
            self.remark("tie", "a tie without a note before it was left out", line, token.column)
            return
        self.last.ties = [True] * len(self.last.pitches)
        self.tied = self.last

    def _resolve_tie(self, event: AbcEvent) -> None:
        """Settles a tie from the event before: to the same pitch it is a tie, to another a slur, to a rest nothing."""
        tied, self.tied = self.tied, None
        if tied is None:
            return
        if not event.pitches:
            tied.ties = [False] * len(tied.ties)
            self.remark("tie to rest", "a tie leads into a rest and was left out", tied.line, tied.column)
            return
        kept = [tie and pitch in event.pitches for tie, pitch in zip(tied.ties, tied.pitches, strict=True)]
        if not any(kept):
            self.slur_count += 1
            name = f"slur{self.slur_count}"
            tied.slur_starts.append(name)
            event.slur_stops.append(name)
            self.remark("tie as slur", "a tie joins two different notes and was read as a slur", tied.line, tied.column)
        tied.ties = kept

    def _broken(self, token: Token, line: int) -> None:
        if self.last is None or not self.bar.layers[self.layer]:
            self.remark("broken", "a broken rhythm has no note before it and was left out", line, token.column)
            return
        short = Fraction(1, 2 ** len(token.text))
        long = 2 - short
        first, second = (long, short) if token.text[0] == ">" else (short, long)
        self.last.duration *= first
        self.broken = second

    # Signs

    def _letter(self, token: Token, line: int) -> None:
        name = self.letters.get(token.text, DEFAULT_LETTERS.get(token.text, ""))
        if not name:
            self.remark(
                f"letter {token.text}", f'the letter "{token.text}" stands for no sign and was left out',
                line, token.column,
            )  # fmt: skip
            return
        self._sign(name, line, token.column)

    def _sign(self, name: str, line: int, column: int) -> None:
        sign = SIGNS.get(name) or SIGNS.get(name.replace(" ", ""))
        waiting = self.waiting
        if sign is None:
            self.remark(f"sign {name}", f"the decoration !{name}! is not known and was left out", line, column)
            return
        match sign.where:
            case "articulation":
                _add(waiting.articulations, sign.value)
            case "ornament":
                _add(waiting.ornaments, sign.value)
                if name == "roll":
                    self.remark("roll", "a roll (~) has no sign of its own and was written as a turn", line, column)
            case "technical":
                _add(waiting.technical, sign.value)
            case "finger":
                waiting.fingerings.append(sign.value)
            case "fermata":
                waiting.fermata = True
            case "arpeggio":
                waiting.arpeggiated = True
            case "dynamic":
                waiting.dynamic = sign.value
            case "wedge":
                if sign.value == "stop":
                    if self.last is not None:
                        self.last.wedge_stop = True
                else:
                    waiting.wedge = sign.value
            case "words":
                waiting.words.append(WrittenWords(text=sign.value))
            case "jump":
                self._jump(sign.value)
            case "none":
                pass

    def _jump(self, value: str) -> None:
        """A segno or coda stands at the start of its bar, the jumps at its end, as MusicXML counts them."""
        at_start = value in ("segno", "coda")
        if not at_start and self.bar.empty and self.bars:
            self.bars[-1].jumps[value] = value  # written after the bar line it belongs to
        elif at_start and not self.bar.empty and not self._room_left():
            self.jumps_waiting[value] = value
        else:
            self.bar.jumps[value] = value

    def _room_left(self) -> bool:
        return self.metre is None or self.bar.length < self.metre.length_quarters

    def _quoted(self, token: Token, line: int) -> None:
        raw = token.text.strip()
        place = _ANNOTATION_PLACES.get(raw[:1])
        text = read_text(raw[1:] if place else raw)
        if not text:
            return
        if text in _FINGERS:
            self.waiting.fingerings.append(text)
            self.remark("finger", "a single digit in quotation marks was read as a finger", line, token.column)
            return
        if place is None:
            chord = chord_from_text(text)
            if chord is not None:
                self.waiting.chord_symbols.append(chord)
                return
            self.remark(
                f"chord {text}",
                f'"{text}" is no chord symbol that can be read; it was kept as words',
                line,
                token.column,
            )
        self.waiting.words.append(WrittenWords(text=text, placement="below" if place == "below" else "above"))

    # Bars

    def _overlay(self, token: Token, line: int) -> None:
        if self.bar.empty:
            self.remark("overlay", "a second voice (&) begins before the first; it was left out", line, token.column)
            return
        if self.tied is not None:
            self.tied.ties = [False] * len(self.tied.ties)
            self.tied = None
        self._stop_tuplet()
        self.bar.layers.append([])
        self.layer = len(self.bar.layers) - 1
        if self.layer > 7:
            raise BadMusic(token.column, "a bar has more than eight voices laid over each other", "Use V: for voices.")
        self.accidentals.clear()
        self.broken = Fraction(1)
        self.last = None

    def _rest_bars(self, token: Token, line: int) -> None:
        length = self.metre.length_quarters if self.metre is not None else Fraction(4)
        count = token.numbers[0]
        if self.bar.layers[self.layer] and count < 100:
            self.remark(
                "Z in bar", "bars of rest (Z) stand inside a bar; they were read as a rest (z)", line, token.column
            )
            self._event(AbcEvent(line=line, column=token.column, duration=count * self.unit))
            return
        if count < 1 or len(self.bars) + count > MOST_BARS:
            raise BadMusic(token.column, f"{count} bars of rest cannot be read", "Write between 1 and a few hundred.")
        for index in range(count):
            if index:
                self._close_bar()
            self._event(AbcEvent(line=line, column=token.column, duration=length))

    def _bar_line(self, token: Token, line: int) -> None:
        text = token.text.removeprefix(".")
        if text == ":":
            self.remark("colon", "a single colon is no bar line and was left out", line, token.column)
            return
        if self.graces is not None:
            raise BadMusic(token.column, "a bar line stands inside grace notes", "Close them with } before it.")
        colons_before = len(text) - len(text.lstrip(":"))
        colons_after = len(text) - len(text.rstrip(":"))
        if set(text) == {":"}:
            colons_before, colons_after = len(text) // 2, len(text) - len(text) // 2
        core = text.strip(":")
        heavy = "]" in core or "[" in core
        double = "||" in core
        self._close_bar()
        before = self.bars[-1] if self.bars else None
        if before is not None:
            if colons_before:
                before.repeat_end = True
                before.repeat_times = colons_before + 1
            elif core == "[|]":
                before.right_line = "none"
            elif "]" in core:
                before.right_line = "light-heavy"
            elif double:
                before.right_line = before.right_line or "light-light"
            elif token.text.startswith("."):
                before.right_line = "dotted"
            elif core.startswith("["):
                before.right_line = before.right_line or "light-heavy"
        elif colons_before and not colons_after:
            self.remark("repeat start", "a repeat ends before any music; it was left out", line, token.column)
        if colons_after:
            self.bar.repeat_start = True
        if before is None and core.startswith("[|") and not core.endswith("]") and not colons_after:
            self.bar.left_line = "heavy-light"
        if colons_before or colons_after or heavy or double:
            self.bar.section_before = True
            if self.ending_runs and before is not None:
                before.ending_stop = self.ending_runs
                before.ending_open = not colons_before
                self.ending_runs = ""

    def _ending(self, token: Token) -> None:
        if not self.bar.empty:
            self._close_bar()
        if self.ending_runs and self.bars:
            self.bars[-1].ending_stop = self.ending_runs
            self.bars[-1].ending_open = not self.bars[-1].repeat_end
        numbers = _ending_numbers(token.text)
        self.bar.ending = numbers
        self.ending_runs = numbers

    def _close_bar(self) -> None:
        """Ends the bar that is being read, if anything stands in it."""
        self.accidentals.clear()
        self.broken = Fraction(1)
        self.layer = 0
        if self.bar.empty:
            if self.ready_graces and self.bars:
                self.bars[-1].layers[0] += self.ready_graces
                self.ready_graces = []
            return
        if self.ready_graces:
            for grace in self.ready_graces:
                grace.bar_index = len(self.bars)
            self.bar.layers[0] += self.ready_graces
            self.ready_graces = []
        if len(self.bar.layers) > 1:
            self.last = next((e for e in reversed(self.bar.layers[0]) if not e.grace), None)
        if not self.bar.length:  # only grace notes: they belong to the bar before
            if self.bars:
                self.bars[-1].layers[0] += self.bar.layers[0]
                self.bar.layers = [[]]
                return
            self.bar.layers[0].append(AbcEvent(line=self.bar.line, column=1, duration=self.unit, invisible=True))
        if len(self.bars) >= MOST_BARS:
            raise BadMusic(1, f"the tune has more than {MOST_BARS} bars", "Split it into several.")
        self.bars.append(self.bar)
        self.bar = _Bar(metre_valid=self.metre, jumps=self.jumps_waiting)
        self.jumps_waiting = {}

    def finish(self) -> None:
        """The tune ends: closes what is open."""
        if self.ready_graces and self.bar.empty and not self.bars:
            self.ready_graces = []
        if self.last is not None:
            self.last.words += self.waiting.words
            self.last.fermata = self.last.fermata or self.waiting.fermata
        self._close_bar()
        if self.tied is not None:
            self.tied.ties = [False] * len(self.tied.ties)
            self.remark(
                "tie to end", "a tie leads beyond the last note and was left out", self.tied.line, self.tied.column
            )
        if self.tuplet is not None:
            self._stop_tuplet()
        for name, start in self.open_slurs:
            start.slur_starts.remove(name)
            self.remark("slur open", "a slur never ends and was left out", start.line, start.column)
        if self.ending_runs and self.bars:
            self.bars[-1].ending_stop = self.ending_runs
            self.bars[-1].ending_open = not self.bars[-1].repeat_end
        self._complete_repeats()

    def _complete_repeats(self) -> None:
        """A repeat that ends without beginning begins after the last double bar or repeat, and is written so."""
        section = 0
        begun = False
        after_repeat = False
        for index, bar in enumerate(self.bars):
            if bar.repeat_start:
                section, begun, after_repeat = index, True, False
            elif bar.section_before and not bar.ending and index and not _in_ending(self.bars, index):
                section, begun, after_repeat = index, False, True
            if bar.repeat_end and not begun and after_repeat:
                self.bars[section].repeat_start = True
                self.remark(
                    "repeat without start",
                    "a repeat has no beginning; it was taken to begin after the last double bar",
                    bar.line,
                    1,
                )
                begun = True

    # Out

    def written_bars(self) -> tuple[WrittenBar, ...]:
        """The bars, numbered: a pick-up and the second half of a bar cut by a repeat do not count.

        The rest of bar 10 is bar 10b, as a player would say it; the pick-up is bar 0.
        """
        bars: list[WrittenBar] = []
        number = 0
        parts = 1  # of the bar counted last
        previous_short = False
        for index, bar in enumerate(self.bars):
            nominal = bar.metre_valid.length_quarters if bar.metre_valid is not None else None
            short = nominal is not None and bar.length < nominal
            implicit = short and (index == 0 or (bar.section_before and previous_short) or self._is_pickup(index))
            if implicit:
                parts += index > 0
                name = "0" if index == 0 else f"{number}{chr(ord('a') + parts - 1) if parts <= 26 else f'.{parts}'}"
            else:
                number += 1
                parts = 1
                name = str(number)
            previous_short = short and not implicit
            bars.append(self._written(bar, name, implicit=implicit))
        return tuple(bars)

    def _is_pickup(self, index: int) -> bool:
        """A short bar that opens a section whose next bar is full."""
        bar = self.bars[index]
        after = self.bars[index + 1] if index + 1 < len(self.bars) else None
        return (
            bar.section_before
            and not bar.repeat_end
            and bar.metre_valid is not None
            and 2 * bar.length <= bar.metre_valid.length_quarters
            and after is not None
            and after.length >= bar.metre_valid.length_quarters
        )

    def _written(self, bar: _Bar, number: str, *, implicit: bool) -> WrittenBar:
        values = {
            name: getattr(bar, name)
            for name in (
                "metre", "free_metre", "key", "clef", "repeat_start", "repeat_end", "repeat_times",
                "ending_stop", "ending_open", "right_line", "left_line",
            )
        }  # fmt: skip
        if bar.metre is not None:
            values["free_metre"] = False
        return WrittenBar(
            number=number,
            voices=tuple(tuple(event.freeze() for event in layer) for layer in bar.layers if layer),
            implicit=implicit,
            aligned="end" if implicit else "start",
            ending_start=bar.ending,
            segno="segno" in bar.jumps,
            coda="coda" in bar.jumps,
            to_coda="to-coda" in bar.jumps,
            fine="fine" in bar.jumps,
            da_capo=next((jump for jump in bar.jumps if jump.startswith("D.C.")), ""),
            dal_segno=next((jump for jump in bar.jumps if jump.startswith("D.S.")), ""),
            **values,
        )


def _add(values: list[str], value: str) -> None:
    if value not in values:
        values.append(value)


def _in_ending(bars: list[_Bar], index: int) -> bool:
    """Whether the bar before `index` leads straight into another ending, so that no new section begins here."""
    return bool(bars[index].ending) and not bars[index].repeat_start


def _ending_numbers(text: str) -> str:
    """MusicXML's ending number from ABC's: "1-3" becomes "1, 2, 3"; words stay out of it."""
    numbers: list[int] = []
    for part in text.split(","):
        ends = part.strip().split("-")
        if all(end.isdigit() and 0 < int(end) < 100 for end in ends) and len(ends) in (1, 2):
            numbers += range(int(ends[0]), int(ends[-1]) + 1)
    return ", ".join(str(number) for number in numbers)
