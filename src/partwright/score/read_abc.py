"""Reads ABC, the plain-text notation folk tunes are kept in, and makes MusicXML of it once.

Source: the ABC music standard 2.1 (December 2011). What the standard leaves open, or what a file says wrongly, is
settled as docs/reading_abc_midi.md lists, and said in a remark with its line and column.

>>> converted = abc_to_musicxml("X:1\\nT:Two notes\\nL:1/4\\nK:D\\nuF vA |]", file="two.abc")
>>> [element.tag for element in converted.tree.iter("up-bow", "down-bow")]
['up-bow', 'down-bow']
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from partwright.errors import InputError, Place, ScoreError
from partwright.score.composing import compose_musicxml
from partwright.score.converted import Converted
from partwright.score.read_abc_fields import (
    BadField,
    ReadKey,
    ReadVoice,
    read_key,
    read_length,
    read_metre,
    read_tempo,
    read_text,
    read_voice,
)
from partwright.score.read_abc_lyrics import set_lyrics
from partwright.score.read_abc_tokens import BadMusic, Token, scan_music, strip_comment
from partwright.score.read_abc_voice import AbcVoice
from partwright.score.written import (
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenWords,
)

__all__ = ["AbcTune", "abc_to_musicxml", "abc_tunes", "decode_abc"]

_MOST_CHARACTERS = 20_000_000
_MOST_VOICES = 64
_FIELD = re.compile(r"([A-Za-z+]):(.*)", re.DOTALL)
_KEPT = {
    "A": "area",
    "B": "book",
    "D": "discography",
    "F": "file",
    "G": "group",
    "H": "history",
    "N": "notes",
    "O": "origin",
    "P": "parts",
    "R": "rhythm",
    "S": "source",
    "W": "words",
    "X": "reference-number",
    "Z": "transcription",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AbcTune:
    """One tune of a file: its number (X:), first title, and the lines it stands on (from 1)."""

    number: int
    title: str
    first_line: int
    lines: tuple[str, ...]


def decode_abc(data: bytes) -> tuple[str, tuple[str, ...]]:
    """The text of an ABC file and a remark if its encoding had to be assumed.

    UTF-8 (with or without a byte-order mark) as the standard says; Latin-1, the older custom, where that fails.
    """
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), ()
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        return data.decode("latin-1"), ("The file is not in UTF-8; it was read as Latin-1.",)


def abc_tunes(text: str) -> tuple[AbcTune, ...]:
    """The tunes of a file, in order. A text without any X: field is one tune, numbered 1."""
    lines = _lines(text)
    starts = [index for index, line in enumerate(lines) if re.match(r"X:\s*\d+", line)]
    if not starts:
        starts = [0] if any(re.match(r"K:", line) for line in lines) else []
    tunes: list[AbcTune] = []
    for position, start in enumerate(starts):
        end = starts[position + 1] if position + 1 < len(starts) else len(lines)
        part = lines[start:end]
        match = re.match(r"X:\s*(\d{1,9})", part[0])
        title = next((read_text(strip_comment(line[2:])) for line in part if line.startswith("T:")), "")
        tunes.append(
            AbcTune(number=int(match.group(1)) if match else 1, title=title, first_line=start + 1, lines=tuple(part))
        )
    return tuple(tunes)


def abc_to_musicxml(text: str, *, file: str, number: int | None = None) -> Converted:
    """One tune as MusicXML 4.0, with a remark for everything that was assumed or left out.

    `number` chooses a tune by its X: field where the file holds several. Each voice (V:) becomes a part.
    Raises InputError when a choice is needed (it lists the tunes), ScoreError with line and column otherwise.
    """
    if len(text) > _MOST_CHARACTERS:
        raise ScoreError("the text is longer than any tune book", "Split it.", place=Place(file=file))
    tunes = abc_tunes(text)
    tune = _chosen(tunes, number, file)
    reader = _TuneReader(file)
    first = tunes[0].first_line - 1
    if first and tune.first_line > 1:
        reader.read_file_header(_lines(text)[:first])
    return reader.read(tune)


def _lines(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _chosen(tunes: tuple[AbcTune, ...], number: int | None, file: str) -> AbcTune:
    place = Place(file=file)
    if not tunes:
        raise ScoreError("there is no tune in it", "An ABC tune begins with X: and has a K: line.", place=place)
    listed = ", ".join(f"{tune.number} {tune.title[:60] or '(no title)'}" for tune in tunes[:12])
    more = f" … and {len(tunes) - 12} more" if len(tunes) > 12 else ""
    if number is None:
        if len(tunes) == 1:
            return tunes[0]
        raise InputError(
            f"the file holds {len(tunes)} tunes: {listed}{more}", "Say the number of the one you mean.", place=place
        )
    found = next((tune for tune in tunes if tune.number == number), None)
    if found is None:
        raise InputError(f"there is no tune number {number}; it holds {listed}{more}", "Choose one.", place=place)
    return found


@dataclass(slots=True)
class _Remarks:
    """Remarks by kind: each is said once, with its first place and how often it holds."""

    file: str
    first: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, key: str, sentence: str, line: int, column: int) -> None:
        self.first.setdefault(key, (sentence, line, column))
        self.counts[key] = self.counts.get(key, 0) + 1

    def sentences(self) -> tuple[str, ...]:
        made = []
        for key, (sentence, line, column) in self.first.items():
            times = self.counts[key]
            often = f" ({times} times)" if times > 1 else ""
            made.append(f"{self.file}, line {line}, column {column}: {sentence}{often}.")
        return tuple(made)


class _TuneReader:
    """Reads the lines of one tune: fields set the scene, music lines go to the voice that is speaking."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.remarks = _Remarks(file)
        self.fields: list[tuple[str, str]] = []  # in order, for titles, credits and what is only kept
        self.key = ReadKey(key=WrittenKey(), alters=())
        self.metre: WrittenMetre | None = None
        self.unit: Fraction | None = None
        self.tempo_text: tuple[str, int] | None = None
        self.letters: dict[str, str] = {}
        self.macros: list[tuple[str, str]] = []
        self.propagate = "pitch"
        self.octaves = 0
        self.declared: dict[str, ReadVoice] = {}
        self.voices: dict[str, AbcVoice] = {}
        self.voice: AbcVoice | None = None
        self.in_body = False
        self.verse: dict[int, int] = {}
        self.lyric_text = ""
        self.continues = False

    # Lines

    def read_file_header(self, lines: list[str]) -> None:
        """Fields before the first tune hold for every tune (the standard's file header)."""
        for index, line in enumerate(lines, start=1):
            match = _FIELD.match(line)
            if match is not None and match.group(1) in "ABCDFGHILMmNORSUZ":
                self._field(match.group(1), match.group(2), index, 3)

    def read(self, tune: AbcTune) -> Converted:
        skipping = ""
        done = tune.first_line
        for offset, raw in enumerate(tune.lines):
            line = tune.first_line + offset
            done = line
            if raw.startswith("%%begin"):
                skipping = raw[7:].split()[0] if raw[7:].split() else "text"
            if skipping:
                if raw.startswith("%%end" + skipping):
                    skipping = ""
                continue
            if raw.startswith("%%"):
                self._directive(raw, line)
                continue
            if not raw.strip():
                if self.in_body:
                    self._end_early(tune.lines[offset:], line)
                    break
                continue
            stripped = strip_comment(self._without_mail(raw, line))
            if stripped.strip():
                self._line(stripped, line)
        if not self.in_body:
            raise ScoreError("the tune has no key", "Add a line K: after its header.", place=self._place(done))
        return self._finish(tune)

    def _end_early(self, rest: tuple[str, ...], line: int) -> None:
        """An empty line ends a tune (the standard, 2.2.1); music after it is not read, and that is said."""
        if any("|" in text and re.search(r"[A-Ga-g]", text) and not text.startswith("%") for text in rest):
            self.remarks.add("empty line", "an empty line ends the tune; the music after it was not read", line, 1)

    def _without_mail(self, text: str, line: int) -> str:
        """Tunes were passed on by mail for decades; its escapes (=20, =3D, = at the end) mean nothing in ABC."""
        if "=20" not in text and "=3D" not in text and not text.endswith("="):
            return text
        self.remarks.add("mail", "leftovers of mail transport (=20, =3D) were resolved", line, 1)
        return text.removesuffix("=").replace("=20", " ").replace("=3D", "=")

    def _place(self, line: int) -> Place:
        return Place(file=self.file, line=line)

    def _directive(self, raw: str, line: int) -> None:
        words = raw[2:].split()
        if words[:2] == ["MIDI", "transpose"] and len(words) > 2 and re.fullmatch(r"[+-]?\d{1,2}", words[2]):
            self._sounding_shift(int(words[2]), line)
        if len(words) == 2 and words[0] == "propagate-accidentals" and words[1] in ("not", "octave", "pitch"):
            self.propagate = words[1]
            for voice in self.voices.values():
                voice.pitches.propagate = words[1]

    def _sounding_shift(self, semitones: int, line: int) -> None:
        """A tune said to sound whole octaves away is taken to be meant there: its clef usually says the same."""
        if semitones % 12:
            self.remarks.add("transpose", f"a sounding transposition by {semitones} semitones was left out", line, 1)
            return
        self.octaves = semitones // 12
        for voice in self.voices.values():
            voice.pitches.octaves += self.octaves
        self.remarks.add("transpose", f"the notes were moved by {semitones} semitones, as the tune says", line, 1)

    def _line(self, text: str, line: int) -> None:
        match = _FIELD.match(text)
        if match is not None and self._is_field(match):
            letter, content = match.group(1), match.group(2)
            self._field(letter, content, line, 3)
            return
        if not self.in_body:
            self.remarks.add("header", "a line of the header is no field and was left out", line, 1)
            return
        self._music(text, line)

    def _is_field(self, match: re.Match[str]) -> bool:
        """A letter and a colon open a field, save where music can begin so ("A:|", "|:" never match)."""
        letter, content = match.groups()
        if not self.in_body:
            return True
        if content.startswith(("|", ":")):
            return False
        return letter not in "abcdefgvuxyz"

    # Fields

    def _field(self, letter: str, content: str, line: int, column: int) -> None:
        content = content if letter in "w+s" else content.strip()
        try:
            self._set_field(letter, content, line)
        except BadField as error:
            raise ScoreError(f"column {column}: {error}", "Correct the field.", place=self._place(line)) from error

    def _set_field(self, letter: str, content: str, line: int) -> None:
        match letter:
            case "K":
                self._key(content)
            case "M":
                metre = read_metre(content)
                if self.in_body:
                    self._speaker().set_metre(metre, line=line)
                else:
                    self.metre = metre
            case "L":
                unit = read_length(content)
                if self.in_body:
                    self._speaker().set_unit(unit)
                else:
                    self.unit = unit
            case "Q":
                if self.in_body:
                    self._tempo(content, line, self._speaker())
                else:
                    self.tempo_text = (content, line)
            case "V":
                self._voice(content, line)
            case "U":
                self._letter(content)
            case "m":
                name, _, value = content.partition("=")
                if name.strip() and value.strip():
                    if "n" in name:
                        self.remarks.add("macro", "a transposing macro (m:) is not carried out", line, 1)
                    else:
                        self.macros.append((name.strip(), value.strip()))
            case "P":
                if self.in_body:
                    self._speaker().add_words(WrittenWords(text=read_text(content), kind="rehearsal"))
                else:
                    self.fields.append((letter, content))
                    self.remarks.add(
                        "parts", f'the order of parts "{content}" is kept as a note; the bars stand as written', line, 1
                    )
            case "T" if self.in_body:
                self._speaker().add_words(WrittenWords(text=read_text(content)))
            case "I":
                words = content.split()
                if len(words) == 2 and words[0] == "propagate-accidentals":
                    self._directive("%%" + content, line)
            case "w":
                self._lyrics(content, line)
            case "+":
                self._continue(content, line)
            case "s" if self.in_body:
                self.remarks.add("symbols", "a line of symbols (s:) was left out", line, 1)
            case "r" | "E":
                pass
            case _:
                self.fields.append((letter, content))

    def _key(self, content: str) -> None:
        read = read_key(content)
        if self.in_body:
            self._speaker().set_key(read)
            return
        self.key = read
        self.in_body = True

    def _tempo(self, content: str, line: int, voice: AbcVoice) -> None:
        try:
            tempo = read_tempo(content, unit_quarters=voice.unit)
        except BadField as error:
            self.remarks.add(f"tempo {content}", f"{error}; it was left out", line, 1)
            return
        if tempo.tempo_qpm is not None and "=" not in content:
            self.remarks.add(
                "old tempo", "a tempo without a note value was read as unit note lengths a minute", line, 1
            )
        voice.set_tempo(tempo)

    def _letter(self, content: str) -> None:
        name, _, value = content.partition("=")
        name, value = name.strip(), value.strip()
        if len(name) == 1 and value:
            self.letters[name] = value.strip("!+")

    def _voice(self, content: str, line: int) -> None:
        read = read_voice(content)
        known = self.declared.get(read.id)
        if known is not None and not (read.name or read.clef or read.octaves):
            read = known
        self.declared[read.id] = read
        if len(self.declared) > _MOST_VOICES:
            raise ScoreError(f"there are more than {_MOST_VOICES} voices", "Split the tune.", place=self._place(line))
        if not self.in_body:
            return
        voice = self.voices.get(read.id)
        if voice is None:
            voice = self._new_voice(read)
        elif read.clef and read.clef != voice.pitches.clef:
            voice.set_clef(read.clef, read.octaves)
        self.voice = voice

    def _new_voice(self, read: ReadVoice) -> AbcVoice:
        key = ReadKey(
            key=self.key.key,
            alters=self.key.alters,
            clef=read.clef or self.key.clef,
            octaves=(read.octaves or self.key.octaves) + self.octaves,
        )
        voice = AbcVoice(
            key=key,
            metre=self.metre,
            unit=self.unit,
            remark=self.remarks.add,
            letters=self.letters,
            propagate=self.propagate,
        )
        voice.name, voice.abbreviation = read.name, read.abbreviation
        if self.tempo_text is not None and not self.voices:
            self._tempo(self.tempo_text[0], self.tempo_text[1], voice)
        self.voices[read.id] = voice
        return voice

    def _speaker(self) -> AbcVoice:
        if self.voice is None:
            first = next(iter(self.declared.values()), ReadVoice(id="1"))
            self.voice = self.voices.get(first.id) or self._new_voice(first)
        return self.voice

    # Music and words

    def _music(self, text: str, line: int) -> None:
        for name, value in self.macros:
            text = text.replace(name, value)
        if not self.continues:
            for voice in self.voices.values():
                voice.begin_line()
            self.verse.clear()
        self.lyric_text = ""
        self.continues = text.rstrip().endswith("\\")
        try:
            for token in scan_music(text):
                if token.kind == "field":
                    self._inline(token, line)
                else:
                    self._speaker().take(token, line)
            for voice in self.voices.values():
                self._check_closed(voice, line, len(text))
        except BadMusic as error:
            raise ScoreError(f"column {error.column}: {error.what}", error.todo, place=self._place(line)) from error

    def _check_closed(self, voice: AbcVoice, line: int, column: int) -> None:
        if voice.inside_group:
            raise BadMusic(column, "a chord or a group of grace notes is not closed on its line", "Close it.")

    def _inline(self, token: Token, line: int) -> None:
        letter, content = token.text[0], token.text[2:]
        if letter in "KMLQVPIUTNr":
            self._field(letter, content, line, token.column)

    def _lyrics(self, content: str, line: int) -> None:
        if self.voice is None:
            self.remarks.add("words", "words stand before any music and were left out", line, 1)
            return
        verse = self.verse.get(id(self.voice), 0) + 1
        self.verse[id(self.voice)] = verse
        self.lyric_text = content
        self._sing(verse, line)

    def _continue(self, content: str, line: int) -> None:
        verse = self.verse.get(id(self.voice), 0)
        if self.lyric_text and verse:  # no verse: another voice began in between
            self.lyric_text += " " + content
            self._sing(verse, line)
        elif self.fields and not self.in_body:
            letter, before = self.fields[-1]
            self.fields[-1] = (letter, f"{before} {content.strip()}")

    def _sing(self, verse: int, line: int) -> None:
        events = self._speaker().line_events
        for event in events:
            event.lyrics = [lyric for lyric in event.lyrics if lyric.verse != verse]
        left = set_lyrics(events, self.lyric_text, verse=verse)
        if left:
            self.remarks.add("syllables", "there are more syllables than notes; the rest was left out", line, 1)

    # Out

    def _finish(self, tune: AbcTune) -> Converted:
        self._speaker()
        for voice in self.voices.values():
            voice.finish()
        sounding = {name: voice for name, voice in self.voices.items() if voice.has_bars}
        place = self._place(tune.first_line)
        if not sounding:
            raise ScoreError("the tune has no notes", "Write them after its K: line.", place=place)
        if not any(voice.note_count for voice in sounding.values()):
            raise ScoreError("the tune has only rests", "Write notes after its K: line.", place=place)
        many = len(sounding) > 1
        bars = {name: voice.written_bars() for name, voice in sounding.items()}
        longest = max(len(written) for written in bars.values())
        parts = []
        for name, voice in sounding.items():
            written = bars[name]
            if len(written) < longest:
                self.remarks.add(
                    f"voice {name}", f"voice {name} has {len(written)} bars, another {longest}; rests were added",
                    tune.first_line, 1,
                )  # fmt: skip
                written = written + tuple(_rest_bar(bar) for bar in max(bars.values(), key=len)[len(written) :])
            parts.append(
                WrittenPart(
                    name=voice.name or (f"Voice {name}" if many else tune.title or "Tune"),
                    abbreviation=voice.abbreviation,
                    bars=written,
                )
            )
        if many:
            names = ", ".join(part.name for part in parts)
            self.remarks.add(
                "voices", f"the tune has {len(parts)} voices; each became a part: {names}", tune.first_line, 1
            )
        try:
            tree = compose_musicxml(self._score(tune, tuple(parts)))
        except ScoreError as error:
            raise error.at(Place(file=self.file)) from error
        return Converted(tree, self.remarks.sentences())

    def _score(self, tune: AbcTune, parts: tuple[WrittenPart, ...]) -> WrittenScore:
        titles: list[str] = []
        creators: list[tuple[str, str]] = []
        rights: list[str] = []
        other: list[tuple[str, str]] = []
        for letter, content in self.fields:
            text = read_text(content)
            if not text:
                continue
            if letter == "T":
                titles.append(text)
            elif letter == "C":
                creators.append(("composer", text))
            elif letter == "Z" and text.startswith("abc-copyright"):
                rights.append(text.removeprefix("abc-copyright").strip())
            elif letter == "Z":
                creators.append(("transcriber", text))
            elif letter in _KEPT:
                other.append((f"abc-{_KEPT[letter]}", text))
        source = next((text for name, text in other if name == "abc-source"), "")
        if len(titles) > 2:
            other += [("abc-title", text) for text in titles[2:]]
        return WrittenScore(
            title=titles[0] if titles else "",
            subtitle=titles[1] if len(titles) > 1 else "",
            creators=tuple(creators),
            rights=tuple(rights),
            source=source,
            other=tuple(other),
            parts=parts,
        )


def _rest_bar(like: WrittenBar) -> WrittenBar:
    rest = WrittenEvent(duration_quarters=like.length_quarters or Fraction(1))
    return WrittenBar(number=like.number, voices=((rest,),), implicit=like.implicit, metre=like.metre)
