"""What a booklet says, as plain values: texts, and which bars, charts and drills to draw. Nothing is drawn here.

Everything comes from the planned lesson; the words are those of `lesson`. Lengths in minutes where they say so.
"""

from __future__ import annotations

from dataclasses import dataclass

from partwright.lesson import (
    Drill,
    HardSpot,
    Likeness,
    Phrase,
    TaughtSection,
    Teaching,
    bars_printed,
    booklet_words,
    difference_words,
    find_landmarks,
    key_name,
    likeness_words,
    listed,
    number_words,
    position_said,
)
from partwright.score import beat_text

__all__ = [
    "DifferenceBlock",
    "DrillBlock",
    "PhraseBlock",
    "SectionContent",
    "SpotContent",
    "before_you_play",
    "learn_facts",
    "learn_points",
    "section_contents",
    "spot_contents",
]


@dataclass(frozen=True, slots=True)
class PhraseBlock:
    """A phrase to draw: its title and bars (indices, both included)."""

    title: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class DifferenceBlock:
    """What returns with a difference: the sentence, and pairs of bars (label, first, last) to draw side by side."""

    text: str
    excerpts: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True)
class SectionContent:
    """One section of the booklet, its blocks in order."""

    name: str
    bars: str
    remark: str
    blocks: tuple[PhraseBlock | DifferenceBlock, ...]


@dataclass(frozen=True, slots=True)
class DrillBlock:
    """One drill: what to do, and the drill to draw."""

    title: str
    words: str
    count: str
    drill: Drill


@dataclass(frozen=True, slots=True)
class SpotContent:
    """One hard spot: where, why, how to find it, and its drills."""

    title: str
    where: str
    why: str
    find: tuple[str, ...]
    drills: tuple[DrillBlock, ...]


def learn_facts(teaching: Teaching) -> tuple[tuple[str, str], ...]:
    """The tune at a glance, as label and value."""
    part = teaching.part
    first = next((bar for bar in part.bars if not bar.pickup), part.bars[0])
    count = sum(not bar.pickup for bar in part.bars)
    played = f", {len(teaching.part.played_bars)} as played" if len(part.played_bars) != len(part.bars) else ""
    key = key_name(part).replace("♯", " sharp").replace("♭", " flat")
    minutes = teaching.seconds / 60
    return (
        ("Key", key),
        ("Metre", f"{first.beats}/{first.beat_type}"),
        ("Bars", f"{count}{played}"),
        ("Tempo", f"quarter note = {teaching.tempo_qpm:.0f}; practised from {_ladder_text(teaching)}"),
        ("Positions", _positions(teaching)),
        ("Practice", f"about {minutes:.0f} minutes for all steps in a row; better in several days"),
    )


def learn_points(teaching: Teaching) -> tuple[str, ...]:
    """What the player will be able to do, a sentence each, as the part has it."""
    placements = [note.placement for note in teaching.plan.notes]
    shapes = {teaching.instrument.shape(p.shape).extension for p in placements if p.finger}
    points = []
    frames = {(p.frame, p.zone) for p in placements if p.finger}
    if len(frames) > 1:
        points.append("Change between positions, with a guide finger where there is one.")
    if "forward" in shapes:
        points.append("Reach forward with the hand while the first finger stays.")
    if "back" in shapes:
        points.append("Reach back with the first finger while the hand stays.")
    if any(p.zone == "thumb" for p in placements):
        points.append("Play in thumb position.")
    if any(p.harmonic for p in placements):
        points.append("Touch a natural harmonic and come back from it.")
    if any(len(event.midi) > 1 for event in teaching.outline.bars.events):
        points.append("Play two notes at the same time.")
    returns = [likeness for likeness in teaching.outline.likenesses if likeness.kind != "exact"]
    if returns:
        points.append("Know what returns in the tune, and what is different then.")
    if teaching.bowing is not None and any(stroke.retake for stroke in teaching.bowing.strokes):
        points.append("Lift the bow and set it again where the line asks for it.")
    return tuple(points)


def before_you_play(teaching: Teaching) -> dict[str, object]:
    """Strings to tune, warm-up and cautions, each with its source."""
    words = booklet_words()
    strings = [(s.letter, _octave_name(s.midi)) for s in reversed(teaching.instrument.strings)]
    return {
        "strings": [{"letter": letter, "pitch": pitch} for letter, pitch in strings],
        "warm_up": [{"text": item.text, "source": item.source} for item in words.warm_up],
        "cautions": [{"text": item.text, "source": item.source} for item in words.cautions],
        "note": words.note,
    }


def section_contents(teaching: Teaching) -> tuple[SectionContent, ...]:
    """The sections with their phrases, and what returns in them."""
    return tuple(_section(section, teaching) for section in teaching.outline.sections)


def spot_contents(teaching: Teaching) -> tuple[SpotContent, ...]:
    """The hard spots, hardest first, with their drills."""
    return tuple(_spot(spot, teaching) for spot in teaching.spots)


def _section(section: TaughtSection, teaching: Teaching) -> SectionContent:
    blocks: list[PhraseBlock | DifferenceBlock] = []
    several = len(section.phrases) > 1
    for number, phrase in enumerate(section.phrases, start=1):
        name = f"Phrase {number}" if several else "One phrase"
        blocks.append(PhraseBlock(f"{name}, {_phrase_bars(phrase, teaching)}", phrase.first_bar, phrase.last_bar))
    returns = [one for one in teaching.outline.likenesses if section.first <= one.at[0] <= section.last]
    blocks += [_difference(likeness, teaching) for likeness in returns]
    return SectionContent(
        section.name, bars_printed((section.first_bar, section.last_bar)), section.remark, tuple(blocks)
    )


def _phrase_bars(phrase: Phrase, teaching: Teaching) -> str:
    numbers = [bar.number for bar in teaching.part.bars]
    event = teaching.outline.bars.events[phrase.first]
    bar = teaching.part.bars[phrase.first_bar]
    upbeat = phrase.first_bar < phrase.last_bar and 2 * event.offset_quarters >= bar.nominal_quarters
    first = phrase.first_bar + 1 if upbeat else phrase.first_bar
    words = bars_printed((numbers[first], numbers[phrase.last_bar]))
    return f"{words} with {'the pick-up' if bar.pickup else 'the upbeat'}" if upbeat else words


def _difference(likeness: Likeness, teaching: Teaching) -> DifferenceBlock:
    """The sentence, and the differing bars as they were and as they are; at most three pairs."""
    text = likeness_words(likeness)
    hand = "; ".join(difference_words(difference) for difference in likeness.hand[:4])
    if hand:
        text += f". The hand: {hand}"
    apart = likeness.at[0] - likeness.of[0]
    index = {bar.number: bar.index for bar in teaching.part.bars}
    changed = list(dict.fromkeys(index[d.bar] for d in (*likeness.differences, *likeness.hand)))[:3]
    excerpts = []
    for bar in changed:
        was, now = teaching.part.bars[bar - apart].number, teaching.part.bars[bar].number
        excerpts += [(f"bar {was}", bar - apart, bar - apart), (f"bar {now}", bar, bar)]
    return DifferenceBlock(text[0].upper() + text[1:] + ".", tuple(excerpts))


def _spot(spot: HardSpot, teaching: Teaching) -> SpotContent:
    where = bars_printed(spot.bars)
    if spot.also_bars:
        where += f"; again in bar{'s' if len(spot.also_bars) > 1 else ''} {listed(spot.also_bars)}"
    event = teaching.outline.bars.events[spot.peak]
    bar = teaching.part.bars[event.bar_index].number
    told = [item.words for item in spot.reasons if item.term not in _SELF_EVIDENT]
    why = listed(told[:3])
    marks = find_landmarks(teaching.outline.bars, teaching.plan, teaching.instrument, spot.peak)
    drills = [
        DrillBlock(
            title=drill.title,
            words=drill.words,
            count=f"{number_words(drill.times)} times, quarter note = {drill.tempo_qpm:.0f}"
            if drill.times > 2
            else f"{'twice' if drill.times == 2 else 'once'}, quarter note = {drill.tempo_qpm:.0f}",
            drill=drill,
        )
        for drill in teaching.drills
        if drill.spot == spot.rank
    ]
    return SpotContent(
        title=spot.name,
        where=f"{where}, {'' if where == f'bar {bar}' else f'at bar {bar}, '}beat {beat_text(event.beat)}",
        why=why[0].upper() + why[1:] + "." if why else "",
        find=tuple(mark.words for mark in marks[:2]),
        drills=tuple(drills),
    )


_SELF_EVIDENT = frozenset({"shift_distance", "height", "half_step_shift", "slide", "third_finger", "fourth_finger"})
"""Terms that go with another one and say nothing more to a player."""


def _positions(teaching: Teaching) -> str:
    found: dict[tuple[int, str], str] = {}
    for note in teaching.plan.notes:
        place = note.placement
        if place.finger:
            found.setdefault((place.frame, place.zone), position_said(place, teaching.instrument))
    return listed([found[key] for key in sorted(found)]) or "open strings only"


def _ladder_text(teaching: Teaching) -> str:
    return f"{teaching.tempo_qpm * teaching.ladder[0] / 100:.0f}"


def _octave_name(midi: int) -> str:
    names = ("C", "C sharp", "D", "E flat", "E", "F", "F sharp", "G", "A flat", "A", "B flat", "B")
    return f"{names[midi % 12]}{midi // 12 - 1}"
