"""The steps that make what a lesson is taught with: outline, drills, script, prompter, booklet."""

from __future__ import annotations

import json

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


def _drills(workshop: Workshop) -> Made:
    from partwright.lesson import drill_marks, plan_drill
    from partwright.score import annotate, musicxml_bytes

    teaching = workshop.teaching
    files = {}
    for drill in teaching.drills:
        planned = plan_drill(drill, teaching.instrument, level=workshop.prepared.level)
        tree = annotate(planned.tune, drill_marks(planned, teaching.instrument))
        files[f"drills/drill-{drill.id}.musicxml"] = musicxml_bytes(tree)
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
)
