"""Checking one file of takes/: what was said against score and plan, or what was played against the score.

The findings are kept in build/studio/, with a key for what they were made from, so that the page can tell whether they
still hold.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from partwright.building import BUILD_FOLDER, Workshop
from partwright.checking import Finding, finding_document
from partwright.errors import NoPlan, PartwrightError
from partwright.files import content_hash, file_hash, write_atomic
from partwright.lesson import Lesson, Prepared, read_lesson
from partwright.studio.sound_work import STUDIO_FOLDER
from partwright.studio.takes_io import take_kind, take_path

__all__ = ["check_key", "check_one", "kept_check"]

_WAY = "1"
_INPUTS = ("tune", "pins", "hand", "own tables", "tempo", "sections")
Tell = Callable[[Mapping[str, Any]], None]


def check_key(folder: Path, lesson: Lesson, take: Path) -> str:
    """Stands for everything the findings on this take are made from."""
    workshop = Workshop(folder, lesson)
    return content_hash(_WAY, file_hash(take), *(workshop.fingerprint(name) for name in _INPUTS))[:24]


def _kept_path(folder: Path, name: str) -> Path:
    return folder / BUILD_FOLDER / STUDIO_FOLDER / f"check-{content_hash(name)[:16]}.json"


def kept_check(folder: Path, name: str) -> dict[str, Any] | None:
    """The findings kept of a take, or None."""
    try:
        found = json.loads(_kept_path(folder, name).read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) and found.get("way") == _WAY else None


def check_one(folder: Path, name: str, tell: Tell) -> dict[str, Any]:
    """Check a take and keep what was found. Raises InputError for what cannot be read or does not fit the tune."""
    take = take_path(folder, name)
    lesson = read_lesson(folder)
    key = check_key(folder, lesson, take)
    tell({"words": "planning fingers and bow", "done": 0, "total": 5})
    workshop = Workshop(folder, lesson)
    found = _narration(workshop, take, tell) if take_kind(name) == "transcript" else _take(workshop, take, tell)
    path = _kept_path(folder, name)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, json.dumps({"way": _WAY, "key": key, "take": name, **found}, ensure_ascii=False) + "\n")
    return {"take": name, "findings": len(found["findings"])}


def _narration(workshop: Workshop, take: Path, tell: Tell) -> dict[str, Any]:
    from partwright.checking.narration import check_narration, coverage_findings, pin_offer, read_transcript
    from partwright.checking.narration.review import finding_key

    job = workshop.prepared
    transcript = read_transcript(take)
    tell({"words": "listening to what was said", "done": 2, "total": 5})
    try:
        bowing = workshop.bowing
    except PartwrightError:
        bowing = None
    check = check_narration(
        transcript, job.part, job.instrument, plan=workshop.plan, bowing=bowing, sections=job.lesson.sections
    )
    tell({"words": "placing it in the score", "done": 4, "total": 5})
    rows = [
        _row(
            job,
            item.finding,
            finding_key(item.finding),
            [(offer.place, offer.value) for offer in pin_offer(check, item)],
        )
        for item in check.located
    ]
    rows += [_row(job, finding, finding_key(finding), []) for finding in coverage_findings([check])]
    claims = len(check.judged) + len(check.structure)
    return {
        "findings": rows,
        "sentences": [
            f"{claims} claims heard, {sum(j.verdict != 'unplaced' for j in check.judged)} placed in the score."
        ],
        "faults": [str(fault) for fault in transcript.faults[:50]],
    }


def _take(workshop: Workshop, take: Path, tell: Tell) -> dict[str, Any]:
    from partwright.checking.narration.review import finding_key
    from partwright.checking.take import check_take, drill_bars, phrase_ends, read_recording

    job = workshop.prepared
    tell({"words": f"reading {take.name}", "done": 1, "total": 5})
    recording = read_recording(take)
    try:
        plan = workshop.plan
        teaching = workshop.teaching
    except NoPlan:
        plan, teaching = None, None
    check = check_take(
        recording,
        job.part,
        instrument=job.instrument,
        plan=plan,
        drills=drill_bars(teaching),
        phrases=phrase_ends(teaching),
        told=lambda words, number: tell({"words": words, "done": number, "total": 5}),
    )
    return {
        "findings": [_row(job, finding, finding_key(finding), []) for finding in check.findings],
        "sentences": [*check.sentences, *(habit.words for habit in check.habits[:2])],
        "faults": list(check.remarks),
    }


def _row(job: Prepared, finding: Finding, key: str, pins: list[tuple[str, str]]) -> dict[str, Any]:
    """One finding, with the note and bar it speaks of."""
    from partwright.score import beat_text

    bar = next((bar for bar in job.part.bars if bar.number == finding.bar), None) if finding.bar else None
    note = next(
        (n for n in job.part.notes if n.bar == finding.bar and beat_text(n.beat) == finding.beat and not n.grace), None
    )
    return {
        **finding_document(finding),
        "key": key,
        "place": finding.place,
        "manner": finding.manner,
        "observed": finding.observed,
        "n": None if note is None else note.index,
        "bar_index": None if bar is None else bar.index,
        "pins": [{"place": place, "value": value} for place, value in pins],
    }
