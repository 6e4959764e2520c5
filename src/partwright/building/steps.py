"""The table of a lesson's products, in the order they are made. To add one: a function and a row.

A row names what the product is made from; nothing else may go in, or the product would not follow its inputs.
"""

from __future__ import annotations

import json

from partwright.building.arranging_steps import ARRANGING_STEPS
from partwright.building.pages import page_heading
from partwright.building.sound_steps import SOUND_STEPS
from partwright.building.step import Made, Step
from partwright.building.take_steps import TAKE_STEPS
from partwright.building.teaching_steps import TEACHING_STEPS
from partwright.building.video_steps import VIDEO_STEPS
from partwright.building.workshop import Workshop
from partwright.lesson import fingered_tree, page_instrument, page_tune, plan_changes, plan_document

__all__ = ["STEPS"]


def _plan(workshop: Workshop) -> Made:
    job, plan = workshop.prepared, workshop.plan
    document = plan_document(job.part, plan, job.instrument)
    remarks = [*job.remarks, *plan.remarks]
    remarks += [f"bar {r.bar}: {r.limit}: {r.why}" for r in (*plan.unplayable, *plan.relaxed)]
    remarks += [
        f"bars {u.bars[0]}–{u.bars[1]} are not fingered like bars {u.like_bars[0]}–{u.like_bars[1]}: {u.why}"
        for u in plan.unlike
    ]
    if changed := _changed_bars(workshop, document):
        remarks.append(f"the fingers changed in bar{'s' if len(changed) > 1 else ''} {', '.join(changed)}")
    return Made(files={"plan.json": _json(document)}, remarks=tuple(remarks))


def _changed_bars(workshop: Workshop, document: dict[str, object]) -> tuple[str, ...]:
    """Bars fingered differently from the plan that lies in build/; none where there is none to compare with."""
    try:
        before = json.loads((workshop.build_folder / "plan.json").read_bytes())
    except (OSError, ValueError):
        return ()
    return plan_changes(before, document)


def _fingered(workshop: Workshop) -> Made:
    from partwright.score import musicxml_bytes

    tree = fingered_tree(workshop.prepared, workshop.plan, bowing=workshop.bowing)
    return Made(files={"fingered.musicxml": musicxml_bytes(tree)})


def _bows(workshop: Workshop) -> Made:
    from partwright.bowing import bow_picture_svg, bowing_document

    part, bowing = workshop.prepared.part, workshop.bowing
    return Made(
        files={
            "bows.json": _json(bowing_document(bowing)),
            "bows.svg": bow_picture_svg(part, bowing).encode("utf-8"),
        },
        remarks=bowing.remarks,
    )


def _part_pdf(workshop: Workshop, paper: str) -> Made:
    from partwright.engraving import engrave_part_pdf, page_size

    job = workshop.prepared
    pdf = engrave_part_pdf(
        page_tune(job),
        workshop.marks,
        heading=page_heading(job),
        page=page_size(paper),
        instrument=page_instrument(job),
    )
    return Made(files={f"part-{paper}.pdf": pdf})


def _part_svg(workshop: Workshop) -> Made:
    from partwright.engraving import engrave_part_svg

    job = workshop.prepared
    pages = engrave_part_svg(page_tune(job), workshop.marks, heading=page_heading(job), instrument=page_instrument(job))
    return Made(files={f"part-{number}.svg": page.encode("utf-8") for number, page in enumerate(pages, start=1)})


def _charts(workshop: Workshop) -> Made:
    from partwright.engraving import charts_pdf, hands_of_plan, page_size

    job = workshop.prepared
    pdf = charts_pdf(
        job.instrument,
        hands_of_plan(job.part, workshop.plan, job.instrument),
        heading=page_heading(job),
        fifths=job.part.bars[0].fifths,
        page=page_size(workshop.lesson.paper[0] if workshop.lesson.paper else "a4"),
    )
    return Made(files={"charts.pdf": pdf})


def _check_score(workshop: Workshop) -> Made:
    from dataclasses import replace

    from partwright.checking import check_score, findings_document, findings_text

    job = workshop.prepared
    part = replace(job.part, credits=job.credits)
    findings = check_score(part, job.instrument, level=job.level, plan=workshop.plan)
    remarks = [f"{f.verdict}: {f.place}: {f.what}" for f in findings if f.verdict == "wrong"]
    return Made(
        files={
            "check-score.json": _json(findings_document(findings)),
            "check-score.txt": (findings_text(findings) + "\n").encode("utf-8"),
        },
        remarks=tuple(remarks),
    )


def _json(document: object) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


STEPS: tuple[Step, ...] = (
    Step(
        name="plan",
        words="the plan: every note with its finger and string",
        inputs=("tune", "hand", "own tables", "pins"),
        make=_plan,
    ),
    Step(
        name="bows",
        words="the bow strokes, and a picture of where the bow travels",
        inputs=("tune", "step:plan", "hand", "own tables", "pins"),
        make=_bows,
    ),
    Step(
        name="fingered",
        words="the tune with the marks in it",
        inputs=("tune", "step:plan", "step:bows", "marks", "hand"),
        make=_fingered,
    ),
    Step(
        name="part-a4",
        words="the part on A4",
        inputs=("tune", "step:plan", "step:bows", "marks", "hand", "credits", "edition"),
        make=lambda workshop: _part_pdf(workshop, "a4"),
        wanted=lambda workshop: "a4" in workshop.lesson.paper,
    ),
    Step(
        name="part-letter",
        words="the part on US Letter",
        inputs=("tune", "step:plan", "step:bows", "marks", "hand", "credits", "edition"),
        make=lambda workshop: _part_pdf(workshop, "letter"),
        wanted=lambda workshop: "letter" in workshop.lesson.paper,
    ),
    Step(
        name="part-svg",
        words="the part as pictures",
        inputs=("tune", "step:plan", "step:bows", "marks", "hand", "credits", "edition"),
        make=_part_svg,
    ),
    Step(
        name="charts",
        words="a fingerboard chart for every position used",
        inputs=("tune", "step:plan", "hand", "own tables", "credits", "edition", "paper"),
        make=_charts,
    ),
    Step(
        name="check-score",
        words="what in the score would trip a player",
        inputs=("tune", "step:plan", "hand", "credits"),
        make=_check_score,
    ),
    *ARRANGING_STEPS,
    *TEACHING_STEPS,
    *SOUND_STEPS,
    *VIDEO_STEPS,
    *TAKE_STEPS,
)
