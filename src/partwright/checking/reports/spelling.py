"""From a comment's text to a lattice of words: as written, and as they may have been meant.

Prices are negative natural logarithms, as in the narration's hearing; here nothing is misheard, but much is misspelled.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

from partwright.checking.narration.hearing import Edge, Lattice
from partwright.checking.narration.language import Language, compile_language

__all__ = ["PRIVATE", "Token", "comment_language", "spell", "tokens_of"]

_MOST_FIGURES = 2000
_STAMP = r"(?<![\d:.])(?:(?P<h>\d{1,2}):)?(?P<m>\d{1,3}):(?P<s>\d{2})(?!:?\d)"
_WORDED = r"(?<!\d)(?P<wm>\d{1,3})\s*(?:min(?:utes?)?|m)\.?\s*(?:and\s+)?(?P<ws>\d{1,2})\s*(?:s|sec(?:onds?)?)?\b"
_DOTTED = r"(?:(?<=at )|(?<=@)|(?<=At )|(?<=minute ))(?P<dm>\d{1,2})\.(?P<ds>\d{2})(?!\d)"
_MINUTE = r"(?<!\d)(?P<om>\d{1,3})\s*(?:min|minutes?)\b(?!\s*\d)"
_SECONDS = r"(?<![\d:.])(?P<os>\d{1,4})\s*(?:sec|secs|seconds?)\b"
_TIME = re.compile("|".join((_STAMP, _WORDED, _DOTTED, _MINUTE, _SECONDS)))
_FACES = re.compile(r"(?<![\w])[:;=xX8]['’]?-?[()\[\]DdPpOo3*/\\|]+(?!\w)|<3+")
PRIVATE = re.compile(
    r"[\w.+-]+@[\w-]+\.[\w.-]+|https?://\S+|www\.\S+|(?<!\w)@(?=[^\W\d])[\w.-]{2,}|\+?\d[\d ()/-]{8,}\d"
)
"""Addresses, people called by name, and numbers long enough to be somebody's: nothing about notes, and not shown."""
_PIECE = re.compile(
    r"\d+(?:st|nd|rd|th)\b|\d+(?:[a-z]\b)?|->|=>|>+|→|[A-Ga-g](?:[#♯♭♮]+)|[^\W\d_]+(?:['’`´][^\W\d_]+)*|[#♯♭♮]|[.,;:!?…—–\-/()\"“”\n]"
)
_SIGNS = {"#": "sharp", "♯": "sharp", "♭": "flat", "♮": "natural"}
_ARROWS = ("->", "=>", ">", ">>", ">>>", "→")
_NUMBERS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_JOINED = re.compile(r"([a-g])(sharp|flat|natural)s?", re.IGNORECASE)
_FLAT_LETTER = re.compile(r"[A-G]b|[abdeg]b")
_STOP = 2
_STOPS = {",": 1, ";": 1, ":": 1, "—": 1, "–": 1, "-": 1, "(": 1, ")": 1, ".": 2, "!": 2, "?": 2, "…": 1, "\n": 2}
_SHORTENED = frozenset({"m", "mm", "b", "meas", "no", "nr", "vs", "approx", "fig"})
_WRITTEN_LETTER, _SMALL_A, _LARGE_A, _FIRST_A = 0.02, 4.0, 0.1, 1.5
_A_AFTER = frozenset({
    "the", "an", "open", "high", "low", "that", "this", "to", "not", "say", "says", "said", "play", "called", "section",
    "part", "letter", "first", "second", "third", "last", "a", "of", "with", "on", "hear",
})  # fmt: skip
_A_SURELY_AFTER = frozenset({"the", "an", "open", "high", "low"})  # no article follows these
_A_BEFORE = frozenset({
    "is", "be", "should", "in", "at", "on", "not", "instead", "bar", "measure", "m", "rather", "but", "has", "with",
    "and", "or", "to", "ought", "must", "needs", "belongs", "@time", "lol", "right", "though", "please",
})  # fmt: skip
_A_NAME = frozenset({"sharp", "flat", "natural", "string"})
_MISSPELLED = 0.9
_SHORTEST = 4
_TWO_ERRORS_FROM = 8


@dataclass(frozen=True, slots=True)
class Token:
    """One word. `form` as the grammar has it; `stop`: what stands after it: 0 nothing, 1 a comma, 2 a sentence ends."""

    text: str
    form: str
    begin: int
    end: int
    stop: int = 0
    asked: bool = False  # a question mark follows
    capital: bool = False
    first: bool = False
    seconds: float = -1.0  # of a time stamp


@cache
def comment_language() -> Language:
    """The narration's grammar with what viewers write besides, and without its mishearings."""
    spoken = (resources.files("partwright.checking.narration") / "data" / "english.toml").read_text(encoding="utf-8")
    written = (resources.files("partwright.checking.reports") / "data" / "comments.toml").read_text(encoding="utf-8")
    figures = "\n".join(f'"#{n}" = {n}' for n in range(_MOST_FIGURES))
    figureth = "\n".join(f'"#{n}th" = {n}' for n in range(1, _MOST_FIGURES))
    written = written.replace('"#0" = 0', figures).replace('"#0th" = 0', figureth)
    sets, classes = written.split("[sets]\n", 1)[1].split("\n[classes", 1)
    spoken = spoken.replace("[sets]\n", f"[sets]\n{sets}\n", 1)
    language = compile_language(f"{spoken}\n[classes{classes}")
    return replace(language, hearing={})


def tokens_of(text: str) -> list[Token]:
    """The words of a comment, in order; faces, addresses and emoji say nothing of notes and are left out."""
    text = unicodedata.normalize("NFKC", text.replace("№", "no ")) if not text.isascii() else text
    text = PRIVATE.sub(lambda m: " " * len(m[0]), text)
    tokens: list[Token] = []
    last = 0
    for found in _TIME.finditer(text):
        _add_words(tokens, text, last, found.start())
        tokens.append(Token(found[0], "@time", found.start(), found.end(), seconds=_seconds(found)))
        last = found.end()
    _add_words(tokens, text, last, len(text))
    return _marked(tokens)


def _seconds(found: re.Match[str]) -> float:
    group = found.groupdict(default="")
    if group["m"]:
        return 3600.0 * int(group["h"] or 0) + 60.0 * int(group["m"]) + int(group["s"])
    for minute, second in (("wm", "ws"), ("dm", "ds")):
        if group[minute]:
            return 60.0 * int(group[minute]) + int(group[second])
    return 60.0 * int(group["om"]) if group["om"] else float(group["os"])


def _add_words(tokens: list[Token], text: str, begin: int, end: int) -> None:
    piece_of = _FACES.sub(lambda m: " " * len(m[0]), text[begin:end])
    for found in _PIECE.finditer(piece_of):
        piece, at, to = found[0], begin + found.start(), begin + found.end()
        if piece in _STOPS:
            if piece == "." and tokens and tokens[-1].form in _SHORTENED and tokens[-1].end == at:
                continue
            if tokens:
                stop = max(tokens[-1].stop, _STOPS[piece])
                tokens[-1] = replace(tokens[-1], stop=stop, asked=tokens[-1].asked or piece == "?")
            continue
        tokens += [Token(piece, form, at, to, capital=piece[0].isupper()) for form in _forms(piece)]


def _forms(piece: str) -> list[str]:
    if piece in _SIGNS:
        return [_SIGNS[piece]]
    if piece in _ARROWS:
        return ["@arrow"]
    if piece[0].isdigit():
        digits = re.match(r"\d+", piece)
        assert digits is not None
        number = int(digits[0]) if len(digits[0]) < 5 else _MOST_FIGURES
        return [f"#{number}th" if len(piece) > len(digits[0]) + 1 else f"#{number}"]
    if piece[-1] in _SIGNS:
        return [piece[0].lower(), *(_SIGNS[sign] for sign in piece[1:])]
    if found := _JOINED.fullmatch(piece):
        return [found[1].lower(), found[2].lower()]
    if _FLAT_LETTER.fullmatch(piece):
        return [piece[0].lower(), "flat"]
    return [re.sub(r"['’`´]", "", piece).lower()]


def _marked(tokens: list[Token]) -> list[Token]:
    first = True
    found = []
    for token in tokens:
        found.append(replace(token, first=first))
        first = token.stop == _STOP
    return found


def spell(tokens: list[Token], language: Language) -> Lattice:
    """The lattice of these words: figures also as number words, letters as notes, unknown words as their likes."""
    edges: list[tuple[Edge, ...]] = []
    for k, token in enumerate(tokens):
        here = [Edge(token.form, k + 1, 0.0)]
        here += [Edge(meant, k + 1, price) for meant, price in _meanings(tokens, k, language)]
        edges.append(tuple(here))
    edges.append(())
    size = len(tokens)
    return Lattice(edges=tuple(edges), word_of=(*range(size), max(0, size - 1)), node_of_word=tuple(range(size + 1)))


def _meanings(tokens: list[Token], k: int, language: Language) -> Iterator[tuple[str, float]]:
    form = tokens[k].form
    if form.startswith("#"):
        if form.endswith("th"):
            number = int(form[1:-2])
            if 1 <= number < len(_ORDINALS):
                yield _ORDINALS[number], 0.0
        elif int(form[1:]) < len(_NUMBERS):
            yield _NUMBERS[int(form[1:])], 0.0
        return
    if len(form) == 1 and form in "bcdefg":
        yield f"N:{form}", _WRITTEN_LETTER
    elif form == "a":
        yield "N:a", _price_of_a(tokens, k)
    if len(form) >= _SHORTEST and form.isalpha() and form not in language.vocabulary:
        yield from _likes(form, language)


def _price_of_a(tokens: list[Token], k: int) -> float:
    token = tokens[k]
    after = tokens[k + 1].form if k + 1 < len(tokens) and token.stop == 0 else ""
    before = tokens[k - 1].form if k and tokens[k - 1].stop < _STOP else ""
    if after in _A_NAME:
        return _LARGE_A
    if token.capital:
        return _FIRST_A if token.first else _LARGE_A
    price = _SMALL_A
    if before in _A_SURELY_AFTER:
        price -= 1.6
    if before in _A_AFTER or before.endswith("th"):
        price -= 2.2
    if after in _A_BEFORE:
        price -= 2.4
    elif not after:
        price -= 3.2
    elif after.startswith("#"):
        price -= 1.0
    return max(_LARGE_A, price)


@cache
def _by_start() -> dict[str, tuple[str, ...]]:
    groups: dict[str, list[str]] = {}
    for word in comment_language().vocabulary:
        if len(word) >= _SHORTEST and word.isalpha():
            groups.setdefault(word[0], []).append(word)
    return {start: tuple(sorted(words)) for start, words in groups.items()}


def _likes(form: str, language: Language) -> tuple[tuple[str, float], ...]:
    if form in language.sets["plain"] or form in language.sets["whole_words"] or len(form) > 24:
        return ()
    return _likes_of(form)


@cache
def _likes_of(form: str) -> tuple[tuple[str, float], ...]:
    """Words of ours that this one may be a misspelling of: the same first letter, or the first two exchanged."""
    groups = _by_start()
    most = 2 if len(form) >= _TWO_ERRORS_FROM else 1
    found = []
    for start in {form[0], form[1]}:
        for word in groups.get(start, ()):
            if abs(len(word) - len(form)) <= most:
                distance = _distance(form, word, most)
                if distance <= most:
                    found.append((word, _MISSPELLED * distance))
    return tuple(sorted(found, key=lambda row: row[1])[:4])


def _distance(one: str, two: str, most: int) -> int:
    """Letters put in, left out, changed or exchanged (optimal string alignment); anything above `most` is most + 1."""
    before: list[int] = []
    last = list(range(len(two) + 1))
    for i, a in enumerate(one, start=1):
        row = [i]
        for j, b in enumerate(two, start=1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == two[j - 2] and one[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        if min(row) > most:
            return most + 1
        before, last = last, row
    return last[-1]
