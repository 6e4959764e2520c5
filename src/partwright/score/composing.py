"""From plain values to a MusicXML 4.0 tree: new music, as opposed to marks on a copy of a given tree.

Decides what a copyist decides: note values and ties for durations, accidentals from the key and the bar, beams by
metre, tuplet brackets, backups between voices. Deterministic: the same values give the same bytes.

>>> from fractions import Fraction
>>> from partwright.score.part import Pitch
>>> from partwright.score.written import WrittenBar, WrittenEvent, WrittenMetre, WrittenPart, WrittenScore
>>> note = WrittenEvent(duration_quarters=Fraction(4), pitches=(Pitch("D", 0, 3),))
>>> bar = WrittenBar(number="1", voices=((note,),), metre=WrittenMetre(), clef="bass")
>>> tree = compose_musicxml(WrittenScore(title="One note", parts=(WrittenPart(name="Cello", bars=(bar,)),)))
>>> tree.findtext(".//type")
'whole'
"""

from __future__ import annotations

from lxml import etree

from partwright.errors import ScoreError
from partwright.score.musicxml_elements import clean, sub
from partwright.score.part_writer import PartWriter
from partwright.score.written import WrittenPart, WrittenScore

__all__ = ["clef_for_range", "compose_musicxml"]


def compose_musicxml(score: WrittenScore) -> etree._ElementTree:
    """The MusicXML 4.0 tree (partwise) of a score.

    Ties are written only where the next event of the voice has the same pitch, slurs only where both ends exist.
    Raises ScoreError, with its bar, for a duration that no note values print or that needs more than
    MOST_DIVISIONS divisions of a quarter, and for a score without parts or bars.
    """
    if not score.parts or any(not part.bars for part in score.parts):
        raise ScoreError("the score has no bars", "Give every part at least one bar.")
    root = etree.Element("score-partwise", version="4.0")
    _write_header(root, score)
    part_list = sub(root, "part-list")
    for index, part in enumerate(score.parts, start=1):
        _write_score_part(part_list, part, f"P{index}")
    for index, part in enumerate(score.parts, start=1):
        PartWriter(part, f"P{index}").write(sub(root, "part", id=f"P{index}"))
    return etree.ElementTree(root)


def clef_for_range(midi_numbers: list[int]) -> str:
    """Treble or bass, whichever needs fewer ledger lines for these pitches (treble when they are equal or none)."""
    # Staves in MIDI numbers: treble E4..F5 = 64..77, bass G2..A3 = 43..57 (general music theory).
    treble = sum(max(64 - midi, midi - 77, 0) for midi in midi_numbers)
    bass = sum(max(43 - midi, midi - 57, 0) for midi in midi_numbers)
    return "bass" if bass < treble else "treble"


def _write_header(root: etree._Element, score: WrittenScore) -> None:
    if score.title:
        sub(sub(root, "work"), "work-title", score.title)
    if score.subtitle:
        sub(root, "movement-title", score.subtitle)
    identification = sub(root, "identification")
    for role, name in score.creators:
        sub(identification, "creator", name, type=clean(role))
    for text in score.rights:
        sub(identification, "rights", text)
    sub(sub(identification, "encoding"), "software", "partwright")
    if score.source:
        sub(identification, "source", score.source)
    if score.other:
        miscellaneous = sub(identification, "miscellaneous")
        for name, text in score.other:
            sub(miscellaneous, "miscellaneous-field", text, name=clean(name))


def _write_score_part(part_list: etree._Element, part: WrittenPart, part_id: str) -> None:
    entry = sub(part_list, "score-part", id=part_id)
    sub(entry, "part-name", part.name)
    if part.abbreviation:
        sub(entry, "part-abbreviation", part.abbreviation)
    if part.percussion:
        keys = sorted({p.midi for bar in part.bars for voice in bar.voices for e in voice for p in e.pitches})
        for key in keys:
            sub(sub(entry, "score-instrument", id=f"{part_id}-I{key}"), "instrument-name", f"Percussion key {key}")
        for key in keys:
            device = sub(entry, "midi-instrument", id=f"{part_id}-I{key}")
            sub(device, "midi-channel", "10")
            sub(device, "midi-unpitched", str(key + 1))
    elif part.midi_program is not None:
        sub(sub(entry, "score-instrument", id=f"{part_id}-I1"), "instrument-name", part.name or "Instrument")
        sub(sub(entry, "midi-instrument", id=f"{part_id}-I1"), "midi-program", str(part.midi_program + 1))
