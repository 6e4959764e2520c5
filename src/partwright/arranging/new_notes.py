"""New notes in the tune's bars: from (onset, end, pitch) to a part with the same bars, repeats and tempo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from partwright.score import Direction, Note, Part, Pitch

__all__ = ["part_of_sounds", "with_notes"]

Sound = tuple[Fraction, Fraction, Pitch]


def part_of_sounds(part: Part, sounds: Sequence[Sound], *, name: str, octaves_written: int | None = None) -> Part:
    """A part with these notes in the bars of `part`; dynamics are the tune's. A note over a bar line is tied.

    Chord symbols stay with the tune. `octaves_written`: how many octaves above its sound it is printed.
    """
    up = -part.transpose_semitones // 12 if octaves_written is None else octaves_written
    notes: list[Note] = []
    for start, end, pitch in sorted(sounds, key=lambda sound: (sound[0], sound[2].midi)):
        before: Note | None = None
        for bar in part.bars:
            one, two = max(start, bar.start_quarters), min(end, bar.end_quarters)
            if one >= two:
                continue
            chord = bool(notes) and notes[-1].onset_quarters == one
            note = Note(
                id=f"w{len(notes)}", index=len(notes), onset_quarters=one, duration_quarters=two - one, pitch=pitch,
                written_pitch=replace(pitch, octave=pitch.octave + up), bar_index=bar.index, bar=bar.number,
                beat=1 + (one - bar.start_quarters + bar.beat_offset_quarters) * bar.beat_type / 4,
                chord=chord, tied_from=before.id if before else None,
            )  # fmt: skip
            if before is not None:
                notes[before.index] = replace(before, tied_to=note.id)
            notes.append(note)
            before = note
    kept = tuple(d for d in part.directions if _for_everyone(d))
    return replace(
        part, name=name, part_id="", notes=tuple(notes), chord_symbols=(), directions=kept, remarks=(), loose_ends=()
    )


def _for_everyone(direction: Direction) -> bool:
    return direction.kind in ("dynamics", "wedge-crescendo", "wedge-diminuendo", "wedge-stop")


def with_notes(part: Part, notes: Sequence[Note]) -> Part:
    """The part with other notes: put in order, told their bars and beats, and freed of ties that lead nowhere."""
    voices = {voice: rank for rank, voice in enumerate(dict.fromkeys(note.voice for note in part.notes))}
    ordered = sorted(
        notes,
        key=lambda n: (
            n.onset_quarters,
            voices.get(n.voice, 9),
            not n.grace,
            n.index if n.grace else 0,
            n.chord,
            n.midi,
        ),
    )
    ids = {note.id for note in ordered}
    found: list[Note] = []
    for index, note in enumerate(ordered):
        bar = part.bar_at(note.onset_quarters)
        before = found[-1] if found else None
        chord = (
            before is not None
            and not note.grace
            and not before.grace
            and before.onset_quarters == note.onset_quarters
            and before.voice == note.voice
        )
        found.append(
            replace(
                note, index=index, bar_index=bar.index, bar=bar.number, chord=chord if not note.grace else note.chord,
                beat=1 + (note.onset_quarters - bar.start_quarters + bar.beat_offset_quarters) * bar.beat_type / 4,
                tied_to=note.tied_to if note.tied_to in ids else None,
                tied_from=note.tied_from if note.tied_from in ids else None,
            )
        )  # fmt: skip
    return replace(part, notes=tuple(found))
