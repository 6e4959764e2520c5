"""The steps that make what a lesson is taught with: outline, drills, script, prompter, booklet."""

from __future__ import annotations

import json

from partwright.building.pages import page_heading
from partwright.building.step import Made, Step
from partwright.building.workshop import Workshop

__all__ = ["TEACHING_STEPS"]

_LESSON = ("tune", "step:plan", "hand", "own tables", "tempo", "sections", "teaching")


def _outline(workshop: Workshop) -> Made:
    from partwright.lesson import outline_document, spots_document

    teaching = workshop.teaching
    return Made(
        files={
            "sections.json": _json(outline_document(teaching.outline)),
            "hard-spots.json": _json(spots_document(teaching)),
        },
        remarks=teaching.remarks,
    )


def _facts(workshop: Workshop) -> Made:
    from partwright.building.facts import FACTS_FILE, lesson_facts

    return Made(files={FACTS_FILE: _json(lesson_facts(workshop))})


def _drills(workshop: Workshop) -> Made:
    from partwright.lesson import drill_marks
    from partwright.score import annotate, musicxml_bytes

    files = {}
    for planned in workshop.drills:
        tree = annotate(planned.tune, drill_marks(planned, workshop.prepared.instrument))
        files[f"drills/drill-{planned.drill.id}.musicxml"] = musicxml_bytes(tree)
    return Made(files=files)


def _script(workshop: Workshop) -> Made:
    from partwright.engraving import prompter_html
    from partwright.lesson import OWN_SCRIPT_FILE, script_document, script_text

    teaching, sentences = workshop.teaching, workshop.script
    changed = sum(sentence.template == "own" for sentence in sentences)
    remarks: tuple[str, ...] = ()
    if changed:
        plural = "sentences are" if changed > 1 else "sentence is"
        remarks = (f"{changed} {plural} your own in {OWN_SCRIPT_FILE}; partwright check narration reads them",)
    return Made(
        files={
            "script.md": script_text(teaching, sentences).encode("utf-8"),
            "cues.json": _json(script_document(teaching, sentences)),
            "prompter.html": prompter_html(teaching, sentences).encode("utf-8"),
        },
        remarks=remarks,
    )


def _booklet(workshop: Workshop, paper: str) -> Made:
    from partwright.engraving import booklet_pdf, page_size
    from partwright.lesson import page_tune

    job = workshop.prepared
    pdf = booklet_pdf(
        workshop.teaching,
        page_tune(job),
        workshop.marks,
        heading=page_heading(job),
        page=page_size(paper),
        drills=workshop.drills,
    )
    return Made(files={f"booklet-{paper}.pdf": pdf})


def _json(document: object) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


TEACHING_STEPS: tuple[Step, ...] = (
    Step(
        name="sections",
        words="sections, phrases, what returns, and the hard spots",
        inputs=_LESSON,
        make=_outline,
    ),
    Step(
        name="facts",
        words="the facts for a sales sheet: key, range, length, positions, hardest spot",
        inputs=_LESSON,
        make=_facts,
    ),
    Step(
        name="drills",
        words="drills for the hard spots",
        inputs=_LESSON,
        make=_drills,
    ),
    Step(
        name="script",
        words="what to say, as text, cues and prompter",
        inputs=(*_LESSON, "credits", "script of your own"),
        make=_script,
    ),
    Step(
        name="booklet-a4",
        words="the booklet on A4",
        inputs=(*_LESSON, "step:drills", "marks", "credits", "edition"),
        make=lambda workshop: _booklet(workshop, "a4"),
        wanted=lambda workshop: "a4" in workshop.lesson.paper,
    ),
    Step(
        name="booklet-letter",
        words="the booklet on US Letter",
        inputs=(*_LESSON, "step:drills", "marks", "credits", "edition"),
        make=lambda workshop: _booklet(workshop, "letter"),
        wanted=lambda workshop: "letter" in workshop.lesson.paper,
    ),
)
