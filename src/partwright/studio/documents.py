"""The documents of a lesson as docs/studio_api.md describes them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from partwright.errors import PartwrightError
from partwright.lesson import Section, key_name, page_instrument, survey_lines, survey_part
from partwright.score import Note, beat_text
from partwright.studio.desk import Desk, Done
from partwright.studio.note_facts import NoteFacts
from partwright.studio.pictures import Score, SystemPicture
from partwright.studio.pin_rows import PinRow
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import error_document
from partwright.studio.svg_texts import glyph_definitions

__all__ = [
    "edit_document",
    "faulty_document",
    "history_document",
    "kept_document",
    "leaf_document",
    "leaves_document",
    "lesson_document",
    "pins_document",
]


def lesson_document(desk: Desk, name: str, state: PlanState) -> dict[str, Any]:
    """Everything about a lesson but its notes."""
    lesson, part, job = state.lesson, state.part, state.job
    printed = job.credits
    outline = state.outline
    survey = survey_part(
        part, sections=[Section(name=s.name, first_bar=s.first_bar, last_bar=s.last_bar) for s in outline.sections]
    )
    backing = next((p for p in sorted(desk.folder.glob("backing.*")) if p.is_file() and not p.is_symlink()), None)
    return {
        "version": state.version,
        "name": name,
        "fault": None,
        "title": printed.title or name,
        "subtitle": printed.subtitle,
        "composer": printed.composer,
        "arranger": printed.arranger,
        "teacher": lesson.teacher,
        "rights": list(printed.rights),
        "instrument": {
            "name": job.instrument.name,
            "strings": [{"letter": s.letter, "number": s.number} for s in reversed(job.instrument.strings)],
            "string_length_mm": job.instrument.string_length_mm,
        },
        "level": job.level,
        "levels": list(job.instrument.levels),
        "tempo_qpm": lesson.tempo_qpm or (part.tempo_marks[0].tempo_qpm if part.tempo_marks else None),
        "practice_percent": list(lesson.practice_percent),
        "marks": lesson.marks,
        "string_names": lesson.strings,
        "paper": list(lesson.paper),
        "own_levels": list(lesson.levels),
        "undo_steps": list(lesson.undo),
        "second": lesson.second,
        "style": lesson.style,
        "bars": {"count": len(part.bars), "first": part.bars[0].number, "last": part.bars[-1].number},
        "notes": len(part.notes),
        "key": key_name(part),
        "range": f"{survey.lowest} to {survey.highest}",
        "found": list(survey_lines(survey)),
        "sections": [
            {
                "name": section.name,
                "first_bar": section.first_bar,
                "last_bar": section.last_bar,
                "first_bar_index": section.first,
                "last_bar_index": section.last,
                "remark": section.remark,
            }
            for section in outline.sections
        ],
        "section_names_given": bool(lesson.sections),
        "phrases": [
            {
                "first_bar": part.bars[phrase.first_bar].number,
                "first_beat": beat_text(phrase.first_beat),
                "last_bar": part.bars[phrase.last_bar].number,
                "last_beat": beat_text(phrase.last_beat),
                "first_n": part.by_id[phrase.first_note_id].index,
                "last_n": part.by_id[phrase.last_note_id].index,
                "section": section.name,
            }
            for section in outline.sections
            for phrase in section.phrases
        ],
        "teaching_order": list(lesson.teaching_order),
        "episodes": [{"title": e.title, "sections": list(e.sections)} for e in lesson.episodes],
        "tries": lesson.tries,
        "speaking_wpm": lesson.speaking_wpm,
        "pins": pins_document(state.pins),
        "relaxed": relaxed_document(state),
        "unplayable": [
            {"bar": r.bar, "beat": beat_text(r.beat), "n": part.by_id[r.note_id].index, "why": r.why}
            for r in state.plan.unplayable
        ],
        "unlike": [{"bars": list(u.bars), "like": list(u.like_bars), "why": u.why} for u in state.plan.unlike],
        "remarks": [*job.remarks, *state.plan.remarks, *state.bowing.remarks],
        **undo_words(desk),
        "kept": kept_document(desk),
        "backing": None if backing is None else {"name": backing.name, "path": backing.name},
        "cost": round(state.plan.total_cost + state.bowing.total_cost, 3),
    }


def relaxed_document(state: PlanState) -> list[dict[str, Any]]:
    """Limits of the level that had to give way, and where."""
    found = []
    for item in state.plan.relaxed:
        note = state.part.by_id[item.note_id]
        found.append({**place_of(note), "limit": item.limit, "why": item.why})
    return found


def faulty_document(desk: Desk, name: str, version: str, error: PartwrightError) -> dict[str, Any]:
    """A lesson whose texts lead to no plan: what is wrong, and what can be taken back."""
    return {"version": version, "name": name, "fault": error_document(error), **undo_words(desk)}


def undo_words(desk: Desk) -> dict[str, str | None]:
    """What undo and redo would do."""
    done, undone = desk.history.done, desk.history.undone
    return {"undo": done[-1].words if done else None, "redo": undone[-1].words if undone else None}


def kept_document(desk: Desk) -> list[dict[str, str]]:
    """Plans kept under a name."""
    return [{"name": name, "words": f"kept {when}"} for name, (when, _) in desk.history.kept.items()]


def pins_document(rows: Sequence[PinRow]) -> list[dict[str, Any]]:
    """The lines of [pins]."""
    return [
        {
            "place": row.place,
            "value": row.value,
            "kind": row.kind,
            "words": row.words,
            "comment": row.comment,
            "n": None if row.note is None else row.note.index,
            "bar": None if row.note is None else row.note.bar,
            "beat": None if row.note is None else beat_text(row.note.beat),
        }
        for row in rows
    ]


def history_document(desk: Desk) -> dict[str, Any]:
    """Every change, newest first."""
    undone = [{"seq": c.seq, "words": c.words, "when": c.when, "state": "undone"} for c in desk.history.undone]
    done = [{"seq": c.seq, "words": c.words, "when": c.when, "state": "done"} for c in reversed(desk.history.done)]
    return {"entries": [*undone, *done][:1000]}


# The score ----------------------------------------------------------------------------------------------------------


def leaves_document(state: PlanState, score: Score, width_mm: int) -> dict[str, Any]:
    """The leaves of a part."""
    part = state.part
    leaves = []
    for leaf, (first, last) in enumerate(score.leaves):
        inside = [note.index for note in part.notes if first <= note.bar_index <= last]
        leaves.append(
            {
                "leaf": leaf,
                "first_bar": part.bars[first].number,
                "last_bar": part.bars[last].number,
                "first_bar_index": first,
                "last_bar_index": last,
                "first_n": inside[0] if inside else None,
                "last_n": inside[-1] if inside else None,
                "height_mm": score.height_mm(leaf, width_mm),
            }
        )
    return {"version": state.version, "width_mm": width_mm, "leaves": leaves}


def leaf_document(
    state: PlanState, score: Score, facts: NoteFacts, leaf: int, width_mm: int, have: Collection[str]
) -> dict[str, Any]:
    """One leaf: its systems, and the music signs they use."""
    pictures = score.systems(leaf, width_mm, state.marks, page_instrument(state.job))
    systems = [
        system_document(state, facts, picture, leaf, index, drawn=picture.key not in have)
        for index, picture in enumerate(pictures)
    ]
    glyphs = glyph_definitions({code for picture in pictures if picture.key not in have for code in picture.glyphs})
    return {
        "version": state.version,
        "leaf": leaf,
        "width_mm": width_mm,
        "height_mm": round(sum(picture.height_mm for picture in pictures), 2),
        "glyphs": glyphs,
        "systems": systems,
    }


def system_document(
    state: PlanState, facts: NoteFacts, picture: SystemPicture, leaf: int, index: int, *, drawn: bool
) -> dict[str, Any]:
    """One system as the page gets it."""
    bars = state.part.bars
    first, last = picture.bars[0][0], picture.bars[-1][0]
    return {
        "id": f"system-{leaf}-{index}",
        "key": picture.key,
        "leaf": leaf,
        "index": index,
        "first_bar": bars[first].number,
        "last_bar": bars[last].number,
        "first_bar_index": first,
        "last_bar_index": last,
        "width_mm": picture.width_mm,
        "height_mm": picture.height_mm,
        "staff_top_mm": picture.staff_top_mm,
        "staff_bottom_mm": picture.staff_bottom_mm,
        "svg": picture.svg if drawn else None,
        "bars": [
            {"bar_index": index, "bar": bars[index].number, "left_mm": a, "right_mm": b} for index, a, b in picture.bars
        ],
        "notes": facts.on(picture),
    }


def edit_document(desk: Desk, done: Done, *, width_mm: int | None, leaves: Sequence[int]) -> dict[str, Any]:
    """The answer to an edit: what moved, and the systems of the leaves shown that look or read otherwise now."""
    state, before = done.after, done.before
    score = desk.score(state)
    old_facts = None if before is None else desk.facts(before)
    facts = desk.facts(state)
    same_tune = (
        before is not None and before.part is state.part and before.lesson.source_marks == state.lesson.source_marks
    )
    systems: list[dict[str, Any]] = []
    glyphs: set[str] = set()
    shown = [leaf for leaf in dict.fromkeys(leaves) if leaf < len(score.leaves)]
    stale: list[int] = []
    if width_mm is not None and same_tune and before is not None and old_facts is not None:
        instrument, old_instrument = page_instrument(state.job), page_instrument(before.job)
        for leaf in shown:
            was = score.systems(leaf, width_mm, before.marks, old_instrument)
            now = score.systems(leaf, width_mm, state.marks, instrument)
            for index, (one, two) in enumerate(zip(was, now, strict=True)):
                drawn = one.key != two.key
                if drawn or any(old_facts.of(n) is not facts.of(n) for n, _, _ in two.notes):
                    systems.append(system_document(state, facts, two, leaf, index, drawn=drawn))
                    glyphs |= two.glyphs if drawn else frozenset()
        touched = {score.leaf_of(state.part.notes[n].bar_index) for n in (*done.changed.notes, *done.changed.bow_notes)}
        stale = sorted(touched - set(shown))
    return {
        "version": state.version,
        **undo_words(desk),
        "words": done.words,
        "changes": done.changed.document(),
        "systems": systems,
        "glyphs": glyph_definitions(glyphs),
        "stale_leaves": stale,
        "relaid": not same_tune,
        "pins": pins_document(state.pins),
        "relaxed": relaxed_document(state),
        "cost": round(state.plan.total_cost + state.bowing.total_cost, 3),
    }


def place_of(note: Note) -> dict[str, Any]:
    """A note's place."""
    return {"n": note.index, "bar": note.bar, "beat": beat_text(note.beat)}
