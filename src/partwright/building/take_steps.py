"""The step that checks what was played: a report for each sound recording in takes/."""

from __future__ import annotations

import json

from partwright.building.step import Made, Step
from partwright.building.workshop import Workshop
from partwright.errors import InputError

__all__ = ["TAKE_STEPS"]

_FOLDER = "takes"


def _takes(workshop: Workshop) -> Made:
    """Report and findings of each recording; one that cannot be checked is a remark, not the end of the build."""
    from partwright.checking.take import check_take, drill_bars, phrase_ends, read_recording, take_document, take_report

    files: dict[str, bytes] = {}
    remarks: list[str] = []
    job, teaching = workshop.prepared, workshop.teaching
    links = {drill.id: f"../drills/drill-{drill.id}.musicxml" for drill in teaching.drills}
    for path in workshop.recordings:
        try:
            check = check_take(
                read_recording(path),
                job.part,
                instrument=job.instrument,
                plan=workshop.plan,
                drills=drill_bars(teaching),
                phrases=phrase_ends(teaching),
            )
        except InputError as error:
            remarks.append(str(error))
            continue
        page = take_report(job, check, plan=workshop.plan, teaching=teaching, drill_links=links)
        files[f"{_FOLDER}/{path.stem}.html"] = page.encode("utf-8")
        document = json.dumps(take_document(check), ensure_ascii=False, indent=1, allow_nan=False)
        files[f"{_FOLDER}/{path.stem}.json"] = (document + "\n").encode("utf-8")
        remarks += [f"{path.name}: {sentence}" for sentence in check.sentences[1:]]
    return Made(files=files, remarks=tuple(remarks))


TAKE_STEPS: tuple[Step, ...] = (
    Step(
        name="check-takes",
        words="what was played in the takes, note by note",
        inputs=(
            "tune",
            "step:plan",
            "step:drills",
            "hand",
            "own tables",
            "marks",
            "credits",
            "tempo",
            "sections",
            "teaching",
            "recordings",
        ),
        make=_takes,
        wanted=lambda workshop: bool(workshop.recordings),
    ),
)
