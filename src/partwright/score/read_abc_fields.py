"""The fields of an ABC tune that are not notes: key, metre, note length, tempo, voice, and text with its escapes.

Source: the ABC standard 2.1, sections 3 (information fields) and 8.2 (text strings).
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from partwright.score.musicxml_elements import CLEFS
from partwright.score.written import WrittenKey, WrittenMetre, WrittenTempo

__all__ = [
    "BadField",
    "ReadKey",
    "ReadVoice",
    "default_length",
    "read_key",
    "read_length",
    "read_metre",
    "read_tempo",
    "read_text",
    "read_voice",
]


class BadField(ValueError):
    """A field that cannot be read; its message says what a good one looks like. The reader adds the place."""


_MODES = {
    "": ("major", 0),
    "maj": ("major", 0),
    "ion": ("ionian", 0),
    "m": ("minor", -3),
    "min": ("minor", -3),
    "aeo": ("aeolian", -3),
    "dor": ("dorian", -2),
    "phr": ("phrygian", -4),
    "lyd": ("lydian", 1),
    "mix": ("mixolydian", -1),
    "loc": ("locrian", -5),
}
_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_SHARPS = "FCGDAEB"
_KEY = re.compile(r"([A-G])([#b♯♭]?)\s*([A-Za-z]*)")
_ALTERED = re.compile(r"(\^\^|__|[\^_=])([A-Ga-g])")
_ALTERS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
_SETTING = re.compile(r"(clef|octave|transpose|middle|m|staffscale|stafflines|score|shift)\s*=\s*(\"[^\"]*\"|\S+)")
_CLEF_WORD = re.compile(r"(treble|bass|alto|tenor|soprano|mezzosoprano|baritone|perc|none)([+-]8)?\d?", re.IGNORECASE)
_CLEF_LETTERS = {"g": "treble", "f": "bass", "c": "alto", "g2": "treble", "f4": "bass", "c3": "alto", "c4": "tenor"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadKey:
    """A key with the clef and octave shift said beside it. `key` None: only a clef (or nothing) was given."""

    key: WrittenKey | None
    alters: tuple[tuple[str, int], ...] = ()  # what notes without an accidental get, letter to semitones
    clef: str = ""
    octaves: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadVoice:
    """A V: field: the voice's id, name, clef and octave shift."""

    id: str
    name: str = ""
    abbreviation: str = ""
    clef: str = ""
    octaves: int = 0


def read_key(text: str) -> ReadKey:
    """A K: field: tonic, mode, explicit accidentals, clef. Raises BadField."""
    clef, octaves, rest = _settings(text)
    rest = rest.strip()
    if not rest:
        return ReadKey(key=None if clef or octaves else WrittenKey(), clef=clef, octaves=octaves)
    if rest.lower() == "none":
        return ReadKey(key=WrittenKey(), clef=clef, octaves=octaves)
    if rest.startswith("HP"):
        return ReadKey(key=WrittenKey(), alters=(), clef=clef, octaves=octaves)
    if rest.startswith("Hp"):
        return ReadKey(key=WrittenKey(fifths=2), alters=(("F", 1), ("C", 1)), clef=clef, octaves=octaves)
    match = _KEY.match(rest)
    fifths, mode, after = 0, "", rest
    if match is not None:
        word = match.group(3).lower()
        explicit = word == "exp"
        name = "m" if word == "m" else word[:3]
        if not explicit and name not in _MODES:
            raise BadField(f'the key "{rest}" is not known (write K:G, K:Am or K:D mixolydian)')
        mode, shift = ("", 0) if explicit else _MODES[name]
        sign = {"#": 7, "♯": 7, "b": -7, "♭": -7}.get(match.group(2), 0)
        fifths = 0 if explicit else _FIFTHS[match.group(1)] + sign + shift
        after = rest[match.end() :]
    elif not _ALTERED.match(rest):
        raise BadField(f'the key "{rest}" is not known (write K:G, K:Am or K:D mixolydian)')
    if re.match(r"\s*exp\b", after):
        fifths, mode = 0, ""
    alters = dict(_signature(fifths))
    changes = _ALTERED.findall(after)
    for sign_text, letter in changes:
        alters[letter.upper()] = _ALTERS[sign_text]
    key = WrittenKey(fifths=fifths, mode=mode)
    if changes:
        kept = {step: alter for step, alter in alters.items() if alter}
        same = next((f for f in range(-7, 8) if dict(_signature(f)) == kept), None)
        key = WrittenKey(fifths=same) if same is not None else WrittenKey(alters=tuple(kept.items()))
        alters = kept
    return ReadKey(key=key, alters=tuple(alters.items()), clef=clef, octaves=octaves)


def _signature(fifths: int) -> tuple[tuple[str, int], ...]:
    alters: dict[str, int] = {}
    order = _SHARPS if fifths > 0 else _SHARPS[::-1]
    for k in range(abs(fifths)):
        step = order[k % 7]
        alters[step] = alters.get(step, 0) + (1 if fifths > 0 else -1)
    return tuple(alters.items())


def _settings(text: str) -> tuple[str, int, str]:
    """Clef, octave shift, and the text without them."""
    clef, octaves = "", 0
    for match in _SETTING.finditer(text):
        value = match.group(2).strip('"')
        if match.group(1) == "clef":
            clef = _clef(value)
        elif match.group(1) == "octave" and re.fullmatch(r"[+-]?\d", value):
            octaves += int(value)
    rest = _SETTING.sub(" ", text)
    if not clef:
        word = re.search(r"(?<!\S)" + _CLEF_WORD.pattern + r"(?!\S)", rest, re.IGNORECASE)
        if word is not None and word.group(0).lower() != "none":
            clef = _clef(word.group(0))
            rest = rest[: word.start()] + rest[word.end() :]
    return clef, octaves, rest


def _clef(value: str) -> str:
    match = _CLEF_WORD.match(value)
    if match is None:
        return _CLEF_LETTERS.get(value.lower(), "")
    name = match.group(1).lower()
    if name == "none":
        return ""
    if name == "perc":
        return "percussion"
    shifted = name + (match.group(2) or "")
    return shifted if shifted in CLEFS else name


def read_metre(text: str) -> WrittenMetre | None:
    """An M: field; None for free metre. Raises BadField."""
    text = text.strip()
    if text in ("C", "c"):
        return WrittenMetre(beats=(4,), beat_type=4, symbol="common")
    if text in ("C|", "c|"):
        return WrittenMetre(beats=(2,), beat_type=2, symbol="cut")
    if text in ("", "none"):
        return None
    match = re.fullmatch(r"\(?\s*(\d{1,2}(?:\s*[+ ]\s*\d{1,2})*)\s*\)?\s*/\s*(\d{1,3})", text)
    if match is None:
        raise BadField(f'the metre "{text}" is not known (write M:4/4, M:6/8 or M:none)')
    beats = tuple(int(beat) for beat in re.split(r"[+ ]+", re.sub(r"\s*\+\s*", "+", match.group(1))))
    beat_type = int(match.group(2))
    if min(beats) < 1 or sum(beats) > 64 or beat_type not in (1, 2, 4, 8, 16, 32, 64):
        raise BadField(f'the metre "{text}" has impossible numbers (1 to 64 beats over 1, 2, 4 … 64)')
    return WrittenMetre(beats=beats, beat_type=beat_type)


def read_length(text: str) -> Fraction:
    """An L: field in quarters. Raises BadField."""
    match = re.fullmatch(r"\s*(\d{1,3})\s*(?:/\s*(\d{1,3}))?\s*", text)
    if match is None or int(match.group(1)) == 0 or int(match.group(2) or 1) == 0:
        raise BadField(f'the note length "{text.strip()}" is not known (write L:1/8)')
    return 4 * Fraction(int(match.group(1)), int(match.group(2) or 1))


def default_length(metre: WrittenMetre | None) -> Fraction:
    """The unit note length in quarters where no L: says so: a 16th below 3/4, an eighth otherwise."""
    if metre is not None and metre.length_quarters < 3:
        return Fraction(1, 4)
    return Fraction(1, 2)


def read_tempo(text: str, *, unit_quarters: Fraction) -> WrittenTempo:
    """A Q: field. Raises BadField."""
    words = " ".join(re.findall(r'"([^"]*)"', text)).strip()
    rest = re.sub(r'"[^"]*"', " ", text).strip()
    if not rest:
        if not words:
            raise BadField("the tempo is empty (write Q:1/4=90)")
        return WrittenTempo(words=words)
    match = re.fullmatch(r"((?:\d{1,3}/\d{1,3}\s*)+)=\s*(\d{1,4}(?:\.\d{1,3})?)", rest)
    if match is not None:
        pairs = [part.split("/") for part in match.group(1).split()]
        if any(int(below) == 0 for _, below in pairs):
            raise BadField(f'the tempo "{rest}" is not known (write Q:1/4=90)')
        beat = sum((4 * Fraction(int(above), int(below)) for above, below in pairs), Fraction(0))
        count = Fraction(match.group(2))
    else:
        old = re.fullmatch(r"(?:C(\d{0,2})\s*=\s*)?(\d{1,4}(?:\.\d{1,3})?)", rest)
        if old is None:
            raise BadField(f'the tempo "{rest}" is not known (write Q:1/4=90)')
        beat = unit_quarters * int(old.group(1) or 1)
        count = Fraction(old.group(2))
    qpm = count * beat
    if not 1 <= qpm <= 2000:
        raise BadField(f'the tempo "{rest}" is out of reach (1 to 2000 quarters a minute)')
    return WrittenTempo(tempo_qpm=qpm, beat_quarters=beat, words=words)


def read_voice(text: str) -> ReadVoice:
    """A V: field: id first, then settings. Raises BadField."""
    parts = text.strip().split(None, 1)
    if not parts:
        raise BadField("the voice has no name (write V:1)")
    rest = parts[1] if len(parts) > 1 else ""
    values = {key: quoted or bare for key, quoted, bare in re.findall(r'(\w+)\s*=\s*(?:"([^"]*)"|([^\s"]+))', rest)}
    clef, octaves, _ = _settings(re.sub(r'(?:name|nm|subname|snm|sname)\s*=\s*"[^"]*"', " ", rest))
    return ReadVoice(
        id=parts[0],
        name=read_text(values.get("name") or values.get("nm") or ""),
        abbreviation=read_text(values.get("subname") or values.get("snm") or values.get("sname") or ""),
        clef=clef,
        octaves=octaves,
    )


_COMBINING = {"`": "\u0300", "'": "\u0301", "^": "\u0302", "~": "\u0303", '"': "\u0308", "c": "\u0327", ",": "\u0327"}
_COMBINING |= {"u": "\u0306", "v": "\u030c", "H": "\u030b", ";": "\u0328", "=": "\u0304"}
_WHOLE = {"AA": "Å", "aa": "å", "AE": "Æ", "ae": "æ", "OE": "Œ", "oe": "œ", "ss": "ß", "/O": "Ø", "/o": "ø"}
_WHOLE |= {"TH": "Þ", "th": "þ", "DH": "Ð", "dh": "ð"}
_ESCAPE = re.compile(r"\\(u[0-9a-fA-F]{4}|AA|aa|AE|ae|OE|oe|ss|/O|/o|TH|th|DH|dh|[`'^~\"c,uvH;=][A-Za-z]|[%\\&-])")


def read_text(text: str) -> str:
    """A text string with its accents, entities and escapes resolved.

    >>> read_text(r"Caf\\'e &amp; \\u00c9tude")
    'Café & Étude'
    """

    def resolve(match: re.Match[str]) -> str:
        code = match.group(1)
        if code[0] == "u" and len(code) == 5:
            character = chr(int(code[1:], 16))
            return "" if unicodedata.category(character) == "Cs" else character
        if code in _WHOLE:
            return _WHOLE[code]
        if len(code) == 2:
            return unicodedata.normalize("NFC", code[1] + _COMBINING[code[0]])
        return code

    return html.unescape(_ESCAPE.sub(resolve, text)).strip()
