"""The catalogue as a table for other programs: CSV and JSON. Times in seconds, prices as a number and a currency.

A spreadsheet runs a cell that begins with =, +, -, @, a tab or a line end as a formula; such cells get an apostrophe
before them, which a spreadsheet shows as nothing. Source: OWASP, CSV Injection. JSON carries every text as it is.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from partwright.catalogue.copies import copies_sold
from partwright.catalogue.entry import Entry

__all__ = ["EXPORT_COLUMNS", "entry_document", "export_csv", "export_json", "harmless"]

EXPORT_COLUMNS: tuple[str, ...] = (
    "id", "title", "subtitle", "composer", "arranger", "teacher", "instrument", "level", "key", "metre", "bars",
    "seconds", "lowest", "highest", "positions", "extensions", "harmonics", "thumb", "double_stops", "hardest_bar",
    "hardest", "price", "currency", "language", "tags", "summary", "state", "edition", "edition_date", "rights_status",
    "owners", "licence", "licence_expires", "licence_copies", "copies_made", "ismn", "isrc", "open_errata",
    "reports_to_answer", "folder",
)  # fmt: skip


def harmless(text: str) -> str:
    """A text that no spreadsheet runs.

    >>> harmless("=1+1"), harmless("@SUM(A1)"), harmless("Waltz"), harmless(" -1")
    ("'=1+1", "'@SUM(A1)", 'Waltz', "' -1")
    """
    bare = text.lstrip(" \u00a0\ufeff")
    return (
        f"'{text}"
        if bare[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
        else text
    )


def export_csv(entries: Iterable[Entry]) -> str:
    """The table as CSV with a head, comma between, CRLF at the end of a line (RFC 4180), every text harmless."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(EXPORT_COLUMNS)
    for entry in entries:
        row = _row(entry)
        writer.writerow([_cell(row[column]) for column in EXPORT_COLUMNS])
    return stream.getvalue()


def export_json(entries: Iterable[Entry]) -> str:
    """The table as one JSON document, lists as lists, what is not known as null."""
    return json.dumps({"lessons": [_row(entry) for entry in entries]}, ensure_ascii=False, indent=1) + "\n"


def entry_document(entry: Entry) -> dict[str, Any]:
    """One lesson with everything the catalogue knows, as plain values."""
    return {
        **_row(entry),
        "trouble": entry.trouble,
        "credit": list(entry.credit),
        "editions": [
            {
                "number": e.number,
                "date": e.date.isoformat(),
                "changes": list(e.changes),
                "seal": e.seal,
                "files": [{"name": f.name, "sha256": f.sha256, "bytes": f.size_bytes} for f in e.files],
            }
            for e in entry.editions
        ],
        "errata": [
            {
                "id": e.id,
                "state": e.state,
                "kind": e.kind,
                "bar": e.bar,
                "beat": e.beat,
                "was": e.was,
                "right": e.right,
                "words": e.words,
                "found": e.found.isoformat() if e.found else None,
                "fixed": e.fixed.isoformat() if e.fixed else None,
                "fixed_in": e.fixed_in,
                "reports": e.reports,
            }
            for e in entry.errata
        ],
        "copies": [
            {"id": c.id, "edition": c.edition, "file": c.file, "date": c.date.isoformat()} for c in entry.copies
        ],
        "reports": [
            {
                "id": r.id, "kind": r.kind, "state": r.state, "verdict": r.verdict, "bar": r.bar, "beat": r.beat,
                "count": r.count, "words": r.words, "erratum": r.erratum or None, "edition": r.edition,
            }
            for r in entry.reports
        ],
    }  # fmt: skip


def _row(entry: Entry) -> dict[str, Any]:
    from partwright.catalogue.entry import price_words

    latest = entry.editions[-1] if entry.editions else None
    price = price_words(entry.price_cents, entry.currency).partition(" ")[0]
    return {
        **{name: getattr(entry, name) for name in ("id", "title", "subtitle", "composer", "arranger", "teacher",
           "instrument", "level", "metre", "bars", "seconds", "lowest", "highest", "extensions", "harmonics", "thumb",
           "double_stops", "hardest_bar", "hardest", "currency", "language", "summary", "state", "folder")},
        "key": entry.key,
        "positions": list(entry.positions),
        "tags": list(entry.tags),
        "price": price or None,
        "edition": latest.number if latest else None,
        "edition_date": latest.date.isoformat() if latest else None,
        "rights_status": entry.rights.status,
        "owners": list(entry.rights.owners),
        "licence": entry.rights.licence,
        "licence_expires": entry.rights.expires.isoformat() if entry.rights.expires else None,
        "licence_copies": entry.rights.copies,
        "copies_made": copies_sold(entry.copies),
        "ismn": entry.rights.ismn,
        "isrc": entry.rights.isrc,
        "open_errata": sum(erratum.open for erratum in entry.errata),
        "reports_to_answer": entry.to_answer,
    }  # fmt: skip


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, Sequence) and not isinstance(value, str):
        return harmless("; ".join(str(item) for item in value))
    return harmless(value) if isinstance(value, str) else value
