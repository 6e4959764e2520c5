"""What is kept of viewers' reports in the lesson: errata drafted where they are right, and reports.json."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from partwright.checking.reports.answers import answered_by_hand, settled
from partwright.checking.reports.document import Kept, claim_key, kept_by_claim, kept_document
from partwright.checking.reports.reports import ReportsCheck
from partwright.errors import LessonError, NewerFormat, Place
from partwright.files import write_atomic
from partwright.lesson import Erratum, add_erratum, folder_lock, read_errata

__all__ = ["REPORTS_FILE", "KeptReports", "answer_reports", "keep_reports", "read_kept", "settle_reports"]

REPORTS_FILE = "reports.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReports:
    """What was kept: the errata drafted or added to, and the reports of this file as they now stand."""

    errata: tuple[Erratum, ...]
    by_claim: Kept


def read_kept(folder: Path, *, today: datetime.date) -> tuple[dict[str, Any], ...]:
    """The reports kept in this lesson, each as its erratum stands now; none where there is no file.

    Raises LessonError or NewerFormat for a reports.json or errata.toml that cannot be read.
    """
    rows = _rows(_kept_before(folder / REPORTS_FILE))
    return settled(rows, read_errata(folder), on=today) if rows else ()


def keep_reports(folder: Path, check: ReportsCheck, *, today: datetime.date) -> KeptReports:
    """Write them into the lesson in this folder, under its lock.

    Raises LessonError or NewerFormat for a reports.json that cannot be taken up; nothing is changed then.
    """
    added: list[Erratum] = []
    with folder_lock(folder, wait_seconds=10.0):
        path = folder / REPORTS_FILE
        before = _kept_before(path)
        ids: dict[str, str] = {}
        for report in check.reports:
            draft = report.draft
            if draft is not None:
                erratum = add_erratum(folder, draft, today=today)
                ids[claim_key(report)] = erratum.id
                added.append(erratum)
        kept = kept_document(check, read=today.isoformat(), before=before, errata=ids)
        rows = settled(_rows(kept), read_errata(folder), on=today)
        _write(path, {**kept, "reports": rows})
    return KeptReports(errata=tuple(added), by_claim=kept_by_claim(rows))


def settle_reports(folder: Path, *, today: datetime.date) -> tuple[dict[str, Any], ...]:
    """After errata were decided or an edition was released: reports.json follows. Returns the reports that changed.

    Call it under `folder_lock`. Raises LessonError or NewerFormat for a file that cannot be taken up.
    """
    path = folder / REPORTS_FILE
    before = _kept_before(path)
    rows = _rows(before)
    after = settled(rows, read_errata(folder), on=today) if rows else ()
    return _write_changed(path, before, rows, after)


def answer_reports(
    folder: Path, ids: Sequence[str], *, today: datetime.date, answered: bool = True
) -> tuple[dict[str, Any], ...]:
    """The maker has answered these reports, or opens them again. Returns those that changed.

    Takes the folder's lock. Raises LessonError for an id that is none, and as `settle_reports`.
    """
    with folder_lock(folder, wait_seconds=10.0):
        path = folder / REPORTS_FILE
        before = _kept_before(path)
        rows = settled(_rows(before), read_errata(folder), on=today)
        try:
            after = answered_by_hand(rows, ids, on=today, answered=answered)
        except LessonError as error:
            raise error.at(Place(file=str(path))) from error
        return _write_changed(path, before, rows, after)


def _write_changed(
    path: Path, before: dict[str, Any], rows: Sequence[dict[str, Any]], after: Sequence[dict[str, Any]]
) -> tuple[dict[str, Any], ...]:
    changed = tuple(new for old, new in zip(rows, after, strict=True) if new != old)
    if changed:
        _write(path, {**before, "reports": after})
    return changed


def _write(path: Path, kept: dict[str, Any]) -> None:
    write_atomic(path, json.dumps(kept, ensure_ascii=False, indent=1) + "\n")


def _rows(kept: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for row in kept.get("reports", []) if isinstance(row, dict)]


def _kept_before(path: Path) -> dict[str, Any]:
    where = Place(file=str(path))
    try:
        kept = json.loads(path.read_bytes())
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise LessonError("cannot be read", "Mend it, or move it away; nothing was changed.", place=where) from error
    if not isinstance(kept, dict) or not isinstance(kept.get("reports", []), list):
        raise LessonError("is no list of reports", "Mend it, or move it away; nothing was changed.", place=where)
    if isinstance(kept.get("format"), int) and kept["format"] > 1:
        raise NewerFormat("was made by a newer partwright", "Install the newer one; nothing was changed.", place=where)
    return kept
