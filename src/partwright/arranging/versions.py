"""Versions of a tune for each level, made by rewriting steps with reasons; how much of the tune is still in them.

A version keeps the tune's bars, repeats, keys and tempo, so that all can be played together. Units: shares from 0 to 1.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from partwright.arranging.enrich import enrich
from partwright.arranging.harmony import Harmony, melody
from partwright.arranging.part_writing import sounding_at, strong_moments
from partwright.arranging.rewriting import Sketch, Step, spans_of
from partwright.arranging.simplify import simplify
from partwright.errors import InputError
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument, Level
from partwright.nearest import nearest_sentence
from partwright.score import Part, beat_text

__all__ = ["Recognition", "Version", "make_version", "recognition", "steps_document"]

# Common practice, no source: below these a listener asks what the tune was.
_LEAST_CONTOUR = 0.75
_LEAST_STRONG = 0.85


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognition:
    """How much of the tune a version keeps: the direction of its steps, and the notes on its strong beats.

    `contour`: share of the tune's moves that go the same way. `strong_names`: share of the strong beats with a note of
    the same name. `strong_pitches`: the same, in the same octave.
    """

    contour: float
    strong_names: float
    strong_pitches: float


@dataclass(frozen=True, kw_only=True)
class Version:
    """One level's version: the part, its fingers, the steps that made it, and what could not be helped."""

    level: str
    part: Part
    plan: FingeringPlan
    steps: tuple[Step, ...]
    undone: tuple[str, ...]
    recognition: Recognition
    remarks: tuple[str, ...]


def make_version(
    part: Part,
    instrument: Instrument,
    *,
    level: str,
    phrases: Sequence[tuple[int, int]] = (),
    again: Sequence[tuple[int, int]] = (),
    harmony: Harmony | None = None,
    undo: Iterable[str] = (),
) -> Version:
    """The tune for a player of this level.

    `phrases`: (first, last) indices into the part's notes; `again`: (first, last) bar indices of stretches that were
    heard before; `undo`: names of steps that shall not be made. Raises InputError for an unknown level or a part
    without notes.
    """
    if level not in instrument.levels:
        raise InputError(f'there is no level "{level}"', nearest_sentence(level, instrument.levels))
    if not part.notes:
        raise InputError("there is no melody in this part", "Choose another part with --part.")
    sketch = Sketch(
        part=part,
        instrument=instrument,
        level=instrument.levels[level],
        harmony=harmony or Harmony(part),
        phrases=spans_of(part, phrases, again),
        undone=frozenset(undo),
    )
    limits = _limits(instrument.levels[level], instrument)
    simplify(sketch, limits)
    enrich(sketch, limits)
    plan = sketch.plan()
    kept = recognition(part, sketch.part)
    return Version(
        level=level,
        part=sketch.part,
        plan=plan,
        steps=tuple(sketch.steps),
        undone=tuple(dict.fromkeys(sketch.skipped)),
        recognition=kept,
        remarks=tuple(_remarks(sketch, plan, kept)),
    )


def recognition(tune_part: Part, version: Part) -> Recognition:
    """How much of the tune is in the version; 1 where there is nothing to compare."""
    tune, line = melody(tune_part), melody(version)
    moves = same = 0
    for one, two in itertools.pairwise(tune):
        a, b = sounding_at(line, one.onset_quarters), sounding_at(line, two.onset_quarters)
        if one.midi == two.midi:
            continue
        moves += 1
        same += a is not None and b is not None and (b.midi - a.midi) * (two.midi - one.midi) > 0
    beats = names = pitches = 0
    for moment in strong_moments(tune_part):
        was, now = sounding_at(tune, moment), sounding_at(line, moment)
        if was is None:
            continue
        beats += 1
        names += now is not None and now.midi % 12 == was.midi % 12
        pitches += now is not None and now.midi == was.midi
    return Recognition(
        contour=same / moves if moves else 1.0,
        strong_names=names / beats if beats else 1.0,
        strong_pitches=pitches / beats if beats else 1.0,
    )


def steps_document(version: Version) -> dict[str, object]:
    """The version's steps and measures as the plain document that JSON carries."""
    return {
        "level": version.level,
        "steps": [
            {
                "name": step.name,
                "rule": step.rule,
                "first_bar": step.first_bar,
                "last_bar": step.last_bar,
                "what": step.what,
                "why": step.why,
            }
            for step in version.steps
        ],
        "undone": list(version.undone),
        "contour_kept": round(version.recognition.contour, 4),
        "strong_beats_kept": round(version.recognition.strong_names, 4),
        "strong_beats_in_octave": round(version.recognition.strong_pitches, 4),
        "beyond_level": len(version.plan.relaxed) + len(version.plan.unplayable),
        "remarks": list(version.remarks),
    }


def _remarks(sketch: Sketch, plan: FingeringPlan, kept: Recognition) -> Iterable[str]:
    for item in (*plan.unplayable, *plan.relaxed):
        yield f"bar {item.bar}, beat {beat_text(item.beat)}: {item.why}"
    if kept.contour < _LEAST_CONTOUR or kept.strong_names < _LEAST_STRONG:
        yield (
            f"{kept.contour:.0%} of the tune's moves and {kept.strong_names:.0%} of its strong beats are kept; "
            f"listen whether it is still the tune, or choose another key (partwright keys)."
        )
    unknown = sketch.undone - set(sketch.skipped)
    for name in sorted(unknown):
        yield f'there is no step "{name}" to undo'


def _limits(level: Level, instrument: Instrument) -> Mapping[str, Any]:
    """The level's row; a level of the player's own takes that of the known one with the nearest highest position."""
    rows = _rows()
    if level.name in rows:
        return rows[level.name]
    known = [name for name in rows if name in instrument.levels]
    if not known:
        return rows["advanced"]
    near = min(known, key=lambda name: abs(instrument.levels[name].frame_max - level.frame_max))
    return {**rows[near], "enrich": []}


@cache
def _rows() -> Mapping[str, Mapping[str, Any]]:
    text = files("partwright.arranging").joinpath("data", "levels.toml").read_text(encoding="utf-8")
    return dict(tomllib.loads(text).items())
