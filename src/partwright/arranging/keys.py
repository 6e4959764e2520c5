"""Ranking keys and octaves by how well a tune lies: the real fingering and bowing plan is the judge.

The tune is laid out once. Every other key and octave is the same walk with other pitches, with columns and prices
shared between all of them (`fingering.plan_elsewhere`); what lies below the lowest string is passed over at once. The
first ones are planned anew, exactly, and bowed: the bow can only add to a price, and the plans of the others are at
most `gap` dearer than the best. Weights: `data/keys.toml`. Prices have no unit; a plain shift costs about 1.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from partwright.arranging.key_terms import key_weights
from partwright.arranging.keys_of import interval_to, mode_of, tonic_midi_class, tonic_of
from partwright.bowing import bow_levels, plan_bowing
from partwright.errors import InputError, NoPlan
from partwright.fingering import (
    CostItem,
    PlanFigures,
    Planning,
    dearest_place,
    figures_of,
    plan_elsewhere,
    prepare,
    strings_of,
)
from partwright.instrument import Instrument
from partwright.score import Part, transposed

__all__ = ["Displacement", "KeyChoice", "KeyRanking", "PhraseSpan", "keys_document", "rank_keys"]

_OCTAVES = (-1, 0, 1)
_BOWED = 6  # how many of the first get a bowing plan
_DISPLACED = 6  # how many of the first are tried with phrases in other octaves
_RINGING_PARTIALS = (12, 19, 24)  # semitones above an open string whose string then sounds along


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseSpan:
    """A phrase as the caller found it: indices into the part's notes, both included."""

    first_note: int
    last_note: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Displacement:
    """One phrase put into another octave than the rest."""

    first_bar: str
    last_bar: str
    octaves: int


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyChoice:
    """One key and octave: how it lies and why. `cost_per_note` is the sum of `terms`; lower lies better."""

    tonic: str
    mode: str
    fifths: int
    octave_shift: int
    semitones: int
    cost_per_note: float
    lowest: str
    highest: str
    hardest_bar: str
    hardest_why: str
    figures: PlanFigures
    terms: tuple[tuple[str, float], ...]
    bowed: bool
    given: bool  # as the tune came
    displaced: tuple[Displacement, ...] = ()

    @property
    def key(self) -> str:
        """The key in words: "G major"."""
        return f"{self.tonic} {self.mode}"


@dataclass(frozen=True, kw_only=True)
class KeyRanking:
    """All keys and octaves in which every note can be played, the best first, and how many were passed over."""

    ranking: tuple[KeyChoice, ...]
    tried: int
    out_of_range: int
    level: str
    instrument: str
    stay_near: str = ""


@dataclass(kw_only=True)
class _Candidate:
    semitones: int
    octave_shift: int
    planning: Planning
    figures: PlanFigures
    terms: dict[str, float]
    moves: tuple[int, ...] = ()  # octaves by phrase
    bowed: bool = False
    total: float = field(default=0.0)

    def sum_up(self) -> None:
        self.total = sum(self.terms.values())


def rank_keys(
    part: Part,
    instrument: Instrument,
    *,
    level: str = "advanced",
    near: tuple[int, str] | None = None,
    phrases: Sequence[PhraseSpan] = (),
    listen: Callable[[int, int], None] | None = None,
) -> KeyRanking:
    """The twelve keys in three octaves each, the ones that lie best first.

    `near` is a tonic's pitch class and its name, as the player's own recording has it. `phrases`, where given, may be
    put into another octave one by one if that makes the whole lie better; each such version is listed beside the one
    it comes from. `listen` is told (how many are done, of how many).

    Raises NoPlan where no key can be played at all, InputError for an unknown level or a part without notes.
    """
    if not part.notes:
        raise InputError("there is no melody in this part", "Choose another part with --part.")
    mode = mode_of(part)
    base = _base(part, instrument, level)
    shifts = [(steps + 12 * octave, octave) for octave in _OCTAVES for steps in range(-5, 7)]
    found: list[_Candidate] = []
    for done, (semitones, octave) in enumerate(shifts):
        if listen is not None:
            listen(done, len(shifts))
        candidate = _candidate(base, part, semitones, octave, mode, near)
        if candidate is not None:
            found.append(candidate)
    if not found:
        raise NoPlan(
            f"in no key and octave can every note of this part be played on the {instrument.name}",
            "Choose another part or instrument, or let phrases change octave with --phrases.",
        )
    found += _displaced(sorted(found, key=lambda c: c.total)[:_DISPLACED], part, phrases, mode, near)
    _add_bows(found, part, instrument, level)
    found.sort(key=lambda c: (c.total, abs(c.semitones), c.semitones))
    return KeyRanking(
        ranking=tuple(_choice(candidate, part, mode, phrases) for candidate in found),
        tried=len(shifts),
        out_of_range=len(shifts) - sum(1 for candidate in found if not any(candidate.moves)),
        level=level,
        instrument=instrument.name,
        stay_near=near[1] if near else "",
    )


def _base(part: Part, instrument: Instrument, level: str) -> Planning:
    """The tune laid out where it can be played; its own octave first."""
    lowest = min(note.midi for note in part.notes)
    up = max(0, -(-(instrument.strings[0].midi - lowest) // 12)) * 12
    if up == 0:
        return prepare(part, instrument, level=level)
    moved = tuple(replace(note, pitch=replace(note.pitch, octave=note.pitch.octave + up // 12)) for note in part.notes)
    planning = prepare(replace(part, notes=moved), instrument, level=level)
    walk = replace(
        planning.walk,
        events=tuple(replace(e, midi=tuple(midi - up for midi in e.midi)) for e in planning.walk.events),
    )
    return replace(planning, walk=walk)


def _candidate(
    base: Planning,
    part: Part,
    semitones: int,
    octave: int,
    mode: str,
    near: tuple[int, str] | None,
    moves: Sequence[int] = (),
    of_event: Sequence[int] = (),
    *,
    quick: bool = True,
) -> _Candidate | None:
    """One key and octave, priced but for the bow. `moves`: octaves by phrase; `of_event`: the phrase of each event."""
    if moves:
        planning = plan_elsewhere(base, [semitones + 12 * moves[phrase] for phrase in of_event], quick=quick)
    else:
        planning = plan_elsewhere(base, semitones, quick=quick)
    if planning is None:
        return None
    figures = figures_of(planning)
    weights = key_weights()
    signature = _fifths(part, semitones)
    tonic = (tonic_midi_class(part.bars[0].fifths, mode) + semitones) % 12
    joins = sum(1 for a, b in itertools.pairwise(moves) if a != b)
    count = max(1, figures.events)
    terms = {
        "fingering": weights["fingering"] * figures.cost / count,
        "beyond_level": weights["beyond_level"] * figures.beyond_level / count,
        "ringing": weights["ringing"] * _ringing(planning),
        "signature": weights["signature"] * max(0, abs(signature) - 3),
        "away": weights["away"] * _round_the_octave(semitones),
        "octave": weights["octave"] * abs(octave),
        "displaced": weights["displaced"] * joins / count,
    }
    if near is not None:
        terms["near"] = weights["near"] * _round_the_octave(tonic - near[0])
    candidate = _Candidate(
        semitones=semitones,
        octave_shift=octave,
        planning=planning,
        figures=figures,
        terms=terms,
        moves=tuple(moves),
    )
    candidate.sum_up()
    return candidate


def _fifths(part: Part, semitones: int) -> int:
    signatures = [bar.fifths for bar in part.bars]
    return signatures[0] + 7 * semitones - 12 * interval_to(signatures, semitones)


def _round_the_octave(semitones: int) -> int:
    return min(semitones % 12, -semitones % 12)


def _ringing(planning: Planning) -> float:
    """Share of the sounding time in which an open string sounds along with the note."""
    opens = [string.midi for string in planning.instrument.strings]
    along = {o + up for o in opens for up in (0, *_RINGING_PARTIALS)} | {o - 12 for o in opens}
    total = rings = 0.0
    for event in planning.walk.events:
        seconds = event.long_seconds
        total += seconds
        rings += seconds * any(midi in along for midi in event.midi)
    return rings / total if total else 0.0


def _displaced(
    best: Sequence[_Candidate],
    part: Part,
    phrases: Sequence[PhraseSpan],
    mode: str,
    near: tuple[int, str] | None,
) -> list[_Candidate]:
    """For each of the best, the same with phrases in other octaves where that lies better, found one by one."""
    if len(phrases) < 2:
        return []
    found = []
    for candidate in best:
        of_event = _phrase_of_event(candidate.planning, part, phrases)
        base, start = candidate.planning, candidate
        moves = [0] * len(phrases)
        better = True
        while better:
            better = False
            for phrase in range(len(phrases)):
                for octave in (-1, 1):
                    trial = list(moves)
                    trial[phrase] = moves[phrase] + octave
                    if trial[phrase] not in (-1, 0, 1):
                        continue
                    # The walk of `base` already lies in this key: only the octaves are added to it.
                    other = _moved_phrases(base, part, start, trial, of_event, mode, near)
                    if other is not None and other.total < candidate.total - 1e-9:
                        candidate, moves, better = other, trial, True
        if any(moves):
            found.append(candidate)
    return found


def _moved_phrases(
    base: Planning,
    part: Part,
    start: _Candidate,
    moves: Sequence[int],
    of_event: Sequence[int],
    mode: str,
    near: tuple[int, str] | None,
) -> _Candidate | None:
    other = _candidate(base, part, 0, start.octave_shift, mode, near, moves, of_event)
    if other is None:
        return None
    for name in ("signature", "away", "near"):
        if name in start.terms:
            other.terms[name] = start.terms[name]
    other.semitones = start.semitones
    other.sum_up()
    return other


def _phrase_of_event(planning: Planning, part: Part, phrases: Sequence[PhraseSpan]) -> list[int]:
    starts = [span.first_note for span in phrases]
    found = []
    for event in planning.walk.events:
        index = part.by_id[event.note_ids[0]].index
        found.append(max((k for k, start in enumerate(starts) if start <= index), default=0))
    return found


def _add_bows(found: Sequence[_Candidate], part: Part, instrument: Instrument, level: str) -> None:
    """Add what crossings cost the bow, to the cheapest first, until the first ones are settled."""
    names = [row.name for row in bow_levels()]
    bow = level if level in names else names[-1]
    plain = plan_bowing(part, instrument, level=bow, strings={}).total_cost
    weight = key_weights()["bowing"]
    while True:
        order = sorted(found, key=lambda c: c.total)
        waiting = next((c for c in order if not c.bowed), None)
        if waiting is None or order.index(waiting) >= _BOWED or sum(c.bowed for c in found) >= 2 * _BOWED:
            return
        _prove(waiting)
        with_strings = plan_bowing(part, instrument, level=bow, strings=strings_of(waiting.planning)).total_cost
        waiting.terms["bowing"] = weight * max(0.0, with_strings - plain) / max(1, waiting.figures.events)
        waiting.bowed = True
        waiting.sum_up()


def _prove(candidate: _Candidate) -> None:
    """The best plan in place of a good one, where the quick way left a gap."""
    if candidate.planning.solution.gap <= 0:
        return
    planning = plan_elsewhere(candidate.planning, 0)
    if planning is None:
        return
    weights, figures = key_weights(), figures_of(planning)
    count = max(1, figures.events)
    candidate.planning, candidate.figures = planning, figures
    candidate.terms["fingering"] = weights["fingering"] * figures.cost / count
    candidate.terms["beyond_level"] = weights["beyond_level"] * figures.beyond_level / count
    candidate.sum_up()


def _choice(candidate: _Candidate, part: Part, mode: str, phrases: Sequence[PhraseSpan]) -> KeyChoice:
    signatures = [bar.fifths for bar in part.bars]
    letters = interval_to(signatures, candidate.semitones)
    fifths = _fifths(part, candidate.semitones)
    pitch_of = _spelled(part, letters, candidate)
    bar, reasons = dearest_place(candidate.planning)
    return KeyChoice(
        tonic=tonic_of(fifths, mode),
        mode=mode,
        fifths=fifths,
        octave_shift=candidate.octave_shift,
        semitones=candidate.semitones,
        cost_per_note=candidate.total,
        lowest=min(pitch_of, key=lambda pair: pair[0])[1],
        highest=max(pitch_of, key=lambda pair: pair[0])[1],
        hardest_bar=part.bars[bar].number,
        hardest_why=_why(reasons),
        figures=candidate.figures,
        terms=tuple((name, value) for name, value in candidate.terms.items() if abs(value) > 1e-9),
        bowed=candidate.bowed,
        given=candidate.semitones == 0 and not any(candidate.moves),
        displaced=_displacements(candidate.moves, part, phrases),
    )


def _spelled(part: Part, letters: int, candidate: _Candidate) -> list[tuple[int, str]]:
    """Pitch and name of the lowest and the highest written note where it now lies."""
    found = []
    for event in candidate.planning.walk.events:
        for note_id, midi in zip(event.note_ids, event.midi, strict=True):
            pitch = part.by_id[note_id].pitch
            octaves, rest = divmod(midi - pitch.midi - candidate.semitones, 12)
            named = transposed(pitch, letters, candidate.semitones)
            if rest == 0:
                named = replace(named, octave=named.octave + octaves)
            found.append((midi, named.name))
    return found


def _why(reasons: Sequence[CostItem]) -> str:
    if reasons and reasons[0].term == "level":
        return reasons[0].words
    words = [item.words for item in reasons if item.value > 0][:2]
    return " and ".join(words) if words else "nothing in it is hard"


def _displacements(moves: Sequence[int], part: Part, phrases: Sequence[PhraseSpan]) -> tuple[Displacement, ...]:
    return tuple(
        Displacement(
            first_bar=part.notes[span.first_note].bar, last_bar=part.notes[span.last_note].bar, octaves=octaves
        )
        for span, octaves in zip(phrases, moves, strict=False)
        if octaves
    )


def keys_document(ranking: KeyRanking) -> dict[str, object]:
    """The ranking as the plain document that JSON carries."""
    return {
        "instrument": ranking.instrument,
        "level": ranking.level,
        "stay_near": ranking.stay_near or None,
        "tried": ranking.tried,
        "out_of_range": ranking.out_of_range,
        "ranking": [
            {
                "tonic": choice.tonic,
                "mode": choice.mode,
                "fifths": choice.fifths,
                "octave_shift": choice.octave_shift,
                "semitones": choice.semitones,
                "cost_per_note": round(choice.cost_per_note, 6),
                "lowest": choice.lowest,
                "highest": choice.highest,
                "hardest": {"bar": choice.hardest_bar, "why": choice.hardest_why},
                "given": choice.given,
                "bowed": choice.bowed,
                "beyond_level": choice.figures.beyond_level,
                "highest_frame": choice.figures.highest_frame,
                "shifts": choice.figures.shifts,
                "shifts_under_slurs": choice.figures.shifts_under_slurs,
                "extended_notes": choice.figures.extended_events,
                "open_notes": choice.figures.open_events,
                "harmonic_notes": choice.figures.harmonic_events,
                "terms": {name: round(value, 6) for name, value in choice.terms},
                "displaced": [
                    {"first_bar": d.first_bar, "last_bar": d.last_bar, "octaves": d.octaves} for d in choice.displaced
                ],
            }
            for choice in ranking.ranking
        ],
    }
