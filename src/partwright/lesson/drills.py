"""Drills for a hard spot: real music, a few bars each, with the fingers of the plan.

Each builder takes a spot and gives bars as plain values, or nothing where it does not apply; the table of kinds says
which builders a spot gets. The music is composed as MusicXML and then fingered and bowed by the engines that do it for
the tune, around pins that hold each note where the drill wants it. Units: quarter notes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from partwright.bowing import BowingPlan, plan_bowing
from partwright.files import content_hash
from partwright.fingering import FingeringPlan, Pin, Placement, fingering_marks, plan_fingering
from partwright.instrument import Instrument
from partwright.lesson.bar_content import BarEvent, Bars
from partwright.lesson.hard_spots import HardSpot, spot_kinds
from partwright.score import (
    CLEFS,
    Mark,
    Pitch,
    TechnicalMark,
    Tune,
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
    WrittenWords,
    compose_musicxml,
    musicxml_bytes,
    tune_from_tree,
)

__all__ = ["Drill", "PlannedDrill", "drill_marks", "drill_tune", "make_drills", "plan_drill"]

MOST_BARS = 4
"""No drill is longer."""

_QUARTER, _HALF, _WHOLE = Fraction(1), Fraction(2), Fraction(4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """One drill of a spot: what it is called, what to do, how often, and its bars.

    `pins` hold notes (by id) where the drill wants them. `tempo_qpm` is where to begin.
    """

    id: str
    spot: int  # the spot's rank
    kind: str
    title: str
    words: str
    times: int
    tempo_qpm: float
    score: WrittenScore
    pins: tuple[Pin, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PlannedDrill:
    """A drill as a tune, with the engines' fingers and strokes."""

    drill: Drill
    tune: Tune
    plan: FingeringPlan
    bowing: BowingPlan


@dataclass(frozen=True, slots=True)
class _Sound:
    """A note of a drill before it is written: pitch, where it is played, its length."""

    pitches: tuple[Pitch, ...]
    place: Placement | None = None
    quarters: Fraction = _QUARTER
    words: str = ""
    slur: str = ""  # "start", "stop", "" for none or for a note inside one


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """What a builder works on."""

    spot: HardSpot
    bars: Bars
    plan: FingeringPlan
    instrument: Instrument


Builder = Callable[[_Given], "tuple[str, str, list[list[_Sound]], WrittenMetre] | None"]


def make_drills(
    spot: HardSpot, bars: Bars, plan: FingeringPlan, instrument: Instrument, *, tempo_qpm: float
) -> tuple[Drill, ...]:
    """The drills this spot's kind gets, each only where it applies. `tempo_qpm` is where practice begins."""
    given = _Given(spot=spot, bars=bars, plan=plan, instrument=instrument)
    kind = next(kind for kind in spot_kinds() if kind.name == spot.kind)
    drills: list[Drill] = []
    for name in kind.drills:
        built = _BUILDERS[name](given)
        if built is None:
            continue
        title, words, rows, metre = built
        drill_id = f"{spot.rank}{chr(ord('a') + len(drills))}"
        score, pins = _written(rows, metre, given, drill_id, tempo_qpm)
        drills.append(
            Drill(
                id=drill_id, spot=spot.rank, kind=name, title=title, words=words, times=_TIMES[name],
                tempo_qpm=tempo_qpm, score=score, pins=pins,
            )
        )  # fmt: skip
    return tuple(drills)


def drill_tune(drill: Drill) -> Tune:
    """The drill as a tune, read back from the MusicXML written for it."""
    document = compose_musicxml(drill.score)
    data = musicxml_bytes(document)
    return tune_from_tree(document, source=Path(f"drill-{drill.id}.musicxml"), source_bytes_hash=content_hash(data))


def plan_drill(drill: Drill, instrument: Instrument, *, level: str) -> PlannedDrill:
    """The drill fingered and bowed by the same engines as the tune."""
    tune = drill_tune(drill)
    plan = plan_fingering(tune.part, instrument, level=level, pins=drill.pins)
    return PlannedDrill(drill=drill, tune=tune, plan=plan, bowing=plan_bowing(tune.part, instrument, plan, level=level))


# Builders ------------------------------------------------------------------------------------------------------------


def _shift_alone(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """From the old place to the new one on a guide finger, nothing else."""
    before = given.spot.before
    if before is None:
        return None
    here, there = _sound(given, before), _sound(given, given.spot.peak)
    if here.place is None or there.place is None or _same_hand(here.place, there.place):
        return None
    guide = _guide(given, here, there)
    if guide is None:
        return None
    start = here
    if here.place.finger == 0:  # an open string guides nothing: the new finger waits in the old hand
        waiting = _at(given, there, here.place, there.place.finger)
        if waiting is None:
            return None
        start = waiting
    if (
        guide.place is not None
        and guide.place.semitones == there.place.semitones
        and guide.place.string == there.place.string
    ):
        rows = [[_lasting(start, _HALF, slur="start"), _lasting(there, _HALF, slur="stop")],
                [_lasting(there, _HALF), _lasting(start, _HALF)]]  # fmt: skip
        words = "Slide on the finger that plays both notes. Let the slide be heard at first, then make it lighter."
    else:
        rows = [
            [_lasting(start, _HALF, slur="start"), _lasting(guide, _HALF, slur="stop", words="guide")],
            [_lasting(guide, _QUARTER), _lasting(there, Fraction(3))],
        ]
        words = "The guide finger leads the hand to the new place; then the new finger falls. Later leave it out."
    return "The shift alone", words, rows, WrittenMetre()


def _positions_apart(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """The notes of the old hand, silence to move in, the notes of the new hand."""
    spot = given.spot
    old = _same_hand_run(given, spot.before, -1)
    new = _same_hand_run(given, spot.peak, 1)
    if not old or not new:
        return None
    first = [_lasting(_sound(given, k), _QUARTER) for k in sorted(old)[-4:]]
    last = [_lasting(_sound(given, k), _QUARTER) for k in new[:4]]
    rest = [_Sound((), None, _WHOLE, "move the hand")]
    return (
        "The two places without the shift",
        "Play the old place. In the silence move the hand, without sound. Then play the new place.",
        [_filled(first, _WHOLE), rest, _filled(last, _WHOLE)],
        WrittenMetre(),
    )


def _stop_and_prepare(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """The passage with a stop before the hard note."""
    lead, tail = _passage(given, before=3, after=2)
    if not lead or not tail:
        return None
    first = [*_short(given, lead), _Sound((), None, _QUARTER, "stop, prepare")]
    last = _short(given, tail)
    length = max(_total(first), _total(last))
    length = Fraction(-(-length // 1))
    return (
        "Stop and prepare",
        "Put the hand in place in the rest, before the hard note. Then play on.",
        [_filled(first, length), _filled(last, length)],
        WrittenMetre(beats=(int(length),), beat_type=4),
    )


def _rhythms(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """The passage in two dotted rhythms."""
    lead, tail = _passage(given, before=4, after=4)
    events = [*lead, *tail][:8]
    if len(events) < 4:
        return None
    rows = []
    for pair in ((Fraction(3, 2), Fraction(1, 2)), (Fraction(1, 2), Fraction(3, 2))):
        row = [_lasting(_sound(given, k), pair[i % 2]) for i, k in enumerate(events)]
        rows += [_filled(row[at : at + 4], _WHOLE) for at in range(0, len(row), 4)]
    return (
        "Added rhythms",
        "The same notes, first long and short, then short and long. Let the short note be light.",
        rows,
        WrittenMetre(),
    )


def _open_strings(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """The bow alone: the rhythm of the passage on the open strings it lies on."""
    lead, tail = _passage(given, before=4, after=3)
    sounds = []
    for sound in _short(given, [*lead, *tail]):
        if sound.place is None:
            continue
        at = replace(sound.place, semitones=0, finger=0, harmonic=0, substitute=None)
        sounds.append(_Sound((_pitch_at(given, at),), at, sound.quarters, slur=sound.slur))
    if len({sound.place.string for sound in sounds if sound.place is not None}) < 2:
        return None
    rows: list[list[_Sound]] = [[]]
    for sound in sounds:
        if rows[-1] and _total(rows[-1]) + sound.quarters > _WHOLE:
            rows.append([])
        rows[-1].append(sound)
    rows = [_filled(row, _WHOLE, hold=True) for row in rows[:2]]
    return (
        "The bow alone",
        "The rhythm and the bows of the passage, without the left hand.",
        rows,
        WrittenMetre(),
    )


def _open_and_close(given: _Given) -> tuple[str, str, list[list[_Sound]], WrittenMetre] | None:
    """The hand closed, then opened, on one string."""
    there = _sound(given, given.spot.peak)
    place = there.place
    if place is None or place.finger == 0:
        return None
    shape = given.instrument.shape(place.shape)
    closed = next((s for s in given.instrument.shapes if s.zone == "neck" and not s.extension), None)
    if not shape.extension or closed is None:
        return None
    fingers = (1, place.finger if place.finger > 1 else 4)
    rows = []
    for one in (closed, shape):
        row = []
        for finger in fingers if shape.extension == "forward" else fingers[::-1]:
            if finger not in one.offsets:
                return None
            semitones = place.frame + one.offsets[finger]
            if semitones <= 0:
                return None
            at = Placement(string=place.string, semitones=semitones, finger=finger, frame=place.frame,
                           shape=one.name, zone="neck")  # fmt: skip
            row.append(_Sound((_pitch_at(given, at),), at, _HALF))
        rows.append(row)
    way = "back" if shape.extension == "back" else "forward"
    return (
        "Reach and return",
        f"First the closed hand, then the same with the reach {way}. Keep the thumb free.",
        rows,
        WrittenMetre(),
    )


_BUILDERS: Mapping[str, Builder] = {
    "shift_alone": _shift_alone,
    "positions_apart": _positions_apart,
    "stop_and_prepare": _stop_and_prepare,
    "rhythms": _rhythms,
    "open_strings": _open_strings,
    "open_and_close": _open_and_close,
}
_TIMES = {
    "shift_alone": 4, "positions_apart": 3, "stop_and_prepare": 3, "rhythms": 2, "open_strings": 3, "open_and_close": 4,
}  # fmt: skip
"""How often each is played; common practice, no source."""


# The hand ------------------------------------------------------------------------------------------------------------


def _same_hand(one: Placement, two: Placement) -> bool:
    return (one.frame, one.zone, one.shape) == (two.frame, two.zone, two.shape)


def _sound(given: _Given, event: int) -> _Sound:
    """An event as it is played in the tune; of a chord all its notes, placed by the highest."""
    one = given.bars.events[event]
    notes = [given.bars.part.by_id[i] for i in one.note_ids]
    notes = sorted((n for n in notes if not n.grace), key=lambda n: n.midi) or notes
    found = given.plan.by_id.get(notes[-1].id)
    return _Sound(tuple(n.pitch for n in notes), found.placement if found else None, one.duration_quarters)


def _guide(given: _Given, here: _Sound, there: _Sound) -> _Sound | None:
    """The note the old finger stops when the hand has arrived; on the new string where the old one was open."""
    assert here.place is not None
    assert there.place is not None
    finger = here.place.finger or there.place.finger
    offset = given.instrument.shape(there.place.shape).offsets.get(finger)
    if offset is None or there.place.finger == 0:
        return None
    string = here.place.string if here.place.finger else there.place.string
    semitones = there.place.frame + offset
    if not 0 < semitones <= given.instrument.string_ceiling_semitones[string]:
        return None
    if there.place.harmonic and string == there.place.string and finger == there.place.finger:
        return there
    at = Placement(string=string, semitones=semitones, finger=finger, frame=there.place.frame,
                   shape=there.place.shape, zone=there.place.zone)  # fmt: skip
    return _Sound((_pitch_at(given, at),), at)


def _at(given: _Given, like: _Sound, hand: Placement, finger: int) -> _Sound | None:
    """The note that `finger` stops in `hand`, on the string of `like`."""
    assert like.place is not None
    offset = given.instrument.shape(hand.shape).offsets.get(finger)
    if offset is None or hand.frame + offset <= 0:
        return None
    at = Placement(string=like.place.string, semitones=hand.frame + offset, finger=finger, frame=hand.frame,
                   shape=hand.shape, zone=hand.zone)  # fmt: skip
    return _Sound((_pitch_at(given, at),), at)


def _pitch_at(given: _Given, at: Placement) -> Pitch:
    """The pitch stopped at a place, in the spelling of the key where the spot is."""
    midi = given.instrument.strings[at.string].midi + at.semitones
    fifths = given.bars.part.bars[given.bars.events[given.spot.peak].bar_index].fifths
    octave, place = divmod(midi, 12)
    step, alter = (_IN_SHARPS if fifths >= 0 else _IN_FLATS)[place]
    return Pitch(step, alter, octave - 1)


_IN_SHARPS = (
    ("C", 0), ("C", 1), ("D", 0), ("D", 1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("G", 1), ("A", 0), ("B", -1),
    ("B", 0),
)  # fmt: skip
_IN_FLATS = (
    ("C", 0), ("D", -1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("G", -1), ("G", 0), ("A", -1), ("A", 0), ("B", -1),
    ("B", 0),
)  # fmt: skip


def _same_hand_run(given: _Given, start: int | None, step: int) -> list[int]:
    """Up to four events from `start` on, forwards or backwards, that one hand plays."""
    if start is None:
        return []
    hand = _sound(given, start).place
    found: list[int] = []
    k = start
    while hand is not None and 0 <= k < len(given.bars.events) and len(found) < 4:
        place = _sound(given, k).place
        if place is None or not _same_hand(place, hand):
            break
        found.append(k)
        k += step
    return found


# The passage ---------------------------------------------------------------------------------------------------------


def _passage(given: _Given, *, before: int, after: int) -> tuple[list[int], list[int]]:
    """Events that lead to the hard note, and from it on; never across a rest of a bar or more, or a repeat sign."""
    spot, events = given.spot, given.bars.events
    lead: list[int] = []
    k = spot.before
    while k is not None and k >= 0 and len(lead) < before and (not lead or _joined(given, events[k], events[lead[-1]])):
        lead.append(k)
        k -= 1
    tail: list[int] = []
    k = spot.peak
    while k < len(events) and len(tail) < after and (not tail or _joined(given, events[tail[-1]], events[k])):
        tail.append(k)
        k += 1
    return lead[::-1], tail


def _joined(given: _Given, one: BarEvent, two: BarEvent) -> bool:
    bars = given.bars.part.bars
    gap = two.onset_quarters - one.onset_quarters - one.duration_quarters
    crossed = bars[one.bar_index : two.bar_index]
    turned = any(bar.repeat_end or bars[min(bar.index + 1, len(bars) - 1)].ending_starts for bar in crossed)
    return gap < bars[one.bar_index].nominal_quarters and not turned


def _short(given: _Given, events: Sequence[int]) -> list[_Sound]:
    """Events in their own rhythm where it prints plainly and none lasts longer than a half note; else in quarters."""
    sounds = [_sound(given, k) for k in events]
    plain = all(s.quarters.denominator in (1, 2, 4) and s.quarters.numerator in (1, 2, 3, 4, 6) for s in sounds)
    joined = [given.bars.part.by_id[given.bars.events[k].note_ids[-1]].slurred_to_next for k in events[:-1]] + [False]
    found = []
    for i, sound in enumerate(sounds):
        after, before = joined[i], i > 0 and joined[i - 1]
        slur = "start" if after and not before else "stop" if before and not after else ""
        found.append(_lasting(sound, min(sound.quarters, _HALF) if plain else _QUARTER, slur=slur))
    return found


def _lasting(sound: _Sound, quarters: Fraction, *, slur: str = "", words: str = "") -> _Sound:
    return _Sound(sound.pitches, sound.place, quarters, words or sound.words, slur)


def _total(sounds: Sequence[_Sound]) -> Fraction:
    return sum((sound.quarters for sound in sounds), Fraction(0))


def _filled(sounds: list[_Sound], length: Fraction, *, hold: bool = False) -> list[_Sound]:
    """A bar of this length: the rest of it silent, or the last note held."""
    missing = length - _total(sounds)
    if missing <= 0:
        return sounds
    if hold and sounds and (sounds[-1].quarters + missing).denominator == 1:
        return [*sounds[:-1], replace(sounds[-1], quarters=sounds[-1].quarters + missing)]
    return [*sounds, _Sound((), None, missing)]


# Writing -------------------------------------------------------------------------------------------------------------


def _written(
    rows: list[list[_Sound]], metre: WrittenMetre, given: _Given, drill_id: str, tempo_qpm: float
) -> tuple[WrittenScore, tuple[Pin, ...]]:
    part = given.bars.part
    pins: list[Pin] = []
    bars: list[WrittenBar] = []
    count = slurs = 0
    for number, row in enumerate(rows[:MOST_BARS], start=1):
        voice: list[WrittenEvent] = []
        for sound in row:
            count += 1
            note_id = f"drill{drill_id}n{count}"
            slurs += sound.slur == "start"
            voice.append(
                WrittenEvent(
                    duration_quarters=sound.quarters,
                    pitches=sound.pitches,
                    id=note_id if sound.pitches else "",
                    words=(WrittenWords(text=sound.words),) if sound.words else (),
                    slur_starts=(f"s{slurs}",) if sound.slur == "start" else (),
                    slur_stops=(f"s{slurs}",) if sound.slur == "stop" else (),
                    tempo=WrittenTempo(tempo_qpm=Fraction(round(tempo_qpm)), shown=False) if count == 1 else None,
                )
            )
            if sound.place is not None and len(sound.pitches) == 1:
                pins.append(_pin(note_id, sound.place))
        bars.append(
            WrittenBar(
                number=str(number),
                voices=(tuple(voice),),
                metre=metre if number == 1 else None,
                key=WrittenKey(fifths=part.bars[given.bars.events[given.spot.peak].bar_index].fifths)
                if number == 1
                else None,
                clef=_clef(given) if number == 1 else "",
                repeat_end=number == len(rows[:MOST_BARS]),
                repeat_start=number == 1,
            )
        )
    written = WrittenPart(name=part.name or "Part", bars=tuple(bars), transpose_semitones=part.transpose_semitones)
    return WrittenScore(parts=(written,), title=f"Drill {drill_id}"), tuple(pins)


def _clef(given: _Given) -> str:
    """The clef the hard note is printed in, where it is one that is written; else the instrument's own."""
    note = given.bars.part.by_id[given.bars.events[given.spot.peak].note_ids[-1]]
    printed = note.clef or given.bars.part.bars[note.bar_index].clef
    return printed if printed in CLEFS else given.instrument.default_clef


def _pin(note_id: str, place: Placement) -> Pin:
    if place.finger == 0:
        return Pin(note_id=note_id, finger=0, string=place.string, origin="drill")
    return Pin(
        note_id=note_id,
        finger=place.finger,
        string=place.string,
        frame=place.frame if place.shape else None,
        harmonic=place.harmonic > 0,
        origin="drill",
    )


def drill_marks(planned: PlannedDrill, instrument: Instrument) -> tuple[Mark, ...]:
    """Every finger of a drill, and every stroke: nothing is left to guess where one thing is practised."""
    strokes: list[Mark] = [
        TechnicalMark(note_id=stroke.id, element="down-bow" if stroke.direction == "down" else "up-bow")
        for stroke in planned.bowing.strokes
    ]
    return (*fingering_marks(planned.tune.part, planned.plan, instrument, marks="every"), *strokes)
