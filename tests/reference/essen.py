"""Folk songs with phrase marks: the Essen collection as carried by music21's corpus (ABC files by Seymour Shlien).

In these files every line of a tune is one phrase of the original EsAC encoding (Schaffrath 1995, The Essen Folksong
Collection). Read here with the few signs those files use; checked against music21's own reader in
test_phrase_model.py. The data is not part of this repository.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from partwright.score import Bar, Note, Part, Pitch, TempoMark

__all__ = ["Song", "essen_folder", "is_test_song", "read_songs"]

_TOKEN = re.compile(r"(?P<bar>\|)|(?P<note>[_^=]*[A-Ga-gz][,']*)(?P<length>\d*(?:/\d*)?)(?P<tie>-?)|\((?P<tuplet>\d)|.")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True)
class Song:
    """One song: its part, and after which of its notes a phrase ends (the last note left out)."""

    name: str
    part: Part
    ends: frozenset[int]  # indices of notes as struck, ties joined


@dataclass
class _Struck:
    midi: int
    onset: Fraction
    length: Fraction
    line: int


def essen_folder() -> Path | None:
    """Where music21 keeps the collection; None where it is not installed."""
    import importlib.util

    found = importlib.util.find_spec("music21")
    if found is None or found.origin is None:
        return None
    folder = Path(found.origin).parent / "corpus" / "essenFolksong"
    return folder if folder.is_dir() else None


def is_test_song(name: str) -> bool:
    """A fixed half of the songs, told by their name's hash: never looked at when the weights were learnt."""
    return hashlib.sha256(name.encode()).digest()[0] % 2 == 1


def read_songs(folder: Path, *, files: Sequence[str] = ()) -> Iterator[Song]:
    """Every song with at least two phrases and one metre throughout (or none); of these files only, where named."""
    for path in sorted(folder.glob("*.abc")):
        if path.name.startswith("test") or (files and path.name not in files):
            continue
        for block in re.split(r"(?m)^(?=X:)", path.read_text(encoding="utf-8", errors="replace")):
            song = _song(path.stem, block)
            if song is not None:
                yield song


def _song(stem: str, block: str) -> Song | None:
    fields: dict[str, str] = {}
    body: list[str] = []
    for line in block.splitlines():
        if re.match(r"^[A-Za-z]:", line):
            fields.setdefault(line[0], line[2:].strip())
        elif line.strip() and not line.startswith("%") and "X" in fields:
            body.append(line)
    metre = re.match(r"^(\d+)/(\d+)$", fields.get("M", ""))
    unit = re.match(r"^1/(\d+)$", fields.get("L", "1/8"))
    free = fields.get("M", "").casefold() == "none"
    if len(body) < 2 or unit is None or (metre is None and not free):
        return None
    beats, beat_type = (int(metre[1]), int(metre[2])) if metre else (4, 4)
    read = _notes(body, Fraction(4, int(unit[1])), _signature(fields.get("K", "C")))
    if read is None:
        return None
    struck, bar_lines = read
    if len(struck) < 8:
        return None
    ends = frozenset(i for i in range(len(struck) - 1) if struck[i].line != struck[i + 1].line)
    name = f"{stem} {fields['X']}"
    return Song(name, _part(struck, bar_lines, Fraction(4 * beats, beat_type), beats, beat_type, not free), ends)


def _notes(body: list[str], unit: Fraction, signature: dict[str, int]) -> tuple[list[_Struck], list[Fraction]] | None:
    struck: list[_Struck] = []
    bar_lines: list[Fraction] = []
    now = Fraction(0)
    tied = False
    tuplet = 0
    for number, line in enumerate(body):
        for token in _TOKEN.finditer(line):
            if token["bar"]:
                bar_lines.append(now)
            elif token["tuplet"]:
                tuplet = int(token["tuplet"])
                if tuplet != 3:
                    return None
            elif token["note"]:
                length = _length(token["length"]) * unit
                if tuplet:
                    length *= Fraction(2, 3)
                    tuplet -= 1
                if token["note"][0] == "z":
                    now += length
                    tied = False
                    continue
                midi = _midi(token["note"], signature)
                if tied and struck and struck[-1].midi == midi:
                    struck[-1].length += length
                else:
                    struck.append(_Struck(midi, now, length, number))
                tied = bool(token["tie"])
                now += length
            elif not token[0].isspace():
                return None
        bar_lines.append(now)
    return struck, sorted(set(bar_lines))


def _length(text: str) -> Fraction:
    if "/" not in text:
        return Fraction(int(text)) if text else Fraction(1)
    above, below = text.split("/")
    return Fraction(int(above or 1), int(below or 2))


def _midi(text: str, signature: dict[str, int]) -> int:
    """The pitch with the key signature; accidentals hold for their own note (these files repeat them)."""
    letter = next(sign for sign in text if sign.isalpha())
    octave = (5 if letter.islower() else 4) + text.count("'") - text.count(",")
    plain = signature.get(letter.upper(), 0) if not re.match(r"[_^=]", text) else 0
    return 12 * (octave + 1) + _STEPS[letter.upper()] + plain + text.count("^") - text.count("_")


def _signature(key: str) -> dict[str, int]:
    """Sharps and flats of an ABC key as these files write it: a tonic, with m for minor."""
    tonic = key.removesuffix("m")
    fifths = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "F": -1, "Bb": -2, "Eb": -3, "Ab": -4, "Db": -5}
    count = fifths.get(tonic, 0) - (3 if key.endswith("m") else 0)
    return dict.fromkeys("FCGDAEB"[: max(0, count)], 1) | dict.fromkeys("BEADGCF"[: max(0, -count)], -1)


def _part(
    struck: list[_Struck], lines: list[Fraction], bar_length: Fraction, beats: int, beat_type: int, metred: bool
) -> Part:
    """Bars are counted in full from the first bar line; line ends inside a bar are not bar lines in these files."""
    end = struck[-1].onset + struck[-1].length
    first = next((line for line in lines if 0 < line < bar_length), Fraction(0)) if metred else Fraction(0)
    starts = [Fraction(0)] if first else []
    at = first
    while at < end:
        starts.append(at)
        at += bar_length
    bars = []
    for index, start in enumerate(starts):
        length = first if first and index == 0 else bar_length
        bars.append(
            Bar(
                index=index, number=str(index if first else index + 1), start_quarters=start, length_quarters=length,
                nominal_quarters=bar_length, beats=beats, beat_type=beat_type, metre_given=metred,
                pickup=bool(first) and index == 0,
                beat_offset_quarters=bar_length - first if first and index == 0 else Fraction(0),
            )
        )  # fmt: skip
    notes = []
    bar = 0
    for index, one in enumerate(struck):
        while bar + 1 < len(bars) and bars[bar + 1].start_quarters <= one.onset:
            bar += 1
        pitch = Pitch("C", one.midi - 60, 4)
        notes.append(
            Note(
                id=f"n{index}", index=index, onset_quarters=one.onset, duration_quarters=one.length, pitch=pitch,
                written_pitch=pitch, bar_index=bar, bar=bars[bar].number,
                beat=1 + (one.onset - bars[bar].start_quarters + bars[bar].beat_offset_quarters) * beat_type / 4,
            )
        )  # fmt: skip
    tempo = TempoMark(onset_quarters=Fraction(0), tempo_qpm=100, source="assumed")
    return Part(name="Song", part_id="P1", notes=tuple(notes), bars=tuple(bars), tempo_marks=(tempo,))
