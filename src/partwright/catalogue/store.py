"""Entries as rows of the database, and back."""

from __future__ import annotations

import datetime
import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from partwright.catalogue.copies import Copy
from partwright.catalogue.edition import Edition, FrozenFile
from partwright.catalogue.entry import Entry, Report
from partwright.errors import InputError
from partwright.lesson import Erratum, RightsSheet

__all__ = ["ENTRY_COLUMNS", "entry_rows", "read_stored"]

ENTRY_COLUMNS: tuple[str, ...] = (
    "id", "folder", "title", "subtitle", "composer", "arranger", "teacher", "instrument", "level", "language",
    "summary", "price_cents", "currency", "key", "metre", "bars", "notes", "tempo_qpm", "seconds", "lowest", "highest",
    "lowest_midi", "highest_midi", "extensions", "harmonics", "thumb", "double_stops", "hardest_bar", "hardest",
    "state", "trouble",
)  # fmt: skip
_SHEET = (
    "status", "reason", "countries", "authors", "owners", "licence", "granted", "expires", "scope", "copies",
    "arrangement", "recording", "sync", "royalty", "ismn", "isrc",
)  # fmt: skip
_LISTS = ("countries", "authors", "owners")
_DATES = ("granted", "expires")

Rows = list[tuple[Any, ...]]


def _insert(table: str, count: int) -> str:
    return f"INSERT INTO {table} VALUES ({', '.join('?' * count)})"


def entry_rows(entry: Entry) -> Iterator[tuple[str, Rows]]:
    """Statements and their rows that enter a lesson, in an order in which references hold."""
    columns = ", ".join(ENTRY_COLUMNS)
    marks = ", ".join("?" * len(ENTRY_COLUMNS))
    yield f"INSERT INTO lessons ({columns}) VALUES ({marks})", [tuple(getattr(entry, c) for c in ENTRY_COLUMNS)]
    names = " ".join((entry.subtitle, entry.composer, entry.arranger, entry.teacher, *entry.rights.authors))
    music = " ".join((entry.key, entry.metre, entry.instrument, entry.level, entry.hardest, entry.id.replace("-", " ")))
    yield (
        "INSERT INTO words (rowid, title, names, summary, tags, music) "
        "SELECT number, ?, ?, ?, ?, ? FROM lessons WHERE id = ?",
        [(entry.title, names, entry.summary, " ".join(entry.tags), music, entry.id)],
    )
    yield _insert("positions", 3), [(entry.id, label, place) for place, label in enumerate(entry.positions)]
    yield _insert("tags", 2), [(entry.id, tag) for tag in entry.tags]
    sheet = entry.rights
    yield (
        _insert("rights", 2 + len(_SHEET)),
        [(entry.id, *(_plain(getattr(sheet, name)) for name in _SHEET), json.dumps(entry.credit, ensure_ascii=False))],
    )
    yield (
        _insert("editions", 6),
        [
            (entry.id, e.number, e.date.isoformat(), e.title, json.dumps(e.changes, ensure_ascii=False), e.seal)
            for e in entry.editions
        ],
    )
    yield (
        _insert("files", 6),
        [
            (entry.id, e.number, file.name, file.sha256, file.size_bytes, file.product)
            for e in entry.editions
            for file in e.files
        ],
    )
    yield (
        _insert("copies", 7),
        list({(c.id, c.file): (entry.id, c.id, c.file, c.edition, c.line, c.date.isoformat(), c.sha256)
              for c in entry.copies}.values()),
    )  # fmt: skip
    yield (
        _insert("errata", 8),
        [(entry.id, e.id, e.state, e.kind, e.bar, e.beat, e.words, _erratum_text(e)) for e in entry.errata],
    )
    yield (
        _insert("reports", 11),
        list({r.id: (entry.id, r.id, r.kind, r.state, r.verdict, r.bar, r.beat, r.count, r.words, r.erratum, r.edition)
              for r in entry.reports}.values()),
    )  # fmt: skip


def read_stored(database: sqlite3.Connection, lesson_id: str) -> Entry:
    """The entry with this id as it was entered. Raises InputError where there is none.

    The editions' records are not kept whole: what they were made from is read from the folder where it is needed.
    """
    columns = ", ".join(ENTRY_COLUMNS)
    row = database.execute(f"SELECT {columns} FROM lessons WHERE id = ?", (lesson_id,)).fetchone()
    if row is None:
        raise InputError(f'the catalogue holds no lesson "{lesson_id}"')
    values = dict(zip(ENTRY_COLUMNS, row, strict=True))

    def all_of(sql: str) -> Sequence[tuple[Any, ...]]:
        return database.execute(sql, (lesson_id,)).fetchall()

    sheet_row = all_of(f"SELECT {', '.join(_SHEET)}, credit FROM rights WHERE lesson = ?")[0]
    sheet = {name: _back(name, value) for name, value in zip(_SHEET, sheet_row, strict=False)}
    status = sheet["status"]
    credit = tuple(json.loads(sheet_row[-1]))
    files: dict[int, list[FrozenFile]] = {}
    for edition, name, sha256, size, product in all_of(
        "SELECT edition, name, sha256, size_bytes, product FROM files WHERE lesson = ? ORDER BY edition, name"
    ):
        files.setdefault(edition, []).append(FrozenFile(name=name, sha256=sha256, size_bytes=size, product=product))
    return Entry(
        **values,
        positions=tuple(r[0] for r in all_of("SELECT label FROM positions WHERE lesson = ? ORDER BY place")),
        tags=tuple(r[0] for r in all_of("SELECT tag FROM tags WHERE lesson = ? ORDER BY tag")),
        credit=credit,
        rights=RightsSheet(**sheet),
        editions=tuple(
            Edition(
                lesson_id=lesson_id,
                number=number,
                date=datetime.date.fromisoformat(date),
                title=title,
                changes=tuple(json.loads(changes)),
                credit=credit,
                rights_status=status,
                files=tuple(files.get(number, ())),
                source=(),
                program="",
                content="",
                seal=seal,
            )
            for number, date, title, changes, seal in all_of(
                "SELECT number, date, title, changes, seal FROM editions WHERE lesson = ? ORDER BY number"
            )
        ),
        copies=tuple(
            Copy(id=i, edition=e, file=f, line=line, date=datetime.date.fromisoformat(d), sha256=s)
            for i, e, f, line, d, s in all_of(
                "SELECT id, edition, file, line, date, sha256 FROM copies WHERE lesson = ? ORDER BY date, id, file"
            )
        ),
        errata=tuple(
            _erratum_back(r[0]) for r in all_of("SELECT record FROM errata WHERE lesson = ? ORDER BY length(id), id")
        ),
        reports=tuple(
            Report(id=i, kind=k, state=s, verdict=v, bar=b, beat=t, count=c, words=w, erratum=e, edition=n)
            for i, k, s, v, b, t, c, w, e, n in all_of(
                "SELECT id, kind, state, verdict, bar, beat, count, words, erratum, edition FROM reports "
                "WHERE lesson = ? ORDER BY length(id), id"
            )
        ),
    )


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return json.dumps(value, ensure_ascii=False)
    return value.isoformat() if isinstance(value, datetime.date) else value


def _back(name: str, value: Any) -> Any:
    if name in _LISTS:
        return tuple(json.loads(value))
    return datetime.date.fromisoformat(value) if name in _DATES and value else value


def _erratum_text(erratum: Erratum) -> str:
    return json.dumps(
        {
            key: value.isoformat() if isinstance(value, datetime.date) else value
            for key, value in asdict(erratum).items()
        },
        ensure_ascii=False,
    )


def _erratum_back(text: str) -> Erratum:
    data = json.loads(text)
    for key in ("found", "fixed"):
        data[key] = datetime.date.fromisoformat(data[key]) if data[key] else None
    data["editions"] = tuple(data["editions"])
    return Erratum(**data)
