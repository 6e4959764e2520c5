"""A part as the left hand meets it: events (notes and chords) and the walk through them as played.

Units: times in seconds where they say so, else quarter notes. A note held over by ties is one event.
"""

from __future__ import annotations

from dataclasses import dataclass

from partwright.score import Note, Part, PlayedNote

__all__ = ["Event", "Step", "Walk", "hurry", "read_events"]

_HOLD_SHARE = 0.35  # of a note's own length, how much a player takes from it for the way to the next
_STACCATO_SHARE = 0.4
_GRACE_SECONDS = 0.08
_COMFORT_SECONDS = 0.25
_LEAST_SECONDS = 0.08
_HURRY_BOUNDS = (0.35, 1.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Notes struck together, written once. `held` are pitches (MIDI) that sound on from the event before."""

    note_ids: tuple[str, ...]
    midi: tuple[int, ...]
    bar_index: int
    held: bool = False
    long_seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Going from one event to the next, as played: how hurried (1 = comfortable), and whether under a slur."""

    a: int
    b: int
    hurry: float
    slurred: bool
    seconds: float  # time for the move
    held: bool = False
    off_beat: bool = False  # the note it leads to begins between two beats


@dataclass(frozen=True, kw_only=True)
class Walk:
    """The events of a part as written, and the steps between them as played."""

    events: tuple[Event, ...]
    steps: tuple[Step, ...]
    event_of: dict[str, int]  # note id -> event index; a tied continuation points at the event that began it
    order: tuple[int, ...]  # events as played


def hurry(seconds: float) -> float:
    """How hurried a move is that has this much time: 1 at a quarter second and its margin, bounded.

    >>> hurry(10.0), round(hurry(0.17), 2)
    (0.35, 1.0)
    """
    low, high = _HURRY_BOUNDS
    return float(min(high, max(low, (_COMFORT_SECONDS / (_LEAST_SECONDS + max(0.0, seconds))) ** 0.5)))


def read_events(part: Part) -> Walk:
    """The events of a part and how they follow each other when it is played."""
    groups, event_of = _group(part)
    events = []
    for group in groups:
        pitches = [note for note in group if note.tied_from is None] or group
        partly = len(pitches) < len(group)
        chosen = group if partly else pitches
        events.append(
            Event(
                note_ids=tuple(note.id for note in chosen),
                midi=tuple(note.midi for note in chosen),
                bar_index=group[0].bar_index,
                held=partly,
            )
        )
    steps, order, seconds = _steps(part, groups, event_of, events)
    events = [
        Event(note_ids=e.note_ids, midi=e.midi, bar_index=e.bar_index, held=e.held, long_seconds=longest)
        for e, longest in zip(events, seconds, strict=True)
    ]
    return Walk(events=tuple(events), steps=tuple(steps), event_of=event_of, order=tuple(order))


def _group(part: Part) -> tuple[list[list[Note]], dict[str, int]]:
    """Notes by event, in written order; a group whose every note is tied over joins the event it continues."""
    groups: list[list[Note]] = []
    event_of: dict[str, int] = {}
    known = {note.id: note for note in part.notes}
    pending: list[Note] = []

    def close() -> None:
        if not pending:
            return
        origins = {event_of.get(note.tied_from) if note.tied_from in known else None for note in pending}
        if None not in origins and len(origins) == 1:
            origin = origins.pop()
            assert origin is not None
            for note in pending:
                event_of[note.id] = origin
        else:
            for note in pending:
                event_of[note.id] = len(groups)
            groups.append(list(pending))
        pending.clear()

    for note in part.notes:
        if pending and not _together(pending[0], note):
            close()
        pending.append(note)
    close()
    return groups, event_of


def _together(first: Note, note: Note) -> bool:
    if first.grace or note.grace:
        return note.chord and bool(first.grace) == bool(note.grace)
    return first.onset_quarters == note.onset_quarters


def _steps(
    part: Part, groups: list[list[Note]], event_of: dict[str, int], events: list[Event]
) -> tuple[list[Step], list[int], list[float]]:
    steps: list[Step] = []
    order: list[int] = []
    longest = [0.0] * len(groups)
    began = ended = 0.0
    last: Note | None = None
    last_pass = 0
    for played in (*part.played_notes, *_never_played(part)):
        note = part.notes[played.note_index]
        event = event_of[note.id]
        length = played.duration_seconds if not note.grace else _GRACE_SECONDS
        end = played.onset_seconds + length
        continues = order and event == order[-1] and (note.tied_from is not None or played.pass_number == last_pass)
        if continues:
            ended = max(ended, end)
        else:
            if order:
                assert last is not None
                seconds = _time_for_move(last, began, ended, played.onset_seconds)
                steps.append(
                    Step(
                        a=order[-1],
                        b=event,
                        hurry=hurry(seconds),
                        slurred=last.slurred_to_next,
                        seconds=seconds,
                        held=events[event].held and bool(set(events[event].midi) & set(events[order[-1]].midi)),
                        off_beat=note.beat.denominator > 1,
                    )
                )
            order.append(event)
            began, ended = played.onset_seconds, end
        longest[event] = max(longest[event], ended - began)
        last, last_pass = note, played.pass_number
    return steps, order, longest


def _never_played(part: Part) -> list[PlayedNote]:
    """Written notes that the order of playing passes over (bars after a final Fine, for instance), after all others.

    They stand on the page, so they are fingered too, at the tempo in force where they stand.
    """
    heard = {played.note_index for played in part.played_notes}
    silent = [note for note in part.notes if note.index not in heard]
    if not silent:
        return []
    seconds = max((played.onset_seconds + played.duration_seconds for played in part.played_notes), default=0.0)
    found = []
    before = silent[0].onset_quarters
    for note in silent:
        marks = [mark.tempo_qpm for mark in part.tempo_marks if mark.onset_quarters <= note.onset_quarters]
        of_quarter = 60.0 / (marks[-1] if marks else part.tempo_marks[0].tempo_qpm)
        seconds += float(note.onset_quarters - before) * of_quarter
        before = note.onset_quarters
        found.append(
            PlayedNote(
                note_index=note.index,
                pass_number=1,
                onset_quarters=note.onset_quarters,
                onset_seconds=seconds,
                duration_seconds=float(note.duration_quarters) * of_quarter,
            )
        )
    return found


def _time_for_move(last: Note, began: float, ended: float, onset: float) -> float:
    length = ended - began
    short = bool(last.articulations & {"staccato", "staccatissimo", "spiccato"})
    gap = max(0.0, onset - ended) + (_STACCATO_SHARE * length if short else 0.0)
    return gap + _HOLD_SHARE * length
