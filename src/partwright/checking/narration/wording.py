"""Words for claims and for what score and plan have: fingers in words in sentences, digits on cards."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from partwright.checking.narration.mentions import Claim
from partwright.checking.narration.places import Place
from partwright.checking.narration.truth import Truth
from partwright.instrument import THUMB, Instrument

__all__ = ["card_value", "claim_words", "finger_words", "note_words", "notes_words", "times_words", "truth_words"]

_ACCIDENTALS = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_SHORT = ("", "1st", "2nd", "3rd", "4th", "5th", "6th", "7th", "8th", "9th", "10th")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_FIGURES = {
    Fraction(4): "whole note", Fraction(3): "dotted half note", Fraction(2): "half note",
    Fraction(3, 2): "dotted quarter note", Fraction(1): "quarter note", Fraction(3, 4): "dotted eighth note",
    Fraction(1, 2): "eighth note", Fraction(1, 4): "sixteenth note", Fraction(6): "dotted whole note",
    Fraction(3, 8): "dotted sixteenth note", Fraction(1, 8): "thirty-second note",
}  # fmt: skip


def note_words(step: str, alter: int | None) -> str:
    """A note's name as spoken.

    >>> note_words("F", 1), note_words("B", None)
    ('F sharp', 'B')
    """
    return step + _ACCIDENTALS.get(alter or 0, "")


def finger_words(finger: int) -> str:
    """A finger as spoken: "second finger", "open string", "thumb"."""
    if finger == 0:
        return "open string"
    return "thumb" if finger == THUMB else f"{_ORDINALS[finger]} finger"


def notes_words(count: int) -> str:
    """ "five notes", "one note"."""
    return f"{_NUMBERS[count] if count < len(_NUMBERS) else count} note{'' if count == 1 else 's'}"


def times_words(count: int) -> str:
    """A count as spoken: "once", "twice", "three times"."""
    known = {1: "once", 2: "twice"}
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return known.get(count, f"{number} times")


def claim_words(claim: Claim, instrument: Instrument) -> str:
    """What a claim says, in our words."""
    value = claim.value
    match claim.kind:
        case "finger":
            return finger_words(int(value[0]))
        case "not_finger":
            return f"not {finger_words(int(value[0]))}"
        case "offer_finger":
            return f"or {finger_words(int(value[0]))}"
        case "offer_open":
            return "or open"
        case "offer_harmonic":
            return "or as a harmonic"
        case "same_finger":
            return "the same finger"
        case "substitute":
            return f"{finger_words(int(value[0]))} replaced by {finger_words(int(value[1]))}"
        case "position":
            number = value[0] if isinstance(value[0], str) else _ORDINALS[int(value[0])]
            return f"{'raised ' if value[1] else ''}{number} position"
        case "string" | "string_letter":
            if value[0] == "letter":
                return f"{value[1]} string"
            if value[0] == "number":
                return f"{_ORDINALS[int(value[1])]} string"
            return "the same string" if value[0] == "same" else f"the string {value[0]}"
        case "extension":
            return "extended" if value[0] else "not extended"
        case "closed_bar":
            return "no stretch in the bar"
        case "harmonic":
            return "as a harmonic" if value[0] else "not as a harmonic"
        case "count" | "count_loose":
            return times_words(int(value[0]))
        case "bow":
            return f"{value[0]} bow"
        case "slur":
            return "slurred"
        case "separate":
            return "separate bows"
        case "retake":
            return "the bow retaken"
        case "beats":
            return _beats(Fraction(str(value[0])))
        case "whole_bar":
            return "through the whole bar"
        case "half_bar":
            return "through half the bar"
        case "value":
            return _FIGURES.get(Fraction(str(value[0])), f"{value[0]:g} quarters")
        case "on_beat":
            return f"on beat {value[0]}"
        case "rest":
            return "a rest"
        case "alternate":
            alter = None if value[1] == 9 else int(value[1])
            return f"back and forth with {note_words(str(value[0]), alter)}"
    return str(value[0]) if value else claim.kind


def truth_words(kind: str, place: Place, truth: Truth) -> str:
    """What score and plan have at this place, for a claim of this kind."""
    instrument = truth.instrument
    match kind:
        case "note" | "alternate" | "order":
            return _either(note_words(s, a) for s, a in sorted(place.names))
        case "finger" | "not_finger" | "same_finger" | "offer_finger" | "offer_open" | "offer_harmonic":
            return _either(finger_words(f) for a in place.attacks for f in sorted(a.fingers))
        case "substitute":
            return _either(
                (f"{finger_words(p.finger)} replaced by {finger_words(p.substitute)}" if p.substitute is not None
                 else finger_words(p.finger))
                for p in place.placements
            )  # fmt: skip
        case "position":
            return _either(instrument.position(p.frame, p.zone).spoken for p in place.placements)
        case "string" | "string_letter":
            return _either(f"{instrument.strings[p.string].letter} string" for p in place.placements)
        case "extension":
            return _either("the hand closed" if p.shape == "closed" else f"{p.shape} hand" for p in place.placements)
        case "closed_bar":
            return "the hand extended in it"
        case "harmonic":
            return _either("a harmonic" if p.harmonic else "a stopped note" if p.finger else "an open string"
                           for p in place.placements)  # fmt: skip
        case "count" | "count_loose":
            return times_words(place.count)
        case "bow":
            return _either(f"{a.stroke.direction} bow" for a in place.attacks if a.stroke is not None)
        case "slur":
            return "separate bows"
        case "separate":
            return "a slur"
        case "articulation":
            marks = sorted({name for a in place.attacks for n in a.notes for name in n.articulations})
            return ", ".join(marks) or "no mark"
        case "whole_bar" | "half_bar":
            unit = Fraction(4, truth.part.bars[place.first.bar_index].beat_type)
            return _beats(max(a.duration_quarters for a in place.attacks) / unit)
        case "beats":
            unit = Fraction(4, truth.part.bars[place.first.bar_index].beat_type)
            return _either(_beats(a.duration_quarters / unit) for a in place.attacks)
        case "value":
            return _either(
                _FIGURES.get(a.struck_quarters, f"{float(a.struck_quarters):g} quarters") for a in place.attacks
            )
        case "on_beat":
            return _either(f"on beat {_beat(a.notes[0].beat)}" for a in place.attacks)
        case "rest":
            return "no rest"
    return ""


def card_value(kind: str, words: str) -> str:
    """The same words, short, for a card on the screen: "2nd finger"."""
    for long, short in zip(_ORDINALS[1:], _SHORT[1:], strict=True):
        words = words.replace(f"{long} ", f"{short} ")
    return words


def _beats(count: Fraction) -> str:
    whole, rest = divmod(count, 1)
    if rest == 0:
        return "one beat" if whole == 1 else f"{_NUMBERS[int(whole)] if whole < len(_NUMBERS) else whole} beats"
    return f"{count} beats" if whole == 0 else f"{whole}+{rest} beats"


def _beat(beat: Fraction) -> str:
    whole, rest = divmod(beat, 1)
    return str(whole) if rest == 0 else f"{whole}+{rest}"


def _either(words: Iterable[str]) -> str:
    return " or ".join(dict.fromkeys(words))
