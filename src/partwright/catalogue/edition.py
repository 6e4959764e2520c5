"""An edition: what was released under one number, as values. Hashes are plain SHA-256 of a file's bytes, in hex, so
that a buyer can compare them with any other program.

The seal is the hash of everything else the record says; each record carries the seal of the edition before, so a
change by hand anywhere in the chain shows.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from partwright.errors import LessonError, NewerFormat, Place

__all__ = ["EDITIONS_FOLDER", "EDITION_FILE", "Edition", "FrozenFile", "edition_document", "parse_edition", "sealed"]

EDITIONS_FOLDER = "editions"
EDITION_FILE = "edition.json"
FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenFile:
    """One file of an edition, by its name below the edition's folder. `product` is the step that made it."""

    name: str
    sha256: str
    size_bytes: int
    product: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edition:
    """What was released: `files` are sold, `source` is what they were made from. `changes` say, in a player's words,
    what differs from the edition before. `content` is the hash of the products before the imprint was printed."""

    lesson_id: str
    number: int
    date: datetime.date
    title: str
    changes: tuple[str, ...]
    credit: tuple[str, ...]
    rights_status: str
    files: tuple[FrozenFile, ...]
    source: tuple[FrozenFile, ...]
    program: str
    content: str
    before: str = ""  # the seal of the edition before
    seal: str = ""

    @property
    def imprint(self) -> str:
        """The line printed at the foot of its pages."""
        return f"Edition {self.number}, {self.date.isoformat()}"


def edition_document(edition: Edition) -> dict[str, Any]:
    """The record as plain values, for JSON."""
    return {
        "format": FORMAT,
        "lesson": edition.lesson_id,
        "number": edition.number,
        "date": edition.date.isoformat(),
        "title": edition.title,
        "changes": list(edition.changes),
        "credit": list(edition.credit),
        "rights": edition.rights_status,
        "files": [_file_document(file) for file in edition.files],
        "source": [_file_document(file) for file in edition.source],
        "program": edition.program,
        "content": edition.content,
        "before": edition.before,
        "seal": edition.seal,
    }


def sealed(edition: Edition) -> Edition:
    """The edition with its seal."""
    document = edition_document(edition)
    del document["seal"]
    text = json.dumps(document, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return replace(edition, seal=hashlib.sha256(text.encode("utf-8")).hexdigest())


def parse_edition(text: str, *, file: str) -> Edition:
    """The edition in the text of an edition.json. Raises LessonError for nonsense, NewerFormat for a newer one's."""
    place = Place(file=file)
    try:
        data = json.loads(text)
        if not isinstance(data, dict):
            raise TypeError("not a record")
        if isinstance(data.get("format"), int) and data["format"] > FORMAT:
            what = f"was made by a newer partwright (format {data['format']}; this one knows up to {FORMAT})"
            raise NewerFormat(what, "Install the newer partwright; nothing was changed.", place=place)
        return Edition(
            lesson_id=str(data["lesson"]),
            number=int(data["number"]),
            date=datetime.date.fromisoformat(data["date"]),
            title=str(data["title"]),
            changes=tuple(str(text) for text in data["changes"]),
            credit=tuple(str(text) for text in data["credit"]),
            rights_status=str(data["rights"]),
            files=tuple(_file(row) for row in data["files"]),
            source=tuple(_file(row) for row in data["source"]),
            program=str(data["program"]),
            content=str(data["content"]),
            before=str(data["before"]),
            seal=str(data["seal"]),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise LessonError(
            "is no record of an edition any more", "Put it back from a backup; it was never meant to change.",
            place=place,
        ) from error  # fmt: skip


def _file_document(file: FrozenFile) -> dict[str, object]:
    return {"name": file.name, "sha256": file.sha256, "bytes": file.size_bytes, "product": file.product}


def _file(row: Mapping[str, Any]) -> FrozenFile:
    return FrozenFile(
        name=str(row["name"]),
        sha256=str(row["sha256"]),
        size_bytes=int(row["bytes"]),
        product=str(row["product"]),
    )
