"""What is kept of viewers' reports in the lesson: errata drafted where they are right, and reports.json."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

from partwright.checking.reports.document import claim_key, kept_document
from partwright.checking.reports.reports import ReportsCheck
from partwright.errors import LessonError, NewerFormat, Place
from partwright.files import write_atomic
from partwright.lesson import Erratum, add_erratum, folder_lock

__all__ = ["REPORTS_FILE", "keep_reports"]

REPORTS_FILE = "reports.json"


def keep_reports(folder: Path, check: ReportsCheck, *, today: datetime.date) -> tuple[Erratum, ...]:
    """Write them into the lesson in this folder, under its lock; returns the errata drafted or added to.

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
        write_atomic(path, json.dumps(kept, ensure_ascii=False, indent=1) + "\n")
    return tuple(added)


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
