"""Notes, fingers, bars and beats as they are said aloud: the small words that sentences are made of.

Plain and always the same, so that what is said can be read back: "F sharp", "second finger on the D string",
"third position", "bar 5, beat 3".
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from partwright.fingering import Placement
from partwright.instrument import THUMB, Instrument
from partwright.lesson.likenesses import Difference, Likeness
from partwright.score import Pitch

__all__ = [
    "bars_printed",
    "bars_words",
    "beat_words",
    "capital",
    "count_words",
    "difference_words",
    "finger_said",
    "interval_said",
    "likeness_words",
    "listed",
    "number_words",
    "ordinal_words",
    "pitch_said",
    "place_words",
    "position_said",
    "string_said",
    "times_words",
]

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_FINGERS = {
    0: "open",
    1: "first finger",
    2: "second finger",
    3: "third finger",
    4: "fourth finger",
    THUMB: "the thumb",
}
_ALTERS = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
_FRACTIONS = {
    Fraction(1, 2): "and a half",
    Fraction(1, 4): "and a quarter",
    Fraction(3, 4): "and three quarters",
    Fraction(1, 3): "and a third",
    Fraction(2, 3): "and two thirds",
}
_INTERVALS = (
    "unison", "a half step", "a whole step", "a minor third", "a major third", "a fourth", "a tritone", "a fifth",
    "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
)  # fmt: skip
_VALUES = {
    Fraction(4): "a whole note",
    Fraction(3): "a dotted half",
    Fraction(2): "a half note",
    Fraction(3, 2): "a dotted quarter",
    Fraction(1): "a quarter",
    Fraction(3, 4): "a dotted eighth",
    Fraction(1, 2): "an eighth",
    Fraction(1, 4): "a sixteenth",
}


def pitch_said(pitch: Pitch) -> str:
    """A note's name without its octave.

    >>> pitch_said(Pitch("F", 1, 3))
    'F sharp'
    """
    return f"{pitch.step}{_ALTERS.get(round(pitch.alter), '')}"


def finger_said(placement: Placement, instrument: Instrument) -> str:
    """Finger and string: "second finger on the D string", "open D string"; a harmonic is named as one."""
    string = string_said(placement, instrument)
    if placement.finger == 0:
        return f"open {string}"
    words = f"{_FINGERS[placement.finger]} on the {string}"
    if placement.harmonic:
        words += ", as a harmonic"
    if placement.substitute is not None:
        words += f", then {_FINGERS[placement.substitute]} while you hold it"
    return words


def string_said(placement: Placement, instrument: Instrument) -> str:
    """The string by its letter: "D string"."""
    return f"{instrument.strings[placement.string].letter} string"


def position_said(placement: Placement, instrument: Instrument) -> str:
    """Where the hand lies: "third position"."""
    return instrument.position(placement.frame, placement.zone).spoken


def number_words(number: int) -> str:
    """A number in words up to twelve, in figures above.

    >>> number_words(3), number_words(40)
    ('three', '40')
    """
    return _NUMBERS[number] if 0 <= number < len(_NUMBERS) else str(number)


def times_words(count: int) -> str:
    """How often.

    >>> times_words(1), times_words(2), times_words(3)
    ('once', 'twice', 'three times')
    """
    return {1: "once", 2: "twice"}.get(count, f"{number_words(count)} times")


def ordinal_words(number: int) -> str:
    """Which one in a row.

    >>> ordinal_words(2), ordinal_words(13)
    ('second', '13th')
    """
    names = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
    if 1 <= number <= len(names):
        return names[number - 1]
    last = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th") if number % 100 not in (11, 12, 13) else "th"
    return f"{number}{last}"


def count_words(count: int, one: str, many: str) -> str:
    """So many of a thing: "one note", "three notes"."""
    return f"{number_words(count)} {one if count == 1 else many}"


def beat_words(beat: Fraction) -> str:
    """A beat as it is said.

    >>> beat_words(Fraction(2)), beat_words(Fraction(5, 2))
    ('2', '2 and a half')
    """
    whole, rest = divmod(beat, 1)
    if rest == 0:
        return str(whole)
    return f"{whole} {_FRACTIONS[rest]}" if rest in _FRACTIONS else f"{whole} and {rest}"


def place_words(bar: str, beat: Fraction) -> str:
    """Bar and beat: "bar 5, beat 3"; the pick-up by its name."""
    return f"the pick-up, beat {beat_words(beat)}" if bar == "0" else f"bar {bar}, beat {beat_words(beat)}"


def bars_words(first: str, last: str) -> str:
    """One bar or a stretch of them.

    >>> bars_words("5", "5"), bars_words("5", "8")
    ('bar 5', 'bars 5 to 8')
    """
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def bars_printed(bars: Sequence[str]) -> str:
    """Bars as they are printed beside a text: "bar 5", "bars 5–8"; from the pick-up on they are counted from bar 1.

    >>> bars_printed(("0", "4"))
    'bars 1–4'
    """
    first, last = bars
    first = "1" if first == "0" and last != "0" else first
    if last == "0":
        return "pick-up"
    return f"bar {first}" if first == last else f"bars {first}–{last}"


def listed(words: Sequence[str], *, last: str = "and") -> str:
    """Words as a list in a sentence.

    >>> listed(["A", "B", "C"])
    'A, B and C'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def capital(text: str) -> str:
    """With a capital at its start."""
    return text[:1].upper() + text[1:]


def interval_said(semitones: int) -> str:
    """A distance in words: 5 is "a fourth", -2 is "a whole step"."""
    octaves, rest = divmod(abs(semitones), 12)
    words = [] if octaves == 0 else ["an octave" if octaves == 1 else f"{number_words(octaves)} octaves"]
    words += [_INTERVALS[rest]] if rest else []
    return " and ".join(words) or "unison"


def likeness_words(likeness: Likeness) -> str:
    """What returns and how: "bars 27 to 32 are bars 1 to 6 again, but for one note: bar 28, beat 3, D instead of A"."""
    at, of = bars_words(*likeness.at_bars), bars_words(*likeness.of_bars)
    verb = "is" if likeness.at_bars[0] == likeness.at_bars[1] else "are"
    moved = ""
    if likeness.semitones:
        moved = f", {interval_said(likeness.semitones)} {'higher' if likeness.semitones > 0 else 'lower'}"
    words = f"{at} {verb} {of} again{moved}"
    if not likeness.differences:
        return words + (", note for note" if not likeness.semitones else "")
    told = [difference_words(d) for d in likeness.differences[:4]]
    places = len({(d.bar, d.beat) for d in likeness.differences})
    one, many = ("note", "notes") if all(d.what == "pitch" for d in likeness.differences) else ("place", "places")
    rest = len(likeness.differences) - len(told)
    more = f"; and {number_words(rest)} more" if rest else ""
    return f"{words}, but for {count_words(places, one, many)}: {'; '.join(told)}{more}"


def difference_words(difference: Difference) -> str:
    """One difference with its place: "bar 28, beat 3, D instead of F sharp"."""
    place = place_words(difference.bar, difference.beat)
    was, now = difference.was, difference.now
    match difference.what:
        case "pitch":
            return f"{place}, {_names_said(now)} instead of {_names_said(was)}"
        case "rhythm":
            if was == "-":
                return f"{place}, {_names_said(now)} is new"
            if now == "-":
                return f"{place}, {_names_said(was)} is left out"
            return f"{place}, {_value_said(now)} instead of {_value_said(was)}"
        case "finger":
            return f"{place}, {_placed_said(now)} instead of {_placed_said(was)}"
        case "bow":
            return f"{place}, {now} bow instead of {was} bow"


def _names_said(names: str) -> str:
    return listed([_name_said(name) for name in names.split()])


def _name_said(name: str) -> str:
    letter = name.rstrip("-0123456789")
    return letter[0] + _ALTERS.get(letter.count("#") - letter[1:].count("b"), "")


def _value_said(quarters: str) -> str:
    value = Fraction(quarters)
    return _VALUES.get(value, f"{quarters} quarters" if value != 1 else "a quarter")


def _placed_said(text: str) -> str:
    finger, _, string = text.partition("/")
    harmonic = string.endswith(" harmonic")
    letter = string.removesuffix(" harmonic")
    if finger == "0":
        return f"open {letter} string"
    first = finger.split("-")[0]
    words = f"{_FINGERS[THUMB if first == 'T' else int(first)]} on the {letter} string"
    return words + (", as a harmonic" if harmonic else "")
