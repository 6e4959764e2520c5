"""A part taken apart for teaching: sections, the phrases in them, and which bars are earlier bars again.

Sections are the teacher's where lesson.toml names them; else those the page shows (rehearsal marks, repeat signs,
double bars); else they are found in the music: bars where a stretch that returns begins or ends, and phrases end, at
a distance of about eight bars (`cut_into_sections`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from partwright.bowing import BowingPlan
from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import Instrument
from partwright.lesson.bar_content import Bars
from partwright.lesson.lesson import Section
from partwright.lesson.likenesses import Difference, Likeness, likenesses_of
from partwright.lesson.phrases import Phrase, PhraseFinder
from partwright.lesson.survey import suggest_sections
from partwright.score import Part, beat_text

__all__ = ["Outline", "TaughtSection", "cut_into_sections", "make_outline", "outline_document"]

_LONG_BARS = 16
"""A section the page leaves longer than this is looked into; common practice, no source."""
_USUAL_BARS = 8
_LEAST_BARS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class TaughtSection:
    """Bars `first` … `last` (indices, both included) that are taught as one, and their phrases."""

    name: str
    first: int
    last: int
    first_bar: str
    last_bar: str
    origin: Literal["lesson", "page", "music"]
    phrases: tuple[Phrase, ...] = ()
    remark: str = ""


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A whole part taken apart. `bars` are its events; phrases lie in exactly one section each."""

    bars: Bars
    sections: tuple[TaughtSection, ...]
    phrases: tuple[Phrase, ...]
    likenesses: tuple[Likeness, ...]


def make_outline(
    part: Part,
    *,
    sections: Sequence[Section] = (),
    plan: FingeringPlan | None = None,
    bowing: BowingPlan | None = None,
    instrument: Instrument | None = None,
) -> Outline:
    """Sections, phrases and likenesses of a part. `plan` and `bowing` add where equal notes differ in finger or bow."""
    bars = Bars(part)
    likenesses = likenesses_of(bars)
    finder = PhraseFinder(bars)
    spans, origin = _spans(bars, sections, likenesses, finder)
    phrases = finder.find([first for _, first, _, _ in spans])
    shared: list[list[Phrase]] = [[] for _ in spans]
    for phrase in phrases:
        middle = bars.events[(phrase.first + phrase.last) // 2].bar_index
        home = max(
            range(len(spans)),
            key=lambda i: (spans[i][1] <= middle <= spans[i][2], -abs(spans[i][1] - middle)),
            default=None,
        )
        if home is not None and (spans[home][1] <= middle <= spans[home][2] or origin != "lesson"):
            shared[home].append(phrase)
    numbers = [bar.number for bar in part.bars]
    taught = tuple(
        TaughtSection(
            name=name,
            first=first,
            last=last,
            first_bar=numbers[first],
            last_bar=numbers[last],
            origin=origin,
            phrases=tuple(of),
            remark=remark,
        )
        for (name, first, last, remark), of in zip(spans, shared, strict=True)
    )
    if plan is not None and instrument is not None:
        likenesses = tuple(
            replace(likeness, hand=_hand_differences(bars, likeness, plan, bowing, instrument))
            for likeness in likenesses
        )
    return Outline(bars=bars, sections=taught, phrases=phrases, likenesses=likenesses)


def outline_document(outline: Outline) -> dict[str, object]:
    """`{"sections": [...], "repeats": [...]}` as plain values; bars as printed, beats from 1 as text."""
    numbers = [bar.number for bar in outline.bars.part.bars]
    return {
        "sections": [
            {
                "name": section.name,
                "first_bar": section.first_bar,
                "last_bar": section.last_bar,
                "from": section.origin,
                "phrases": [
                    {
                        "first": f"{numbers[phrase.first_bar]}:{beat_text(phrase.first_beat)}",
                        "last": f"{numbers[phrase.last_bar]}:{beat_text(phrase.last_beat)}",
                        "first_id": phrase.first_note_id,
                        "last_id": phrase.last_note_id,
                    }
                    for phrase in section.phrases
                ],
            }
            for section in outline.sections
        ],
        "repeats": [
            {
                "of": list(likeness.of_bars),
                "at": list(likeness.at_bars),
                "kind": likeness.kind,
                "semitones": likeness.semitones,
                "differences": [_difference(d) for d in (*likeness.differences, *likeness.hand)],
            }
            for likeness in outline.likenesses
        ],
    }


def _difference(difference: Difference) -> dict[str, object]:
    return {
        "bar": difference.bar,
        "beat": beat_text(difference.beat),
        "was": difference.was,
        "is": difference.now,
        "what": difference.what,
        "ids": list(difference.note_ids),
        "like_ids": list(difference.like_ids),
    }


# Sections ------------------------------------------------------------------------------------------------------------

_Span = tuple[str, int, int, str]


def _spans(
    bars: Bars, sections: Sequence[Section], likenesses: Sequence[Likeness], finder: PhraseFinder
) -> tuple[list[_Span], Literal["lesson", "page", "music"]]:
    part = bars.part
    index = {bar.number: bar.index for bar in reversed(part.bars)}
    if sections:
        spans = [(s.name, index[s.first_bar], index[s.last_bar], s.remark) for s in sections]
        return spans, "lesson"
    shown = suggest_sections(part)
    spans = [(s.name, index[s.first_bar], index[s.last_bar], "") for s in shown]
    if len(spans) > 1 or not spans or spans[0][2] - spans[0][1] + 1 <= _LONG_BARS:
        return spans, "page"
    cut = cut_into_sections(bars, likenesses, finder.find(), first=spans[0][1], last=spans[0][2])
    return _named(cut, likenesses), "music"


def cut_into_sections(
    bars: Bars, likenesses: Sequence[Likeness], phrases: Sequence[Phrase], *, first: int, last: int
) -> tuple[tuple[int, int], ...]:
    """Bars `first` … `last` cut where the music says so, exactly the best cut by these weights.

    A bar speaks for a new section when a stretch that returns begins there or has just ended, and when a phrase begins
    with it; sections want to be eight bars long and never less than four. Common practice, no source.
    """
    speaks = [0.0] * (last + 2)
    for likeness in likenesses:
        size = min(1.0, (likeness.at[1] - likeness.at[0] + 1) / _USUAL_BARS)
        for bar in (likeness.of[0], likeness.at[0], likeness.of[1] + 1, likeness.at[1] + 1):
            if first < bar <= last:
                speaks[bar] += size
    for phrase in phrases:
        starts = bars.events[phrase.first]
        bar = phrase.first_bar + (starts.offset_quarters > 0)
        if first < bar <= last:
            speaks[bar] += 0.5
        if phrase.first > 0:
            before = bars.events[phrase.first - 1]
            gap = starts.onset_quarters - before.onset_quarters
            if first < bar <= last:
                speaks[bar] += min(0.5, float(gap) / float(bars.part.bars[before.bar_index].nominal_quarters or 4) / 2)
    best: dict[int, tuple[float, int]] = {first: (0.0, first)}
    for end in range(first + 1, last + 2):
        begins = range(max(first, end - 4 * _USUAL_BARS), end - _LEAST_BARS + 1)
        options = [
            (best[start][0] + _length_weight(end - start) + (speaks[end] if end <= last else 0.0), -start)
            for start in ([first, *begins] if end == last + 1 and last - first < _LEAST_BARS else begins)
            if start in best
        ]
        if options:
            weight, start = max(options)
            best[end] = (weight, -start)
    cuts = [last + 1]
    while cuts[-1] > first:
        cuts.append(best[cuts[-1]][1])
    cuts.reverse()
    return tuple((a, b - 1) for a, b in pairwise(cuts))


def _length_weight(bars: int) -> float:
    return -(math.log2(bars / _USUAL_BARS) ** 2) - (0.25 if bars % 4 else 0.0) - 1.0


def _named(spans: Sequence[tuple[int, int]], likenesses: Sequence[Likeness]) -> list[_Span]:
    """A, B, C …; a section that is mostly an earlier one again gets its letter with a number: A2."""
    letters = [chr(ord("A") + i) for i in range(26)] + [f"{chr(ord('A') + i)}{chr(ord('A') + i)}" for i in range(26)]
    section_of = {bar: i for i, (first, last) in enumerate(spans) for bar in range(first, last + 1)}
    shared: list[dict[int, int]] = [{} for _ in spans]  # for each section, bars it shares with earlier ones
    for likeness in likenesses:
        if likeness.semitones:
            continue
        for bar, like_bar in zip(
            range(likeness.at[0], likeness.at[1] + 1), range(likeness.of[0], likeness.of[1] + 1), strict=True
        ):
            later, earlier = section_of.get(bar), section_of.get(like_bar)
            if later is not None and earlier is not None and earlier < later:
                shared[later][earlier] = shared[later].get(earlier, 0) + 1
    roots: list[str] = []
    used: dict[str, int] = {}
    found: list[_Span] = []
    for index, (first, last) in enumerate(spans):
        like = max(shared[index], key=lambda i: (shared[index][i], -i), default=None)
        if like is not None and shared[index][like] > 0.6 * (last - first + 1):
            root = roots[like]
        else:
            fresh = len(set(roots))
            root = letters[fresh] if fresh < len(letters) else f"Section {fresh + 1}"
        roots.append(root)
        used[root] = used.get(root, 0) + 1
        found.append((root if used[root] == 1 else f"{root}{used[root]}", first, last, ""))
    return found


# The hand at equal notes ---------------------------------------------------------------------------------------------


def _hand_differences(
    bars: Bars, likeness: Likeness, plan: FingeringPlan, bowing: BowingPlan | None, instrument: Instrument
) -> tuple[Difference, ...]:
    """Where the notes are the same and the finger, the string or the stroke is not."""
    found: list[Difference] = []
    for bar in range(likeness.at[0], likeness.at[1] + 1):
        earlier = {e.offset_quarters: e for e in bars.by_bar[bar - likeness.at[0] + likeness.of[0]]}
        for event in bars.by_bar[bar]:
            like = earlier.get(event.offset_quarters)
            if like is None or like.midi != event.midi or len(like.note_ids) != len(event.note_ids):
                continue

            def add(what: Literal["finger", "bow"], was: str, now: str, ids: tuple[str, str], event=event) -> None:  # type: ignore[no-untyped-def]
                found.append(
                    Difference(
                        bar=bars.part.bars[event.bar_index].number, beat=event.beat, was=was, now=now, what=what,
                        note_ids=(ids[1],), like_ids=(ids[0],),
                    )
                )  # fmt: skip

            for one, two in zip(like.note_ids, event.note_ids, strict=True):
                before, after = plan.by_id.get(one), plan.by_id.get(two)
                if before is not None and after is not None:
                    was, now = (_finger_text(f.placement, instrument) for f in (before, after))
                    if was != now:
                        add("finger", was, now, (one, two))
                if bowing is not None and one in bowing.by_note and two in bowing.by_note:
                    stroke, other = bowing.by_note[one], bowing.by_note[two]
                    if stroke.id == one and other.id == two and stroke.direction != other.direction:
                        add("bow", stroke.direction, other.direction, (one, two))
    return tuple(found)


def _finger_text(placement: Placement, instrument: Instrument) -> str:
    letter = instrument.strings[placement.string].letter
    return f"{placement.finger_text}/{letter}{' harmonic' if placement.harmonic else ''}"
