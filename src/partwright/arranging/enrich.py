"""Rewriting upwards: what an advanced version has more. Every step is tried by the plan before it is kept.

A phrase gets at most one kind of addition, so that the tune stays in front. Added notes belong to the chord that holds,
or pass by step between two notes of the tune; the first note of a beat is never changed. Common practice, no source.
Units: quarter notes, MIDI.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from partwright.arranging.harmony import beat_length, key_spelling, melody, scale_classes
from partwright.arranging.keys_of import mode_of
from partwright.arranging.new_notes import with_notes
from partwright.arranging.rewriting import Sketch, Span, Step
from partwright.score import Note, Part, Pitch

__all__ = ["KINDS", "enrich"]

_MOST_COST = 0.9  # price per added note, above that of the phrase as it was
_CONSONANT_BELOW = (3, 4, 8, 9)  # thirds and sixths


def enrich(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    """Add what the level's row names, phrase by phrase; kinds take turns so that no two phrases sound alike."""
    kinds = [str(kind) for kind in limits["enrich"]]
    if not kinds or not sketch.harmony.spans:
        return
    turn = 0
    for span in sketch.phrases:
        order = kinds[turn % len(kinds) :] + kinds[: turn % len(kinds)]
        if span.again and "variation" in kinds:
            order = ["variation", *[kind for kind in order if kind != "variation"]]
        else:
            order = [kind for kind in order if kind != "variation"]
        for kind in order:
            if _try(sketch, span, kind):
                turn += 1
                break


def _try(sketch: Sketch, span: Span, kind: str) -> bool:
    """Make the addition if the phrase has a place for it and the plan stays within the level at a fair price."""
    made = KINDS[kind](sketch, span)
    if made is None:
        return False
    part, what, why, touched = made
    try_plan = sketch.plan(part)
    before = sketch.plan()
    added = max(1, len(part.notes) - len(sketch.part.notes))
    if len(try_plan.relaxed) > len(before.relaxed) or try_plan.unplayable:
        return False
    if try_plan.total_cost - before.total_cost > _MOST_COST * added + 1.0:
        return False
    bars = sketch.part.bars
    indices = [note.bar_index for note in touched]
    step = Step(
        rule=kind, first_bar=bars[min(indices)].number, last_bar=bars[max(indices)].number, what=what, why=why
    )  # fmt: skip
    return sketch.take(step, part)


_Made = tuple[Part, str, str, list[Note]]


def _tune_in(sketch: Sketch, span: Span) -> list[Note]:
    return [note for note in melody(sketch.part) if note.id in span.note_ids]


def _alone(sketch: Sketch, note: Note) -> bool:
    """One note at a time here, not tied, not ornamented, not plucked: something can be put under it."""
    if note.tied_to or note.tied_from or note.ornaments or note.pizzicato or note.tremolo:
        return False
    return not any(o.chord for o in sketch.part.notes if o.onset_quarters == note.onset_quarters)


def _below(sketch: Sketch, note: Note, midi: int, serial: int) -> Note:
    bar = sketch.part.bars[note.bar_index]
    span = sketch.harmony.at(note.onset_quarters)
    pitch = span.spelled(midi, bar.fifths) if span else key_spelling(midi, bar.fifths)
    return _new(note, pitch, f"{note.id}+{serial}", chord=True)


def _new(like: Note, pitch: Pitch, note_id: str, **changed: object) -> Note:
    up = like.written_pitch.octave - like.pitch.octave
    return replace(
        like, id=note_id, pitch=pitch, written_pitch=replace(pitch, octave=pitch.octave + up), tied_to=None,
        tied_from=None, slur_starts=(), slur_stops=(), fingerings=(), string_number=None, lyric="",
        ornaments=frozenset(),
        harmonic=False, **changed,  # type: ignore[arg-type]
    )  # fmt: skip


def _thirds_and_sixths(sketch: Sketch, span: Span) -> _Made | None:
    """Under the notes of a beat and more, the chord note a third or a sixth below."""
    extra, touched = [], []
    for note in _tune_in(sketch, span):
        bar = sketch.part.bars[note.bar_index]
        chord = sketch.harmony.at(note.onset_quarters)
        if chord is None or note.duration_quarters < beat_length(bar.beats, bar.beat_type) or not _alone(sketch, note):
            continue
        for apart in _CONSONANT_BELOW:
            midi = note.midi - apart
            if midi in sketch.reach and midi % 12 in chord.classes and note.midi % 12 in chord.classes:
                extra.append(_below(sketch, note, midi, 1))
                touched.append(note)
                break
    if len(extra) < 3:
        return None
    part = with_notes(sketch.part, [*sketch.part.notes, *extra])
    return part, f"{len(extra)} notes in thirds and sixths below the tune", "two strings at once, in the chord", touched


def _drone(sketch: Sketch, span: Span) -> _Made | None:
    """Under long notes, the open string beside that belongs to the chord."""
    opens = [string.midi for string in sketch.instrument.strings]
    extra, touched = [], []
    for note in _tune_in(sketch, span):
        bar = sketch.part.bars[note.bar_index]
        chord = sketch.harmony.at(note.onset_quarters)
        long = note.duration_quarters >= 2 * beat_length(bar.beats, bar.beat_type)
        if chord is None or not long or not _alone(sketch, note):
            continue
        fits = [
            m for m in opens if m < note.midi - 2 and m % 12 in chord.classes and note.midi - m not in (1, 2, 6, 10)
        ]
        if fits:
            extra.append(_below(sketch, note, max(fits), 1))
            touched.append(note)
    if not extra:
        return None
    part = with_notes(sketch.part, [*sketch.part.notes, *extra])
    names = ", ".join(dict.fromkeys(note.pitch.step for note in extra))
    return part, f"open {names} under the long notes", "the open string belongs to the chord and rings", touched


def _octaves(sketch: Sketch, span: Span) -> _Made | None:
    """The last long note of a phrase doubled an octave below."""
    for note in reversed(_tune_in(sketch, span)):
        bar = sketch.part.bars[note.bar_index]
        if note.duration_quarters < 2 * beat_length(bar.beats, bar.beat_type) or not _alone(sketch, note):
            continue
        if note.midi - 12 not in sketch.reach:
            continue
        pitch = replace(note.pitch, octave=note.pitch.octave - 1)
        part = with_notes(sketch.part, [*sketch.part.notes, _new(note, pitch, f"{note.id}+1", chord=True)])
        return part, f"{note.pitch.name} doubled an octave below", "the end of the phrase carries more weight", [note]
    return None


def _fill(sketch: Sketch, span: Span) -> _Made | None:
    """The last beat of a long note filled with two chord notes on the way to the next one."""
    tune = melody(sketch.part)
    place = {note.id: k for k, note in enumerate(tune)}
    for note in reversed(_tune_in(sketch, span)):
        bar = sketch.part.bars[note.bar_index]
        beat = beat_length(bar.beats, bar.beat_type)
        chord = sketch.harmony.at(note.end_quarters - beat)
        k = place[note.id]
        if chord is None or note.duration_quarters < 2 * beat or not _alone(sketch, note) or k + 1 >= len(tune):
            continue
        goal = tune[k + 1]
        if goal.onset_quarters != note.end_quarters or note.slur_starts:
            continue
        way = 1 if goal.midi >= note.midi else -1
        steps = sorted(
            (m for m in sketch.reach if m % 12 in chord.classes and 0 < (m - note.midi) * way <= 12),
            key=lambda m: m * way,
        )
        chosen = [m for m in steps if m != goal.midi][:2]
        if len(chosen) < 2:
            continue
        start = note.end_quarters - beat
        new = [
            _new(note, chord.spelled(midi, bar.fifths), f"{note.id}+{n}", onset_quarters=start + n * beat / 2,
                 duration_quarters=beat / 2, chord=False, articulations=frozenset(), fermata=False)
            for n, midi in enumerate(chosen)
        ]  # fmt: skip
        shorter = replace(note, duration_quarters=note.duration_quarters - beat)
        rest = [shorter if other.id == note.id else other for other in sketch.part.notes]
        part = with_notes(sketch.part, [*rest, *new])
        return part, f"the long {note.pitch.name} filled with chord notes", "they lead to the next note", [note]
    return None


def _variation(sketch: Sketch, span: Span) -> _Made | None:
    """Where the phrase comes again: passing notes in the thirds of the tune."""
    scale_of = {bar.index: scale_classes(bar.fifths, mode_of(sketch.part)) for bar in sketch.part.bars}
    tune = melody(sketch.part)
    place = {note.id: k for k, note in enumerate(tune)}
    changed: dict[str, Note] = {}
    new, touched = [], []
    for note in _tune_in(sketch, span):
        bar = sketch.part.bars[note.bar_index]
        beat = beat_length(bar.beats, bar.beat_type)
        k = place[note.id]
        if k + 1 >= len(tune) or note.duration_quarters < beat or not _alone(sketch, note):
            continue
        after = tune[k + 1]
        interval = after.midi - note.midi
        if after.onset_quarters != note.end_quarters or abs(interval) not in (3, 4):
            continue
        between = range(min(note.midi, after.midi) + 1, max(note.midi, after.midi))
        steps = [m for m in between if m % 12 in scale_of[bar.index] and m in sketch.reach]
        if not steps:
            continue
        half = beat / 2
        slurred = note.slurred_to_next
        changed[note.id] = replace(note, duration_quarters=note.duration_quarters - half)
        new.append(
            _new(note, key_spelling(steps[0], bar.fifths), f"{note.id}+1", onset_quarters=note.end_quarters - half,
                 duration_quarters=half, chord=False, articulations=frozenset(), fermata=False, slurred_to_next=slurred)
        )  # fmt: skip
        touched.append(note)
    if len(new) < 2:
        return None
    part = with_notes(sketch.part, [*(changed.get(n.id, n) for n in sketch.part.notes), *new])
    return part, f"{len(new)} passing notes", "the phrase is heard again, so it may be varied", touched


KINDS: Mapping[str, Callable[[Sketch, Span], _Made | None]] = {
    "thirds and sixths": _thirds_and_sixths,
    "drone": _drone,
    "octaves": _octaves,
    "fill": _fill,
    "variation": _variation,
}
"""Every kind of addition; adding one is adding a row."""
