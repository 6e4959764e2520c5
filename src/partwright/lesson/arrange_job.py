"""A lesson's versions, second part and accompaniment, as its settings ask: phrases and returns come from its outline.

Each is a function of the prepared lesson; nothing is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from partwright.arranging import (
    Accompaniment,
    Harmony,
    SecondPart,
    Version,
    accompany,
    make_version,
    propose_chords,
    second_part,
    style_table,
    unread_chords,
    written_part,
    written_score,
    written_tune,
)
from partwright.errors import LessonError, PartwrightError, Place
from partwright.lesson.lesson import LESSON_FILE
from partwright.lesson.outline import Outline, make_outline
from partwright.lesson.page_clefs import home_first
from partwright.lesson.prepare_io import Prepared
from partwright.nearest import nearest_sentence
from partwright.score import Part, Tune

__all__ = [
    "LessonHarmony",
    "arranged_tune",
    "lesson_accompaniment",
    "lesson_band",
    "lesson_harmony",
    "lesson_second",
    "lesson_versions",
    "note_spans",
    "undone_steps",
]


@dataclass(frozen=True, kw_only=True)
class LessonHarmony:
    """The chords of a tune; `proposed` where it had none of its own. `remarks` name what could not be read."""

    harmony: Harmony
    proposed: bool
    remarks: tuple[str, ...]


def lesson_harmony(part: Part) -> LessonHarmony:
    """The tune's chord symbols, or a proposal where it has none."""
    own = Harmony(part)
    unread = unread_chords(part)
    if own.spans:
        return LessonHarmony(harmony=own, proposed=False, remarks=unread)
    proposal = propose_chords(part)
    return LessonHarmony(harmony=Harmony(part, proposal.symbols), proposed=True, remarks=(*unread, proposal.remark))


def lesson_versions(job: Prepared, *, levels: Sequence[str] | None = None) -> Mapping[str, Version]:
    """A version of the tune for each level of the lesson (or each one named), in that order.

    Raises LessonError where `undo` names a level the lesson has no version for; InputError for an unknown level.
    """
    wanted = job.lesson.levels if levels is None else tuple(levels)
    undo = undone_steps(job.lesson.undo, wanted)
    outline = make_outline(job.part, sections=job.lesson.sections)
    harmony = lesson_harmony(job.part).harmony
    return {
        level: _version(job, level, outline, harmony, undo.get(level, ())) for level in wanted
    }  # fmt: skip


def _version(job: Prepared, level: str, outline: Outline, harmony: Harmony, undo: Iterable[str]) -> Version:
    try:
        return make_version(
            job.part,
            job.instrument,
            level=level,
            phrases=note_spans(outline),
            again=[likeness.at for likeness in outline.likenesses if likeness.semitones == 0],
            harmony=harmony,
            undo=undo,
        )
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error


def undone_steps(undo: Sequence[str], levels: Sequence[str]) -> Mapping[str, tuple[str, ...]]:
    """The names of steps to leave out, by level. Raises LessonError for a text that is not "LEVEL: STEP"."""
    found: dict[str, tuple[str, ...]] = {}
    for text in undo:
        level, colon, name = text.partition(":")
        if not colon or level.strip() not in levels:
            todo = 'Write "LEVEL: STEP", as build/versions/steps.json lists them.'
            if colon:
                todo = nearest_sentence(level.strip(), list(levels)) or todo
            raise LessonError(
                f'undo names "{text}", which is no step of a version', todo, place=Place(file=LESSON_FILE)
            )
        found[level.strip()] = (*found.get(level.strip(), ()), " ".join(name.split()))
    return found


def note_spans(outline: Outline) -> tuple[tuple[int, int], ...]:
    """The phrases as first and last index into the part's notes; every note belongs to one."""
    part = outline.bars.part
    firsts = [part.by_id[phrase.first_note_id].index for phrase in outline.phrases]
    if not firsts:
        return ()
    firsts[0] = 0
    return tuple(zip(firsts, [*(first - 1 for first in firsts[1:]), len(part.notes) - 1], strict=True))


def lesson_second(job: Prepared) -> tuple[SecondPart, tuple[str, ...]] | None:
    """The lesson's second part and remarks on its chords; None where none is asked for."""
    if not job.lesson.second:
        return None
    found = lesson_harmony(job.part)
    made = second_part(
        job.part,
        job.instrument,
        kind=job.lesson.second,
        level=job.lesson.second_level or job.level,
        harmony=found.harmony,
        proposed=found.proposed,
    )
    return made, (*found.remarks, *made.remarks)


def lesson_accompaniment(job: Prepared) -> tuple[Accompaniment, tuple[str, ...]] | None:
    """The lesson's accompaniment and remarks; None where no style is set."""
    style = job.lesson.style
    if not style:
        return None
    if style != "auto" and style not in style_table():
        raise LessonError(
            f'there is no style "{style}"',
            nearest_sentence(style, ["auto", *style_table()]),
            place=Place(file=LESSON_FILE),
        )
    found = lesson_harmony(job.part)
    made = accompany(job.part, style="" if style == "auto" else style, harmony=found.harmony, proposed=found.proposed)
    return made, tuple(dict.fromkeys((*found.remarks, *made.remarks)))


def lesson_band(job: Prepared) -> tuple[tuple[Part, str], ...]:
    """The accompaniment's parts, each with the voice it is heard with; () where no style is set."""
    found = lesson_accompaniment(job)
    voices = {"bass": "bass", "piano": "struck", "drums": "drums"}
    return tuple((part, voices[name]) for part, name in found[0].parts) if found is not None else ()


def arranged_tune(job: Prepared, part: Part, *, level: str, name: str, chords: bool = True) -> Tune:
    """A part made from the lesson's tune as a tune of its own, in the clefs its player reads, with the lesson's
    credits."""
    clefs = job.instrument.levels[level].clefs or (job.instrument.default_clef,)
    head = replace(part, credits=job.credits)
    bars = written_part(head, clefs=home_first(clefs, job.instrument.default_clef), with_chords=chords)
    return written_tune(written_score([bars], head), name=str(Path(name)))
