"""What the tests of the composer and of the ABC and MIDI readers share. Reads trees by the MusicXML standard alone."""

from __future__ import annotations

import io
import random
import re
import warnings
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
from lxml import etree

from conftest import shared_folder

SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

Sound = tuple[Fraction, Fraction, int]
"""Onset and duration in quarters, MIDI number."""


def schema() -> etree.XMLSchema:
    """The MusicXML 4.0 schema; its two imports lie beside it, nothing is fetched."""
    folder = shared_folder() / "data" / "musicxml-4.0-xsd"

    class Beside(etree.Resolver):
        def resolve(self, url, public_id, context):  # type: ignore[no-untyped-def]
            name = url.rsplit("/", 1)[-1]
            return self.resolve_filename(str(folder / name), context) if name in ("xml.xsd", "xlink.xsd") else None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Beside())
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd"), parser))


def sounds(tree: etree._ElementTree, *, part: int = 0, join_ties: bool = True) -> list[Sound]:
    """What a tree sounds, grace notes left out, by divisions, durations, backups and ties alone."""
    found: list[Sound] = []
    held: dict[int, int] = {}
    start = Fraction(0)
    divisions = 1
    for measure in tree.getroot().findall("part")[part].findall("measure"):
        position = before = reach = Fraction(0)
        for element in measure:
            if element.tag == "attributes":
                divisions = int(element.findtext("divisions", str(divisions)))
            if element.tag not in ("backup", "forward", "note") or element.find("grace") is not None:
                continue
            lasts = Fraction(int(element.findtext("duration", "")), divisions)
            if element.tag == "backup":
                position -= lasts
                continue
            if element.find("chord") is None:
                before = position
                position += lasts
            reach = max(reach, position)
            pitch = element.find("pitch")
            if pitch is None:
                continue
            midi = midi_of(pitch)
            ties = {tie.get("type") for tie in element.findall("tie")}
            if join_ties and "stop" in ties and midi in held:
                index = held.pop(midi)
                onset, duration, _ = found[index]
                found[index] = (onset, duration + lasts, midi)
            else:
                index = len(found)
                found.append((start + before, lasts, midi))
            if "start" in ties:
                held[midi] = index
        start += reach
    return sorted(found)


def midi_of(pitch: etree._Element) -> int:
    alter = int(float(pitch.findtext("alter", "0")))
    return SEMITONES[pitch.findtext("step", "")] + alter + 12 * (int(pitch.findtext("octave", "")) + 1)


def corpus_folder() -> Path:
    """The music21 corpus of open scores (BSD; the scores' own licences are in it)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import corpus
    return Path(corpus.__file__).parent


def corpus_abc(folders: Sequence[str], *, count: int, seed: int) -> list[tuple[str, str]]:
    """`count` ABC tunes drawn from the corpus: (file and number, text of the tune)."""
    from partwright.score.read_abc import abc_tunes, decode_abc

    rng = random.Random(seed)
    drawn: list[tuple[str, str]] = []
    files = [path for folder in folders for path in sorted((corpus_folder() / folder).glob("*.abc"))]
    while len(drawn) < count:
        path = rng.choice(files)
        tunes = abc_tunes(decode_abc(path.read_bytes())[0])
        tune = rng.choice(tunes)
        drawn.append((f"{path.name} {tune.number}", "\n".join(tune.lines) + "\n"))
    return drawn


def library_score(text: str) -> Any:
    """An ABC text as the reference library reads it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import converter

        return converter.parse(text, format="abc")


def library_sounds(score: Any) -> list[Sound]:
    """The first part of a score of the reference library, ties joined, grace notes and chord symbols left out."""
    part = score.parts[0] if score.parts else score
    found: list[Sound] = []
    for note in part.stripTies().flatten().notes:
        if note.duration.isGrace or type(note).__name__ == "ChordSymbol":
            continue
        onset = Fraction(note.offset).limit_denominator(960)
        lasts = Fraction(note.quarterLength).limit_denominator(960)
        found += [(onset, lasts, int(pitch.midi)) for pitch in note.pitches]
    return sorted(found)


def without_signs(text: str, *, ties: bool = True) -> str:
    """An ABC text with what the reference library stumbles over taken out, none of which changes a pitch or a length.

    Quotations and decorations between a broken-rhythm sign and its note, slurs there, a note letter before a colon
    (read as a field), leftovers of old mail (=20, =3D). The version line makes it carry accidentals through the bar.
    """
    lines = ["%abc-2.1"]
    for line in text.split("\n"):
        line = line.removesuffix("=").replace("=20", " ").replace("=3D", "=")
        if re.match(r"[A-Za-z]:(?![|:])", line) or line.startswith("%%"):
            lines.append(line)
            continue
        line = line.split("%")[0]
        line = re.sub(r'"[^"]*"|![^!]*!|\{[^}]*\}', "", line)
        if not re.search(r"\[[A-Z]:", line):
            line = re.sub(r"[.~HIJKLMNOPQRSTUVWhijklmnopqrstuvwy](?=[^:])", "", line)
        line = re.sub(r"(?<=[^|: ])(:+[|:])", r" \1", line)
        line = re.sub(r"\((?!\d)|\)", "", line)
        lines.append(line if ties else line.replace("-", ""))
    return "\n".join(lines) + "\n"


def midi_bytes(
    notes: Sequence[tuple[float, float, int]],
    *,
    metre: tuple[int, int] | None = (4, 4),
    ticks: int = 480,
    extra: Sequence[mido.MetaMessage] = (),
    kind: int = 1,
) -> bytes:
    """A MIDI file of one track from (onset, end, MIDI number) in quarters."""
    events: list[tuple[float, int, Any]] = []
    for onset, end, midi in notes:
        events.append((onset, 1, mido.Message("note_on", note=midi, velocity=64)))
        events.append((end, 0, mido.Message("note_off", note=midi)))
    track = mido.MidiTrack()
    if metre is not None:
        track.append(mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1]))
    track.extend(extra)
    now = 0
    for time, _, message in sorted(events, key=lambda event: (round(event[0] * ticks), event[1])):
        tick = max(round(time * ticks), 0)
        track.append(message.copy(time=tick - now))
        now = tick
    return saved(mido.MidiFile(type=kind, ticks_per_beat=ticks, tracks=[track]))


def saved(midi: mido.MidiFile) -> bytes:
    stream = io.BytesIO()
    midi.save(file=stream)
    return stream.getvalue()


def humanised(data: bytes, *, seed: int, sigma_quarters: float) -> bytes:
    """The same file with every key press and release moved by a normal deviate."""
    rng = random.Random(seed)
    midi = mido.MidiFile(file=io.BytesIO(data))
    made = mido.MidiFile(type=midi.type, ticks_per_beat=midi.ticks_per_beat)
    for track in midi.tracks:
        events = list(_moved(track, rng, sigma_quarters * midi.ticks_per_beat))
        last = max(tick for tick, _ in events)
        events = [(last if message.type == "end_of_track" else tick, message) for tick, message in events]
        events.sort(key=lambda event: event[0])
        moved = mido.MidiTrack()
        now = 0
        for tick, message in events:
            moved.append(message.copy(time=tick - now))
            now = tick
        made.tracks.append(moved)
    return saved(made)


def _moved(track: mido.MidiTrack, rng: random.Random, sigma_ticks: float) -> Iterator[tuple[int, Any]]:
    tick = 0
    for message in track:
        tick += message.time
        played = message.type in ("note_on", "note_off")
        yield max(0, round(tick + rng.gauss(0, sigma_ticks))) if played else tick, message
