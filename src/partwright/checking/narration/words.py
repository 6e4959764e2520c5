"""From cues to words: each with its spoken form, its time, and where in which cue it stands.

Units: seconds; `begin` and `end` are offsets into the cue's text. A word is what a listener hears as one: digits, signs
and hyphened forms are written out ("F#" is two words, "2nd" is "second").
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.narration.transcript import Cue, Transcript

__all__ = ["Word", "spoken_words", "trusts_capitals"]

_PIECE = re.compile(r"[^\W_]+(?:['’][^\W_]+)*[#♯♭♮]*|[♯♭♮#]|[.,;:!?…—–\-/()\"“”]")
_SIGNS = {"#": "sharp", "♯": "sharp", "♭": "flat", "♮": "natural"}
_ORDINALS = {"1st": "first", "2nd": "second", "3rd": "third", "4th": "fourth", "5th": "fifth", "6th": "sixth",
             "7th": "seventh", "8th": "eighth", "9th": "ninth", "10th": "tenth"}  # fmt: skip
_NUMBERS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
            "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")  # fmt: skip
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_NOTE_SIGN = re.compile(r"([A-Ga-g])([#♯♭♮]+)")
_FLAT_LETTER = re.compile(r"([A-G])b")
_PLURAL_LETTER = re.compile(r"([A-G])['’]?s")
_BREAKS = {",": 1, ";": 1, ":": 1, "—": 1, "–": 1, "-": 0, "(": 1, ")": 1, "/": 0, ".": 2, "!": 2, "?": 2, "…": 1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One spoken word. `text` as it stands, `form` in lower case as it sounds.

    `stop`: what stands after it: 0 nothing, 1 a comma, 2 the end of a sentence. `pause_s`: silence before it.
    """

    text: str
    form: str
    cue: int
    begin: int
    end: int
    start_s: float | None
    stop: int = 0
    pause_s: float = 0.0
    capital: bool = False
    first: bool = False  # the first word of a sentence, whose capital says nothing
    asks: bool = False  # the last word of a question


def spoken_words(transcript: Transcript) -> tuple[Word, ...]:
    """All words in order. Times between known ones are spread evenly over the letters."""
    words: list[Word] = []
    last_end: float | None = None
    sentence_open = False
    for index, cue in enumerate(transcript.cues):
        found = _cue_words(cue, index, sentence_open)
        if found and cue.start_s is not None:
            if last_end is not None and cue.start_s > last_end:
                found[0] = _replace(found[0], pause_s=cue.start_s - last_end)
            last_end = max(cue.end_s if cue.end_s is not None else cue.start_s, last_end or 0.0)
        if found:
            sentence_open = found[-1].stop < 2
        words += found
    return tuple(words)


def trusts_capitals(words: Sequence[Word]) -> bool:
    """Whether capitals can be trusted: note letters are written large, and other words small."""
    letters = [word for word in words if word.form in ("b", "c", "d", "e", "f", "g")]
    large = sum(word.capital for word in letters)
    others = [word for word in words if len(word.form) > 1]
    shouted = sum(word.text.isupper() for word in others)
    return len(letters) >= 3 and large >= 0.8 * len(letters) and shouted < 0.3 * max(1, len(others))


def _cue_words(cue: Cue, index: int, sentence_open: bool) -> list[Word]:
    raw: list[tuple[str, str, int, int, bool]] = []
    stops: dict[int, int] = {}
    asked: set[int] = set()
    for found in _PIECE.finditer(cue.text):
        piece = found[0]
        if piece in _BREAKS or (not piece[0].isalnum() and piece not in _SIGNS):
            if raw:
                stops[len(raw) - 1] = max(stops.get(len(raw) - 1, 0), _BREAKS.get(piece, 0))
                if piece == "?":
                    asked.add(len(raw) - 1)
            continue
        capital = piece[0].isupper()
        raw += [(form, piece, found.start(), found.end(), capital) for form in _forms(piece)]
    length = max(1, len(cue.text))
    words = []
    starts_sentence = not sentence_open
    for k, (form, piece, begin, end, capital) in enumerate(raw):
        stop = stops.get(k, 0)
        words.append(
            Word(
                text=piece, form=form, cue=index, begin=begin, end=end, start_s=_time_at(cue, begin, length),
                stop=stop, capital=capital, first=starts_sentence, asks=k in asked,
            )
        )  # fmt: skip
        starts_sentence = stop == 2
    return words


def _forms(piece: str) -> list[str]:
    """The spoken forms of one written piece."""
    if piece in _SIGNS:
        return [_SIGNS[piece]]
    if found := _NOTE_SIGN.fullmatch(piece):
        return [found[1].lower(), *(_SIGNS[sign] for sign in found[2])]
    if found := _FLAT_LETTER.fullmatch(piece):
        return [found[1].lower(), "flat"]
    if found := _PLURAL_LETTER.fullmatch(piece):
        return [f"{found[1].lower()}'s" if "'" in piece or "’" in piece else f"{found[1].lower()}s"]
    lower = piece.lower().replace("’", "'")
    if lower in _ORDINALS:
        return [_ORDINALS[lower]]
    if lower.isascii() and lower.isdigit() and len(lower) < 4:
        return _number_forms(int(lower))
    for ending in ("'s", "'re", "'ve", "'ll", "'m", "'d"):
        if lower.endswith(ending) and len(lower) > len(ending):
            stem = lower[: -len(ending)]
            return [f"{stem}'s"] if ending == "'s" and len(stem) == 1 and stem in "abcdefg" else [stem, ending]
    return [lower]


def _number_forms(number: int) -> list[str]:
    if number < len(_NUMBERS):
        return [_NUMBERS[number]]
    if number > 99:
        return [str(number)]
    tens, ones = divmod(number, 10)
    return [_TENS[tens - 2], *([_NUMBERS[ones]] if ones else [])]


def _time_at(cue: Cue, offset: int, length: int) -> float | None:
    if cue.start_s is None:
        return None
    before: tuple[int, float] = (0, cue.start_s)
    after: tuple[int, float] = (length, cue.end_s if cue.end_s is not None else cue.start_s)
    for at, seconds in cue.marks:
        if at <= offset:
            before = (at, seconds)
        elif at < after[0]:
            after = (at, seconds)
            break
    span = after[0] - before[0]
    share = (offset - before[0]) / span if span > 0 else 0.0
    return round(before[1] + share * max(0.0, after[1] - before[1]), 3)


def _replace(word: Word, *, pause_s: float) -> Word:
    return Word(
        text=word.text, form=word.form, cue=word.cue, begin=word.begin, end=word.end, start_s=word.start_s,
        stop=word.stop, pause_s=pause_s, capital=word.capital, first=word.first, asks=word.asks,
    )  # fmt: skip
