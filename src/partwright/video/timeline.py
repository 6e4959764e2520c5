"""What is to be seen when: from plan, bow and timing map to a few tracks of states. Pure; no pixels.

A track is a state that holds from its time until the next one's. Times in seconds from the start of the video.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Generic, TypeVar

from partwright.video.board import BoardState, Hand, Stop, hand_of
from partwright.video.bow_strip import BowState

if TYPE_CHECKING:
    from partwright.bowing import BowingPlan, Stroke
    from partwright.fingering import FingeringPlan
    from partwright.instrument import Instrument
    from partwright.lesson import TaughtSection
    from partwright.score import Note, Part
    from partwright.sound import TimingMap

__all__ = ["SectionSpan", "StrokeSpan", "Timeline", "Track", "hand_words", "make_timeline", "spelled"]

State = TypeVar("State", bound=Hashable)
_ANNOUNCED_SECONDS = 4.0  # how long before the hand moves its next place is shown, at most
_SIGNS = {-2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "♯♯"}


@dataclass(frozen=True)
class Track(Generic[State]):
    """States by the time from which they hold; the first holds from the start."""

    times: tuple[float, ...]
    states: tuple[State, ...]

    def at(self, seconds: float) -> State:
        """The state at a time."""
        return self.states[max(0, bisect_right(self.times, seconds) - 1)]


def _track(events: Iterable[tuple[float, State]], first: State) -> Track[State]:
    """States in the order of their times; of several at one time the last; repeated ones left out."""
    times, states = [0.0], [first]
    for seconds, state in sorted(events, key=lambda event: event[0]):
        if seconds <= times[-1] + 1e-9:
            states[-1] = state
        elif state != states[-1]:
            times.append(seconds)
            states.append(state)
    return Track(tuple(times), tuple(states))


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeSpan:
    """One stroke as it is played: when, and from where to where on the bow."""

    start_seconds: float
    end_seconds: float
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionSpan:
    """A section as it is played; `again` where it was played before."""

    name: str
    first_bar: str
    last_bar: str
    start_seconds: float
    end_seconds: float
    again: bool = False

    @property
    def title(self) -> str:
        """As a chapter is called.

        >>> SectionSpan(name="B", first_bar="11", last_bar="18", start_seconds=0, end_seconds=9).title
        'Section B, bars 11–18'
        """
        named = f"Section {self.name}" if len(self.name) <= 2 else self.name
        bars = f"bar {self.first_bar}" if self.first_bar == self.last_bar else f"bars {self.first_bar}–{self.last_bar}"
        return f"{named}, {bars}{', again' if self.again else ''}"


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """Everything the picture shows, over time. `notes` are (index of the played bar, ids of the sounding notes)."""

    seconds: float
    notes: Track[tuple[int, tuple[str, ...]]]
    board: Track[BoardState]
    words: Track[tuple[str, str]]
    bow: Track[BowState]
    title: Track[str]
    strokes: tuple[StrokeSpan, ...]
    sections: tuple[SectionSpan, ...]
    count_in_seconds: float

    @cached_property
    def _stroke_starts(self) -> tuple[float, ...]:
        return tuple(stroke.start_seconds for stroke in self.strokes)

    def stroke_at(self, seconds: float) -> StrokeSpan | None:
        """The stroke that sounds at a time."""
        found = bisect_right(self._stroke_starts, seconds + 1e-9) - 1
        return self.strokes[found] if found >= 0 and seconds < self.strokes[found].end_seconds + 1e-9 else None


def make_timeline(
    part: Part,
    plan: FingeringPlan,
    bowing: BowingPlan,
    timing: TimingMap,
    *,
    instrument: Instrument,
    sections: Sequence[TaughtSection],
    title: str,
    seconds: float,
) -> Timeline:
    """The tracks of one product. `seconds` is how long the picture lasts: at least as long as the timing map."""
    by_id = part.by_id
    notes = _note_events(timing)
    spans = _section_spans(timing, sections)
    hands = _hand_track(part, plan, timing)
    coming = _coming(hands)
    stops: dict[tuple[str, ...], tuple[Stop, ...]] = {}

    def board(at: float) -> BoardState:
        ids = notes.at(at)[1]
        if ids not in stops:
            stops[ids] = tuple(s for s in (_stop(by_id[i], plan) for i in ids) if s is not None)
        return BoardState(hands.at(at), coming.at(at), stops[ids])

    def words(at: float) -> tuple[str, str]:
        hand, after = hands.at(at), coming.at(at)
        return (
            hand_words(instrument, hand) if hand else "",
            f"next: {_uncapital(hand_words(instrument, after))}" if after else "",
        )

    turns = sorted({*notes.times, *hands.times, *coming.times})
    return Timeline(
        seconds=seconds,
        notes=notes,
        board=_track([(at, board(at)) for at in turns], board(0.0)),
        words=_track([(at, words(at)) for at in turns], words(0.0)),
        bow=_bow_track(bowing, timing, part),
        title=_track(
            [(s.start_seconds if s is not spans[0] else timing.count_in_seconds, s.title) for s in spans], title
        ),
        strokes=_strokes(bowing, timing),
        sections=spans,
        count_in_seconds=timing.count_in_seconds,
    )


def hand_words(instrument: Instrument, hand: Hand) -> str:
    """Where the hand is, in words: "Fourth position", with how it is opened where it is."""
    zone = "thumb" if hand.zone == "thumb" else "upper" if hand.zone == "upper" else "neck"
    spoken = instrument.position(hand.frame, zone).spoken  # type: ignore[arg-type]
    opened = next((shape.extension for shape in instrument.shapes if shape.name == hand.shape), "")
    words = f"{spoken}, extended {opened}" if opened else spoken
    return words[:1].upper() + words[1:]


def _uncapital(words: str) -> str:
    return words[:1].lower() + words[1:]


def spelled(note: Note) -> str:
    """A note's letter and accidental as printed."""
    return note.pitch.step + _SIGNS.get(round(note.pitch.alter), "")


def _stop(note: Note, plan: FingeringPlan) -> Stop | None:
    fingered = plan.by_id.get(note.id)
    if fingered is None:
        return None
    place = fingered.placement
    return Stop(place.string, place.semitones, spelled(note), place.finger, place.harmonic)


def _note_events(timing: TimingMap) -> Track[tuple[int, tuple[str, ...]]]:
    """Which notes sound, and in which played bar; a bar's beginning is an event of its own."""
    starts = [(n.start_seconds, n) for n in timing.notes]
    turns = sorted(
        {
            *(round(n.start_seconds, 6) for _, n in starts),
            *(round(n.end_seconds, 6) for _, n in starts),
            *(round(bar.start_seconds, 6) for bar in timing.bars),
        }
    )
    ordered = sorted(timing.notes, key=lambda n: n.start_seconds)
    bars = [bar.start_seconds for bar in timing.bars]
    events: list[tuple[float, tuple[int, tuple[str, ...]]]] = []
    active: list[tuple[float, str]] = []
    after = 0
    for at in turns:
        while after < len(ordered) and ordered[after].start_seconds <= at + 1e-5:
            active.append((ordered[after].end_seconds, ordered[after].id))
            after += 1
        active = [item for item in active if item[0] > at + 1e-5]
        played = max(0, bisect_right(bars, at + 1e-5) - 1)
        events.append((at, (played, tuple(dict.fromkeys(note_id for _, note_id in active)))))
    return _track(events, (0, ()))


def _hand_track(part: Part, plan: FingeringPlan, timing: TimingMap) -> Track[Hand | None]:
    events: list[tuple[float, Hand | None]] = []
    for note in timing.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is not None and not part.by_id[note.id].chord:
            events.append((note.start_seconds, hand_of(fingered.placement)))
    first = events[0][1] if events else None
    return _track(events, first)


def _coming(hands: Track[Hand | None]) -> Track[Hand | None]:
    """The hand after this one, from some seconds before it is needed."""
    events: list[tuple[float, Hand | None]] = []
    for (start, _), (change, after) in pairwise(zip(hands.times, hands.states, strict=True)):
        events += [(max(start, change - _ANNOUNCED_SECONDS), after), (change, None)]
    # Where a hand is held shorter than the announcement, its end and the next one's announcement fall together.
    return _track(sorted(events, key=lambda event: (event[0], event[1] is not None)), None)


def _strokes(bowing: BowingPlan, timing: TimingMap) -> tuple[StrokeSpan, ...]:
    found: list[StrokeSpan] = []
    for first, end, stroke in _played_strokes(bowing, timing):
        found.append(StrokeSpan(start_seconds=first, end_seconds=end, start=stroke.start, end=stroke.end))
    return tuple(found)


def _played_strokes(bowing: BowingPlan, timing: TimingMap) -> list[tuple[float, float, Stroke]]:
    """(beginning, end, stroke) of each stroke as it is played."""
    found: list[tuple[float, float, Stroke]] = []
    before: tuple[str, int] | None = None
    for note in timing.notes:
        stroke = bowing.by_note.get(note.id)
        if stroke is None:
            continue
        key = (stroke.id, note.pass_number)
        starts_again = note.id == stroke.id and not note.tied
        together = bool(found) and abs(found[-1][0] - note.start_seconds) < 1e-6  # a chord
        if key == before and (together or not starts_again):
            start, end, _ = found[-1]
            found[-1] = (start, max(end, note.end_seconds), stroke)
        else:
            found.append((note.start_seconds, note.end_seconds, stroke))
        before = key
    return found


def _bow_track(bowing: BowingPlan, timing: TimingMap, part: Part) -> Track[BowState]:
    events: list[tuple[float, BowState]] = []
    counted = [beat for beat in timing.beats if beat.count_in]
    numbers = tuple(int(beat.beat) for beat in counted)
    for index, beat in enumerate(counted):
        events.append((beat.seconds, BowState(count=(index, numbers))))
    for start, end, stroke in _played_strokes(bowing, timing):
        state = BowState(
            direction=stroke.direction,
            start=stroke.start,
            end=stroke.end,
            lifted=stroke.retake,
        )
        events += [(end, BowState()), (start, state)]
    plucked = {note.id for note in part.notes if note.pizzicato}
    events += [(n.start_seconds, BowState(words="pizz.")) for n in timing.notes if n.id in plucked]
    return _track(events, BowState())


def _section_spans(timing: TimingMap, sections: Sequence[TaughtSection]) -> tuple[SectionSpan, ...]:
    """Sections in the order in which they are played; a section that begins again is a span of its own."""
    found: list[SectionSpan] = []
    seen: set[str] = set()
    current: TaughtSection | None = None
    before = -1
    for bar in timing.bars:
        section = next((s for s in sections if s.first <= bar.bar_index <= s.last), None)
        if section is None and sections and bar.bar_index < sections[0].first:
            section = sections[0]  # a pick-up belongs to what it leads into
        if section is None:
            continue
        back = section is current and bar.bar_index < before
        if section is not current or (back and bar.bar_index <= max(section.first, 1)):
            if found:
                found[-1] = replace(found[-1], end_seconds=bar.start_seconds)
            found.append(
                SectionSpan(
                    name=section.name,
                    first_bar=section.first_bar,
                    last_bar=section.last_bar,
                    start_seconds=bar.start_seconds if found else 0.0,
                    end_seconds=timing.seconds,
                    again=section.name in seen,
                )
            )
            seen.add(section.name)
        current, before = section, bar.bar_index
    return tuple(found)
