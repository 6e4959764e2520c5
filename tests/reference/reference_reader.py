"""How the reference library (music21) reads a MusicXML file, brought into our terms bar by bar.

Only for tests. What is compared: the bar, the onset in it, the duration and the sounding pitch of every printed,
pitched note; and how long every bar lasts.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from lxml import etree

from partwright.score.measures import score_parts
from partwright.score.part import Part
from partwright.score.read_mxl import is_zip, open_mxl

__all__ = ["ReadNote", "ReferencePart", "notes_of", "reference_parts"]

_FINEST = 10080  # the library keeps odd durations as floats: compare in this many parts of a quarter note

ReadNote = tuple[int, Fraction, Fraction, str, float, int]
"""Bar index, onset in the bar, duration (both in quarters), step, alteration, octave."""


@dataclass(frozen=True)
class ReferencePart:
    """One part as the reference library has it."""

    notes: tuple[ReadNote, ...]
    onsets: tuple[Fraction, ...]  # from the start of the piece, as the library counts
    own_reach: tuple[Fraction, ...]  # how far the notes and rests of this part reach in each bar
    longest_reach: tuple[Fraction, ...]  # the same of whichever part reaches furthest
    in_step: bool  # whether the library lets every bar begin at one time in all parts


def notes_of(part: Part) -> tuple[ReadNote, ...]:
    """Our part in the same terms, sorted."""
    return tuple(
        sorted(
            (
                note.bar_index,
                (note.onset_quarters - part.bars[note.bar_index].start_quarters).limit_denominator(_FINEST),
                note.duration_quarters.limit_denominator(_FINEST),
                note.pitch.step,
                float(note.pitch.alter),
                note.pitch.octave,
            )
            for note in part.notes
        )
    )


def reference_parts(path: Path) -> tuple[ReferencePart, ...]:
    """Every part of a file, the staves of one part together, in the order of the file.

    The library makes one part of each staff; the file says how many staves a part has.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import converter

        score = converter.parse(str(path), forceSource=True).toSoundingPitch()
    streams = list(score.parts)
    groups = []
    for staves in _staves(path):
        groups.append(streams[:staves])
        streams = streams[staves:]
    reaches = [[_bar_ends(stream) for stream in group] for group in groups]
    longest = _longest([reach for group in reaches for reach in group])
    starts = {tuple(m.offset for m in stream.getElementsByClass("Measure")) for group in groups for stream in group}
    return tuple(
        _part(group, _longest(reach), longest, len(starts) == 1) for group, reach in zip(groups, reaches, strict=True)
    )


def _longest(reaches: Sequence[Sequence[Fraction]]) -> tuple[Fraction, ...]:
    return tuple(max(of_bar) for of_bar in zip(*reaches, strict=False))


def _part(
    group: Sequence[object], own: tuple[Fraction, ...], longest: tuple[Fraction, ...], in_step: bool
) -> ReferencePart:
    found = [pair for stream in group for pair in _notes(stream)]
    return ReferencePart(
        notes=tuple(sorted(note for _, note in found)),
        onsets=tuple(sorted(onset for onset, _ in found)),
        own_reach=own,
        longest_reach=longest,
        in_step=in_step,
    )


def _staves(path: Path) -> list[int]:
    data = path.read_bytes()
    if is_zip(data):
        data = open_mxl(data, file=path.name).data
    root = etree.fromstring(data, etree.XMLParser(load_dtd=False, no_network=True, resolve_entities=False))
    return [
        max([1, *(int(e.text or 1) for measure in part.measures for e in measure.content.iter("staves"))])
        for part in score_parts(root)
    ]


def _notes(stream: object) -> list[tuple[Fraction, ReadNote]]:
    from music21 import harmony, note

    found = []
    for index, measure in enumerate(stream.getElementsByClass("Measure")):  # type: ignore[attr-defined]
        flat = measure.flatten()
        for element in flat.notes:
            if isinstance(element, (harmony.Harmony, note.Unpitched)):
                continue
            for single in getattr(element, "notes", (element,)):
                if not hasattr(single, "pitch") or single.style.hideObjectOnPrint or element.style.hideObjectOnPrint:
                    continue
                onset = flat.elementOffset(element)
                length = Fraction(0) if element.duration.isGrace else _exact(element.duration.quarterLength)
                pitch = single.pitch
                read = (index, _exact(onset), length, pitch.step, float(pitch.alter), pitch.octave)
                found.append((_exact(measure.offset + onset), read))
    return found


def _bar_ends(stream: object) -> list[Fraction]:
    """How far the notes and rests of each bar reach."""
    ends = []
    for measure in stream.getElementsByClass("Measure"):  # type: ignore[attr-defined]
        flat = measure.flatten()
        ends.append(
            max(
                (
                    _exact(flat.elementOffset(e) + e.duration.quarterLength)
                    for e in flat.notesAndRests
                    if not e.style.hideObjectOnPrint
                ),
                default=Fraction(0),
            )
        )
    return ends


def _exact(value: float | Fraction) -> Fraction:
    return Fraction(value).limit_denominator(_FINEST)
