"""The narration check as a plain document: findings first, then every claim, so that a stranger can follow it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from partwright.checking.finding import Finding, finding_document
from partwright.checking.narration.narration import NarrationCheck, NarrationFinding
from partwright.checking.narration.review import finding_key
from partwright.score import beat_text

__all__ = ["narration_document"]


def narration_document(
    checks: Sequence[tuple[str, NarrationCheck, Sequence[NarrationFinding]]], coverage: Iterable[Finding]
) -> dict[str, object]:
    """Transcripts with their checks and the findings left after review, as `{"findings": [...], "summary": {...}}`."""
    findings: list[dict[str, object]] = []
    claims: list[dict[str, object]] = []
    transcripts: list[dict[str, object]] = []
    counts = {"wrong": 0, "check": 0, "right": 0, "unplaced": 0}
    for name, check, located in checks:
        for item in located:
            findings.append({"transcript": name, "key": finding_key(item.finding), **finding_document(item.finding)})
            counts[item.finding.verdict] += 1
        claims += [{"transcript": name, **row} for row in _claims(check)]
        counts["right"] += sum(j.verdict == "right" for j in check.judged)
        counts["right"] += sum(s.verdict == "right" for s in check.structure)
        counts["unplaced"] += sum(j.verdict == "unplaced" for j in check.judged)
        transcripts.append(
            {
                "file": name, "read_as": check.transcript.kind, "encoding": check.transcript.encoding,
                "cues": len(check.transcript.cues), "seconds": round(check.transcript.seconds, 3),
                "faults": [{"line": f.line, "what": f.what, "done": f.done} for f in check.transcript.faults],
                "about_this_score": not check.misfit,
            }
        )  # fmt: skip
    for finding in coverage:
        findings.append({"transcript": None, "key": finding_key(finding), **finding_document(finding)})
        counts[finding.verdict] += 1
    return {"findings": findings, "summary": counts, "claims": claims, "transcripts": transcripts}


def _claims(check: NarrationCheck) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for item in check.judged:
        note = check.places[item.place].first if item.place >= 0 else None
        rows.append(
            {
                "kind": item.kind, "verdict": item.verdict, "time_s": check.words[item.first_word].start_s,
                "bar": note.bar if note else None, "beat": beat_text(note.beat) if note else None,
                "note_id": note.id if note else None,
                "words": check.words_between(item.first_word, item.last_word), "claimed": item.claimed,
                "right": item.right or None, "against": item.against, "confidence": round(item.confidence, 3),
            }
        )  # fmt: skip
    return rows
