"""One line of ABC music as tokens: what stands there and in which column, nothing decided yet.

Source: the ABC standard 2.1, section 4 (The tune body).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

__all__ = ["BadMusic", "Kind", "Token", "scan_music", "strip_comment"]

Kind = Literal[
    "note",
    "rest",
    "bars_rest",
    "chord_open",
    "chord_close",
    "grace_open",
    "grace_close",
    "tuplet",
    "slur_open",
    "slur_close",
    "tie",
    "broken",
    "bar",
    "ending",
    "decoration",
    "letter",
    "quoted",
    "field",
    "overlay",
    "unknown",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """One thing on a line. `text` is its content; the further fields belong to notes, rests and tuplets.

    `length` multiplies the unit note length; `alter` None: no accidental is written. `numbers` of a tuplet are
    p, q, r with 0 where not given.
    """

    kind: Kind
    column: int
    text: str = ""
    length: Fraction = Fraction(1)
    step: str = ""
    octave: int = 0
    alter: Fraction | None = None
    numbers: tuple[int, ...] = ()


class BadMusic(ValueError):
    """Something that cannot be read at a column; `what` and `todo` are the two halves of the sentence."""

    def __init__(self, column: int, what: str, todo: str) -> None:
        super().__init__(what)
        self.column = column
        self.what = what
        self.todo = todo


_LENGTH = r"(\d*)(/*)(\d*)"
_NOTE = re.compile(r"(\^\^|__|[\^_](?:\d{1,2}/\d{0,2}|/\d{0,2})(?=[A-Ga-g])|[\^_=])?([A-Ga-g])([',]*)" + _LENGTH)
_REST = re.compile(r"[zx]" + _LENGTH)
_BARS_REST = re.compile(r"[ZX](\d*)")
_BAR = re.compile(r"\.?(?:\[(?=\|))?[|:]+(?:\](?!:))?")
_ENDING = re.compile(r"\[?(\d{1,2}(?:[-,]\d{1,2})*)[.)]?(?![/\d])")
_ENDING_OPEN = re.compile(r"\[(\d{1,2}(?:[-,]\d{1,2})*)[.)]?")
_NAMED_STRETCH = re.compile(r'\["([^"]*)"')
_TUPLET = re.compile(r"\((\d{1,3})(?::(\d{0,3}))?(?::(\d{0,3}))?")
_FIELD = re.compile(r"\[([A-Za-z]):([^\]]*)\]")
_DECORATION = re.compile(r"!([^!|\[\]:\"]{1,30})!")
_OLD_DECORATION = re.compile(r"\+([A-Za-z0-9.<>()]{1,20})\+")
_BROKEN = re.compile(r">{1,3}|<{1,3}")
_CLOSE = re.compile(r"\]" + _LENGTH)
_LETTERS = frozenset("HIJKLMNOPQRSTUVWhijklmnopqrstuvw~.")
_IGNORED = re.compile(r"[ \t`$\\\r\ufeff\xa0]+|y\d*|[#*;?@]|!")
_MOST = 4096


def strip_comment(line: str) -> str:
    """The line without its comment: everything from a per cent sign that is not escaped.

    A per cent sign inside quotation marks ends the line too, as the standard has it.
    """
    match = re.search(r"(?<!\\)%", line)
    return line if match is None else line[: match.start()]


def scan_music(line: str) -> Iterator[Token]:
    """The tokens of one line of music. Raises BadMusic where a bracket or a quotation does not close."""
    at = 0
    in_chord = False
    while at < len(line):
        column = at + 1
        token, at = _next_token(line, at, in_chord)
        if token is None:
            continue
        if token.kind == "chord_open":
            if in_chord:
                raise BadMusic(column, "a chord begins inside a chord", "Close the first one with ].")
            in_chord = True
        elif token.kind == "chord_close":
            in_chord = False
        elif in_chord and token.kind == "bar":
            raise BadMusic(column, "a bar line stands inside a chord", "Close the chord with ] before it.")
        yield token
        if token.kind == "bar":
            match = _ENDING.match(line, at) or re.compile(r"[ \t]+" + _ENDING.pattern).match(line, at)
            if match is not None:
                yield Token(kind="ending", column=at + 1, text=match.group(1))
                at = match.end()
    if in_chord:
        raise BadMusic(len(line), "a chord is not closed", "Close it with ].")


def _next_token(line: str, at: int, in_chord: bool) -> tuple[Token | None, int]:
    """The token at `at` and where the next one begins; None for what is rightly ignored."""
    column = at + 1
    character = line[at]
    if match := _IGNORED.match(line, at):
        if character == "!" and (sign := _DECORATION.match(line, at)):
            return Token(kind="decoration", column=column, text=sign.group(1)), sign.end()
        return None, match.end()
    if match := _NOTE.match(line, at):
        return _note(match, column), match.end()
    if match := _REST.match(line, at):
        return Token(kind="rest", column=column, text=character, length=_length(match.groups(), column)), match.end()
    if character in "|:" or line.startswith(("[|", ".|"), at):
        bar = _BAR.match(line, at)
        assert bar is not None
        return Token(kind="bar", column=column, text=bar.group(0)), bar.end()
    if character == "[":
        if match := _FIELD.match(line, at):
            return Token(kind="field", column=column, text=match.group(0)[1:-1]), match.end()
        if not in_chord and (match := _ENDING_OPEN.match(line, at)):
            return Token(kind="ending", column=column, text=match.group(1)), match.end()
        if not in_chord and (match := _NAMED_STRETCH.match(line, at)) and not _chord_follows(line, match):
            return Token(kind="quoted", column=column, text="^" + match.group(1)), match.end()  # a bracket with words
        return Token(kind="chord_open", column=column), at + 1
    if match := _CLOSE.match(line, at):
        if not in_chord:
            return Token(kind="unknown", column=column, text="]"), at + 1
        return Token(kind="chord_close", column=column, length=_length(match.groups(), column)), match.end()
    if character == "(":
        if match := _TUPLET.match(line, at):
            numbers = tuple(int(group or 0) for group in match.groups())
            return Token(kind="tuplet", column=column, numbers=numbers), match.end()
        return Token(kind="slur_open", column=column), at + 1
    if character == "{":
        slashed = line.startswith("/", at + 1)
        if "}" not in line[at:]:
            raise BadMusic(column, "a group of grace notes is not closed", "Close it with }.")
        return Token(kind="grace_open", column=column, text="/" if slashed else ""), at + 1 + slashed
    if character == '"':
        end = line.find('"', at + 1)
        if end < 0:
            raise BadMusic(column, "a quotation is not closed", 'Close it with ".')
        return Token(kind="quoted", column=column, text=line[at + 1 : end]), end + 1
    if character == "+" and (match := _OLD_DECORATION.match(line, at)):
        return Token(kind="decoration", column=column, text=match.group(1)), match.end()
    if match := _BROKEN.match(line, at):
        return Token(kind="broken", column=column, text=match.group(0)), match.end()
    if match := _BARS_REST.match(line, at):
        count = match.group(1) or "1"
        if len(count) > 4:
            raise BadMusic(column, f"{count} bars of rest are more than can be read", "Write fewer.")
        return Token(kind="bars_rest", column=column, numbers=(int(count),)), match.end()
    if character == "." and line.startswith((".(", ".-"), at):  # dotted slur or tie: the dots are a look only
        return None, at + 1
    single: dict[str, Kind] = {"}": "grace_close", ")": "slur_close", "-": "tie", "&": "overlay"}
    if character in single:
        return Token(kind=single[character], column=column), at + 1
    if character in _LETTERS:
        return Token(kind="letter", column=column, text=character), at + 1
    return Token(kind="unknown", column=column, text=character), at + 1


def _chord_follows(line: str, opening: re.Match[str]) -> bool:
    """Whether `["Am"CEG]` is meant: a chord that begins with a quotation, not a bracket over a stretch of music."""
    close = line.find("]", opening.end())
    return close >= 0 and re.fullmatch(r"[\^_=A-Ga-g',/\d!\w\"-]+", line[opening.end() : close]) is not None


def _note(match: re.Match[str], column: int) -> Token:
    sign, letter, marks = match.group(1), match.group(2), match.group(3)
    octave = (5 if letter.islower() else 4) + marks.count("'") - marks.count(",")
    if not 0 <= octave <= 9:
        raise BadMusic(column, f"the note {match.group(0)} lies beyond any instrument", "Check its octave marks.")
    return Token(
        kind="note",
        column=column,
        text=match.group(0),
        step=letter.upper(),
        octave=octave,
        alter=_alter(sign, column),
        length=_length(match.groups()[3:], column),
    )


def _alter(sign: str | None, column: int) -> Fraction | None:
    if not sign:
        return None
    if sign in ("^", "^^", "_", "__", "="):
        return Fraction({"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}[sign])
    above, below = sign[1:].split("/")
    size = Fraction(int(above or 1), int(below or 2) or 1)
    if size not in (Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2)):
        raise BadMusic(column, f"the accidental {sign} is not a quarter tone", "Write ^/ or _/ for a quarter tone.")
    return size if sign[0] == "^" else -size


def _length(groups: tuple[str | None, ...], column: int) -> Fraction:
    """A length such as 2, /, //, 3/2, /4."""
    above, slashes, below = (group or "" for group in groups)
    if len(above) > 4 or len(below) > 4 or len(slashes) > 8:
        raise BadMusic(column, "a note length has impossible numbers", "Write it as 2, /2 or 3/2.")
    numerator = int(above or 1)
    denominator = int(below) * 2 ** (len(slashes) - 1) if below else 2 ** len(slashes)
    if numerator == 0 or denominator == 0 or numerator > _MOST or denominator > _MOST:
        raise BadMusic(column, "a note length has impossible numbers", "Write it as 2, /2 or 3/2.")
    return Fraction(numerator, denominator)
