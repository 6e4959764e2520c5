"""What a file is that a customer holds: of the current edition, of an old one (with what is known wrong in it), a
buyer's copy, one of ours that was changed, or not ours.

The hash of its bytes decides. A PDF whose bytes are not known is read for our imprint and a copy's id, to tell a file
that was changed after it left us from one that was never ours; that is told as a hint, never as a proof.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from partwright.catalogue.catalogue_io import Catalogue
from partwright.catalogue.copies import COPY_ID
from partwright.catalogue.entry import Entry
from partwright.catalogue.stamp import page_texts
from partwright.errors import InputError, Place
from partwright.lesson import Erratum

__all__ = ["Verified", "verify_bytes", "verify_file"]

LARGEST_BYTES = 2_000_000_000
_LARGEST_READ_BYTES = 200_000_000
_IMPRINT = re.compile(r"Edition (\d{1,5}), (\d{4}-\d\d-\d\d)")
What = Literal["current", "old", "changed", "not ours"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What a file is. `copy` is the buyer's line where it is a stamped copy; `errata` are those of its edition;
    `since` are the changes of the editions after it."""

    what: What
    lesson_id: str = ""
    title: str = ""
    edition: int | None = None
    date: str = ""
    latest: int | None = None
    file: str = ""
    copy_id: str = ""
    copy: str = ""
    errata: tuple[Erratum, ...] = ()
    since: tuple[str, ...] = ()
    why: str = ""


def verify_file(catalogue: Catalogue, path: Path) -> Verified:
    """What this file is. Editions that the folders hold and the catalogue does not yet are looked at too.

    Raises InputError where the file cannot be read.
    """
    place = Place(file=str(path))
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise InputError("is far larger than anything released", "Check the name.", place=place)
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        known = _by_hash(catalogue, digest)
        if known is None and catalogue.catch_up():
            known = _by_hash(catalogue, digest)
        if known is not None:
            return known
        with path.open("rb") as stream:
            start = stream.read(5)
        if start != b"%PDF-" or size > _LARGEST_READ_BYTES:
            return Verified(what="not ours", why="no released file has these bytes")
        return _by_words(catalogue, path.read_bytes())
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the name.", place=place) from error


def verify_bytes(catalogue: Catalogue, data: bytes) -> Verified:
    """What a file with these bytes is."""
    digest = hashlib.sha256(data).hexdigest()
    known = _by_hash(catalogue, digest)
    if known is None and catalogue.catch_up():
        known = _by_hash(catalogue, digest)
    if known is not None:
        return known
    if data.startswith(b"%PDF-"):
        return _by_words(catalogue, data)
    return Verified(what="not ours", why="no released file has these bytes")


def _by_hash(catalogue: Catalogue, digest: str) -> Verified | None:
    database = catalogue.database
    rows = database.execute(
        "SELECT lesson, edition, name, '', '' FROM files WHERE sha256 = ? "
        "UNION ALL SELECT lesson, edition, file, id, line FROM copies WHERE sha256 = ?",
        (digest, digest),
    ).fetchall()
    if not rows:
        return None
    # A file that did not change stands in several editions: the latest counts.
    lesson_id, number, name, known_as, line = max(rows, key=lambda row: row[1])
    found = _of_edition(catalogue.entry(lesson_id), number)
    return replace(found, file=name, copy_id=known_as, copy=line)


def _of_edition(entry: Entry, number: int) -> Verified:
    latest = entry.editions[-1].number
    edition = next(e for e in entry.editions if e.number == number)
    later = [e for e in entry.editions if e.number > number]
    return Verified(
        what="current" if number == latest else "old",
        lesson_id=entry.id,
        title=entry.title,
        edition=number,
        date=edition.date.isoformat(),
        latest=latest,
        errata=tuple(erratum for erratum in entry.errata if erratum.affects(number)),
        since=tuple(f"Edition {e.number}: {change}" for e in later for change in e.changes),
    )


def _by_words(catalogue: Catalogue, data: bytes) -> Verified:
    texts = page_texts(data)
    whole = "\n".join(texts)
    if found := COPY_ID.search(whole):
        row = catalogue.database.execute(
            "SELECT lesson, edition, file, line FROM copies WHERE id = ?", (found[1],)
        ).fetchone()
        if row is not None:
            base = _of_edition(catalogue.entry(row[0]), row[1])
            why = f"it carries the line of copy {found[1]}, but its bytes are not those that were handed out"
            return replace(base, what="changed", copy_id=found[1], copy=row[3], why=why)
    if found := _IMPRINT.search(whole):
        entry = _titled(catalogue, texts, int(found[1]), found[2])
        if entry is not None:
            base = _of_edition(entry, int(found[1]))
            why = "it carries our imprint, but its bytes are not those that were released"
            return replace(base, what="changed", why=why)
    return Verified(what="not ours", why="no released file has these bytes, and it carries no imprint of ours")


def _titled(catalogue: Catalogue, texts: Sequence[str], number: int, date: str) -> Entry | None:
    rows = catalogue.database.execute(
        "SELECT lesson, title FROM editions WHERE number = ? AND date = ?", (number, date)
    ).fetchall()
    spaced = " ".join(" ".join(texts).split())
    for lesson_id, title in rows:
        if title and title in spaced:
            return catalogue.entry(lesson_id)
    return None
