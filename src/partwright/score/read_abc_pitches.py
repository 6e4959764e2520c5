"""The pitch an ABC note sounds at: its key, the accidentals of its bar, the tie that leads into it, its clef's octave.

Source: the ABC standard 2.1, sections 4.1 to 4.2 and 11.3 (propagate-accidentals).
"""

from __future__ import annotations

from fractions import Fraction

from partwright.score.part import Pitch
from partwright.score.read_abc_event import AbcEvent, Remark
from partwright.score.read_abc_fields import ReadKey
from partwright.score.read_abc_tokens import Token

__all__ = ["AbcPitches"]


class AbcPitches:
    """Key, clef and the accidentals of the bar being read.

    `propagate`: how far an accidental reaches within its bar; "pitch": every octave, "octave": its own, "not": no
    further than its note.
    """

    def __init__(self, key: ReadKey, *, propagate: str, remark: Remark) -> None:
        self.propagate = propagate
        self.clef = key.clef or "treble"
        self.octaves = key.octaves
        self._remark = remark
        self._alters = dict(key.alters)
        self._accidentals: dict[tuple[str, int], Fraction] = {}
        self._marked_octave: dict[str, int] = {}

    def set_key(self, read: ReadKey) -> None:
        """A new key, clef or both; a key ends the accidentals before it."""
        if read.key is not None:
            self._alters = dict(read.alters)
            self.forget()
        if read.clef:
            self.clef = read.clef
        if read.clef or read.octaves:
            self.octaves = read.octaves

    def forget(self) -> None:
        """The accidentals end: at a bar line, or where another voice begins in the bar."""
        self._accidentals.clear()

    def read(self, token: Token, line: int, *, in_grace: bool, tied: AbcEvent | None) -> Pitch:
        """The sounding pitch of a note; `tied` is the event held over into it, if any."""
        octave = token.octave + self.octaves
        if token.alter is not None:
            alter = token.alter
            self._mark(token.step, octave, alter, in_grace=in_grace)
        else:
            held = None if in_grace else self._held(tied, token.step, octave)
            alter = held if held is not None else self._of_bar(token, octave, line)
        number = int(alter) if alter.denominator == 1 else float(alter)
        return Pitch(token.step, number, min(max(octave + self._clef_shift(), 0), 9))

    def _mark(self, step: str, octave: int, alter: Fraction, *, in_grace: bool) -> None:
        self._marked_octave[step] = octave
        if self.propagate == "pitch" and not in_grace:
            for other in range(-2, 14):
                self._accidentals[(step, other)] = alter
        elif self.propagate != "not":  # of a grace note: its own octave only
            self._accidentals[(step, octave)] = alter

    def _of_bar(self, token: Token, octave: int, line: int) -> Fraction:
        of_key = Fraction(self._alters.get(token.step, 0))
        alter = self._accidentals.get((token.step, octave), of_key)
        if alter != of_key and self._marked_octave.get(token.step) != octave:
            self._remark(
                "octaves",
                "an accidental was carried to the same note in another octave, as the standard has it "
                "(older books may mean its own octave only)",
                line,
                token.column,
            )
        return alter

    def _held(self, tied: AbcEvent | None, step: str, octave: int) -> Fraction | None:
        """The accidental of a note held over into this one: a tie carries it across the bar line."""
        if tied is None:
            return None
        sounding = octave + self._clef_shift()
        for pitch, tie in zip(tied.pitches, tied.ties, strict=True):
            if tie and (pitch.step, pitch.octave) == (step, sounding):
                return Fraction(pitch.alter)
        return None

    def _clef_shift(self) -> int:
        return -1 if self.clef.endswith("-8") else 1 if self.clef.endswith("+8") else 0
