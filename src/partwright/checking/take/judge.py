"""From measurements to verdicts: *wrong* where the evidence is strong, *check* where it is not, *not judged* where it
is thin. The thresholds and where they come from are in `data/judging.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partwright.checking.take.events import ScoreEvent
from partwright.checking.take.listen import Attempt, Heard
from partwright.checking.take.measure import Measured, measure_note
from partwright.checking.take.note import TakeNote
from partwright.checking.take.onsets import FINE_S
from partwright.checking.take.partials import measure_partials
from partwright.checking.take.read_recording import Recording
from partwright.checking.take.tables import judging
from partwright.checking.take.tempo import against_own_tempo
from partwright.fingering import FingeringPlan
from partwright.score import Part
from partwright.sound import midi_hz

__all__ = ["Extra", "Judgement", "judge"]

_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


@dataclass(frozen=True, slots=True, kw_only=True)
class Extra:
    """Something heard that is not written: a further note, or the same one struck again."""

    kind: str  # extra, struck again
    time_s: float
    note_id: str
    played: str
    confidence: float


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """Notes with their verdicts, and what was heard beside them. `reference_cents`: the take's tuning from A = 440."""

    notes: tuple[TakeNote, ...]
    extras: tuple[Extra, ...]
    reference_cents: float
    seconds_per_quarter: tuple[float, ...]


@dataclass(slots=True)
class _Row:
    """One event of one attempt, measured."""

    event: ScoreEvent
    attempt: int
    place: int
    counts: bool
    start_s: float
    end_s: float
    sound_end_s: float
    level_db: float
    match: float  # mean log probability of what is expected, over the middle of the note
    other: int | None  # the pitch likeliest there, as a MIDI number of the score's transposition
    other_match: float
    skipped: bool
    measured: list[Measured | None] = field(default_factory=list)
    chord_cents: list[tuple[float, float] | None] = field(default_factory=list)
    usable: bool = True


def judge(
    recording: Recording, part: Part, heard: Heard, events: Sequence[ScoreEvent], plan: FingeringPlan | None
) -> Judgement:
    """Measure and judge every note of every attempt."""
    counts = _counting(heard.attempts)
    harmonics = _harmonic_offsets(part, plan)
    rows: list[_Row] = []
    for number, attempt in enumerate(heard.attempts):
        for place in range(len(attempt.events)):
            row = _row(recording, heard, events, attempt, number, place, counts)
            _measure(recording, heard, row, part, harmonics)
            rows.append(row)
    reference = _reference(rows)
    judged: list[tuple[_Row, list[TakeNote]]] = []
    extras: list[Extra] = []
    for index, row in enumerate(rows):
        around = [r for r in rows[max(0, index - 6) : index + 7] if r.attempt == row.attempt and r is not row]
        before = rows[index - 1] if index and rows[index - 1].attempt == row.attempt else None
        after = rows[index + 1] if index + 1 < len(rows) and rows[index + 1].attempt == row.attempt else None
        notes = _judge_row(row, around, before, after, part, reference, heard.shift)
        judged.append((row, notes))
        row.usable = all(n.kind not in ("missed",) for n in notes) and not row.event.grace and not row.skipped
        extras += _extras(row, before, after, notes, heard, part, reference)
    timed, paces = _with_timing(judged, part)
    return Judgement(
        notes=tuple(timed),
        extras=tuple(extras),
        reference_cents=heard.tuning_cents + reference,
        seconds_per_quarter=tuple(paces),
    )


def _counting(attempts: Sequence[Attempt]) -> list[set[int]]:
    """For each attempt the events that no later attempt plays again."""
    found: list[set[int]] = []
    later: set[int] = set()
    for attempt in reversed(attempts):
        found.append(set(attempt.events) - later)
        later |= set(attempt.events)
    return found[::-1]


def _harmonic_offsets(part: Part, plan: FingeringPlan | None) -> Mapping[str, float]:
    """Cents by which a natural harmonic of the plan lies beside the tempered note it is written as."""
    found: dict[str, float] = {}
    if plan is None:
        return found
    for fingered in plan.notes:
        if partial := fingered.placement.harmonic:
            exact = 1200 * math.log2(partial)
            found[fingered.note_id] = exact - 100 * round(exact / 100)
    return found


def _row(
    recording: Recording,
    heard: Heard,
    events: Sequence[ScoreEvent],
    attempt: Attempt,
    number: int,
    place: int,
    counts: Sequence[set[int]],
) -> _Row:
    event = events[attempt.events[place]]
    start, end = attempt.span(place)
    written = event.seconds / max(1e-6, event.seconds + event.rest_s)
    first, last = int(start / FINE_S), max(int(start / FINE_S) + 1, int(end / FINE_S))
    level = heard.level_db[first:last]
    sound_end = end
    top = float(np.percentile(level, 80)) if len(level) else -120.0
    low = np.flatnonzero(level > top - 14)
    if len(low):
        sound_end = min(end, (first + int(low[-1]) + 1) * FINE_S)
    if event.rest_s > 0.05:
        sound_end = min(sound_end, start + 1.15 * written * (end - start))
    stop = max(first + 1, min(last, int(sound_end / FINE_S)))
    a = first + round(0.25 * (stop - first))
    b = max(a + 1, first + round(0.85 * (stop - first)))
    middle = heard.chances[a:b]
    column = heard.column_of[event.index]
    match = float(np.mean(np.maximum(middle[:, column], -4.0))) if len(middle) else -4.0
    means = np.mean(np.maximum(middle, -6.0), axis=0) if len(middle) else np.full(len(heard.sets), -6.0)
    best = int(np.argmax(means))
    pitches = heard.sets[best]
    return _Row(
        event=event,
        attempt=number,
        place=place,
        counts=event.index in counts[number],
        start_s=start,
        end_s=end,
        sound_end_s=sound_end,
        level_db=top,
        match=match,
        other=pitches[0] - heard.shift if len(pitches) == 1 else None,
        other_match=float(means[best]),
        skipped=event.index in attempt.skipped,
    )


def _measure(recording: Recording, heard: Heard, row: _Row, part: Part, harmonics: Mapping[str, float]) -> None:
    limit = judging()["pitch"]["aperiodicity"]
    ratio = 2 ** (heard.tuning_cents / 1200)
    single = len(row.event.sounding) == 1
    for note_id, midi in zip(row.event.note_ids, row.event.midis, strict=True):
        expected = midi_hz(midi + heard.shift) * ratio * 2 ** (harmonics.get(note_id, 0.0) / 1200)
        length = row.sound_end_s - row.start_s
        if length < 0.08:
            row.measured.append(None)
            row.chord_cents.append(None)
            continue
        if single:
            row.measured.append(measure_note(recording.samples, row.start_s, row.sound_end_s, expected, limit=limit))
            row.chord_cents.append(None)
        else:
            others = [midi_hz(m + heard.shift) * ratio for m in row.event.sounding if m != midi]
            row.measured.append(None)
            row.chord_cents.append(measure_partials(recording.samples, row.start_s, row.sound_end_s, expected, others))


def _reference(rows: Sequence[_Row]) -> float:
    """The median deviation of the clear notes from the first estimate of the tuning."""
    values, weights = [], []
    for row in rows:
        for measured in row.measured:
            if measured is None or measured.cents is None or measured.uncertainty_cents is None:
                continue
            if abs(measured.cents) < 60 and measured.frames >= 8 and measured.uncertainty_cents < 8:
                values.append(measured.cents)
                weights.append(min(60, measured.frames))
    if not values:
        return 0.0
    order = np.argsort(values)
    total = np.cumsum(np.array(weights)[order])
    return float(np.array(values)[order][int(np.searchsorted(total, total[-1] / 2))])


def _judge_row(
    row: _Row, around: Sequence[_Row], before: _Row | None, after: _Row | None, part: Part, reference: float, shift: int
) -> list[TakeNote]:
    pitch, presence = judging()["pitch"], judging()["presence"]
    event = row.event
    length = row.end_s - row.start_s
    notes: list[TakeNote] = []
    usual = sorted(r.level_db for r in around if r.match > -1.0)
    level_drop = usual[len(usual) // 2] - row.level_db if usual else 0.0
    for place, (note_id, midi) in enumerate(zip(event.note_ids, event.midis, strict=True)):
        written = part.by_id[note_id]
        base = TakeNote(
            note_id=note_id,
            event=event.index,
            attempt=row.attempt,
            counts=row.counts,
            bar=event.bar,
            bar_index=event.bar_index,
            beat=event.beat,
            name=written.pitch.name,
            midi=midi,
            time_s=row.start_s,
            end_s=row.sound_end_s,
            pitch="not judged",
            timing="not judged",
            length_share=round(min(2.0, (row.sound_end_s - row.start_s) / max(0.02, row.end_s - row.start_s)), 3),
        )
        measured, chord = row.measured[place], row.chord_cents[place]
        expected_s = _expected_seconds(row, around)
        missing = _missing(row, level_drop, before, after, measured, expected_s)
        if missing and expected_s < pitch["least_note_s"]:
            notes.append(replace(base, why_not="too short to tell"))
        elif missing:
            sure = missing[1]
            notes.append(
                replace(
                    base,
                    kind="missed",
                    pitch="wrong" if sure > 0.8 else "check",
                    played=missing[0],
                    confidence=sure,
                )
            )
        elif len(event.sounding) > 1:
            notes.append(_judge_chord(base, chord, reference, row))
        elif event.grace or event.trilled:
            notes.append(replace(base, why_not="an ornament"))
        elif length < pitch["least_note_s"] or measured is None:
            notes.append(replace(base, why_not="shorter than 0.2 s"))
        elif measured.cents is None or measured.clear < pitch["least_clear"] or measured.frames < pitch["least_frames"]:
            notes.append(replace(base, why_not="no clear pitch"))
        else:
            notes.append(_judge_single(base, row, measured, reference, presence, before, after))
    return notes


def _expected_seconds(row: _Row, around: Sequence[_Row]) -> float:
    """How long the note should last at the tempo around it."""
    ratios = sorted(
        (r.end_s - r.start_s) / (r.event.seconds + r.event.rest_s)
        for r in around
        if r.match > -1.0 and not r.event.grace
    )
    return row.event.seconds * (ratios[len(ratios) // 2] if ratios else 1.0)


def _missing(
    row: _Row, level_drop: float, before: _Row | None, after: _Row | None, measured: Measured | None, expected_s: float
) -> tuple[str, float] | None:
    """What was there instead of a note that was not played, and how sure that is; None where it was played."""
    presence = judging()["presence"]
    if row.match > presence["match"]:
        return None
    if row.skipped and row.end_s - row.start_s < 0.35 * expected_s:
        return "nothing: the take goes on to the next note", 0.85
    silent = level_drop > presence["missed_drop_db"]
    unclear = measured is None or measured.clear < 0.5 or measured.cents is None
    if silent and row.match < -1.6:
        return "silence", 0.95 if level_drop > 20 else 0.85
    if level_drop > 0.6 * presence["missed_drop_db"] and unclear and row.match < -2.0:
        return "next to nothing", 0.7
    if measured is not None and measured.cents is not None and measured.near < 0.5:
        played = row.event.midis[-1] + round(measured.cents / 100)
        if before is not None and played in before.event.midis and row.start_s - before.start_s > 0.1:
            strong = row.match < -2.5 and measured.clear > 0.7
            return "the note before, held on", 0.82 if strong and expected_s > 0.3 else 0.6
        if after is not None and played in after.event.midis:
            strong = row.match < -2.5 and measured.clear > 0.7
            return "the next note already", 0.82 if strong and expected_s > 0.3 else 0.6
    return None


def _judge_single(
    base: TakeNote,
    row: _Row,
    measured: Measured,
    reference: float,
    presence: Mapping[str, float],
    before: _Row | None,
    after: _Row | None,
) -> TakeNote:
    limits = judging()["pitch"]
    assert measured.cents is not None and measured.uncertainty_cents is not None
    cents = measured.cents - reference
    error = measured.uncertainty_cents
    if abs(cents) >= limits["wrong_note_cents"]:
        steps = round(cents / 100)
        other = row.event.midis[0] + steps
        heard_too = row.other is not None and (row.other - other) % 12 == 0 and row.match < presence["match"]
        if row.match > presence["match"] or measured.near > 0.5:
            return replace(base, why_not="two pitches are heard")
        neighbours = {m for r in (before, after) if r is not None for m in r.event.midis}
        sure = 0.95 if heard_too and measured.clear > 0.7 and measured.frames >= 12 else 0.7
        if other in neighbours:
            sure -= 0.2
        return replace(
            base,
            kind="wrong note",
            pitch="wrong" if sure > 0.8 else "check",
            played=_name(other),
            cents=round(cents, 1),
            uncertainty_cents=round(error, 1),
            confidence=sure,
        )
    if measured.octave_up and row.match < presence["match"]:
        return replace(base, why_not="heard an octave or more higher")
    known = replace(
        base, cents=round(cents, 1), uncertainty_cents=round(error, 1), vibrato=measured.vibrato, played=base.name
    )
    beyond = abs(cents) - 1.64 * error - limits["just_noticeable_cents"]
    if beyond <= 0:
        return replace(known, pitch="right", confidence=0.95)
    sure = 1 - 0.5 * math.exp(-beyond / 4)
    if abs(cents) - 1.64 * error > limits["choice_cents"] and (row.match > -2.5 or measured.clear > 0.8):
        return replace(known, pitch="wrong", kind="intonation", confidence=round(max(0.85, sure), 2))
    return replace(known, pitch="check", kind="intonation", confidence=round(min(0.8, sure), 2))


def _judge_chord(base: TakeNote, chord: tuple[float, float] | None, reference: float, row: _Row) -> TakeNote:
    limits = judging()["pitch"]
    if chord is None or row.match < -2.5:
        return replace(base, why_not="a chord in which it cannot be told apart")
    cents, error = chord[0] - reference, chord[1]
    known = replace(base, cents=round(cents, 1), uncertainty_cents=round(error, 1), played=base.name)
    if abs(cents) - 1.64 * error <= limits["just_noticeable_cents"] + limits["double_stop_more_cents"]:
        return replace(known, pitch="right", confidence=0.8)
    return replace(known, pitch="check", kind="intonation", confidence=0.6)


def _name(midi: int) -> str:
    return f"{_NAMES[midi % 12]}{midi // 12 - 1}"


def _extras(
    row: _Row,
    before: _Row | None,
    after: _Row | None,
    notes: Sequence[TakeNote],
    heard: Heard,
    part: Part,
    reference: float,
) -> list[Extra]:
    """A second steady pitch inside the note that is neither neighbour's, or the note struck again."""
    measured = row.measured[0] if len(row.measured) == 1 else None
    if measured is None or row.event.trilled or row.event.grace or row.event.plucked:
        return []
    found: list[Extra] = []
    note = notes[0]
    if measured.second_cents is not None and measured.second_s is not None and note.kind != "missed":
        other = row.event.midis[0] + round((measured.second_cents - reference) / 100)
        near = {m for r in (before, after) if r is not None for m in r.event.sounding} | set(row.event.midis)
        if other not in near and abs(other - row.event.midis[0]) % 12 != 0 and abs(other - row.event.midis[0]) < 13:
            column = heard.set_column((other + heard.shift,))
            first = int(measured.second_s / FINE_S)
            span = heard.chances[first : first + int(0.1 / FINE_S)]
            if column is not None and len(span) and float(np.mean(span[:, column])) > -1.0:
                found.append(
                    Extra(
                        kind="extra",
                        time_s=measured.second_s,
                        note_id=note.note_id,
                        played=_name(other),
                        confidence=0.75,
                    )
                )
    if note.pitch == "right" or note.kind == "intonation":
        again = _struck_again(row, heard)
        if again is not None:
            found.append(
                Extra(kind="struck again", time_s=again, note_id=note.note_id, played=note.name, confidence=0.65)
            )
    return found


def _struck_again(row: _Row, heard: Heard) -> float | None:
    """Where the level falls by a good deal inside the note and a strong beginning follows."""
    first, last = int((row.start_s + 0.12) / FINE_S), int((row.sound_end_s - 0.12) / FINE_S)
    if last - first < 8:
        return None
    level = heard.level_db[first:last]
    strength = heard.strength[first:last]
    for at in np.flatnonzero(strength > 0.55).tolist():
        dip = float(level[max(0, at - 16) : at + 1].min(initial=200.0))
        before = float(np.median(heard.level_db[int(row.start_s / FINE_S) + 8 : first + max(1, at - 8)]))
        after = float(level[at : at + 14].max(initial=-200.0))
        if before - dip > 8 and after - dip > 8:
            return float((first + at) * FINE_S)
    return None


def _with_timing(judged: Sequence[tuple[_Row, list[TakeNote]]], part: Part) -> tuple[list[TakeNote], list[float]]:
    limits = judging()["timing"]
    placed: list[TakeNote] = []
    paces: list[float] = []
    attempts = sorted({row.attempt for row, _ in judged})
    for attempt in attempts:
        rows = [(row, notes) for row, notes in judged if row.attempt == attempt]
        usable = [row.usable and row.match > -2.0 for row, _ in rows]
        against = against_own_tempo(
            [row.event.start_quarters for row, _ in rows],
            [row.start_s for row, _ in rows],
            usable,
            window=int(limits["window_events"]),
        )
        spread = sorted(abs(a.late_s) for a, ok in zip(against, usable, strict=True) if a is not None and ok)
        usual = 1.4826 * spread[len(spread) // 2] if spread else 0.0
        for index, ((row, notes), place) in enumerate(zip(rows, against, strict=True)):
            held_near = any(r.event.held for r, _ in rows[max(0, index - 1) : index + 1])
            neighbours_sure = all(usable[max(0, index - 1) : index + 2])
            edge = index in (0, len(rows) - 1)
            if place is None or not usable[index]:
                placed += notes
                continue
            bar = part.bars[row.event.bar_index]
            beat_s = place.seconds_per_quarter * 4 / bar.beat_type
            paces.append(place.seconds_per_quarter)
            late = abs(place.late_s)
            out = late > limits["late_s"] and late > limits["late_share"] * beat_s and late > limits["spreads"] * usual
            judgeable = neighbours_sure and not held_near and not edge and not row.event.grace
            for note in notes:
                timing = ("check" if out else "right") if judgeable else "not judged"
                short = judgeable and not note.kind and _cut_short(row, note, beat_s)
                placed.append(replace(note, timing=timing, late_s=round(place.late_s, 4), cut_short=short))  # type: ignore[arg-type]
    return placed, paces


def _cut_short(row: _Row, note: TakeNote, beat_s: float) -> bool:
    """Whether a note that is written to be held falls silent long before the next one."""
    event = row.event
    if event.short or event.plucked or event.grace or event.trilled or event.rest_s > 0.02 or note.length_share is None:
        return False
    written_long = row.end_s - row.start_s > max(0.4, 0.7 * beat_s)
    return written_long and note.length_share < judging()["timing"]["short_share"]
