"""How the planned part is played: every note with its true times, string, place on the bow and articulation.

From `(Part, plan, bowing, timing)` to *runs*: notes that one bow joins on one string line, each beginning where the
one before it ends. The voice renders a run in one breath, so that its phase never breaks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from partwright.bowing import BowingPlan, Stroke
from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import Instrument
from partwright.score import Note, Part, Pitch, transposed
from partwright.sound.tempering import Temperament, frequency_hz
from partwright.sound.timing import TimedNote, TimingMap

__all__ = ["GuideNote", "Run", "perform"]

# How much of its value a note sounds, by articulation; common practice, no source.
_LENGTHS = {"staccatissimo": 0.3, "spiccato": 0.4, "staccato": 0.5, "strong-accent": 0.8, "detached-legato": 0.75}
_DETACHED = 0.96
_ACCENT_DB = {"accent": 4.0, "strong-accent": 5.0, "soft-accent": 2.0, "stress": 2.0}
_VIBRATO_CENTS = {"beginner": 0.0, "intermediate": 7.0, "advanced": 11.0}
_BREATH_SECONDS = 0.15
_ROLL_SECONDS = 0.045


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideNote:
    """One note as it sounds. Times in seconds from the start of the file; `bow` from 0 = frog to 1 = tip.

    `dip` is how far the sound falls before the note within its run: 0 for a slur, towards 1 for portato or a new bow.
    """

    note_id: str
    start_seconds: float
    end_seconds: float
    frequency_hz: float
    string: int = 0
    stopped_semitones: int = 1  # 0 = open string
    harmonic: int = 0
    dynamic: float = 0.55
    accent_db: float = 0.0
    crisp: bool = False  # a short, biting start: staccato, accents
    plucked: bool = False
    bow: tuple[float, float] = (0.3, 0.7)
    vibrato_cents: float = 0.0
    dip: float = 0.0
    glide: bool = False  # reached by the hand along the same string under one bow


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Notes joined end to end."""

    notes: tuple[GuideNote, ...]

    @property
    def start_seconds(self) -> float:
        return self.notes[0].start_seconds

    @property
    def end_seconds(self) -> float:
        return self.notes[-1].end_seconds


@dataclass(slots=True)
class _Event:
    """Notes struck together in one voice, ties joined."""

    notes: list[Note]
    timed: list[TimedNote]
    ends: list[float]
    first: bool = False


def perform(
    part: Part,
    timing: TimingMap,
    tuned: Temperament,
    *,
    instrument: Instrument,
    plan: FingeringPlan | None = None,
    bowing: BowingPlan | None = None,
    vibrato_cents: float | None = None,
) -> tuple[Run, ...]:
    """The runs of the guide, in the order in which they begin.

    `vibrato_cents` is the vibrato's half width; None takes the plan's level: none for beginners. Without a plan every
    note is played on the highest string that has it.
    """
    depth = _VIBRATO_CENTS.get(plan.level if plan else "", 9.0) if vibrato_cents is None else vibrato_cents
    runs: list[Run] = []
    for events in _voices(part, timing):
        open_runs: list[list[GuideNote]] = []
        stroke_before: Stroke | None = None
        before: _Event | None = None
        for event in events:
            stroke = bowing.by_note.get(event.notes[0].id) if bowing else None
            joined = _joined(before, event, stroke_before, stroke)
            notes = _sounding(part, event, stroke, joined, plan, instrument, tuned, depth)
            left = open_runs
            open_runs = []
            for note_run in notes:
                head = note_run[0]
                previous = _partner(left, head) if joined else None
                if previous is None:
                    open_runs.append(note_run)
                    continue
                left.remove(previous)
                last = previous[-1]
                previous[-1] = replace(last, end_seconds=head.start_seconds)
                same = last.string == head.string and not head.harmonic and not last.harmonic
                near = abs(head.stopped_semitones - last.stopped_semitones) <= 12
                previous.append(replace(head, glide=same and near and last.frequency_hz != head.frequency_hz))
                previous.extend(note_run[1:])
                open_runs.append(previous)
            runs += [Run(notes=tuple(run)) for run in left]
            before, stroke_before = event, stroke
        runs += [Run(notes=tuple(run)) for run in open_runs]
    return tuple(sorted(runs, key=lambda run: (run.start_seconds, run.notes[0].frequency_hz)))


def _voices(part: Part, timing: TimingMap) -> list[list[_Event]]:
    """Events by voice, ties joined, in the order in which they sound."""
    voices: dict[tuple[str, int], list[_Event]] = {}
    holding: dict[str, tuple[_Event, int]] = {}
    for timed in timing.notes:
        note = part.by_id[timed.id]
        if timed.tied and note.tied_from in holding:
            event, place = holding.pop(note.tied_from)
            event.ends[place] = timed.end_seconds
            holding[note.id] = (event, place)
            continue
        row = voices.setdefault((note.voice, note.staff), [])
        if note.chord and row and row[-1].timed[0].played_bar == timed.played_bar and _same_start(row[-1], timed):
            row[-1].notes.append(note)
            row[-1].timed.append(timed)
            row[-1].ends.append(timed.end_seconds)
        else:
            row.append(_Event([note], [timed], [timed.end_seconds]))
        holding[note.id] = (row[-1], len(row[-1].notes) - 1)
    return list(voices.values())


def _same_start(event: _Event, timed: TimedNote) -> bool:
    return abs(event.timed[0].start_seconds - timed.start_seconds) < 1e-6


def _joined(before: _Event | None, event: _Event, stroke_before: Stroke | None, stroke: Stroke | None) -> bool:
    """Whether one bow goes on from the event before to this one."""
    if before is None or event.notes[0].pizzicato or before.notes[0].pizzicato:
        return False
    if abs(max(before.ends) - event.timed[0].start_seconds) > 1e-3:
        return False
    if stroke is not None and stroke_before is not None:
        return stroke is stroke_before and event.notes[0].index > before.notes[0].index
    return any(note.slurred_to_next or note.grace for note in before.notes)


def _partner(left: list[list[GuideNote]], head: GuideNote) -> list[GuideNote] | None:
    """The run that goes on into a note: the one on its string, else the nearest in pitch."""
    candidates = [run for run in left if abs(run[-1].end_seconds - head.start_seconds) < 0.2]
    return min(
        candidates,
        key=lambda run: (abs(run[-1].string - head.string), abs(run[-1].frequency_hz - head.frequency_hz)),
        default=None,
    )


def _sounding(
    part: Part,
    event: _Event,
    stroke: Stroke | None,
    joined: bool,
    plan: FingeringPlan | None,
    instrument: Instrument,
    tuned: Temperament,
    depth: float,
) -> list[list[GuideNote]]:
    """The notes of one event as they sound: lengths, chords broken, ornaments and tremolo written out."""
    found = []
    order = sorted(range(len(event.notes)), key=lambda i: event.notes[i].midi)
    broken = len(order) >= 3 or any(note.arpeggiated for note in event.notes)
    for rank, i in enumerate(order):
        note = event.notes[i]
        start, end = event.timed[i].start_seconds, event.ends[i]
        length, portato = _length(note, stroke, end - start)
        finish = min(end, start + length)
        if broken and not note.pizzicato:
            start += min(_ROLL_SECONDS, (end - start) / 6) * rank
            if len(order) >= 3 and rank < len(order) - 2:
                finish = min(finish, start + 0.3)  # a bow holds two strings; the lower ones ring off
        elif broken:
            start += min(_ROLL_SECONDS, (end - start) / 6) * rank
        placement = plan.by_id[note.id].placement if plan and note.id in plan.by_id else None
        base = _base_note(note, placement, instrument, tuned)
        accent = max((_ACCENT_DB.get(name, 0.0) for name in note.articulations), default=0.0)
        crisp = accent > 2 or not _CRISP.isdisjoint(note.articulations)
        whole = replace(
            base,
            start_seconds=start,
            end_seconds=max(finish, start + 0.03),
            dynamic=note.dynamic,
            accent_db=accent,
            crisp=crisp,
            plucked=note.pizzicato,
            bow=_bow_span(stroke, event.timed[i].start_seconds, end, note, part),
            vibrato_cents=depth if base.stopped_semitones and not base.harmonic and end - start > 0.35 else 0.0,
            dip=(0.75 if portato else 0.0) if joined else 0.0,
        )
        found.append(_written_out(part, note, whole, tuned, stroke))
    return found


_CRISP = frozenset({"staccato", "staccatissimo", "spiccato", "strong-accent"})


def _length(note: Note, stroke: Stroke | None, full: float) -> tuple[float, bool]:
    """How long a note sounds, and whether it is set off from the one before under the same bow."""
    kind = stroke.kind if stroke else "detached"
    portato = kind == "portato"
    shortest = min((_LENGTHS[name] for name in note.articulations if name in _LENGTHS), default=None)
    if "tenuto" in note.articulations and shortest is not None:
        shortest = 0.75
    last = stroke is None or not stroke.note_ids or stroke.note_ids[-1] == note.id or note.tied_to is not None
    if note.pizzicato:
        length = full
    elif shortest is not None:
        length = max(full * shortest, min(full, 0.06))
    elif "tenuto" in note.articulations or not last:
        length = full
    else:
        length = full * _DETACHED
    if note.breath_after:
        length = min(length, max(full * 0.5, full - _BREATH_SECONDS))
    return length, portato


def _bow_span(stroke: Stroke | None, start: float, end: float, note: Note, part: Part) -> tuple[float, float]:
    """Where on the bow a note begins and ends: its share of the stroke, by written length."""
    if stroke is None or len(stroke.note_ids) < 2 or note.grace:
        return (stroke.start, stroke.end) if stroke else (0.3, 0.7)
    notes = [part.by_id[note_id] for note_id in stroke.note_ids]
    first = min(n.onset_quarters for n in notes)
    total = float(max(n.end_quarters for n in notes) - first) or 1.0
    a = float(note.onset_quarters - first) / total
    b = float(note.end_quarters - first) / total
    travel = stroke.end - stroke.start
    return stroke.start + travel * max(0.0, a), stroke.start + travel * min(1.0, b)


def _base_note(note: Note, placement: Placement | None, instrument: Instrument, tuned: Temperament) -> GuideNote:
    frequency = frequency_hz(note.pitch, tuned)
    if placement is None:
        string = max((i for i, s in enumerate(instrument.strings) if s.midi <= note.midi), default=0)
        semitones = max(0, note.midi - instrument.strings[string].midi)
        return GuideNote(
            note_id=note.id,
            start_seconds=0.0,
            end_seconds=0.0,
            frequency_hz=frequency,
            string=string,
            stopped_semitones=semitones,
            harmonic=2 if note.harmonic else 0,
        )
    if placement.harmonic:
        # A natural harmonic is a whole multiple of the open string, whatever the temperament says of its name.
        above = {2: 12, 3: 19, 4: 24, 5: 28, 6: 31, 8: 36}.get(placement.harmonic, 0)
        if above and abs(note.midi - above - instrument.strings[placement.string].midi) <= 0:
            name = Pitch(note.pitch.step, note.pitch.alter, note.pitch.octave)
            open_hz = frequency_hz(transposed(name, None, -above), tuned)
            frequency = open_hz * placement.harmonic
    return GuideNote(
        note_id=note.id,
        start_seconds=0.0,
        end_seconds=0.0,
        frequency_hz=frequency,
        string=placement.string,
        stopped_semitones=placement.semitones,
        harmonic=placement.harmonic,
    )


# Tremolo and ornaments ------------------------------------------------------------------------------------------------

_KEY_ORDER = "FCGDAEB"
_ORNAMENT_SECONDS = 0.07


def _written_out(
    part: Part, note: Note, whole: GuideNote, tuned: Temperament, stroke: Stroke | None
) -> list[GuideNote]:
    if note.tremolo and not whole.plucked:
        return _tremolo(note, whole)
    names = note.ornaments
    if not names:
        return [whole]
    upper, lower = (_neighbour_hz(part, note, way, tuned) for way in (1, -1))
    main = whole.frequency_hz
    if "trill-mark" in names or "shake" in names:
        return _figure(whole, [main, upper] * max(2, int((whole.end_seconds - whole.start_seconds) / 0.14)), even=True)
    if "inverted-mordent" in names:
        return _figure(whole, [main, upper, main])
    if "mordent" in names:
        return _figure(whole, [main, lower, main])
    if "turn" in names or "delayed-turn" in names:
        return _figure(whole, [upper, main, lower, main])
    if "inverted-turn" in names or "delayed-inverted-turn" in names:
        return _figure(whole, [lower, main, upper, main])
    return [whole]


def _figure(whole: GuideNote, pitches: Sequence[float], *, even: bool = False) -> list[GuideNote]:
    """One note as several under one bow: quick ones and a long last, or all even (a trill)."""
    total = whole.end_seconds - whole.start_seconds
    each = total / len(pitches) if even else min(_ORNAMENT_SECONDS, total / (len(pitches) + 1))
    notes, at = [], whole.start_seconds
    for place, (hz, _) in enumerate(groupby(pitches)):
        end = whole.end_seconds if place == len(pitches) - 1 else at + each
        notes.append(
            replace(
                whole,
                start_seconds=at,
                end_seconds=end,
                frequency_hz=hz,
                vibrato_cents=0.0,
                accent_db=whole.accent_db if place == 0 else 0.0,
                stopped_semitones=max(1, whole.stopped_semitones)
                if hz != whole.frequency_hz
                else whole.stopped_semitones,
                dip=whole.dip if place == 0 else 0.0,
            )
        )
        at = end
    return notes


def _tremolo(note: Note, whole: GuideNote) -> list[GuideNote]:
    """Quick bows: as written for one or two strokes on the stem, as fast as the bow goes for three and more."""
    total = whole.end_seconds - whole.start_seconds
    value = float(note.duration_quarters) or 1.0
    shortest = min(value, float(Fraction(1, 2 ** min(note.tremolo, 4))))
    count = max(2, round(value / shortest))
    if note.tremolo >= 3:
        count = max(2, round(total / 0.07))
    each = total / count
    return [
        replace(
            whole,
            start_seconds=whole.start_seconds + i * each,
            end_seconds=whole.start_seconds + (i + 1) * each,
            dip=0.6 if i else whole.dip,
            vibrato_cents=0.0,
            accent_db=whole.accent_db if i == 0 else 0.0,
        )
        for i in range(count)
    ]


def _neighbour_hz(part: Part, note: Note, way: int, tuned: Temperament) -> float:
    """The next letter up or down in the key of the bar."""
    fifths = part.bars[note.bar_index].fifths
    letters = "CDEFGAB"
    place = letters.index(note.pitch.step) + way
    octave = note.pitch.octave + place // 7
    step = letters[place % 7]
    sharp = fifths > 0 and _KEY_ORDER.index(step) < fifths
    flat = fifths < 0 and _KEY_ORDER[::-1].index(step) < -fifths
    return frequency_hz(Pitch(step, 1 if sharp else -1 if flat else 0, octave), tuned)
