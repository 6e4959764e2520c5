"""Reports as plain documents: for `--json`, for the lesson's reports.json, and as a table that a spreadsheet opens."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from partwright.checking.finding import finding_document
from partwright.checking.reports.answers import OPEN, state_words
from partwright.checking.reports.reports import Report, ReportsCheck, redacted

__all__ = ["Kept", "claim_key", "kept_by_claim", "kept_document", "reports_csv", "reports_document", "safe_cell"]

FORMAT = 1
_VERDICTS = ("right", "check", "wrong")
_SORTS = ("request", "question", "thanks", "video", "other")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


Kept = Mapping[str, Mapping[str, Any]]  # rows of reports.json by `claim_key`


def reports_document(check: ReportsCheck, *, names: bool = False, kept: Kept | None = None) -> dict[str, object]:
    """Findings first, then wishes, drafts and counts. The verdict is on what the viewers say.

    `kept` tells what became of each report that the lesson keeps.
    """
    by_row = {c.row: c.name for c in check.comments}
    findings = []
    for report in check.reports:
        row: dict[str, object] = {**finding_document(report.finding), **_more(report), **_standing(report, kept or {})}
        if names:
            row["names"] = [by_row[r] for r in report.rows if by_row.get(r)]
        findings.append(row)
    counts: dict[str, int] = {v: sum(r.verdict == v for r in check.reports) for v in _VERDICTS}
    counts["comments"] = len(check.comments)
    counts |= {sort: len(check.others(sort)) for sort in _SORTS}
    return {
        "findings": findings,
        "summary": counts,
        "wishes": [{"tune": wish.tune, "viewers": len(wish.viewers)} for wish in check.wishes],
        "questions": [{"row": c.row, "viewer": c.viewer, "words": redacted(c.text)} for c in check.others("question")],
        "video": [{"row": c.row, "viewer": c.viewer, "words": redacted(c.text)} for c in check.others("video")],
        "errata": [
            {
                "kind": d.kind, "bar": d.bar or None, "beat": d.beat or None, "time_s": d.time_s, "was": d.was or None,
                "right": d.right, "words": d.words, "where": d.where or None, "why": d.why, "reports": d.reports,
                "editions": list(d.editions),
            }
            for d in check.drafts
        ],
    }  # fmt: skip


def _more(report: Report) -> dict[str, object]:
    return {
        "viewers": list(report.viewers), "count": len(report.viewers), "rows": list(report.rows),
        "likely": report.weighed.likely, "place_confidence": round(report.located.p, 3),
        "concerns": report.weighed.concerns or None, "note_id": report.note.id if report.note else None,
        "claimed": report.said or None,
    }  # fmt: skip


def _standing(report: Report, kept: Kept) -> dict[str, object]:
    row = kept.get(claim_key(report), {})
    return {
        "report": row.get("id"), "state": row.get("state") or OPEN, "state_words": state_words(row),
        "edition": row.get("edition"), "erratum": row.get("erratum"),
    }  # fmt: skip


def kept_document(
    check: ReportsCheck, *, read: str, before: Mapping[str, Any] | None = None, errata: Mapping[str, str] | None = None
) -> dict[str, object]:
    """What is kept in reports.json: these reports and those of earlier files, each with its state.

    `read` is the day (ISO 8601); `errata` gives the id of the erratum for a report's place and claim. Nothing of a
    viewer is kept but the short id.
    """
    rows = [dict(row) for row in (before or {}).get("reports", []) if isinstance(row, dict)]
    known = {_key(row): row for row in rows}
    numbers = [int(str(row.get("id", ""))[1:]) for row in rows if str(row.get("id", ""))[1:].isdigit()]
    following = max(numbers, default=0) + 1
    for new in _kept_rows(check, errata or {}):
        old = known.get(_key(new))
        if old is None:
            row = {"id": f"r{following}", **new, "state": OPEN, "history": [{"date": read, "state": OPEN}]}
            following += 1
            rows.append(row)
            known[_key(row)] = row
            continue
        viewers = list(dict.fromkeys([*old.get("viewers", []), *new["viewers"]]))
        erratum = new.get("erratum") or old.get("erratum")
        old.update({**new, "viewers": viewers, "count": max(len(viewers), int(old.get("count", 0)))})
        if erratum:
            old["erratum"] = erratum
    return {"format": FORMAT, "read": read, "reports": rows}


def _key(row: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(str(row.get(name) or "") for name in ("kind", "about", "bar", "beat", "words"))


def claim_key(report: Report) -> str:
    """What makes a report the same as one of another file: kind, place and claim."""
    note = report.finding
    return "|".join((report.kind, note.bar, note.beat, report.said or report.quote))


def kept_by_claim(rows: Sequence[Mapping[str, Any]]) -> Kept:
    """The claims among the kept reports by what `claim_key` gives for the same claim in another file."""
    return {"|".join(_key(row)[1:]): row for row in rows if row.get("kind") == "claim"}


def _kept_rows(check: ReportsCheck, errata: Mapping[str, str]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for report in check.reports:
        finding = report.finding
        row: dict[str, Any] = {
            "kind": "claim", "about": report.kind, "bar": finding.bar or None, "beat": finding.beat or None,
            "time_s": None if finding.time_s is None else round(finding.time_s, 1), "verdict": report.verdict,
            "likely": report.weighed.likely, "count": len(report.viewers), "viewers": list(report.viewers),
            "words": report.said or report.quote, "why": finding.why,
        }  # fmt: skip
        erratum = errata.get(claim_key(report))
        rows.append({**row, "erratum": erratum} if erratum else row)
    rows += [
        {"kind": "request", "words": wish.tune, "count": len(wish.viewers), "viewers": list(wish.viewers)}
        for wish in check.wishes
    ]
    for sort in ("question", "video"):
        for comment in check.others(sort):
            kind = "question" if sort == "question" else "other"
            rows.append({"kind": kind, "about": sort, "words": redacted(comment.text), "count": 1,
                         "viewers": [comment.viewer]})  # fmt: skip
    thanks = check.others("thanks")
    if thanks:
        viewers = list(dict.fromkeys(c.viewer for c in thanks))
        rows.append({"kind": "thanks", "words": "thanks", "count": len(viewers), "viewers": viewers})
    return rows


def safe_cell(value: object) -> str:
    """A cell that no spreadsheet takes for a formula: what begins like one gets an apostrophe before it.

    The rule is the OWASP guide's on CSV injection: a cell that begins with = + - @, tab or carriage return.

    >>> safe_cell("=2+3"), safe_cell("bar 12")
    ("'=2+3", 'bar 12')
    """
    text = "" if value is None else str(value)
    return f"'{text}" if text.lstrip(" \n").startswith(_FORMULA) or text.startswith(_FORMULA) else text


def reports_csv(check: ReportsCheck, *, kept: Kept | None = None) -> str:
    """All reports, wishes and questions as one table (RFC 4180), with nothing in it that runs."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(["verdict", "kind", "bar", "beat", "time", "claimed", "has", "viewers", "likely", "why", "words",
                     "state", "edition"])  # fmt: skip
    lines: list[Sequence[object]] = []
    for report in check.reports:
        f = report.finding
        clock = "" if f.time_s is None else f"{int(f.time_s) // 60}:{int(f.time_s) % 60:02}"
        standing = _standing(report, kept or {})
        lines.append((report.verdict, report.kind, f.bar, f.beat, clock, report.said, f.right, len(report.viewers),
                      report.weighed.likely, f.why, f.observed, standing["state"], standing["edition"]))  # fmt: skip
    lines += [("", "request", "", "", "", wish.tune, "", len(wish.viewers), *[""] * 5) for wish in check.wishes]
    for sort in ("question", "video"):
        lines += [("", sort, *[""] * 5, 1, "", "", redacted(c.text), "", "") for c in check.others(sort)]
    writer.writerows([[safe_cell(cell) for cell in line] for line in lines])
    return stream.getvalue()
