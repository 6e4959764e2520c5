"""One voice of an ABC tune: tokens in, bars of written events out.

The voice passes each token to the part of the job that knows it: pitches (key and accidentals), rhythm (tuplets,
broken pairs), joins (ties, slurs), marks (what waits for the next note), bars. Chords and grace notes, which are
several notes in one, it holds together itself.
"""

from __future__ import annotations

from fractions import Fraction

from partwright.score.read_abc_bars import MOST_BARS, AbcBars, read_bar_line
from partwright.score.read_abc_event import AbcEvent, Remark
from partwright.score.read_abc_fields import ReadKey, default_length
from partwright.score.read_abc_joins import AbcJoins
from partwright.score.read_abc_marks import AbcMarks, find_sign
from partwright.score.read_abc_pitches import AbcPitches
from partwright.score.read_abc_rhythm import AbcRhythm
from partwright.score.read_abc_signs import DEFAULT_LETTERS
from partwright.score.read_abc_tokens import BadMusic, Token
from partwright.score.read_abc_written import complete_repeats, numbered_bars
from partwright.score.written import WrittenBar, WrittenMetre, WrittenTempo, WrittenWords

__all__ = ["MOST_NOTES", "AbcVoice"]

MOST_NOTES = 50_000
_LONGEST_QUARTERS = 256


class AbcVoice:
    """Builds one voice. `remark` gathers what was assumed or left out; `letters` are the tune's own short signs."""

    def __init__(
        self,
        *,
        key: ReadKey,
        metre: WrittenMetre | None,
        unit: Fraction | None,
        remark: Remark,
        letters: dict[str, str],
        propagate: str = "pitch",
    ) -> None:
        self.name = ""
        self.abbreviation = ""
        self.unit = unit if unit is not None else default_length(metre)
        self.line_events: list[AbcEvent] = []
        self.note_count = 0
        self.pitches = AbcPitches(key, propagate=propagate, remark=remark)
        self._remark = remark
        self._letters = letters
        self._unit_given = unit is not None
        self._rhythm = AbcRhythm(remark)
        self._joins = AbcJoins(remark)
        self._marks = AbcMarks(remark)
        self._bars = AbcBars(metre=metre, key=key, clef=self.pitches.clef, remark=remark)
        self._graces: list[AbcEvent] | None = None
        self._grace_slash = False
        self._chord: AbcEvent | None = None
        self._chord_length: Fraction | None = None  # of its first note, in unit note lengths

    @property
    def inside_group(self) -> bool:
        """Whether a chord or a group of grace notes is open."""
        return self._chord is not None or self._graces is not None

    @property
    def has_bars(self) -> bool:
        """Whether any bar has been closed."""
        return bool(self._bars.done)

    # Fields

    def set_key(self, read: ReadKey) -> None:
        """A key, a clef or both: of the bar that begins here, or from the next event on inside a bar."""
        self.pitches.set_key(read)
        target = self._bars.now if self._bars.now.empty else self._marks.waiting
        target.key = read.key or target.key
        target.clef = read.clef or target.clef

    def set_clef(self, clef: str, octaves: int) -> None:
        """A clef, and how many octaves away its notes are meant."""
        self.set_key(ReadKey(key=None, clef=clef, octaves=octaves))

    def set_metre(self, metre: WrittenMetre | None, *, line: int) -> None:
        """A metre; None is free. Inside a bar it ends the bar."""
        bars = self._bars
        if not bars.now.empty:
            if bars.layer == 0 and bars.now.length and metre != bars.metre:
                self._remark("metre", "the metre changes inside a bar; a bar line was put there", line, 1)
            self._close_bar()
        if not self._unit_given:
            self.unit = default_length(metre)
        bars.set_metre(metre)

    def set_unit(self, unit: Fraction) -> None:
        """The unit note length, in quarter notes."""
        self.unit, self._unit_given = unit, True

    def set_tempo(self, tempo: WrittenTempo) -> None:
        """A tempo, from the next event on."""
        self._marks.set_tempo(tempo)

    def add_words(self, words: WrittenWords) -> None:
        """Words at the next event."""
        self._marks.add_words(words)

    # Tokens

    def begin_line(self) -> None:
        """A line of music begins: syllables that follow belong to it."""
        self.line_events = []
        self._bars.settle_jumps()

    def take(self, token: Token, line: int) -> None:
        """One token. Raises BadMusic."""
        match token.kind:
            case "note":
                self._note(token, line)
            case "rest" if self._chord is not None:
                self._remark("rest in chord", "a rest inside a chord was left out", line, token.column)
            case "rest":
                self._event(self._new_event(token, line))
            case "bars_rest":
                self._rest_bars(token, line)
            case "chord_open":
                self._chord, self._chord_length = self._new_event(token, line), None
            case "chord_close":
                self._close_chord(token, line)
            case "grace_open":
                self._open_graces(token)
            case "grace_close":
                self._close_graces()
            case "tuplet":
                self._rhythm.open_tuplet(token, line, self._bars.metre, self._bars.last)
            case "slur_open":
                self._joins.open_slur(token, line)
            case "slur_close":
                self._joins.close_slur(token, line, self._graces[-1] if self._graces else self._bars.last)
            case "tie":
                self._tie(token, line)
            case "broken":
                self._broken(token, line)
            case "bar":
                self._bar_line(token, line)
            case "ending":
                if not self._bars.now.empty:
                    self._close_bar()
                self._bars.begin_ending(token.text)
            case "decoration":
                self._sign(token.text, line, token.column)
            case "letter":
                self._letter(token, line)
            case "quoted":
                self._marks.add_quoted(token, line)
            case "overlay":
                self._overlay(token, line)
            case _:
                sentence = f'the sign "{token.text}" means nothing here and was left out'
                self._remark(f"unknown {token.text}", sentence, line, token.column)

    # Notes

    def _new_event(self, token: Token, line: int) -> AbcEvent:
        return AbcEvent(line=line, column=token.column, duration=token.length * self.unit, invisible=token.text == "x")

    def _note(self, token: Token, line: int) -> None:
        self.note_count += 1
        if self.note_count > MOST_NOTES:
            raise BadMusic(token.column, f"the tune has more than {MOST_NOTES} notes", "Split it into several.")
        pitch = self.pitches.read(token, line, in_grace=self._graces is not None, tied=self._joins.tied)
        chord = self._chord
        if chord is None:
            event = self._new_event(token, line)
            event.pitches, event.marked, event.ties = [pitch], [token.alter is not None], [False]
            self._event(event)
            return
        if self._chord_length is None:
            self._chord_length = token.length
        elif token.length != self._chord_length:
            sentence = "the notes of a chord have different lengths; all were given the first one's"
            self._remark("chord lengths", sentence, line, token.column)
        chord.fingerings += self._marks.take_fingerings()
        if pitch not in chord.pitches:
            chord.pitches.append(pitch)
            chord.marked.append(token.alter is not None)
            chord.ties.append(False)

    def _event(self, event: AbcEvent) -> None:
        """Adds a finished event to the bar (or to the grace notes being read)."""
        self._marks.hang_on(event)
        self._joins.begin_slurs(event)
        if self._graces is not None:
            if event.pitches:
                event.grace = "slashed" if self._grace_slash else "unslashed"
                self._graces.append(event)
            return
        self._rhythm.shape(event)
        if event.duration > _LONGEST_QUARTERS:
            raise BadMusic(event.column, "a note is longer than 64 whole notes", "Check its length.")
        self._joins.resolve(event)
        self._bars.add(event)
        if self._bars.layer == 0:
            self.line_events.append(event)

    def _close_chord(self, token: Token, line: int) -> None:
        chord, self._chord = self._chord, None
        if chord is None or not chord.pitches:
            self._remark("empty chord", "a chord without notes was left out", line, token.column)
            return
        chord.duration = token.length * (self._chord_length or Fraction(1)) * self.unit
        ties = chord.ties
        self._event(chord)
        if any(ties) and not chord.grace:
            self._joins.tied = chord

    def _open_graces(self, token: Token) -> None:
        if self._graces is not None:
            raise BadMusic(token.column, "grace notes begin inside grace notes", "Close the first ones with }.")
        self._graces, self._grace_slash = [], token.text == "/"
        self._marks.begin_graces()

    def _close_graces(self) -> None:
        graces, self._graces = self._graces or [], None
        self._marks.end_graces()
        value = Fraction(1, 2) if len(graces) == 1 else Fraction(1, 4)
        for grace in graces:
            grace.duration = value
        self._bars.graces += graces

    def _tie(self, token: Token, line: int) -> None:
        if self._chord is not None:
            if self._chord.ties:
                self._chord.ties[-1] = True
            return
        last = self._bars.last
        if self._graces is not None or last is None or not last.pitches:
            self._remark("tie", "a tie without a note before it was left out", line, token.column)
            return
        self._joins.tie(last)

    def _broken(self, token: Token, line: int) -> None:
        last = self._bars.last
        if last is None or self._bars.layer_empty:
            self._remark("broken", "a broken rhythm has no note before it and was left out", line, token.column)
            return
        self._rhythm.break_pair(token, last)

    # Signs

    def _letter(self, token: Token, line: int) -> None:
        name = self._letters.get(token.text, DEFAULT_LETTERS.get(token.text, ""))
        if not name:
            sentence = f'the letter "{token.text}" stands for no sign and was left out'
            self._remark(f"letter {token.text}", sentence, line, token.column)
            return
        self._sign(name, line, token.column)

    def _sign(self, name: str, line: int, column: int) -> None:
        sign = find_sign(name)
        if sign is None:
            self._remark(f"sign {name}", f"the decoration !{name}! is not known and was left out", line, column)
        elif sign.where == "jump":
            self._bars.add_jump(sign.value)
        elif sign.where == "wedge" and sign.value == "stop":
            if self._bars.last is not None:
                self._bars.last.wedge_stop = True
        else:
            self._marks.add_sign(sign, name, line, column)

    # Bars

    def _close_bar(self) -> None:
        """Ends the bar that is being read, if anything stands in it."""
        self.pitches.forget()
        self._rhythm.whole_again()
        self._bars.close(self.unit)

    def _bar_line(self, token: Token, line: int) -> None:
        if token.text in (":", ".:"):
            self._remark("colon", "a single colon is no bar line and was left out", line, token.column)
            return
        if self._graces is not None:
            raise BadMusic(token.column, "a bar line stands inside grace notes", "Close them with } before it.")
        self._close_bar()
        self._bars.draw_line(read_bar_line(token.text), line, token.column)

    def _overlay(self, token: Token, line: int) -> None:
        if self._bars.now.empty:
            self._remark("overlay", "a second voice (&) begins before the first; it was left out", line, token.column)
            return
        self._joins.drop_tie()
        self._rhythm.end_tuplet(self._bars.last)
        self._bars.add_layer(token)
        self.pitches.forget()
        self._rhythm.whole_again()

    def _rest_bars(self, token: Token, line: int) -> None:
        count = token.numbers[0]
        if not self._bars.layer_empty and count < 100:
            sentence = "bars of rest (Z) stand inside a bar; they were read as a rest (z)"
            self._remark("Z in bar", sentence, line, token.column)
            self._event(AbcEvent(line=line, column=token.column, duration=count * self.unit))
            return
        if count < 1 or len(self._bars.done) + count > MOST_BARS:
            raise BadMusic(token.column, f"{count} bars of rest cannot be read", "Write between 1 and a few hundred.")
        for index in range(count):
            if index:
                self._close_bar()
            self._event(AbcEvent(line=line, column=token.column, duration=self._bars.bar_length))

    # Out

    def finish(self) -> None:
        """The tune ends: closes what is open."""
        last = self._bars.last
        if last is not None:
            last.words += self._marks.waiting.words
            last.fermata = last.fermata or self._marks.waiting.fermata
        self._close_bar()
        self._joins.drop_last_tie()
        if self._rhythm.in_tuplet:
            self._rhythm.end_tuplet(self._bars.last)
        self._joins.drop_open_slurs()
        self._bars.finish()
        complete_repeats(self._bars.done, self._remark)

    def written_bars(self) -> tuple[WrittenBar, ...]:
        """The bars, numbered."""
        return numbered_bars(self._bars.done)
