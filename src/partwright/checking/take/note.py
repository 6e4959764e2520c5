"""What the check says of one played note, and of the take as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Literal

from partwright.checking.finding import Finding
from partwright.checking.take.events import ScoreEvent
from partwright.checking.take.measure import Vibrato
from partwright.score import Part

__all__ = ["Habit", "Spot", "TakeCheck", "TakeNote"]

Judged = Literal["right", "wrong", "check", "not judged"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeNote:
    """One written note as it was played once. `cents` from the score at the take's own tuning, + is sharp.

    `pitch` and `timing` are verdicts; `why_not` says why a pitch was not judged. `attempt` counts from 0; `counts` is
    False where the same place was played again later.
    """

    note_id: str
    event: int
    attempt: int
    counts: bool
    bar: str
    bar_index: int
    beat: Fraction
    name: str
    midi: int
    time_s: float
    end_s: float
    pitch: Judged
    timing: Judged
    cents: float | None = None
    uncertainty_cents: float | None = None
    vibrato: Vibrato | None = None
    late_s: float | None = None
    length_share: float | None = None  # sounding, of the time to the next onset
    cut_short: bool = False
    played: str = ""
    kind: str = ""  # "", intonation, wrong note, missed
    why_not: str = ""
    confidence: float = 0.0

    @property
    def shape(self) -> str:
        """The sign of the intonation picture: ▲ above, ▼ below, ● in tune, ✗ another note, ○ missed, · not judged."""
        if self.kind == "missed":
            return "○"
        if self.kind == "wrong note":
            return "✗"
        if self.cents is None or self.pitch == "not judged":
            return "·"
        if self.pitch == "right":
            return "●"
        return "▲" if self.cents > 0 else "▼"


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """The same finger in the same place out the same way: median cents over `notes` of `places` bars."""

    finger: str
    position: str
    string: str
    cents: float
    notes: int
    bars: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Bars worth practising, why, and the drills of the lesson that belong to them."""

    first_bar: str
    last_bar: str
    first_index: int
    last_index: int
    why: str
    weight: float
    drills: tuple[str, ...] = ()
    time_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class TakeCheck:
    """A take, checked. Times in seconds from the start of the recording."""

    name: str
    seconds: float
    part: Part
    events: tuple[ScoreEvent, ...]
    notes: tuple[TakeNote, ...]
    findings: tuple[Finding, ...]
    reference_hz: float  # the take's own A
    shift_semitones: int
    heard_share: float
    fit: float
    tempo_qpm: float | None
    tempo_range_qpm: tuple[float, float] | None
    covered: tuple[tuple[str, str], ...]  # first and last bar of each stretch that counts
    starts_s: float
    ends_s: float
    phrases: tuple[tuple[str, str], ...] = ()  # ids of the first and last note of each phrase of the part
    habits: tuple[Habit, ...] = ()
    spots: tuple[Spot, ...] = ()
    sentences: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @cached_property
    def counted(self) -> tuple[TakeNote, ...]:
        """Notes of the attempts that count, in order of time."""
        return tuple(note for note in self.notes if note.counts)

    @cached_property
    def sums(self) -> Mapping[str, float | int | None]:
        """Counts and centres over the notes that count."""
        counted = self.counted
        cents = sorted(
            abs(n.cents) for n in counted if n.cents is not None and n.pitch != "not judged" and n.kind != "wrong note"
        )
        late = sorted(abs(n.late_s) for n in counted if n.late_s is not None)
        return {
            "notes": len(counted),
            "pitch_judged": sum(n.pitch != "not judged" for n in counted),
            "in_tune": sum(n.pitch == "right" for n in counted),
            "out_of_tune": sum(n.kind == "intonation" for n in counted),
            "wrong_notes": sum(n.kind == "wrong note" for n in counted),
            "missed": sum(n.kind == "missed" for n in counted),
            "early_or_late": sum(n.timing == "check" for n in counted),
            "median_abs_cents": round(cents[len(cents) // 2], 1) if cents else None,
            "median_abs_late_ms": round(1000 * late[len(late) // 2]) if late else None,
        }
