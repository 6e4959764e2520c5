"""The signs and words of ABC that stand before a note and are meant for it: decorations, annotations, chord symbols.

Source: the ABC standard 2.1, sections 4.14 (decorations), 4.18 (chord symbols) and 4.19 (annotations).
"""

from __future__ import annotations

from partwright.score.chord_text import chord_from_text
from partwright.score.read_abc_event import AbcEvent, Remark, no_event
from partwright.score.read_abc_fields import read_text
from partwright.score.read_abc_signs import SIGNS, Sign
from partwright.score.read_abc_tokens import Token
from partwright.score.written import WrittenTempo, WrittenWords

__all__ = ["AbcMarks", "find_sign"]

_ANNOTATION_PLACES = {"^": "above", "_": "below", "<": "above", ">": "above", "@": "above"}
_FINGERS = frozenset("012345")
_LISTS = ("articulations", "ornaments", "technical", "chord_symbols", "words", "fingerings")


def find_sign(name: str) -> Sign | None:
    """The decoration of this name, with or without the spaces some files write in it."""
    return SIGNS.get(name) or SIGNS.get(name.replace(" ", ""))


class AbcMarks:
    """What waits for the next event. Grace notes have signs of their own: those of their main note stand aside."""

    def __init__(self, remark: Remark) -> None:
        self.waiting = no_event()
        self._remark = remark
        self._of_main_note = self.waiting

    def set_tempo(self, tempo: WrittenTempo) -> None:
        """A tempo holds from the next event."""
        self.waiting.tempo = tempo

    def add_words(self, words: WrittenWords) -> None:
        """Words stand at the next event."""
        self.waiting.words.append(words)

    def take_fingerings(self) -> list[str]:
        """The fingers that wait, for a note inside a chord."""
        found, self.waiting.fingerings = self.waiting.fingerings, []
        return found

    def begin_graces(self) -> None:
        """What was said before grace notes is meant for the note they decorate."""
        self._of_main_note, self.waiting = self.waiting, no_event()

    def end_graces(self) -> None:
        """The main note's signs wait again."""
        self.waiting = self._of_main_note

    def add_sign(self, sign: Sign, name: str, line: int, column: int) -> None:
        """A decoration that belongs to the next event."""
        waiting = self.waiting
        match sign.where:
            case "articulation":
                _add(waiting.articulations, sign.value)
            case "ornament":
                _add(waiting.ornaments, sign.value)
                if name == "roll":
                    self._remark("roll", "a roll (~) has no sign of its own and was written as a turn", line, column)
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
                waiting.wedge = sign.value
            case "words":
                waiting.words.append(WrittenWords(text=sign.value))
            case _:
                pass

    def add_quoted(self, token: Token, line: int) -> None:
        """Text in quotation marks: a finger, a chord symbol, or words above or below."""
        raw = token.text.strip()
        place = _ANNOTATION_PLACES.get(raw[:1])
        text = read_text(raw[1:] if place else raw)
        if not text:
            return
        if text in _FINGERS:
            self.waiting.fingerings.append(text)
            self._remark("finger", "a single digit in quotation marks was read as a finger", line, token.column)
            return
        if place is None:
            chord = chord_from_text(text)
            if chord is not None:
                self.waiting.chord_symbols.append(chord)
                return
            self._remark(
                f"chord {text}",
                f'"{text}" is no chord symbol that can be read; it was kept as words',
                line,
                token.column,
            )
        self.add_words(WrittenWords(text=text, placement="below" if place == "below" else "above"))

    def hang_on(self, event: AbcEvent) -> None:
        """Gives the event all that waited for it."""
        waiting = self.waiting
        for name in _LISTS:
            getattr(event, name).extend(getattr(waiting, name))
        event.fermata = waiting.fermata
        event.arpeggiated = waiting.arpeggiated
        event.dynamic, event.wedge, event.wedge_stop = waiting.dynamic, waiting.wedge, waiting.wedge_stop
        event.tempo, event.clef, event.key = waiting.tempo, waiting.clef, waiting.key
        if not event.pitches:
            self._strip_rest(event)
        self.waiting = no_event()

    def _strip_rest(self, event: AbcEvent) -> None:
        """A rest keeps breath marks and caesuras; a bow sign or finger on it means nothing."""
        kept = [sign for sign in event.articulations if sign in ("breath-mark", "caesura")]
        dropped = len(event.articulations) - len(kept) + len(event.ornaments) + len(event.technical)
        if dropped + len(event.fingerings):
            self._remark(
                "signs on rest",
                "signs that belong to notes stand before a rest and were left out",
                event.line,
                event.column,
            )
        event.articulations, event.ornaments, event.technical, event.fingerings = kept, [], [], []


def _add(values: list[str], value: str) -> None:
    if value not in values:
        values.append(value)
