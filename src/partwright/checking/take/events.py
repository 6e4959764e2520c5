"""The score as a row of things to hear: what sounds together from one onset to the next, and the rests between.

Times are seconds and quarters from the start of the played order, repeats unfolded. Pitches are MIDI numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from partwright.score import Part
from partwright.sound import TimingMap

__all__ = ["ScoreEvent", "score_events"]

_SHORT = frozenset({"staccato", "staccatissimo", "spiccato"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreEvent:
    """Notes struck together, once as played. `sounding` adds what another voice still holds. `rest_s` is the silence
    written after it; `short` that it is marked to sound less than its value."""

    index: int
    note_ids: tuple[str, ...]
    midis: tuple[int, ...]
    sounding: tuple[int, ...]
    bar_index: int
    bar: str
    beat: Fraction
    played_bar: int
    pass_number: int
    start_s: float
    end_s: float
    start_quarters: float
    end_quarters: float
    rest_s: float = 0.0
    first_of_bar: bool = False
    grace: bool = False
    short: bool = False
    plucked: bool = False
    trilled: bool = False
    slurred: bool = False  # joined to the event before it under one bow
    held: bool = False  # a fermata: its length is the player's

    @property
    def seconds(self) -> float:
        return self.end_s - self.start_s


def score_events(part: Part, timing: TimingMap) -> tuple[ScoreEvent, ...]:
    """The events of a part in the order in which they sound. () for a part without notes."""
    heads: list[tuple[float, float, float, float, str, int]] = []  # start, end, quarters, end quarters, id, played bar
    open_ties: dict[str, int] = {}
    for timed in timing.notes:
        note = part.by_id[timed.id]
        bar = timing.bars[timed.played_bar]
        begin = float(bar.quarters_from_start + note.onset_quarters - part.bars[note.bar_index].start_quarters)
        if timed.tied and note.tied_from in open_ties:
            place = open_ties.pop(note.tied_from)
            start, _, quarters, _, name, played = heads[place]
            heads[place] = (
                start,
                timed.end_seconds,
                quarters,
                begin + float(note.duration_quarters),
                name,
                played,
            )
            open_ties[note.id] = place
            continue
        heads.append(
            (
                timed.start_seconds,
                timed.end_seconds,
                begin,
                begin + float(note.duration_quarters),
                note.id,
                timed.played_bar,
            )
        )
        open_ties[note.id] = len(heads) - 1
    heads.sort(key=lambda head: (head[0], part.by_id[head[4]].midi))
    groups: list[list[tuple[float, float, float, float, str, int]]] = []
    for head in heads:
        if groups and head[0] - groups[-1][0][0] < 0.012 and head[5] == groups[-1][0][5]:
            groups[-1].append(head)
        else:
            groups.append([head])
    return _chained(part, timing, groups)


def _chained(
    part: Part, timing: TimingMap, groups: list[list[tuple[float, float, float, float, str, int]]]
) -> tuple[ScoreEvent, ...]:
    events: list[ScoreEvent] = []
    holding: list[tuple[float, int]] = []  # end, midi of notes of other voices still sounding
    bar_before = -1
    slurred = False
    for number, group in enumerate(groups):
        start = group[0][0]
        following = groups[number + 1][0] if number + 1 < len(groups) else None
        notes = [part.by_id[head[4]] for head in group]
        holding = [(end, midi) for end, midi in holding if end > start + 0.02]
        last = max(head[1] for head in group)
        still = max([last, *(end for end, _ in holding)])
        end = min(still, following[0]) if following is not None else still
        rest = max(0.0, following[0] - end) if following is not None else 0.0
        end_quarters = max(head[3] for head in group)
        if following is not None:
            end_quarters = min(end_quarters, following[2])
        first = notes[0]
        bar = timing.bars[group[0][5]]
        events.append(
            ScoreEvent(
                index=number,
                note_ids=tuple(note.id for note in notes),
                midis=tuple(note.midi for note in notes),
                sounding=tuple(sorted({*(note.midi for note in notes), *(midi for _, midi in holding)})),
                bar_index=first.bar_index,
                bar=first.bar,
                beat=first.beat,
                played_bar=group[0][5],
                pass_number=bar.pass_number,
                start_s=start,
                end_s=max(end, start + 0.02),
                start_quarters=group[0][2],
                end_quarters=max(end_quarters, group[0][2]),
                rest_s=rest if rest > 0.02 else 0.0,
                first_of_bar=group[0][5] != bar_before,
                grace=bool(first.grace),
                short=bool(_SHORT & first.articulations),
                plucked=first.pizzicato,
                trilled=bool(first.ornaments) or first.tremolo > 0,
                slurred=slurred,
                held=first.fermata,
            )
        )
        slurred = any(note.slurred_to_next for note in notes)
        bar_before = group[0][5]
        holding += [(head[1], part.by_id[head[4]].midi) for head in group if head[1] > end + 0.02]
    return tuple(events)
