"""Parts made from pitches and lengths, for tests of what stands on `score`."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from partwright.score import Bar, Note, Part, Pitch, TempoMark

_SPELLED = (("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1), ("A", 0))
_SPELLED = (*_SPELLED, ("B", -1), ("B", 0))

Sound = int | tuple[int, ...] | None
"""What sounds in one event: a MIDI number, several for a chord, None for a rest."""


def pitch(midi: int) -> Pitch:
    step, alter = _SPELLED[midi % 12]
    return Pitch(step, alter, midi // 12 - 1)


def part_of(
    sounds: Sequence[Sound],
    *,
    quarters: Fraction | int | Sequence[Fraction | int] = Fraction(1, 2),
    tempo_qpm: float = 90.0,
    bar_quarters: int = 4,
    slurred: Collection[int] = (),
    repeated: bool = False,
) -> Part:
    """A part of one voice. `quarters` is one length for all events or one for each; `slurred` are the indices of events
    that are slurred to the next; `repeated` puts a repeat sign at the end. Notes are named n0, n1 …, chords n3, n3b …
    """
    lengths = list(quarters) if isinstance(quarters, Sequence) else [quarters] * len(sounds)
    notes: list[Note] = []
    onset = Fraction(0)
    for index, (sound, length) in enumerate(zip(sounds, lengths, strict=True)):
        chord = () if sound is None else (sound,) if isinstance(sound, int) else sound
        bar = int(onset // bar_quarters)
        for place, midi in enumerate(chord):
            notes.append(
                Note(
                    id=f"n{index}{'' if place == 0 else chr(97 + place)}",
                    index=len(notes),
                    onset_quarters=onset,
                    duration_quarters=Fraction(length),
                    pitch=pitch(midi),
                    written_pitch=pitch(midi),
                    bar_index=bar,
                    bar=str(bar + 1),
                    beat=1 + onset - bar * bar_quarters,
                    chord=place > 0,
                    slurred_to_next=index in slurred,
                )
            )
        onset += Fraction(length)
    count = max(1, -(-onset // bar_quarters))
    bars = tuple(
        Bar(
            index=index,
            number=str(index + 1),
            start_quarters=Fraction(index * bar_quarters),
            length_quarters=Fraction(bar_quarters),
            nominal_quarters=Fraction(bar_quarters),
            beats=bar_quarters,
            beat_type=4,
            clef="bass",
            repeat_start=repeated and index == 0,
            repeat_end=repeated and index == count - 1,
        )
        for index in range(count)
    )
    tempo = TempoMark(onset_quarters=Fraction(0), tempo_qpm=tempo_qpm, source="metronome")
    return Part(name="Made", part_id="P1", notes=tuple(notes), bars=bars, tempo_marks=(tempo,))
