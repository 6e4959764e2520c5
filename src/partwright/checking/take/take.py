"""A take against its score: listen, measure, judge, and say it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from partwright.checking.finding import Finding
from partwright.checking.take.events import ScoreEvent, score_events
from partwright.checking.take.habits import find_habits
from partwright.checking.take.judge import Extra, Judgement, judge
from partwright.checking.take.listen import Heard, coherence, listen
from partwright.checking.take.note import TakeCheck, TakeNote
from partwright.checking.take.read_recording import Recording
from partwright.checking.take.saying import findings_of_notes, sentences_of, spots_of
from partwright.checking.take.tables import judging
from partwright.errors import AudioError, InputError, Place
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.score import Part, beat_text
from partwright.sound import make_timing

__all__ = ["check_take"]


def check_take(
    recording: Recording,
    part: Part,
    *,
    instrument: Instrument | None = None,
    plan: FingeringPlan | None = None,
    drills: Sequence[tuple[str, frozenset[int]]] = (),
    phrases: Sequence[tuple[str, str]] = (),
    told: Callable[[str, int], None] | None = None,
) -> TakeCheck:
    """Check a recording against a part. `drills`: ids of drills and the bars (indices) they are for;
    `phrases`: ids of the first and last note of each.

    Raises AudioError where the recording does not match the score, with the evidence.
    """
    events = score_events(part, make_timing(part))
    if not events:
        raise InputError("the tune has no notes to compare with", "Choose another part with --part.")
    heard = listen(recording, events, told=told)
    _refuse_other_tune(recording, events, heard)
    if told is not None:
        told("measuring every note", 4)
    judgement = judge(recording, part, heard, events, plan)
    reference = judgement.reference_cents
    notes = judgement.notes
    counted = [note for note in notes if note.counts]
    findings = sorted(
        [
            *_findings_of_walk(heard, events, part),
            *_findings_of_extras(judgement.extras, notes, part),
            *findings_of_notes(notes, part),
        ],
        key=lambda f: f.time_s or 0.0,
    )
    habits = find_habits(counted, plan, instrument) if plan is not None and instrument is not None else ()
    spots = spots_of(counted, part, drills)
    pace = sorted(judgement.seconds_per_quarter)
    bent = (reference + 50) % 100 - 50
    check = TakeCheck(
        name=recording.name,
        seconds=recording.seconds,
        part=part,
        events=events,
        notes=notes,
        findings=tuple(findings),
        reference_hz=440.0 * 2 ** (bent / 1200),
        shift_semitones=heard.shift + round((reference - bent) / 100),
        heard_share=heard.walk.heard_share,
        fit=heard.walk.fit,
        tempo_qpm=60 / pace[len(pace) // 2] if pace else None,
        tempo_range_qpm=(60 / pace[int(0.95 * (len(pace) - 1))], 60 / pace[int(0.05 * (len(pace) - 1))])
        if pace
        else None,
        covered=_covered(heard, events),
        starts_s=min(a.onsets_s[0] for a in heard.attempts),
        ends_s=max(a.end_s for a in heard.attempts),
        habits=habits,
        phrases=tuple(phrases),
        spots=spots,
        remarks=(*recording.remarks, *_remarks(heard, judgement)),
    )
    return replace(check, sentences=sentences_of(check))


def _refuse_other_tune(recording: Recording, events: Sequence[ScoreEvent], heard: Heard) -> None:
    """AudioError where the notes in order are not what is heard, with what was found of them."""
    limits = judging()["walk"]
    longest = max((len(attempt.events) for attempt in heard.attempts), default=0)
    coherent = coherence(heard, events)
    enough = heard.walk.heard_share >= limits["least_heard"] or longest >= limits["long_row"]
    wanted = limits["least_coherent_transposed" if heard.shift else "least_coherent"]
    if enough and longest >= min(4, len(events)) and heard.walk.fit >= limits["least_fit"] and coherent >= wanted:
        return
    notes = sum(len(attempt.events) for attempt in heard.attempts)
    if notes:
        bars = f"bars {events[heard.attempts[0].events[0]].bar} to {events[heard.attempts[-1].events[-1]].bar}"
        evidence = (
            f"the best that was found is {notes} notes in {bars}, {100 * coherent:.0f} % of them at the written pitch "
            f"and length, in {100 * heard.walk.heard_share:.0f} % of its sound; a take has over {100 * wanted:.0f} % "
            f"in over {100 * limits['least_heard']:.0f} %"
        )
    else:
        evidence = "none of its notes is heard in order"
    raise AudioError(
        f"does not match this score: {evidence}", "Check that the recording is of this tune.",
        place=Place(file=recording.name),
    )  # fmt: skip


def _covered(heard: Heard, events: Sequence[ScoreEvent]) -> tuple[tuple[str, str], ...]:
    return tuple((events[a.events[0]].bar, events[a.events[-1]].bar) for a in heard.attempts)


def _findings_of_walk(heard: Heard, events: Sequence[ScoreEvent], part: Part) -> list[Finding]:
    """Places played again, and bars left out."""
    found: list[Finding] = []
    for before, after in zip(heard.attempts, heard.attempts[1:], strict=False):
        last, first = before.events[-1], after.events[0]
        event = events[first]
        if first <= last:
            found.append(
                Finding(
                    kind="played again",
                    verdict="check",
                    bar=event.bar,
                    beat=_beat(event),
                    time_s=after.onsets_s[0],
                    what=f"the take stops in bar {events[last].bar} and begins again at bar {event.bar}; "
                    "the last time counts",
                    manner="played",
                    observed=f"bar {event.bar} again",
                    right=f"on to bar {events[min(last + 1, len(events) - 1)].bar}",
                    confidence=0.9,
                    why="the same notes are heard twice",
                )
            )
        elif first > last + 1:
            skipped = events[last + 1 : first]
            repeat = {e.bar_index for e in skipped} <= {e.bar_index for e in events[: last + 1]}
            bars = (
                f"bars {skipped[0].bar} to {skipped[-1].bar}"
                if skipped[0].bar != skipped[-1].bar
                else f"bar {skipped[0].bar}"
            )
            if repeat:
                continue
            found.append(
                Finding(
                    kind="left out",
                    verdict="check",
                    bar=skipped[0].bar,
                    beat=_beat(skipped[0]),
                    time_s=after.onsets_s[0],
                    what=f"{bars} {'are' if 'bars' in bars else 'is'} not in the take",
                    manner="played",
                    observed="nothing",
                    right=bars,
                    confidence=0.85,
                    why=f"after bar {events[last].bar} the take goes on at bar {event.bar}",
                )
            )
    return found


def _beat(event: ScoreEvent) -> str:
    return beat_text(event.beat)


def _findings_of_extras(extras: Sequence[Extra], notes: Sequence[TakeNote], part: Part) -> list[Finding]:
    counting = {n.note_id for n in notes if n.counts}
    found = []
    for extra in extras:
        note = part.by_id[extra.note_id]
        if extra.note_id not in counting:
            continue
        what = (
            f"{extra.played} is heard, which is not written"
            if extra.kind == "extra"
            else f"the {note.pitch.name} is struck twice"
        )
        found.append(
            Finding(
                kind=extra.kind,
                verdict="check",
                bar=note.bar,
                beat=beat_text(note.beat),
                time_s=extra.time_s,
                what=what,
                manner="played",
                observed=extra.played,
                right=f"{note.pitch.name} alone",
                confidence=extra.confidence,
                why="a steady second pitch inside the note"
                if extra.kind == "extra"
                else "the sound falls and begins anew",
            )
        )
    return found


def _remarks(heard: Heard, judgement: Judgement) -> list[str]:
    found = []
    bent = (judgement.reference_cents + 50) % 100 - 50
    shift = heard.shift + round((judgement.reference_cents - bent) / 100)
    if shift:
        size = {12: "an octave", 1: "a semitone", 2: "a tone"}.get(abs(shift), f"{abs(shift)} semitones")
        found.append(
            f"The take sounds {size} {'higher' if shift > 0 else 'lower'} than the score throughout; it is judged so."
        )
    return found
