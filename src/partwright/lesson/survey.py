"""What a tune holds, said at once when a lesson starts: key, range, bars, sections, tempo, and what was assumed.

Pitches are those that sound. Bars are counted as printed; a pick-up is named, not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.lesson.lesson import Section
from partwright.score import Bar, Part

__all__ = ["Survey", "key_name", "suggest_sections", "survey_document", "survey_lines", "survey_part"]

_MAJOR = ("C♭", "G♭", "D♭", "A♭", "E♭", "B♭", "F", "C", "G", "D", "A", "E", "B", "F♯", "C♯")
_MINOR = ("A♭", "E♭", "B♭", "F", "C", "G", "D", "A", "E", "B", "F♯", "C♯", "G♯", "D♯", "A♯")
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11, "♭": -1, "♯": 1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What was found in a tune."""

    key: str
    lowest: str
    highest: str
    notes: int
    bars: int
    pickup: bool
    played_bars: int
    metre: str
    tempo: str
    sections: tuple[Section, ...]
    remarks: tuple[str, ...]


def survey_part(part: Part, *, sections: Sequence[Section] | None = None) -> Survey:
    """What this part holds, in words a player uses; `sections` where they are known already."""
    ordered = sorted(part.notes, key=lambda note: note.midi)
    first_full = next((bar for bar in part.bars if not bar.pickup), part.bars[0])
    tempo = part.tempo_marks[0]
    assumed = " (assumed; the tune gives none)" if tempo.source == "assumed" else ""
    return Survey(
        key=key_name(part),
        lowest=_printed(ordered[0].pitch.name) if ordered else "",
        highest=_printed(ordered[-1].pitch.name) if ordered else "",
        notes=sum(note.tied_from is None for note in part.notes),
        bars=sum(not bar.pickup for bar in part.bars),
        pickup=part.bars[0].pickup,
        played_bars=len(part.played_bars),
        metre=f"{first_full.beats}/{first_full.beat_type}" if first_full.metre_given else "free",
        tempo=f"{tempo.tempo_qpm:g} quarter notes per minute{assumed}",
        sections=_sections(part) if sections is None else tuple(sections),
        remarks=part.remarks,
    )


def _sections(part: Part) -> tuple[Section, ...]:
    """Sections as a lesson would be taught in: those the page shows, and in a long stretch without any, the music's."""
    from partwright.lesson.outline import make_outline

    return tuple(
        Section(name=section.name, first_bar=section.first_bar, last_bar=section.last_bar)
        for section in make_outline(part).sections
    )


def survey_document(survey: Survey) -> dict[str, object]:
    """The survey as a plain document."""
    return {
        "key": survey.key,
        "lowest": survey.lowest,
        "highest": survey.highest,
        "notes": survey.notes,
        "bars": survey.bars,
        "pickup": survey.pickup,
        "played_bars": survey.played_bars,
        "metre": survey.metre,
        "tempo": survey.tempo,
        "sections": [{"name": s.name, "first_bar": s.first_bar, "last_bar": s.last_bar} for s in survey.sections],
        "remarks": list(survey.remarks),
    }


def survey_lines(survey: Survey) -> tuple[str, ...]:
    """The survey as lines for the screen."""
    pickup = " and a pick-up" if survey.pickup else ""
    bars = f"{survey.bars}{pickup}, {'without a metre' if survey.metre == 'free' else f'in {survey.metre}'}"
    if survey.played_bars != survey.bars + survey.pickup:
        bars += f"; {survey.played_bars} as played with the repeats"
    named = ", ".join(f"{s.name} ({_bars(s)})" for s in survey.sections)
    lines = [
        f"  key       {survey.key}",
        f"  range     {survey.lowest} to {survey.highest}, {survey.notes} notes",
        f"  bars      {bars}",
        f"  tempo     {survey.tempo}",
        f"  sections  {named}",
    ]
    lines += [f"  remark    {text}" for text in survey.remarks]
    return tuple(lines)


def key_name(part: Part) -> str:
    """The key at the start; where the source names no mode, the last note decides and that is said.

    A signature whose last note is neither tonic gets both names.
    """
    bar = part.bars[0]
    index = bar.fifths + 7
    if not 0 <= index < len(_MAJOR):
        return f"a signature of {abs(bar.fifths)} {'sharps' if bar.fifths > 0 else 'flats'}"
    changes = " at the start" if any(b.key_changes for b in part.bars[1:]) else ""
    if bar.mode == "major":
        return f"{_MAJOR[index]} major{changes}"
    if bar.mode == "minor":
        return f"{_MINOR[index]} minor{changes}"
    if bar.mode and bar.mode != "none":
        return f"{bar.mode} with the signature of {_MAJOR[index]} major{changes}"
    last = part.notes[-1].midi % 12 if part.notes else None
    if last == _pitch_class(_MAJOR[index]):
        return f"{_MAJOR[index]} major{changes} (by the signature and the last note)"
    if last == _pitch_class(_MINOR[index]):
        return f"{_MINOR[index]} minor{changes} (by the signature and the last note)"
    return f"{_MAJOR[index]} major or {_MINOR[index]} minor{changes} (by the signature)"


def suggest_sections(part: Part) -> tuple[Section, ...]:
    """Sections where the page shows them: at rehearsal marks; else at repeats and double bars; else the whole."""
    bars = part.bars
    starts = [bar.index for bar in bars if bar.rehearsal]
    if not starts:
        starts = [bar.index for bar in bars if _begins_a_stretch(bars, bar)]
    first = next((bar.index for bar in bars if not bar.pickup), 0)
    if not starts or starts[0] > first:
        starts.insert(0, first)
    names = _section_names([bars[start].rehearsal for start in starts])
    ends = [*(start - 1 for start in starts[1:]), len(bars) - 1]
    return tuple(
        Section(name=name, first_bar=bars[start].number, last_bar=bars[max(start, end)].number)
        for name, start, end in zip(names, starts, ends, strict=True)
    )


def _begins_a_stretch(bars: tuple[Bar, ...], bar: Bar) -> bool:
    if bar.index == 0:
        return False
    before = bars[bar.index - 1]
    closes = (before.repeat_end and not bar.endings) or (before.double_bar and not bar.endings) or before.ending_stops
    return bar.repeat_start or (closes and not bar.endings)


def _section_names(marks: list[str]) -> list[str]:
    taken = set(marks)
    free = (letter for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if letter not in taken)
    return [mark or next(free, "?") for mark in marks]


def _pitch_class(name: str) -> int:
    return sum(_SEMITONES[sign] for sign in name) % 12


def _printed(name: str) -> str:
    return name.replace("#", "♯").replace("b", "♭")


def _bars(section: Section) -> str:
    if section.first_bar == section.last_bar:
        return f"bar {section.first_bar}"
    return f"bars {section.first_bar}–{section.last_bar}"
