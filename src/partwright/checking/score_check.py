"""Is the score itself sound, and can this player play it? Range, bars, ties, chords, tempo, level, what is not said.

Units: pitch in semitones (MIDI), tempo in quarter notes per minute, speed in notes per second.
Each check is a function of the same things and a row of `CHECKS`; none changes a score.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from partwright.checking.finding import Finding
from partwright.errors import NoPlan
from partwright.fingering import FingeringPlan, Pin, plan_fingering
from partwright.instrument import Instrument, Level
from partwright.score import Note, Part, beat_text, fault_remarks, find_faults

__all__ = ["CHECKS", "ScoreUnderCheck", "check_score"]

# Common practice, no source: metronomes are marked from about 40 to 208; beyond these a number is most likely a slip.
TEMPO_LOW_QPM = 20.0
TEMPO_HIGH_QPM = 320.0
# Common practice, no source: fast passage work runs at 10 to 13 notes a second; nobody bows or stops 18.
FASTEST_NOTES_PER_SECOND = 18.0
HURRIED_NOTES_PER_SECOND = 13.0
_RUN_NOTES = 4
# Faults that do not change what is played, and that some writers leave on purpose.
_PERHAPS_MEANT = frozenset({"unended slur", "ending without end"})


@dataclass(frozen=True, kw_only=True)
class ScoreUnderCheck:
    """What the checks look at. The plan is made only if a check asks for it, unless it is given."""

    part: Part
    instrument: Instrument
    level: str
    pins: tuple[Pin, ...] = ()
    given_plan: FingeringPlan | None = None

    @cached_property
    def plan(self) -> FingeringPlan | None:
        """The plan for this level; None where not one note can be played."""
        if self.given_plan is not None:
            return self.given_plan
        try:
            return plan_fingering(self.part, self.instrument, level=self.level, pins=self.pins)
        except NoPlan:
            return None

    @cached_property
    def seconds_by_index(self) -> Mapping[int, tuple[float, float]]:
        """When each written note first sounds: onset and duration in seconds."""
        found: dict[int, tuple[float, float]] = {}
        for played in self.part.played_notes:
            found.setdefault(played.note_index, (played.onset_seconds, played.duration_seconds))
        return found

    def at(self, note: Note, **what: object) -> Finding:
        """A finding at a note."""
        onset = self.seconds_by_index.get(note.index)
        return Finding(
            bar=note.bar,
            beat=beat_text(note.beat),
            time_s=None if onset is None else onset[0],
            **what,  # type: ignore[arg-type]
        )


_MANY_NOTES = 8  # fewer are told one by one, however short the tune

Check = Callable[[ScoreUnderCheck], Iterator[Finding]]


def check_score(
    part: Part,
    instrument: Instrument,
    *,
    level: str,
    pins: tuple[Pin, ...] = (),
    plan: FingeringPlan | None = None,
) -> tuple[Finding, ...]:
    """All findings in a part for a player of this level, in the order of the score; those on the whole come first."""
    under = ScoreUnderCheck(part=part, instrument=instrument, level=level, pins=pins, given_plan=plan)
    findings = [finding for check in CHECKS.values() for finding in check(under)]
    order = {bar.number: bar.index for bar in reversed(part.bars)}
    return tuple(
        sorted(findings, key=lambda f: (order.get(f.bar, -1), f.time_s if f.time_s is not None else -1.0, f.verdict))
    )


def _bars_and_ties(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Overfull and short bars, ties to nowhere: what the reader of the score finds."""
    for fault in find_faults(under.part):
        sure = fault.kind not in _PERHAPS_MEANT
        what: dict[str, object] = {
            "kind": fault.kind,
            "verdict": "wrong" if sure else "check",
            "what": fault.what,
            "why": fault.todo.rstrip(".")[:1].lower() + fault.todo.rstrip(".")[1:],
            "confidence": 1.0 if sure else 0.6,
        }
        if fault.note_id:
            yield under.at(under.part.by_id[fault.note_id], **what)
        else:
            yield Finding(bar=fault.bar, **what)  # type: ignore[arg-type]


def _range(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Notes below the lowest string, or higher than the instrument goes."""
    lowest = under.instrument.strings[0]
    for note in under.part.notes:
        if note.midi < lowest.midi and note.tied_from is None:
            yield under.at(
                note,
                kind="range",
                verdict="wrong",
                what=f"{note.pitch.name} lies below the {lowest.letter} string",
                why=f"the {under.instrument.name} ends {lowest.midi - note.midi} semitones higher",
                observed=note.pitch.name,
            )


def _unplayable(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Chords and notes no hand can reach."""
    plan = under.plan
    lowest = under.instrument.strings[0].midi
    by_place = {(note.bar, note.beat): note for note in reversed(under.part.notes)}
    if plan is None:
        yield Finding(
            kind="range",
            verdict="wrong",
            what=f"no note of this part can be played on the {under.instrument.name}",
            why="choose another octave, instrument or part",
        )
        return
    for item in plan.unplayable:
        note = under.part.by_id.get(item.note_id) or by_place[item.bar, item.beat]
        if note.midi >= lowest:
            yield under.at(note, kind="unreachable", verdict="wrong", what=item.limit, why=item.why, against="plan")


def _level(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Notes outside what the level allows."""
    level: Level = under.instrument.levels[under.level]
    if under.plan is None:
        return
    outside = {item.note_id for item in under.plan.relaxed}
    struck = sum(note.tied_from is None for note in under.part.notes)
    if len(outside) >= max(_MANY_NOTES, struck / 2):  # what is wrong is the key or the octave, not each of these notes
        bars = dict.fromkeys(item.bar for item in under.plan.relaxed)
        yield Finding(
            kind="level",
            verdict="check",
            what=f"{len(outside)} of {struck} notes lie outside the {level.name} level, in {len(bars)} of "
            f"{len(under.part.bars)} bars",
            why="partwright keys says in which key and octave it lies well, partwright arrange writes a version for it",
            against="plan",
            right=level.name,
            confidence=0.9,
        )
        return
    for item in under.plan.relaxed:
        yield under.at(
            under.part.by_id[item.note_id],
            kind="level",
            verdict="check",
            what=item.limit,
            why=item.why,
            against="plan",
            right=level.name,
            confidence=0.9,
        )


def _tempo(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Tempi nobody means, and notes faster than anybody plays."""
    for mark in under.part.tempo_marks:
        bar = under.part.bar_at(mark.onset_quarters)
        if mark.source == "assumed":
            yield Finding(
                kind="tempo",
                verdict="check",
                what=f"no tempo is given; {mark.tempo_qpm:g} quarter notes a minute is assumed",
                why="fingers and bows depend on it",
                bar=bar.number,
                confidence=1.0,
            )
        elif not TEMPO_LOW_QPM <= mark.tempo_qpm <= TEMPO_HIGH_QPM:
            yield Finding(
                kind="tempo",
                verdict="check",
                what=f"{mark.tempo_qpm:g} quarter notes a minute is hardly meant",
                why=f"usual are {TEMPO_LOW_QPM:g} to {TEMPO_HIGH_QPM:g}",
                bar=bar.number,
                observed=f"{mark.tempo_qpm:g}",
                confidence=0.8,
            )
    yield from _too_fast(under)


def _too_fast(under: ScoreUnderCheck) -> Iterator[Finding]:
    """Runs of several notes in a row faster than a hand moves; one finding for each run."""
    notes = [note for note in under.part.notes if not note.grace and not note.chord and note.tied_from is None]
    run: list[Note] = []
    for note in [*notes, None]:
        duration = under.seconds_by_index.get(note.index, (0.0, 1.0))[1] if note is not None else 1.0
        if note is not None and 0 < duration < 1 / HURRIED_NOTES_PER_SECOND and not note.tremolo:
            run.append(note)
            continue
        if len(run) >= _RUN_NOTES:
            shortest = min(under.seconds_by_index[other.index][1] for other in run)
            impossible = shortest < 1 / FASTEST_NOTES_PER_SECOND
            yield under.at(
                run[0],
                kind="tempo",
                verdict="wrong" if impossible else "check",
                what=f"{len(run)} notes at {1 / shortest:.0f} a second",
                why=f"{'nobody plays' if impossible else 'few play'} so fast; is the tempo or the note value a slip?",
                observed=f"{1 / shortest:.1f} notes a second",
                confidence=0.9 if impossible else 0.6,
            )
        run = []


def _not_said(under: ScoreUnderCheck) -> Iterator[Finding]:
    """What a page should say and this one does not."""
    printed = under.part.credits
    for text, what, why in (
        (printed.title, "there is no title", "a page without one is hard to find again"),
        (printed.composer, "there is no composer", "write who made it, or that it is traditional"),
        (" ".join(printed.rights), "there is no rights line", "whoever prints it must know what is allowed"),
    ):
        if not text.strip():
            yield Finding(kind="metadata", verdict="check", what=what, why=why)
    if under.part.bars and not under.part.bars[0].metre_given:
        yield Finding(
            kind="metadata",
            verdict="check",
            what="there is no time signature",
            why="beats are counted as quarters",
            bar=under.part.bars[0].number,
        )


def _remarks(under: ScoreUnderCheck) -> Iterator[Finding]:
    """What the reader had to assume or leave aside."""
    said_elsewhere = {*fault_remarks(under.part), *(t for t in under.part.remarks if t.startswith("No tempo"))}
    for text in under.part.remarks:
        if text in said_elsewhere:
            continue
        yield Finding(kind="reading", verdict="check", what=text.rstrip("."), why="", confidence=1.0)


CHECKS: Mapping[str, Check] = {
    "bars and ties": _bars_and_ties,
    "range": _range,
    "chords": _unplayable,
    "level": _level,
    "tempo": _tempo,
    "what is not said": _not_said,
    "reading": _remarks,
}
"""Every check of the score, by name; adding one is adding a row."""
