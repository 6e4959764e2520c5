"""The steps that make what is played together: versions by level, second part, accompaniment, and their check."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

from partwright.building.pages import page_heading
from partwright.building.step import Made, Step
from partwright.building.workshop import Workshop

if TYPE_CHECKING:
    from partwright.arranging import Accompaniment
    from partwright.fingering import FingeringPlan
    from partwright.score import Part

__all__ = ["ARRANGING_STEPS"]

_TUNE = ("tune", "hand", "own tables", "credits", "edition", "sections", "arranging", "paper", "marks")


def _versions(workshop: Workshop) -> Made:
    from partwright.arranging import steps_document

    files: dict[str, bytes] = {}
    remarks: list[str] = []
    documents = []
    for level, version in workshop.versions.items():
        made = _printed(workshop, version.part, level=level, stem=f"versions/{level}", subtitle=f"{level} version")
        files |= made
        documents.append(steps_document(version))
        remarks += [f"{level}: {text}" for text in version.remarks]
    files["versions/steps.json"] = _json({"versions": documents})
    files["versions/steps.txt"] = _steps_text(workshop).encode("utf-8")
    return Made(files=files, remarks=tuple(remarks))


def _steps_text(workshop: Workshop) -> str:
    lines = []
    for level, version in workshop.versions.items():
        kept = version.recognition
        lines.append(
            f"{level}: {len(version.steps)} steps; {kept.contour:.0%} of the tune's moves and "
            f"{kept.strong_names:.0%} of its strong beats are kept."
        )
        lines += [f"  {step.name}: {step.what}. Why: {step.why}." for step in version.steps]
        lines += [f"  {name}: undone in lesson.toml." for name in version.undone]
        lines.append("")
    lines.append('To undo one, list it in lesson.toml under [arranging]: undo = ["LEVEL: STEP"].')
    return "\n".join(lines) + "\n"


def _second(workshop: Workshop) -> Made:
    from partwright.lesson import lesson_second

    found = lesson_second(workshop.prepared)
    assert found is not None
    made, remarks = found
    level = workshop.lesson.second_level or workshop.prepared.level
    files = _printed(workshop, made.part, level=level, stem="second", subtitle=made.part.name.lower(), chords=False)
    return Made(files=files, remarks=remarks)


def _accompaniment(workshop: Workshop) -> Made:
    from partwright.arranging import accompaniment_score
    from partwright.engraving import Heading, engrave_part_pdf, page_size
    from partwright.lesson import lesson_accompaniment
    from partwright.score import compose_musicxml, musicxml_bytes, tune_from_tree

    job = workshop.prepared
    found = lesson_accompaniment(job)
    assert found is not None
    made, remarks = found
    head = replace(job.part, credits=job.credits)
    score = accompaniment_score(made, head)
    document = compose_musicxml(score)
    files = {"accompaniment.musicxml": musicxml_bytes(document)}
    heading = page_heading(job)
    for paper in workshop.lesson.paper:
        for part, words in ((made.chords, "chords"), (made.bass, "bass")):
            alone = accompaniment_score(_only(part, made), head)
            tune = tune_from_tree(
                compose_musicxml(alone),
                source=workshop.folder / f"accompaniment-{words}.musicxml",
                source_bytes_hash="",
            )
            head_of_page: Heading = replace(
                heading, subtitle=f"accompaniment, {made.style}", instrument=part.name, level="", legend=()
            )
            files[f"accompaniment-{words}-{paper}.pdf"] = engrave_part_pdf(
                tune, (), heading=head_of_page, page=page_size(paper)
            )
    return Made(files=files, remarks=remarks)


def _only(part: Part, made: Accompaniment) -> Accompaniment:
    """The accompaniment with one part left."""
    bass, chords, drums = (
        other if other is part else replace(other, notes=()) for other in (made.bass, made.chords, made.drums)
    )
    return replace(made, bass=bass, chords=chords, drums=drums)


def _printed(
    workshop: Workshop, part: Part, *, level: str, stem: str, subtitle: str, chords: bool = True
) -> dict[str, bytes]:
    """A part with fingers and bows of its own: MusicXML and pages."""
    from partwright.bowing import bow_levels, bowing_marks, plan_bowing
    from partwright.engraving import engrave_part_pdf, page_size
    from partwright.fingering import fingering_marks, plan_fingering
    from partwright.lesson import arranged_tune, page_instrument
    from partwright.score import annotate, musicxml_bytes

    job = workshop.prepared
    tune = arranged_tune(job, part, level=level, name=f"{stem}.musicxml", chords=chords)
    plan: FingeringPlan = plan_fingering(tune.part, job.instrument, level=level)
    known = [row.name for row in bow_levels()]
    bowing = plan_bowing(tune.part, job.instrument, plan, level=level if level in known else "advanced")
    wanted = workshop.lesson.marks
    marks = (
        *fingering_marks(tune.part, plan, page_instrument(job), marks=wanted),
        *bowing_marks(tune.part, bowing, marks=wanted),
    )
    heading = replace(page_heading(job), subtitle=subtitle, level=level)
    files = {f"{stem}.musicxml": musicxml_bytes(annotate(tune, marks))}
    for paper in workshop.lesson.paper:
        files[f"{stem}-{paper}.pdf"] = engrave_part_pdf(
            tune, marks, heading=heading, page=page_size(paper), instrument=page_instrument(job)
        )
    return files


def _check_together(workshop: Workshop) -> Made:
    from partwright.checking import check_together, findings_document, findings_text

    job = workshop.prepared
    findings = check_together(job.part, {level: version.part for level, version in workshop.versions.items()})
    return Made(
        files={
            "check-together.json": _json(findings_document(findings)),
            "check-together.txt": (findings_text(findings) + "\n").encode("utf-8"),
        },
        remarks=tuple(f"{f.verdict}: {f.place}: {f.what}" for f in findings if f.verdict == "wrong"),
    )


def _json(document: object) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


ARRANGING_STEPS: tuple[Step, ...] = (
    Step(
        name="versions",
        words="a version of the tune for each level",
        inputs=_TUNE,
        make=_versions,
        wanted=lambda workshop: bool(workshop.lesson.levels),
    ),
    Step(
        name="second",
        words="the second part",
        inputs=_TUNE,
        make=_second,
        wanted=lambda workshop: bool(workshop.lesson.second),
    ),
    Step(
        name="accompaniment",
        words="the accompaniment",
        inputs=("tune", "credits", "edition", "arranging", "paper"),
        make=_accompaniment,
        wanted=lambda workshop: bool(workshop.lesson.style),
    ),
    Step(
        name="check-together",
        words="whether the versions can be played together",
        inputs=("tune", "hand", "own tables", "sections", "arranging"),
        make=_check_together,
        wanted=lambda workshop: bool(workshop.lesson.levels),
    ),
)
