"""The order in which a lesson is taught, as data: each step adds one thing.

A phrase is learnt slowly, joined to those before it, the section brought up to tempo, the sections joined; what returns
is not learnt again, only what is different in it; a hard spot is worked at before the phrase that holds it. The
teacher's order of sections and episodes stands. Units: seconds, quarter notes per minute, per cent of the performance
tempo.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from partwright.bowing import BowingPlan
from partwright.errors import LessonError, Place
from partwright.fingering import FingeringPlan, Planning, plan_of
from partwright.instrument import Instrument
from partwright.lesson.drills import Drill, make_drills
from partwright.lesson.hard_spots import HardSpot, find_hard_spots
from partwright.lesson.lesson import LESSON_FILE, Episode, Lesson
from partwright.lesson.outline import Outline, TaughtSection, make_outline
from partwright.score import Part

__all__ = [
    "EpisodePlan",
    "Teaching",
    "TeachingStep",
    "plan_teaching",
    "spots_document",
    "stretch_seconds",
    "tempo_ladder",
]

Kind = Literal["introduce", "spot", "phrase", "difference", "join", "tempo", "recap", "whole"]

_TALK_SECONDS = 20.0
"""What a step takes besides playing: said, shown, begun; common practice, no source."""
_DIFFERENCE_NOTES = 0.5
"""A phrase of which at least this share of the notes is known already is told by what is different."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TeachingStep:
    """One step. `first` … `last` are bar indices; `phrases` are indices into the outline's phrases.

    `adds` says in a few words the one thing that is new. `seconds` is playing and talking together.
    """

    number: int
    episode: int
    kind: Kind
    section: str
    first: int
    last: int
    phrases: tuple[int, ...] = ()
    percent: float = 100.0
    times: int = 1
    seconds: float = 0.0
    adds: str = ""
    spot: int | None = None  # rank
    likeness: int | None = None  # index into the outline's likenesses


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodePlan:
    """One recording: its sections, its steps by number, how long practising it takes, and the bars it covers."""

    number: int
    title: str
    sections: tuple[str, ...]
    steps: tuple[int, ...]
    seconds: float
    bars: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Teaching:
    """A planned lesson: everything that booklet, script, prompter and chapters are made from."""

    lesson: Lesson
    part: Part
    instrument: Instrument
    plan: FingeringPlan
    bowing: BowingPlan | None
    outline: Outline
    spots: tuple[HardSpot, ...]
    drills: tuple[Drill, ...]
    steps: tuple[TeachingStep, ...]
    episodes: tuple[EpisodePlan, ...]
    tempo_qpm: float
    ladder: tuple[float, ...]  # per cent, slowest first, 100 last
    uncovered: tuple[str, ...] = ()  # bars that no episode teaches, as printed
    remarks: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        return sum(step.seconds for step in self.steps)


def plan_teaching(lesson: Lesson, planning: Planning, *, bowing: BowingPlan | None = None) -> Teaching:
    """The whole lesson of a planned part. Raises LessonError where order or episodes name an unknown section."""
    part, instrument = planning.part, planning.instrument
    plan = plan_of(planning)
    outline = make_outline(part, sections=lesson.sections, plan=plan, bowing=bowing, instrument=instrument)
    spots = find_hard_spots(planning, outline.bars, outline.likenesses, bowing=bowing)
    tempo = lesson.tempo_qpm or part.tempo_marks[0].tempo_qpm
    ladder = tempo_ladder(lesson.practice_percent)
    slowest = tempo * ladder[0] / 100
    drills = tuple(d for spot in spots for d in make_drills(spot, outline.bars, plan, instrument, tempo_qpm=slowest))
    order = _ordered(lesson, outline.sections)
    episodes = _episodes(lesson, order)
    steps: list[TeachingStep] = []
    taught: list[TaughtSection] = []
    for number, (_, sections) in enumerate(episodes, start=1):
        for section in sections:
            final = number == len(episodes) and section is sections[-1]
            for step in _section_steps(section, outline, spots, ladder, lesson.tries, taught, last_of_all=final):
                steps.append(replace(step, number=len(steps) + 1, episode=number))
            taught.append(section)
    if len(taught) > 1:
        first, last = min(s.first for s in taught), max(s.last for s in taught)
        whole = TeachingStep(number=len(steps) + 1, episode=len(episodes), kind="whole", section="", first=first,
                             last=last, percent=100.0, times=1, adds="everything in a row")  # fmt: skip
        steps.append(whole)
    steps = [replace(step, seconds=round(_step_seconds(step, part, tempo, drills), 1)) for step in steps]
    told = tuple(_episode_plan(number, title, sections, steps) for number, (title, sections) in enumerate(episodes, 1))
    covered = {bar for episode in told for bar in episode.bars}
    missing = [
        bar for bar in part.bars if bar.index not in covered and not bar.pickup and outline.bars.by_bar[bar.index]
    ]
    uncovered = tuple(bar.number for bar in missing)
    return Teaching(
        lesson=lesson, part=part, instrument=instrument, plan=plan, bowing=bowing, outline=outline, spots=spots,
        drills=drills, steps=tuple(steps), episodes=told, tempo_qpm=tempo, ladder=ladder, uncovered=uncovered,
        remarks=_remarks(uncovered, told),
    )  # fmt: skip


def tempo_ladder(practice_percent: Sequence[float]) -> tuple[float, ...]:
    """The practice tempi below 100 % in rising order, then 100 %.

    >>> tempo_ladder((80.0, 60.0, 110.0))
    (60.0, 80.0, 100.0)
    """
    return (*sorted({p for p in practice_percent if p < 100}), 100.0)


def stretch_seconds(part: Part, first: int, last: int, tempo_qpm: float) -> float:
    """How long bars `first` … `last` (indices) last once at a steady tempo, in seconds."""
    quarters = sum((bar.length_quarters for bar in part.bars[first : last + 1]), start=part.bars[0].length_quarters * 0)
    return float(quarters) * 60.0 / tempo_qpm


# Order ---------------------------------------------------------------------------------------------------------------


def _ordered(lesson: Lesson, sections: Sequence[TaughtSection]) -> list[TaughtSection]:
    """Sections in the teacher's order; those it does not name follow as they stand in the tune."""
    known = {section.name: section for section in sections}
    for name in lesson.teaching_order:
        _known(name, known, "the teaching order")
    named = [known[name] for name in dict.fromkeys(lesson.teaching_order)]
    return [*named, *(section for section in sections if section not in named)]


def _episodes(lesson: Lesson, order: Sequence[TaughtSection]) -> list[tuple[str, list[TaughtSection]]]:
    if not lesson.episodes:
        return [(lesson.title or "The lesson", list(order))]
    known = {section.name: section for section in order}
    found = []
    for episode in lesson.episodes:
        for name in episode.sections:
            _known(name, known, f'episode "{episode.title}"', episode)
        found.append((episode.title, [known[name] for name in dict.fromkeys(episode.sections)]))
    return found


def _known(name: str, known: dict[str, TaughtSection], where: str, episode: Episode | None = None) -> None:
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        todo = f'Did you mean "{near[0]}"?' if near else f"The tune has {', '.join(known)}."
        place = Place(file=LESSON_FILE, line=episode.line if episode is not None else None)
        raise LessonError(f'{where} names a section "{name}"', todo, place=place)


def _section_steps(
    section: TaughtSection,
    outline: Outline,
    spots: Sequence[HardSpot],
    ladder: Sequence[float],
    tries: int,
    taught: Sequence[TaughtSection],
    *,
    last_of_all: bool,
) -> list[TeachingStep]:
    known = [s for s in taught if s is not section]
    steps: list[TeachingStep] = []
    index_of = {phrase: i for i, phrase in enumerate(outline.phrases)}
    slowest = ladder[0]

    def add(kind: Kind, first: int, last: int, **more: object) -> None:
        steps.append(
            TeachingStep(number=0, episode=0, kind=kind, section=section.name, first=first, last=last, **more)  # type: ignore[arg-type]
        )

    add("introduce", section.first, section.last, percent=100.0, adds="how it goes")
    joined: list[int] = []
    learnt = list(_bars_of(known))
    for phrase in section.phrases:
        number = index_of[phrase]
        first, last = phrase.first_bar, phrase.last_bar
        likeness = _known_before(outline, first, last, learnt)
        for spot in sorted(spots, key=lambda spot: spot.peak):
            if phrase.first <= spot.peak <= phrase.last and likeness is None:
                bars = outline.bars.events
                before = bars[spot.before].bar_index if spot.before is not None else bars[spot.first].bar_index
                start = min(before, bars[spot.first].bar_index)
                add("spot", start, bars[spot.last].bar_index, percent=slowest, times=1, spot=spot.rank, adds=spot.name)
        kind: Kind = "phrase" if likeness is None else "difference"
        adds = "a new phrase" if likeness is None else "what is different"
        add(kind, first, last, phrases=(number,), percent=slowest, times=tries, likeness=likeness, adds=adds)
        learnt += range(first, last + 1)
        joined.append(number)
        if len(joined) > 1:
            start = outline.phrases[joined[0]].first_bar
            add("join", start, last, phrases=tuple(joined), percent=slowest, times=tries, adds="the join")
    if section.phrases:
        for percent in ladder[1:]:
            add("tempo", section.first, section.last, phrases=tuple(joined), percent=percent, times=tries,
                adds=f"{percent:g} % of the tempo")  # fmt: skip
        if known and not last_of_all:
            start, end = min(s.first for s in [*known, section]), max(s.last for s in [*known, section])
            add("recap", start, end, percent=100.0, times=1, adds="the sections in a row")
    return steps


def _bars_of(sections: Sequence[TaughtSection]) -> list[int]:
    return [bar for section in sections for bar in range(section.first, section.last + 1)]


def _known_before(outline: Outline, first: int, last: int, learnt: Sequence[int]) -> int | None:
    """The likeness by which most of a phrase's notes are known already, if its earlier bars have been taught."""
    taught = set(learnt)
    total = sum(len(outline.bars.by_bar[bar]) for bar in range(first, last + 1))
    best: tuple[int, int] | None = None
    for index, likeness in enumerate(outline.likenesses):
        apart = likeness.at[0] - likeness.of[0]
        shared = [b for b in range(max(first, likeness.at[0]), min(last, likeness.at[1]) + 1) if b - apart in taught]
        notes = sum(len(outline.bars.by_bar[bar]) for bar in shared)
        if notes >= _DIFFERENCE_NOTES * total and (best is None or notes > best[0]) and notes:
            best = (notes, index)
    return best[1] if best is not None else None


# Time ----------------------------------------------------------------------------------------------------------------


def _step_seconds(step: TeachingStep, part: Part, tempo_qpm: float, drills: Sequence[Drill]) -> float:
    if step.kind == "spot":
        played = sum(
            d.times * 2 * float(sum(bar.length_quarters for bar in d.score.parts[0].bars)) * 60 / d.tempo_qpm
            for d in drills
            if d.spot == step.spot
        )
        return played + _TALK_SECONDS
    once = stretch_seconds(part, step.first, step.last, tempo_qpm * step.percent / 100)
    return step.times * once + _TALK_SECONDS


def _episode_plan(
    number: int, title: str, sections: Sequence[TaughtSection], steps: Sequence[TeachingStep]
) -> EpisodePlan:
    own = [step for step in steps if step.episode == number]
    return EpisodePlan(
        number=number,
        title=title,
        sections=tuple(section.name for section in sections),
        steps=tuple(step.number for step in own),
        seconds=round(sum(step.seconds for step in own), 1),
        bars=tuple(sorted({bar for s in sections for bar in range(s.first, s.last + 1)})),
    )


def _remarks(uncovered: Sequence[str], episodes: Sequence[EpisodePlan]) -> tuple[str, ...]:
    remarks = []
    if uncovered:
        bars = f"bar{'s' if len(uncovered) > 1 else ''} {', '.join(uncovered)}"
        remarks.append(f"no episode teaches {bars}")
    seen: dict[str, int] = {}
    for episode in episodes:
        for name in episode.sections:
            if name in seen:
                remarks.append(f"section {name} is taught in episodes {seen[name]} and {episode.number}")
            seen.setdefault(name, episode.number)
    return tuple(remarks)


def spots_document(teaching: Teaching) -> dict[str, object]:
    """Hard spots, drills and tempo ladder as plain values; scores have the unit of the plan's costs."""
    return {
        "spots": [
            {
                "rank": spot.rank,
                "kind": spot.kind,
                "name": spot.name,
                "bars": list(spot.bars),
                "also_bars": list(spot.also_bars),
                "ids": list(spot.note_ids),
                "score": spot.score,
                "seconds": round(spot.seconds, 3),
                "slurred": spot.slurred,
                "why": [{"term": r.term, "words": r.words, "value": round(r.value, 4)} for r in spot.reasons],
                "drills": [drill.id for drill in teaching.drills if drill.spot == spot.rank],
            }
            for spot in teaching.spots
        ],
        "drills": [
            {
                "id": drill.id,
                "spot": drill.spot,
                "title": drill.title,
                "words": drill.words,
                "times": drill.times,
                "qpm": round(drill.tempo_qpm),
                "file": f"drills/drill-{drill.id}.musicxml",
            }
            for drill in teaching.drills
        ],
        "ladder": [{"percent": p, "qpm": round(teaching.tempo_qpm * p / 100)} for p in teaching.ladder],
    }
