"""Viewers' comments brought back to bars: what they say of the lesson, checked against score and plan."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from partwright.checking.narration import NarrationCheck, Transcript, check_narration, read_transcript
from partwright.checking.reports import (
    Grounds,
    check_reports,
    keep_reports,
    read_comments,
    reports_document,
    sold_notes,
)
from partwright.score import Part
from partwright.studio.plan_state import PlanState
from partwright.studio.takes_io import take_path

__all__ = ["check_comments"]


def check_comments(
    state: PlanState, folder: Path, comments: Path, *, take: str | None, today: datetime.date
) -> dict[str, Any]:
    """Read a file of comments, check what they claim, draft the errata, and tell all of it.

    `take`: the transcript of the video they stand under, which brings their times back to bars.
    """
    read = read_comments(comments)
    narration, remarks = _narration(state, folder, take)
    check = check_reports(
        read.comments, Grounds.of(narration), editions_at=sold_notes(folder, told=remarks.append)
    )  # fmt: skip
    kept = keep_reports(folder, check, today=today)
    document: dict[str, Any] = reports_document(check, kept=kept.by_claim)
    document["findings"] = [{**row, **_place(state.part, row)} for row in document["findings"]]
    document["drafted"] = [erratum.id for erratum in kept.errata if erratum.state == "draft"]
    document["remarks"] = [*(str(fault) for fault in read.faults[:50]), *remarks]
    return document


def _narration(state: PlanState, folder: Path, take: str | None) -> tuple[NarrationCheck, list[str]]:
    silent = Transcript(cues=(), kind="plain text", encoding="utf-8")
    spoken = silent if take is None else read_transcript(take_path(folder, take))

    def listen(transcript: Transcript) -> NarrationCheck:
        return check_narration(
            transcript, state.part, state.job.instrument, plan=state.plan, bowing=state.bowing,
            sections=state.lesson.sections,
        )  # fmt: skip

    check = listen(spoken)
    if take is None or not check.misfit:
        return check, []
    return listen(silent), [f"{take} does not seem to be about this score, so it tells no bar by its time."]


def _place(part: Part, row: dict[str, Any]) -> dict[str, Any]:
    """The note and bar a finding speaks of, as the page knows them."""
    note = part.by_id.get(str(row.get("note_id")))
    return {"n": None if note is None else note.index, "bar_index": None if note is None else note.bar_index}
