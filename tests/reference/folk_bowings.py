"""Printed bow marks of open folk-tune collections, read from ABC into `Part`s.

Source of the tunes: the ABC files that the library music21 carries (its folder `corpus`: Ryan's Mammoth
Collection of 1883, O'Neill's of 1850 tunes, Aird's Airs). The library's own converter drops bow marks, so this
small reader takes them itself.
Source of the notation: the ABC standard 2.1, sections 4.1-4.20 (`u` up-bow, `v` down-bow before a note).
Only what bowing needs is read: pitch, length, ties, slurs, chords, tuplets, repeats, endings, staccato dots.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from partwright.score import Bar, Note, Part, Pitch, TempoMark

__all__ = ["FolkTune", "alternating", "corpus_folder", "corpus_tunes", "read_tunes", "unseen"]

_SHARPS = "FCGDAEB"
_MAJOR = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "C#": 7, "F": -1, "Bb": -2, "Eb": -3, "Ab": -4,
          "Db": -5, "Gb": -6, "Cb": -7}  # fmt: skip
_MODE = {"maj": 0, "": 0, "ion": 0, "mix": -1, "dor": -2, "m": -3, "min": -3, "aeo": -3, "phr": -4, "loc": -5, "lyd": 1}
_ACCIDENTAL = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
_TOKEN = re.compile(
    r"""(?P<field>\[[A-Za-z]:[^\]]*\])
    |(?P<quote>"[^"]*")
    |(?P<deco>![^!\n]*!|\+[^+\n]*\+)
    |(?P<grace>\{[^}]*\})
    |(?P<bar>:+\|*\[?[0-9]?(?:[,-][0-9])*|\[\|\]?|\|+[\]:]*\[?[0-9]?(?:[,-][0-9])*|\[[0-9](?:[,-][0-9])*)
    |(?P<tuplet>\((?P<p>[2-9])(?::(?P<q>[2-9]?))?(?::(?P<r>[2-9]?))?(?=[\s"!+{.~H-Wh-w\[(^_=A-Ga-gz]))
    |(?P<open>\()|(?P<close>\))
    |(?P<chord>\[[^\]|:]*\][0-9/]*)
    |(?P<note>(?:\^\^|\^|__|_|=)?[A-Ga-g][,']*[0-9/]*)
    |(?P<rest>[zxZ][0-9/]*)
    |(?P<tie>-)|(?P<broken>[<>]+)
    |(?P<mark>[uv.~HLMOPST])
    |(?P<other>.)""",
    re.VERBOSE | re.DOTALL,
)
_NOTE = re.compile(r"(\^\^|\^|__|_|=)?([A-Ga-g])([,']*)([0-9/]*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class FolkTune:
    """One tune: where it comes from, its printed bow marks by note id, and the part without them."""

    key: str  # collection, number and title
    part: Part
    printed: tuple[tuple[str, str], ...]  # note id, "down" or "up"
    fingers: tuple[tuple[str, int], ...] = ()  # note id, printed finger 0..4


def corpus_folder() -> Path | None:
    """The folder of tunes inside the installed library; None where it is not installed."""
    from importlib.util import find_spec

    spec = find_spec("music21")
    return Path(spec.origin).parent / "corpus" if spec and spec.origin else None


def corpus_tunes(folder: Path) -> Iterator[FolkTune]:
    """All tunes of the three fiddle collections that print at least one bow mark."""
    for collection in ("airdsAirs", "oneills1850", "ryansMammoth"):
        for path in sorted((folder / collection).glob("*.abc")):
            text = path.read_text(encoding="utf-8", errors="replace")
            for tune in read_tunes(text, collection, marked_only=True):
                if tune.printed:
                    yield tune


def unseen(tune: FolkTune) -> bool:
    """True for the third of the tunes that was never used for choosing weights: by a hash of number and title."""
    return hashlib.sha256(tune.key.encode()).digest()[0] % 3 == 0


def alternating(part: Part, *, by_bar: bool) -> dict[str, str]:
    """The baselines: down (an upbeat up), then alternate, a slur or tie is one stroke; by bar, or carried on.

    With `by_bar`, a short bar begins up like an upbeat.
    """
    directions: dict[str, str] = {}
    down = False
    joined = False
    bar = -1
    for note in part.notes:
        if not note.chord and not joined and note.tied_from is None:
            anew = not directions or (by_bar and note.bar_index != bar)
            short = part.bars[note.bar_index].length_quarters < part.bars[note.bar_index].nominal_quarters
            down = not short if anew else not down
            bar = note.bar_index
        directions[note.id] = "down" if down else "up"
        joined = note.slurred_to_next
    return directions


def read_tunes(text: str, collection: str, *, marked_only: bool = False) -> Iterator[FolkTune]:
    """Each tune of an ABC file; with `marked_only`, only those in which a bow mark may stand."""
    for block in re.split(r"(?m)^(?=X:)", text):
        music = re.sub(r'(?m)^[A-Za-z]:.*$|^%.*$|"[^"]*"', "", block)
        if block.startswith("X:") and (not marked_only or re.search("[uv]", music)):
            tune = _read_tune(block, collection)
            if tune is not None:
                yield tune


def _read_tune(block: str, collection: str) -> FolkTune | None:
    fields: dict[str, str] = {}
    music: list[str] = []
    in_music = False
    for line in block.splitlines():
        line = line.rstrip()
        head = re.match(r"([A-Za-z]):(.*)", line)
        if line.startswith("%"):
            continue
        if head and (not in_music or head[1] not in "|"):
            letter, value = head[1], head[2].split("%")[0].strip()
            if not in_music:
                fields.setdefault(letter, value)
            elif letter in "KMLV":
                music.append(f"[{letter}:{value}]")
            in_music = in_music or letter == "K"
            continue
        if in_music:
            body = line.split("%")[0]
            music.append(body[:-1] if body.endswith("\\") else body)
    reader = _Reader(fields)
    reader.read("\n".join(music))
    if not reader.notes:
        return None
    number, title = fields.get("X", ""), fields.get("T", "")
    return FolkTune(
        key=f"{collection}|{number}|{title}",
        part=reader.part(title),
        printed=tuple(reader.printed),
        fingers=tuple(reader.fingers),
    )


def _length(text: str) -> Fraction:
    if not text:
        return Fraction(1)
    if "/" not in text:
        return Fraction(int(text))
    top, *rest = text.split("/")
    value = Fraction(int(top) if top else 1)
    for bottom in rest:
        value /= int(bottom) if bottom else 2
    return value


def _fifths(text: str) -> int:
    found = re.match(r"\s*([A-G])([#b]?)\s*([A-Za-z]*)", text)
    if not found:
        return 0
    mode = found[3].casefold()[:3]
    return _MAJOR[found[1] + found[2]] + _MODE.get("m" if mode == "m" else mode, 0)


class _Reader:
    """What is known while going through a tune from left to right."""

    def __init__(self, fields: dict[str, str]) -> None:
        self.notes: list[Note] = []
        self.bars: list[Bar] = []
        self.printed: list[tuple[str, str]] = []
        self.fingers: list[tuple[str, int]] = []
        self.pending_finger: int | None = None
        self.beats, self.beat_type = 4, 4
        self._metre(fields.get("M", "C"))
        nominal = Fraction(self.beats, self.beat_type)
        self.unit = Fraction(1, 16) if nominal < Fraction(3, 4) else Fraction(1, 8)
        if "L" in fields:
            self.unit = Fraction(fields["L"].strip())
        self.fifths = _fifths(fields.get("K", "C"))
        self.clock = self.bar_start = Fraction(0)
        self.accidentals: dict[tuple[str, int], int] = {}
        self.slurs: list[str] = []
        self.slur_count = 0
        self.pending_slurs: list[str] = []
        self.pending_bow = ""
        self.dots = False
        self.accent = self.fermata = False
        self.tie_from: list[int] = []
        self.tuplet: tuple[int, Fraction, int, int] | None = None
        self.broken = Fraction(1)
        self.last_event: list[int] = []
        self.repeat_start = False
        self.endings: tuple[int, ...] = ()
        self.ending_starts = False
        self.tempo = fields.get("Q", "")
        self.rhythm = fields.get("R", "")

    def _metre(self, text: str) -> None:
        text = text.strip()
        if text in ("C", "C|"):
            self.beats, self.beat_type = (4, 4) if text == "C" else (2, 2)
        elif found := re.match(r"(\d+)/(\d+)", text):
            self.beats, self.beat_type = int(found[1]), int(found[2])

    def read(self, text: str) -> None:
        for token in _TOKEN.finditer(text):
            kind, word = token.lastgroup, token[0]
            if token["tuplet"]:
                kind = "tuplet"
            if kind == "tuplet":
                p = int(token["p"])
                q = int(token["q"]) if token["q"] else {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(p, 2)
                r = int(token["r"]) if token["r"] else p
                self.tuplet = (r, Fraction(q, p), p, q)
            elif kind in ("note", "chord"):
                self._event(word, chord=kind == "chord")
            elif kind == "quote":
                self.pending_finger = int(word[1]) if re.fullmatch('"[0-4]"', word) else None
            elif kind == "grace":
                self.pending_finger = None  # it belongs to the grace note, which is left out
            elif kind == "rest":
                length = _length(word[1:]) * self.unit * 4 * self._tuplet() * self.broken
                if word[0] == "Z":
                    length = Fraction(4 * self.beats, self.beat_type)
                self.broken = Fraction(1)
                self.clock += length
                self.last_event = []
            elif kind == "broken":
                self._broken(word)
            elif kind == "mark":
                if word in "uv":
                    self.pending_bow = "up" if word == "u" else "down"
                elif word == ".":
                    self.dots = True
                elif word == "L":
                    self.accent = True
                elif word == "H":
                    self.fermata = True
            elif kind == "open":
                self.slur_count += 1
                self.pending_slurs.append(f"slur{self.slur_count}")
            elif kind == "close":
                if self.slurs and self.last_event:
                    name = self.slurs.pop()
                    first = self.last_event[0]
                    self.notes[first] = replace(self.notes[first], slur_stops=(*self.notes[first].slur_stops, name))
                elif self.pending_slurs:
                    self.pending_slurs.pop()
            elif kind == "tie":
                self.tie_from = list(self.last_event)
            elif kind == "bar":
                self._bar(word)
            elif kind == "field":
                if word[1] == "K":
                    self.fifths = _fifths(word[3:-1])
                elif word[1] == "M":
                    self._metre(word[3:-1])
                elif word[1] == "L":
                    self.unit = Fraction(word[3:-1].strip())
        self._bar("|")

    def _tuplet(self) -> Fraction:
        if self.tuplet is None:
            return Fraction(1)
        left, ratio, p, q = self.tuplet
        self.tuplet = (left - 1, ratio, p, q) if left > 1 else None
        return ratio

    def _broken(self, word: str) -> None:
        share = Fraction(1, 2 ** len(word))
        first, second = (2 - share, share) if word[0] == ">" else (share, 2 - share)
        for index in self.last_event:
            note = self.notes[index]
            longer = note.duration_quarters * first
            self.notes[index] = replace(note, duration_quarters=longer)
        if self.last_event:
            note = self.notes[self.last_event[0]]
            self.clock = note.end_quarters
        self.broken = second

    def _event(self, word: str, *, chord: bool) -> None:
        inner = word[1 : word.index("]")] if chord else word
        outer = _length(word[word.index("]") + 1 :]) if chord else Fraction(1)
        scale = self.unit * 4 * self._tuplet() * self.broken * outer
        self.broken = Fraction(1)
        event: list[int] = []
        base = Fraction(4, self.beat_type)
        started = tuple(self.pending_slurs)
        length = Fraction(0)
        for found in _NOTE.finditer(inner):
            pitch = self._pitch(found)
            index = len(self.notes)
            if not event:
                length = _length(found[4]) * scale
            tied = next((i for i in self.tie_from if self.notes[i].pitch.midi == pitch.midi), None)
            articulations = frozenset(name for name, on in (("staccato", self.dots), ("accent", self.accent)) if on)
            self.notes.append(
                Note(
                    id=f"n{index}",
                    index=index,
                    onset_quarters=self.clock,
                    duration_quarters=length,
                    pitch=pitch,
                    written_pitch=pitch,
                    bar_index=len(self.bars),
                    bar=str(len(self.bars) + 1),
                    beat=1 + (self.clock - self.bar_start) / base,
                    chord=bool(event),
                    tied_from=None if tied is None else f"n{tied}",
                    slur_starts=started if not event else (),
                    articulations=articulations,
                    fermata=self.fermata,
                )
            )
            if tied is not None:
                self.notes[tied] = replace(self.notes[tied], tied_to=f"n{index}")
            event.append(index)
        if not event:
            return
        if self.pending_bow:
            self.printed.append((f"n{event[0]}", self.pending_bow))
        if self.pending_finger is not None and not chord:
            self.fingers.append((f"n{event[0]}", self.pending_finger))
        self.pending_finger = None
        self.slurs += self.pending_slurs
        self.pending_slurs, self.pending_bow, self.dots = [], "", False
        self.accent = self.fermata = False
        self.tie_from = []
        self.last_event = event
        self.clock += length

    def _pitch(self, found: re.Match[str]) -> Pitch:
        letter = found[2].upper()
        octave = 4 + (found[2] != letter) - found[3].count(",") + found[3].count("'")
        if found[1]:
            self.accidentals[letter, octave] = _ACCIDENTAL[found[1]]
        alter = self.accidentals.get((letter, octave))
        if alter is None:
            place = _SHARPS.index(letter)
            alter = 1 if place < self.fifths else (-1 if 6 - place < -self.fifths else 0)
        return Pitch(letter, alter, octave)

    def _bar(self, word: str) -> None:
        digits = re.search(r"[0-9][0-9,-]*$", word)
        sign = word[: digits.start()] if digits else word
        length = self.clock - self.bar_start
        ends = sign.startswith(":")
        if length > 0:
            nominal = Fraction(4 * self.beats, self.beat_type)
            self.bars.append(
                Bar(
                    index=len(self.bars),
                    number=str(len(self.bars) + 1),
                    start_quarters=self.bar_start,
                    length_quarters=length,
                    nominal_quarters=nominal,
                    beats=self.beats,
                    beat_type=self.beat_type,
                    fifths=self.fifths,
                    pickup=not self.bars and length < nominal,
                    repeat_start=self.repeat_start,
                    repeat_end=ends,
                    endings=self.endings,
                    ending_starts=self.ending_starts,
                    double_bar=sign.startswith("||") or "]" in sign or ends,
                )
            )
            self.repeat_start = self.ending_starts = False
            self.bar_start = self.clock
            self.accidentals = {}
        elif ends and self.bars:
            self.bars[-1] = replace(self.bars[-1], repeat_end=True, double_bar=True)
        if sign.endswith(":") and (len(sign) > 1 and ("|" in sign or sign == "::")):
            self.repeat_start = True
            self.endings = ()
        if ends or sign.startswith("||") or "]" in sign:
            if self.endings and self.bars:
                self.bars[-1] = replace(self.bars[-1], ending_stops=True)
            self.endings = ()
        if digits:
            passes = tuple(int(n) for n in re.findall(r"[0-9]", digits[0]))
            if self.endings and self.bars:
                self.bars[-1] = replace(self.bars[-1], ending_stops=True)
            self.endings, self.ending_starts = passes, True

    def part(self, title: str) -> Part:
        open_slurs: set[str] = set()
        notes = []
        stops = {name for note in self.notes for name in note.slur_stops}
        for note in self.notes:
            started = tuple(name for name in note.slur_starts if name in stops)
            open_slurs |= set(started)
            open_slurs -= set(note.slur_stops)
            notes.append(replace(note, slur_starts=started, slurred_to_next=bool(open_slurs)))
        return Part(
            name=title,
            part_id="P1",
            notes=tuple(notes),
            bars=tuple(self.bars),
            tempo_marks=(TempoMark(onset_quarters=Fraction(0), tempo_qpm=_tempo(self.rhythm), source="assumed"),),
        )


def _tempo(rhythm: str) -> float:
    """A usual dance tempo in quarters per minute where the collection prints none; common practice, no source."""
    rhythm = rhythm.casefold()
    for name, qpm in (("reel", 200.0), ("hornpipe", 160.0), ("jig", 168.0), ("strathspey", 120.0), ("clog", 140.0)):
        if name in rhythm:
            return qpm
    return 144.0
