"""Rewriting downwards: until the plan says that the level holds every note.

Each rule is a function on the sketch and a row of `RULES`; it makes steps with reasons. Notes keep their ids, so what
was done can be followed. Rules: common practice, no source. Units: quarter notes, MIDI, seconds.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from partwright.arranging.cheapest import cheapest_row
from partwright.arranging.harmony import beat_length, key_spelling, melody, scale_classes, strong_beats
from partwright.arranging.keys_of import mode_of
from partwright.arranging.new_notes import with_notes
from partwright.arranging.rewriting import Sketch, Step, place_words
from partwright.score import Note, Part, Pitch, beat_text

__all__ = ["RULES", "simplify"]

_OCTAVE_PRICE = 1.5  # a phrase leaves its octave only where it frees more than one note
_JOIN_PRICE = 1.0
_MOST_REPAIRS = 60


def simplify(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    """Apply every rule in turn."""
    for rule in RULES.values():
        rule(sketch, limits)


def _single_notes(sketch: Sketch, _: Mapping[str, Any]) -> None:
    """Chords thinned to what the level allows; the tune's note on top stays."""
    most = sketch.level.largest_chord if sketch.level.double_stops else 1
    by_bar: dict[int, list[Note]] = {}
    for group in _groups(sketch.part):
        if len(group) > most:
            by_bar.setdefault(group[0].bar_index, []).extend(sorted(group, key=lambda n: n.midi)[: len(group) - most])
    for bar, gone in by_bar.items():
        names = ", ".join(note.pitch.name for note in gone)
        number = sketch.part.bars[bar].number
        step = Step(
            rule="single notes", first_bar=number, last_bar=number, what=f"without {names}",
            why=f"the {sketch.level.name} level plays {'one note' if most == 1 else f'{most} notes'} at a time",
        )  # fmt: skip
        out = {note.id for note in gone}
        sketch.take(step, with_notes(sketch.part, [n for n in sketch.part.notes if n.id not in out]))


def _ornaments(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    if limits["ornaments"] != "out":
        return
    by_bar: dict[int, list[Note]] = {}
    for note in sketch.part.notes:
        if note.grace or note.ornaments or note.tremolo:
            by_bar.setdefault(note.bar_index, []).append(note)
    for bar, notes in by_bar.items():
        number = sketch.part.bars[bar].number
        ids = {note.id for note in notes}
        kept = [
            replace(note, ornaments=frozenset(), tremolo=0) if note.id in ids else note
            for note in sketch.part.notes
            if not (note.id in ids and note.grace)
        ]
        step = Step(
            rule="ornaments", first_bar=number, last_bar=number, what="without its ornaments",
            why=f"the {sketch.level.name} version has the plain tune",
        )  # fmt: skip
        sketch.take(step, with_notes(sketch.part, kept))


def _repeated(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    """Fast equal notes in pairs become one note of both lengths; the first of a pair lies on a beat or half of one."""
    seconds = _seconds(sketch.part)
    per_second = float(limits["repeated_per_second"])
    by_bar: dict[int, list[tuple[Note, Note]]] = {}
    line = [note for note in sketch.part.notes if not note.grace]
    chords = {note.onset_quarters for note in line if note.chord}
    skip = False
    for one, two in itertools.pairwise(line):
        if skip:
            skip = False
            continue
        length = one.duration_quarters
        even = ((one.onset_quarters - sketch.part.bars[one.bar_index].start_quarters) / length) % 2 == 0
        equal = one.pitch == two.pitch and one.bar_index == two.bar_index and length == two.duration_quarters
        plain = one.tied_to is None and two.tied_from is None and not {one.onset_quarters, two.onset_quarters} & chords
        if equal and even and plain and two.onset_quarters == one.end_quarters and seconds[one.id] < 1 / per_second:
            by_bar.setdefault(one.bar_index, []).append((one, two))
            skip = True
    for bar, pairs in by_bar.items():
        number = sketch.part.bars[bar].number
        gone = {two.id: one for one, two in pairs}
        longer = {one.id: two for one, two in pairs}
        kept = [_joined(note, longer[note.id]) if note.id in longer else note for note in sketch.part.notes
                if note.id not in gone]  # fmt: skip
        step = Step(
            rule="repeated notes", first_bar=number, last_bar=number, what="fast repeated notes halved in number",
            why=f"more than {per_second:g} equal notes a second",
        )  # fmt: skip
        sketch.take(step, with_notes(sketch.part, kept))


def _joined(one: Note, two: Note) -> Note:
    return replace(
        one,
        duration_quarters=one.duration_quarters + two.duration_quarters,
        tied_to=two.tied_to,
        slur_stops=tuple(dict.fromkeys((*one.slur_stops, *two.slur_stops))),
        slur_starts=tuple(dict.fromkeys((*one.slur_starts, *two.slur_starts))),
    )


def _syncopation(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    """A note begun between beats and held over one begins on it instead; the note before fills the time."""
    if limits["syncopation"] != "straight":
        return
    for bar in sketch.part.bars:
        notes = [n for n in sketch.part.notes if n.bar_index == bar.index and not n.grace]
        if any(note.chord for note in notes):
            continue
        beat = beat_length(bar.beats, bar.beat_type)
        changed: dict[str, Note | None] = {}
        for before, note in itertools.pairwise(notes):
            offset = note.onset_quarters - bar.start_quarters + bar.beat_offset_quarters
            if offset % beat == 0 or before.id in changed or before.end_quarters != note.onset_quarters:
                continue
            if (offset % beat) * 2 > beat and note.duration_quarters < beat:
                continue  # an upbeat quaver is no syncopation
            begins = note.onset_quarters - offset % beat + beat
            if note.end_quarters > begins:
                changed[before.id] = replace(before, duration_quarters=begins - before.onset_quarters)
                changed[note.id] = replace(
                    note, onset_quarters=begins, duration_quarters=note.end_quarters - begins
                )  # fmt: skip
            elif note.tied_to is not None and note.end_quarters == begins == bar.end_quarters:
                changed[before.id] = replace(before, duration_quarters=begins - before.onset_quarters)
                changed[note.id] = None
        if not changed:
            continue
        kept = [changed.get(note.id, note) for note in sketch.part.notes]
        step = Step(
            rule="syncopation", first_bar=bar.number, last_bar=bar.number, what="notes begin on the beat",
            why=f"the {sketch.level.name} version has no syncopation",
        )  # fmt: skip
        sketch.take(step, with_notes(sketch.part, [note for note in kept if note is not None]))


def _phrases(sketch: Sketch, _: Mapping[str, Any]) -> None:
    """Whole phrases move by octaves where more of their notes then lie within the level.

    The best row of octaves for all phrases together is found by dynamic programming; a change of octave between two
    phrases costs as much as one note out of reach.
    """
    groups = [[n for n in sketch.part.notes if n.id in span.note_ids] for span in sketch.phrases]
    groups = [group for group in groups if group]
    if not groups:
        return
    options = (0, -1, 1, -2, 2)
    prices = [
        [sum(note.midi + 12 * o not in sketch.reach for note in group) + _OCTAVE_PRICE * abs(o) for o in options]
        for group in groups
    ]
    chosen = cheapest_row(prices, lambda _, a, b: _JOIN_PRICE * abs(options[a] - options[b]))
    for group, index in zip(groups, chosen, strict=True):
        octaves = options[index]
        if octaves == 0:
            continue
        outside = [note for note in group if note.midi not in sketch.reach]
        first, last = place_words(sketch.part, group)
        far = "an octave" if abs(octaves) == 1 else f"{abs(octaves)} octaves"
        reason = outside[0] if outside else group[0]
        step_taken = Step(
            rule="octave", first_bar=first, last_bar=last,
            what=f"{far} {'lower' if octaves < 0 else 'higher'}",
            why=f"{reason.pitch.name} in bar {reason.bar} and {max(0, len(outside) - 1)} more notes lie outside "
            f"the {sketch.level.name} level" if len(outside) != 1 else
            f"{reason.pitch.name} in bar {reason.bar} lies outside the {sketch.level.name} level",
        )  # fmt: skip
        ids = {note.id for note in group}
        moved = [_octaves(n, octaves) if n.id in ids else n for n in sketch.part.notes]
        sketch.take(step_taken, with_notes(sketch.part, moved))


def _leaps(sketch: Sketch, limits: Mapping[str, Any]) -> None:
    """A leap wider than the level likes is bridged: its second note comes an octave nearer."""
    widest = int(limits["widest_leap_semitones"])
    for one, two in itertools.pairwise(melody(sketch.part)):
        here = sketch.part.by_id[two.id]
        leap = here.midi - sketch.part.by_id[one.id].midi
        if abs(leap) <= widest or two.onset_quarters > one.end_quarters + 1:
            continue
        nearer = _octaves(here, -1 if leap > 0 else 1)
        if nearer.midi not in sketch.reach:
            continue
        step = Step(
            rule="leap", first_bar=two.bar, last_bar=two.bar,
            what=f"{nearer.pitch.name} instead of {here.pitch.name}",
            why=f"a leap of {abs(leap)} semitones; the {sketch.level.name} version goes up to {widest}",
        )  # fmt: skip
        sketch.take(step, _with(sketch.part, {two.id: nearer}))


def _out_of_reach(sketch: Sketch, _: Mapping[str, Any]) -> None:
    """Single notes that the level does not have: another octave of it, or the chord note or step nearest to it."""
    for note in sketch.part.notes:
        if note.midi in sketch.reach or note.tied_from is not None:
            continue
        _replace_note(sketch, note, f"{note.pitch.name} lies outside the {sketch.level.name} level")


def _by_the_plan(sketch: Sketch, _: Mapping[str, Any]) -> None:
    """What the plan still finds beyond the level (a shift with no time, a hand too wide): note by note, proven."""
    refused: set[str] = set()
    for _attempt in range(_MOST_REPAIRS):
        plan = sketch.plan()
        beyond = [item for item in (*plan.relaxed, *plan.unplayable) if item.note_id not in refused]
        if not beyond:
            return
        item = beyond[0]
        note = sketch.part.by_id[item.note_id]
        if not _replace_note(sketch, note, item.why.split(". ")[0], most_beyond=len(plan.relaxed)):
            refused.add(item.note_id)


def _replace_note(sketch: Sketch, note: Note, why: str, *, most_beyond: int | None = None) -> bool:
    """Replace one note (and what it is tied to); with `most_beyond`, only where the plan then has fewer faults."""
    tied = _tied_chain(sketch.part, note)
    options = _instead(sketch, note)
    for pitch in options:
        changed = {n.id: _at_pitch(n, pitch) for n in tied}
        part = _with(sketch.part, changed)
        if most_beyond is not None and len(sketch.plan(part).relaxed) >= most_beyond:
            continue
        step = Step(
            rule="note", first_bar=note.bar, last_bar=note.bar,
            what=f"beat {beat_text(note.beat)}: {pitch.name} instead of {note.pitch.name}", why=why,
        )  # fmt: skip
        if any(taken.name == step.name for taken in sketch.steps):  # two notes of one bar need two names
            step = replace(step, rule=f"note {beat_text(note.beat)} of")
        return sketch.take(step, part)
    return False


def _instead(sketch: Sketch, note: Note) -> list[Pitch]:
    """Pitches that could stand for a note, the best first: what keeps its name, then the chord, then the contour."""
    tune = melody(sketch.part)
    index = next((k for k, other in enumerate(tune) if other.id == note.id), None)
    before = tune[index - 1].midi if index else None
    after = tune[index + 1].midi if index is not None and index + 1 < len(tune) else None
    bar = sketch.part.bars[note.bar_index]
    offset = note.onset_quarters - bar.start_quarters + bar.beat_offset_quarters
    strong = offset in strong_beats(bar.beats, bar.beat_type)
    span = sketch.harmony.at(note.onset_quarters)
    scale = scale_classes(bar.fifths, mode_of(sketch.part))
    priced: list[tuple[float, int]] = []
    for midi in sorted(sketch.reach):
        if midi == note.midi or abs(midi - note.midi) > 24:
            continue
        same = midi % 12 == note.midi % 12
        in_chord = span is not None and midi % 12 in span.classes
        if not same and not in_chord and (strong or midi % 12 not in scale):
            continue
        cost = 0.0 if same else 1.5 if in_chord else 2.5
        cost += 1.5 if strong and not same else 0.0
        cost += 0.06 * abs(midi - note.midi)
        for other, was, now in ((before, note.midi, midi), (after, note.midi, midi)):
            if other is not None:
                cost += 0.8 * (_sign(was - other) != _sign(now - other))
                cost += 0.12 * max(0, abs(now - other) - 7)
        priced.append((cost, midi))
    found = []
    for _, midi in sorted(priced)[:8]:
        same = midi % 12 == note.midi % 12
        if same:
            found.append(replace(note.pitch, octave=note.pitch.octave + (midi - note.midi) // 12))
        else:
            found.append(span.spelled(midi, bar.fifths) if span else key_spelling(midi, bar.fifths))
    return found


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def _octaves(note: Note, octaves: int) -> Note:
    return _at_pitch(note, replace(note.pitch, octave=note.pitch.octave + octaves))


def _at_pitch(note: Note, pitch: Pitch) -> Note:
    up = note.written_pitch.octave - note.pitch.octave
    return replace(note, pitch=pitch, written_pitch=replace(pitch, octave=pitch.octave + up), harmonic=False)


def _with(part: Part, changed: Mapping[str, Note]) -> Part:
    return with_notes(part, [changed.get(note.id, note) for note in part.notes])


def _tied_chain(part: Part, note: Note) -> list[Note]:
    found = [note]
    while found[-1].tied_to is not None and found[-1].tied_to in part.by_id:
        found.append(part.by_id[found[-1].tied_to])
    return found


def _groups(part: Part) -> list[list[Note]]:
    found: list[list[Note]] = []
    for note in part.notes:
        if note.grace:
            continue
        if found and found[-1][0].onset_quarters == note.onset_quarters:
            found[-1].append(note)
        else:
            found.append([note])
    return found


def _seconds(part: Part) -> dict[str, float]:
    """How long each note lasts the first time it is played."""
    found: dict[str, float] = {}
    for played in part.played_notes:
        found.setdefault(part.notes[played.note_index].id, played.duration_seconds)
    for note in part.notes:
        found.setdefault(note.id, float(note.duration_quarters) * 60 / part.tempo_marks[0].tempo_qpm)
    return found


RULES: Mapping[str, Callable[[Sketch, Mapping[str, Any]], None]] = {
    "single notes": _single_notes,
    "ornaments": _ornaments,
    "repeated notes": _repeated,
    "syncopation": _syncopation,
    "octave": _phrases,
    "leap": _leaps,
    "note": _out_of_reach,
    "by the plan": _by_the_plan,
}
"""Every rule, in the order applied; adding one is adding a row."""
