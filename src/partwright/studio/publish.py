"""The publish place: the rights sheet and what it still lacks, the editions that are out, the errata."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from partwright.catalogue import edition_faults, read_editions
from partwright.catalogue.editions_io import sold_products
from partwright.checking.reports import read_kept, state_words
from partwright.errors import PartwrightError
from partwright.lesson import RIGHTS_CAUTION, RIGHTS_STATUSES, RightsSheet, credit_lines, read_errata, rights_gaps
from partwright.studio.addresses import file_url
from partwright.studio.files_io import file_kind
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import error_document

__all__ = ["publish_document"]

_TEXTS = ("reason", "licence", "scope", "arrangement", "recording", "sync", "royalty", "ismn", "isrc")


def publish_document(state: PlanState, name: str, folder: Path, *, today: datetime.date) -> dict[str, Any]:
    """Everything about what has gone out and what may."""
    lesson, sheet = state.lesson, state.lesson.rights_sheet
    gaps = rights_gaps(sheet, today=today, price=lesson.price)
    printed = lesson.rights or (() if sheet.status else state.part.credits.rights)
    return {
        "version": state.version,
        "rights": _sheet(sheet),
        "lines": list(lesson.rights),
        "statuses": [{"value": value, "words": words} for value, words in RIGHTS_STATUSES.items()],
        "gaps": [{"weight": gap.weight, "what": gap.what, "todo": gap.todo, "words": str(gap)} for gap in gaps],
        "may_be_released": not any(gap.weight == "refuse" for gap in gaps),
        "credit": list(credit_lines(sheet, printed)),
        "caution": RIGHTS_CAUTION,
        "id": lesson.catalogue_id or None,
        "price": lesson.price,
        "summary": lesson.summary,
        "language": lesson.language,
        "tags": list(lesson.tags),
        "sell": list(sold_products(lesson)),
        **_editions(name, folder),
        **_errata(folder),
        **_reports(folder, today),
    }


def _sheet(sheet: RightsSheet) -> dict[str, Any]:
    return {
        "status": sheet.status or None,
        "countries": list(sheet.countries),
        "authors": list(sheet.authors),
        "owners": list(sheet.owners),
        "granted": None if sheet.granted is None else sheet.granted.isoformat(),
        "expires": None if sheet.expires is None else sheet.expires.isoformat(),
        "copies": sheet.copies,
        **{key: getattr(sheet, key) for key in _TEXTS},
    }


def _editions(name: str, folder: Path) -> dict[str, Any]:
    """The editions, newest first; what in them was touched since; or why they cannot be read."""
    try:
        editions = read_editions(folder)
        faults = edition_faults(folder, editions, every_byte=False)
    except PartwrightError as error:
        return {"editions": [], "edition_faults": [str(error_document(error)["words"])]}
    return {
        "editions": [
            {
                "number": edition.number,
                "date": edition.date.isoformat(),
                "title": edition.title,
                "imprint": edition.imprint,
                "changes": list(edition.changes),
                "credit": list(edition.credit),
                "rights": edition.rights_status,
                "files": [
                    {
                        "name": file.name.rpartition("/")[2],
                        "url": file_url(name, f"editions/{edition.number}/{file.name}"),
                        "bytes": file.size_bytes,
                        "sha256": file.sha256,
                        "product": file.product,
                        "kind": file_kind(file.name).partition(";")[0],
                    }
                    for file in edition.files
                ],
            }
            for edition in reversed(editions)
        ],
        "edition_faults": [fault.replace(f"{folder}/", "") for fault in faults],
    }


def _errata(folder: Path) -> dict[str, Any]:
    try:
        errata = read_errata(folder)
    except PartwrightError as error:
        return {"errata": [], "errata_fault": error_document(error)}
    return {
        "errata": [
            {
                "id": erratum.id,
                "kind": erratum.kind,
                "words": erratum.words,
                "bar": erratum.bar or None,
                "beat": erratum.beat or None,
                "was": erratum.was,
                "right": erratum.right,
                "why": erratum.why,
                "state": erratum.state,
                "open": erratum.open,
                "origin": erratum.origin,
                "reports": erratum.reports,
                "fixed_in": erratum.fixed_in,
            }
            for erratum in errata
        ],
        "errata_fault": None,
    }


def _reports(folder: Path, today: datetime.date) -> dict[str, Any]:
    """The reports that are kept, those that wait first; thanks and wishes need no answer."""
    try:
        rows = [row for row in read_kept(folder, today=today) if row.get("kind") in ("claim", "question")]
    except PartwrightError as error:
        return {"reports": [], "reports_fault": error_document(error)}
    rows.sort(key=lambda row: (row.get("state") or "open") != "open")
    return {
        "reports": [
            {
                "id": str(row.get("id")),
                "kind": row["kind"],
                "bar": _text(row.get("bar")),
                "beat": _text(row.get("beat")),
                "count": count if type(count := row.get("count")) is int else 1,
                "words": str(row.get("words") or ""),
                "verdict": verdict if (verdict := row.get("verdict")) in ("right", "check", "wrong") else None,
                "erratum": _text(row.get("erratum")),
                "state": str(row.get("state") or "open"),
                "edition": edition if type(edition := row.get("edition")) is int else None,
                "state_words": state_words(row),
            }
            for row in rows
        ],
        "reports_fault": None,
    }


def _text(value: object) -> str | None:
    return str(value) if value else None
