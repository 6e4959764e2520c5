"""A second part to the tune: a bass from the chords, a voice below it, or a drone on open strings.

Method: the time is cut into slots (beats, or longer where the kind of part moves slower); each slot may take one of
the pitches that its player's level has. The line that breaks no rule and costs least is found exactly by dynamic
programming over pairs of neighbouring pitches, so that what a leap asks of the note after it is known. The rules are
those of `part_writing`, priced so high that one is broken only where nothing else exists; the rest is taste: contrary
motion, thirds and sixths, small steps, chord notes.
Units: quarter notes, MIDI, costs without unit.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from partwright.arranging.cheapest import cheapest_row
from partwright.arranging.harmony import Harmony, Span, beat_length, key_spelling, melody, scale_classes
from partwright.arranging.keys_of import mode_of, tonic_midi_class
from partwright.arranging.new_notes import part_of_sounds
from partwright.arranging.part_writing import LARGE_LEAP_SEMITONES, Breach, breaches, sounding_at, strong_moments
from partwright.errors import InputError, NoPlan
from partwright.fingering import FingeringPlan, plan_fingering, playable_midi
from partwright.instrument import Instrument
from partwright.score import Note, Part, Pitch

__all__ = ["KINDS", "SecondPart", "second_part"]

Kind = Literal["bass", "counter", "drone"]
KINDS: tuple[Kind, ...] = ("bass", "counter", "drone")

_BROKEN = 1000.0
_FEWEST_BELOW = 0  # semitones between the tune and a note below it
_MOST_BELOW = {"bass": 40, "counter": 21, "drone": 60}
_CANDIDATES = 10
_CHANGED = 2.5  # what it costs a drone to change its string


@dataclass(frozen=True, kw_only=True)
class SecondPart:
    """The part, its fingers at its own level, and what the rules say of it (nothing, where all could be kept)."""

    kind: Kind
    part: Part
    plan: FingeringPlan
    breaches: tuple[Breach, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Slot:
    start: Fraction
    end: Fraction
    strong: bool
    span: Span | None
    over: tuple[int, ...]  # the tune's pitches while the slot lasts; the first is what sounds at its start
    at_start: int | None
    joins: bool  # no rest of the part before it


def second_part(
    part: Part,
    instrument: Instrument,
    *,
    kind: str = "bass",
    level: str = "intermediate",
    harmony: Harmony | None = None,
    proposed: bool = False,
) -> SecondPart:
    """A part to play with the tune on `instrument` at `level`; `harmony` are the chords, the part's own by default.

    Raises InputError for an unknown kind, a tune without notes, or chords where there are none; NoPlan where the level
    has no pitch below the tune.
    """
    if kind not in KINDS:
        raise InputError(f'there is no second part "{kind}"', f"Known are {', '.join(KINDS)}.")
    if level not in instrument.levels:
        raise InputError(f'there is no level "{level}"', f"Known are {', '.join(instrument.levels)}.")
    harmony = harmony or Harmony(part)
    tune = melody(part)
    if not tune:
        raise InputError("there is no melody in this part", "Choose another part with --part.")
    if not harmony.spans:
        raise InputError(
            "there are no chord symbols to make a second part from", "Write them in, or have them proposed."
        )
    pitches = sorted(playable_midi(instrument, instrument.levels[level]))
    chosen = next(known for known in KINDS if known == kind)
    line = _drone(part, tune, harmony, instrument) if chosen == "drone" else _line(part, tune, harmony, pitches, chosen)
    made = part_of_sounds(part, line, name={"bass": "Bass line", "counter": "Second voice", "drone": "Drone"}[chosen])
    plan = plan_fingering(made, instrument, level=level)
    found = breaches(part, made, harmony, bass=chosen != "counter") if chosen != "drone" else ()
    remarks = [f"bar {b.bar}: {b.rule}: {b.words}; nothing at this level avoids it" for b in found]
    if proposed:
        remarks.append("It is made from proposed chords.")
    return SecondPart(kind=chosen, part=made, plan=plan, breaches=found, remarks=tuple(remarks))


def _line(
    part: Part, tune: Sequence[Note], harmony: Harmony, pitches: Sequence[int], kind: Kind
) -> list[tuple[Fraction, Fraction, Pitch]]:
    slots = _slots(part, tune, harmony, kind)
    mode = mode_of(part)
    columns = []
    for slot in slots:
        bar = part.bar_at(slot.start)
        scale = scale_classes(bar.fifths, mode)
        columns.append(_column(slot, pitches, scale, kind))
    if not any(columns):
        raise NoPlan("this level has no pitch below the tune", "Choose another level, or move the tune up an octave.")
    kept = [(slot, column) for slot, column in zip(slots, columns, strict=True) if column]
    row = _cheapest([slot for slot, _ in kept], [column for _, column in kept], kind)
    found: list[tuple[Fraction, Fraction, Pitch]] = []
    for k, ((slot, _), midi) in enumerate(zip(kept, row, strict=True)):
        fifths = part.bar_at(slot.start).fifths
        pitch = slot.span.spelled(midi, fifths) if slot.span else key_spelling(midi, fifths)
        bar = part.bar_at(slot.start)
        held = found and found[-1][1] == slot.start and found[-1][2] == pitch and slot.start > bar.start_quarters
        if held and not _chord_starts(slot) and not slot.over[1:] and _may_hold(row, k):
            found[-1] = (found[-1][0], slot.end, pitch)  # nothing new happens: the note is held
            continue
        found.append((slot.start, slot.end, pitch))
    return found


def _may_hold(row: Sequence[int], k: int) -> bool:
    """Whether the note may be joined to the equal one before it: not where a leap would then go on the same way."""
    before = next((midi for midi in reversed(row[:k]) if midi != row[k]), row[k])
    after = next((midi for midi in row[k + 1 :] if midi != row[k]), row[k])
    leap, then = row[k] - before, after - row[k]
    return abs(leap) <= LARGE_LEAP_SEMITONES or then == 0 or (leap > 0) != (then > 0)


def _slots(part: Part, tune: Sequence[Note], harmony: Harmony, kind: Kind) -> list[_Slot]:
    strong = set(strong_moments(part))
    cuts: list[tuple[Fraction, Fraction]] = []
    for bar in part.bars:
        beat = beat_length(bar.beats, bar.beat_type)
        marks = {bar.start_quarters}
        step = bar.start_quarters - bar.beat_offset_quarters
        while step < bar.end_quarters:
            if step > bar.start_quarters and (kind == "counter" or step in strong):
                marks.add(step)
            step += beat
        marks |= {s.start_quarters for s in harmony.spans if bar.start_quarters < s.start_quarters < bar.end_quarters}
        ordered = [*sorted(marks), bar.end_quarters]
        cuts += list(itertools.pairwise(ordered))
    slots = []
    before: Fraction | None = None
    for start, end in cuts:
        at_start = sounding_at(tune, start)
        over = tuple(n.midi for n in tune if start < n.onset_quarters < end)
        if (at_start is None and not over) or harmony.at(start) is None:  # it comes in with the first chord
            continue
        head = (at_start.midi,) if at_start else ()
        slots.append(
            _Slot(
                start=start, end=end, strong=start in strong or _chord_begins(harmony, start),
                span=harmony.at(start), over=(*head, *over), at_start=at_start.midi if at_start else None,
                joins=before == start,
            )
        )  # fmt: skip
        before = end
    return slots


def _chord_begins(harmony: Harmony, onset: Fraction) -> bool:
    """Whether a chord begins at this moment."""
    span = harmony.at(onset)
    return span is not None and span.start_quarters == onset


def _column(slot: _Slot, pitches: Sequence[int], scale: frozenset[int], kind: Kind) -> list[int]:
    """The pitches a slot may take, the most wanted first, at most `_CANDIDATES` of them."""
    top = min(slot.over)
    low = top - _MOST_BELOW[kind]
    near = [midi for midi in pitches if low <= midi <= top - _FEWEST_BELOW]
    if not near:
        near = [midi for midi in pitches if midi <= top]
    if slot.span is None:
        usable = [midi for midi in near if midi % 12 in scale]
    elif slot.strong or kind == "bass":
        usable = [midi for midi in near if midi % 12 in slot.span.classes]
    else:
        usable = [midi for midi in near if midi % 12 in slot.span.classes or midi % 12 in scale]
    usable = usable or near
    return sorted(usable, key=lambda midi: (_own(slot, midi, kind), midi))[:_CANDIDATES]


def _own(slot: _Slot, midi: int, kind: Kind) -> float:
    """What a pitch costs by itself."""
    cost = 0.0
    span = slot.span
    if span is not None and midi % 12 not in span.classes:
        cost += _BROKEN if slot.strong else 0.8
    if kind == "bass":
        if span is not None and _chord_starts(slot) and midi % 12 != span.bass:
            cost += 4.0
        elif span is not None and midi % 12 != span.root:
            cost += 0.5
        cost += 0.05 * max(0, midi - min(slot.over) + 12)  # a bass wants room above it
        return cost
    for over in slot.over[:2]:
        apart = over - midi
        if apart < 0:
            cost += _BROKEN
        interval = apart % 12
        weight = 1.0 if over == slot.at_start else 0.5
        cost += weight * {0: 1.2, 3: 0.0, 4: 0.0, 8: 0.05, 9: 0.05, 7: 0.5, 5: 0.7, 2: 2.5, 10: 1.8, 1: 4.0, 11: 3.5,
                          6: 1.8}[interval]  # fmt: skip
        cost += 0.15 * max(0, apart - 12)
        cost += 1.5 if apart == 0 else 0.0
    return cost


def _chord_starts(slot: _Slot) -> bool:
    """Whether the slot's chord begins with it."""
    return slot.span is not None and slot.span.start_quarters == slot.start


def _move(before: _Slot, after: _Slot, a: int, b: int, kind: Kind) -> float:
    """What going from one pitch to the next costs."""
    if not after.joins:
        return 0.0
    step = abs(b - a)
    cost = 0.12 * step if step <= LARGE_LEAP_SEMITONES else 0.6 + 0.15 * (step - LARGE_LEAP_SEMITONES)
    if kind == "bass" and step in (5, 7, 12):
        cost = 0.5
    if step in (6, 10, 11) or step > 12:
        cost += 3.0
    if step == 0:
        cost += 0.5 if kind == "counter" else 0.2
    if before.at_start is not None and after.at_start is not None:
        first, then = (before.at_start - a) % 12, (after.at_start - b) % 12
        tune, own = after.at_start - before.at_start, b - a
        if tune and own and first == then and first in (0, 7):
            cost += _BROKEN
        elif tune and own and (tune > 0) == (own > 0):
            if then in (0, 7):
                cost += 0.8  # hidden fifths and octaves: to be avoided, not forbidden (Prout)
            cost += 0.1
        elif tune and own:
            cost -= 0.15
    return cost


def _turn(after: _Slot, a: int, b: int, c: int, kind: Kind) -> float:
    """What two moves in a row cost: a large leap goes back the other way."""
    leap, then = b - a, c - b
    if not after.joins or abs(leap) <= LARGE_LEAP_SEMITONES or then == 0:
        return 0.0
    if kind == "bass" and abs(leap) in (7, 12):
        return 0.0
    if (leap > 0) == (then > 0):
        return _BROKEN
    return 0.0 if abs(then) <= 2 else 0.6


def _strong_pairs(slots: Sequence[_Slot]) -> list[int | None]:
    """For each slot, the strong one before it, if it is strong itself and that is not its neighbour."""
    found: list[int | None] = []
    last: int | None = None
    for k, slot in enumerate(slots):
        found.append(last if slot.strong and last is not None and last < k - 1 else None)
        if slot.strong:
            last = k
    return found


def _cheapest(slots: Sequence[_Slot], columns: Sequence[Sequence[int]], kind: Kind) -> list[int]:
    """The best row of pitches. States are pairs (the pitch at the last strong beat but for the neighbour, before, now).

    Parallels are forbidden between neighbouring slots here; between strong beats with weaker slots in between they are
    taken out afterwards by barring the pitch that makes them and solving again.
    """
    barred: set[tuple[int, int]] = set()
    pairs = _strong_pairs(slots)
    row: list[int] = []
    for _ in range(40):
        row = _solve(slots, columns, kind, barred)
        bad = next(
            (k for k, before in enumerate(pairs) if before is not None and _parallel(slots, row, before, k)), None
        )
        if bad is None or len([midi for midi in columns[bad] if (bad, midi) not in barred]) < 2:
            break
        barred.add((bad, row[bad]))
    return row


def _parallel(slots: Sequence[_Slot], row: Sequence[int], one: int, two: int) -> bool:
    a, b = slots[one].at_start, slots[two].at_start
    if a is None or b is None or a == b or row[one] == row[two]:
        return False
    first, then = (a - row[one]) % 12, (b - row[two]) % 12
    return first == then and first in (0, 7)


def _solve(
    slots: Sequence[_Slot], columns: Sequence[Sequence[int]], kind: Kind, barred: set[tuple[int, int]]
) -> list[int]:
    own = [
        [_own(slot, midi, kind) + (_BROKEN / 2 if (k, midi) in barred else 0.0) for midi in column]
        for k, (slot, column) in enumerate(zip(slots, columns, strict=True))
    ]
    if len(slots) == 1:
        return [columns[0][min(range(len(columns[0])), key=own[0].__getitem__)]]
    best = {
        (i, j): own[0][i] + own[1][j] + _move(slots[0], slots[1], a, b, kind)
        for i, a in enumerate(columns[0])
        for j, b in enumerate(columns[1])
    }
    came: list[dict[tuple[int, int], int]] = []
    for k in range(2, len(slots)):
        fresh: dict[tuple[int, int], float] = {}
        back: dict[tuple[int, int], int] = {}
        for (i, j), total in best.items():
            a, b = columns[k - 2][i], columns[k - 1][j]
            for n, c in enumerate(columns[k]):
                price = total + own[k][n] + _move(slots[k - 1], slots[k], b, c, kind) + _turn(slots[k], a, b, c, kind)
                if price < fresh.get((j, n), float("inf")):
                    fresh[j, n] = price
                    back[j, n] = i
        came.append(back)
        best = fresh
    i, j = min(best, key=lambda pair: (best[pair], pair))
    indices = [j, i]
    for back in reversed(came):
        i, j = back[i, j], i
        indices.append(i)
    indices.reverse()
    return [columns[k][index] for k, index in enumerate(indices)]


def _drone(
    part: Part, tune: Sequence[Note], harmony: Harmony, instrument: Instrument
) -> list[tuple[Fraction, Fraction, Pitch]]:
    """An open string a bar, the one that fits the bar's chords and the tune best; low ones rather than high ones."""
    opens = [string.midi for string in instrument.strings]
    bars = []
    mode = mode_of(part)
    for bar in part.bars:
        tonic = tonic_midi_class(bar.fifths, mode)
        notes = [n for n in tune if bar.start_quarters <= n.onset_quarters < bar.end_quarters]
        if not notes or harmony.at(bar.end_quarters - Fraction(1, 64)) is None:
            continue
        prices = []
        for midi in opens:
            away = (midi - tonic) % 12  # the key note and its fifth are what a drone is made of
            cost = float(bar.length_quarters) * (0.0 if away == 0 else 0.2 if away == 7 else 0.8)
            for span in harmony.spans:
                held = min(span.end_quarters, bar.end_quarters) - max(span.start_quarters, bar.start_quarters)
                if held > 0:
                    cost += float(held) * (0.0 if midi % 12 == span.root else 0.4 if midi % 12 in span.classes else 2.0)
            for note in notes:
                clash = (note.midi - midi) % 12 in (1, 11, 6)
                cost += float(note.duration_quarters) * (1.0 if clash else 0.0) + (0.6 if midi > note.midi else 0.0)
            prices.append(cost)
        bars.append((bar, prices))
    # A drone that changes with every bar is none: a change costs something.
    row = cheapest_row([prices for _, prices in bars], lambda _, a, b: _CHANGED * (a != b))
    return [
        (bar.start_quarters, bar.end_quarters, key_spelling(opens[index], bar.fifths))
        for (bar, _), index in zip(bars, row, strict=True)
    ]
