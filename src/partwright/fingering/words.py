"""Saying a hand and its costs as a string player would."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from partwright.fingering.account import Entry
from partwright.fingering.plan import Placement
from partwright.fingering.terms import term_table
from partwright.instrument import THUMB, Instrument

__all__ = ["difference_words", "entry_words", "finger_words", "hand_words", "interval_words", "placement_words"]

_FINGERS = {
    0: "open string",
    1: "first finger",
    2: "second finger",
    3: "third finger",
    4: "fourth finger",
    THUMB: "thumb",
}
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_INTERVALS = (
    "unison", "half step", "whole step", "minor third", "major third", "fourth", "tritone", "fifth", "minor sixth",
    "major sixth", "minor seventh", "major seventh", "octave",
)  # fmt: skip

# Terms told as so many of a thing: singular and plural. The others are told by their words alone.
_COUNTED = {
    "shift": ("shift", "shifts"),
    "crossing": ("string crossing", "string crossings"),
    "skipped_string": ("string skipped", "strings skipped"),
    "hop": ("hop of a finger across strings", "hops of a finger across strings"),
    "open_hand": ("reach back with the first finger", "reaches back with the first finger"),
    "open_forward": ("reach forward", "reaches forward"),
    "close_hand": ("closing of the hand", "closings of the hand"),
    "extended_hand": ("note with the hand held open", "notes with the hand held open"),
    "thumb_up": ("change in or out of thumb position", "changes in or out of thumb position"),
    "thumb_position": ("note in thumb position", "notes in thumb position"),
    "upper_position": ("note in the upper positions", "notes in the upper positions"),
    "half_position": ("note in half position", "notes in half position"),
    "fourth_finger": ("note on the fourth finger", "notes on the fourth finger"),
    "third_finger": ("note on the third finger", "notes on the third finger"),
    "slide": ("shift on one finger", "shifts on one finger"),
    "shift_across": ("shift with the same finger to another string", "shifts with the same finger to another string"),
    "refinger": ("change of finger on a repeated note", "changes of finger on a repeated note"),
    "substitution": ("finger replaced on a held note", "fingers replaced on held notes"),
    "harmonic": ("harmonic", "harmonics"),
    "high_harmonic": ("harmonic off the middle of the string", "harmonics off the middle of the string"),
    "barre": ("finger laid across two strings", "fingers laid across two strings"),
    "half_step_shift": ("shift of a half step", "shifts of a half step"),
    "low_harmonic": ("harmonic on a lower string", "harmonics on lower strings"),
    "lower_string": ("note that a higher string has lower down", "notes that a higher string has lower down"),
    "weak_pair": ("third and fourth finger in turn", "times third and fourth finger in turn"),
    "open_sustained": ("open string on a long note", "open strings on long notes"),
    "inverted_stop": ("higher note on the lower string", "higher notes on the lower string"),
}
_ABOUT = {
    "height": "the hand higher up",
    "shift_distance": "longer shifts",
    "stretch": "a wider stretch",
    "dull_string": "notes high on a lower string",
    "low_thumb": "the thumb low on the string",
    "reshape": "regrouping of the fingers",
    "open_string": "fewer open strings",
    "open_in_chord": "fewer open strings in chords",
    "shift_up_landing": "shifts that do not land on the first finger",
}


def finger_words(placement: Placement) -> str:
    """The finger in words: "second finger", "open string", "first finger, then third"."""
    words = _FINGERS[placement.finger]
    if placement.substitute is not None:
        words += f", then {_FINGERS[placement.substitute]} on the held note"
    return words


def hand_words(placement: Placement, instrument: Instrument) -> str:
    """Where the hand lies: "fourth position", "first position, first finger extended back"."""
    where = instrument.position(placement.frame, placement.zone).spoken
    shape = next((s for s in instrument.shapes if s.name == placement.shape), None)
    return f"{where}, {shape.words}" if shape is not None and shape.extension else where


def placement_words(placement: Placement, instrument: Instrument) -> str:
    """Finger, string and position: "second finger on the D string, first position"."""
    letter = instrument.strings[placement.string].letter
    if placement.finger == 0:
        return f"open {letter} string"
    how = "natural harmonic, " if placement.harmonic else ""
    return f"{how}{finger_words(placement)} on the {letter} string, {hand_words(placement, instrument)}"


def interval_words(semitones: int) -> str:
    """How far, as an interval.

    >>> interval_words(5), interval_words(14)
    ('fourth', 'octave and whole step')
    """
    octaves, rest = divmod(semitones, 12)
    if octaves == 0 or (octaves == 1 and rest == 0):
        return _INTERVALS[semitones]
    name = "octave" if octaves == 1 else f"{number_words(octaves)} octaves"
    return name if rest == 0 else f"{name} and {_INTERVALS[rest]}"


def number_words(number: int) -> str:
    """Small numbers in words."""
    return _NUMBERS[number] if 0 <= number < len(_NUMBERS) else str(number)


def entry_words(entry: Entry, *, slurred: bool, shift_semitones: int, seconds: float) -> str:
    """One term of a note's price in trade words."""
    if entry.term == "shift":
        words = f"shift of a {interval_words(shift_semitones)}"
        if slurred:
            return f"{words} under a slur"
        return f"{words} in {seconds:.1f} s" if seconds < 0.3 else words
    words = next(term.words for term in term_table() if term.name == entry.term)
    return (
        f"{words} under a slur" if slurred and entry.term in ("crossing", "hop", "open_hand", "open_forward") else words
    )


def difference_words(entries: Sequence[Entry], *, most: int = 3) -> str:
    """What another way would cost, the dearest things first: "two shifts more and a string crossing more"."""
    more = [_more(entry) for entry in entries if entry.price > 0.005]
    told = [words for words in more if words][:most]
    return _listed(told)


def _more(entry: Entry) -> str:
    if entry.term in _COUNTED:
        number = round(abs(entry.amount))
        if number == 0:
            number = 1
        one, many = _COUNTED[entry.term]
        if entry.amount < 0:
            return f"{number_words(number)} {one if number == 1 else many} fewer"
        return f"{number_words(number)} more {one if number == 1 else many}"
    return _ABOUT.get(entry.term, "")


def _listed(parts: Iterable[str]) -> str:
    items = list(parts)
    if len(items) <= 1:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
