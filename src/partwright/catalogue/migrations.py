"""The tables of the catalogue, and how an older catalogue becomes a newer one: one script for each version.

The database's own `user_version` says which version it is. Scripts are only ever added. The columns of a primary key
stand first in their table: the integrity check of some versions of SQLite misreads tables without rowid otherwise.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from partwright.errors import NewerFormat, Place

__all__ = ["MIGRATIONS", "VERSION", "migrate"]

_FIRST = """
CREATE TABLE lessons (
    number INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    folder TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    subtitle TEXT NOT NULL,
    composer TEXT NOT NULL,
    arranger TEXT NOT NULL,
    teacher TEXT NOT NULL,
    instrument TEXT NOT NULL,
    level TEXT NOT NULL,
    language TEXT NOT NULL,
    summary TEXT NOT NULL,
    price_cents INTEGER,
    currency TEXT NOT NULL,
    key TEXT NOT NULL,
    metre TEXT NOT NULL,
    bars INTEGER,
    notes INTEGER,
    tempo_qpm REAL,
    seconds REAL,
    lowest TEXT NOT NULL,
    highest TEXT NOT NULL,
    lowest_midi INTEGER,
    highest_midi INTEGER,
    extensions INTEGER,
    harmonics INTEGER,
    thumb INTEGER,
    double_stops INTEGER,
    hardest_bar TEXT NOT NULL,
    hardest TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('draft', 'released', 'changed', 'incomplete')),
    trouble TEXT NOT NULL
) STRICT;
CREATE INDEX lessons_title ON lessons (title COLLATE NOCASE);
CREATE INDEX lessons_level ON lessons (level, seconds);
CREATE INDEX lessons_key ON lessons (key, level);
CREATE INDEX lessons_instrument ON lessons (instrument, level);
CREATE TABLE positions (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    label TEXT NOT NULL,
    place INTEGER NOT NULL,
    PRIMARY KEY (lesson, label)
) STRICT, WITHOUT ROWID;
CREATE INDEX positions_label ON positions (label, lesson);
CREATE TABLE tags (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    tag TEXT NOT NULL,
    PRIMARY KEY (lesson, tag)
) STRICT, WITHOUT ROWID;
CREATE INDEX tags_tag ON tags (tag, lesson);
CREATE TABLE editions (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    number INTEGER NOT NULL CHECK (number > 0),
    date TEXT NOT NULL,
    title TEXT NOT NULL,
    changes TEXT NOT NULL,
    seal TEXT NOT NULL,
    PRIMARY KEY (lesson, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE files (
    lesson TEXT NOT NULL,
    edition INTEGER NOT NULL,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    size_bytes INTEGER NOT NULL,
    product TEXT NOT NULL,
    PRIMARY KEY (lesson, edition, name),
    FOREIGN KEY (lesson, edition) REFERENCES editions (lesson, number) ON DELETE CASCADE ON UPDATE CASCADE
) STRICT, WITHOUT ROWID;
CREATE INDEX files_sha256 ON files (sha256);
CREATE TABLE rights (
    lesson TEXT PRIMARY KEY REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    status TEXT NOT NULL,
    reason TEXT NOT NULL,
    countries TEXT NOT NULL,
    authors TEXT NOT NULL,
    owners TEXT NOT NULL,
    licence TEXT NOT NULL,
    granted TEXT,
    expires TEXT,
    scope TEXT NOT NULL,
    copies INTEGER,
    arrangement TEXT NOT NULL,
    recording TEXT NOT NULL,
    sync TEXT NOT NULL,
    royalty TEXT NOT NULL,
    ismn TEXT NOT NULL,
    isrc TEXT NOT NULL,
    credit TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX rights_expires ON rights (expires) WHERE expires IS NOT NULL;
CREATE TABLE copies (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    id TEXT NOT NULL,
    file TEXT NOT NULL,
    edition INTEGER NOT NULL,
    line TEXT NOT NULL,
    date TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (lesson, id, file)
) STRICT, WITHOUT ROWID;
CREATE INDEX copies_sha256 ON copies (sha256);
CREATE INDEX copies_id ON copies (id);
CREATE TABLE errata (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    id TEXT NOT NULL,
    state TEXT NOT NULL,
    kind TEXT NOT NULL,
    bar TEXT NOT NULL,
    beat TEXT NOT NULL,
    words TEXT NOT NULL,
    record TEXT NOT NULL,
    PRIMARY KEY (lesson, id)
) STRICT, WITHOUT ROWID;
CREATE TABLE reports (
    lesson TEXT NOT NULL REFERENCES lessons (id) ON DELETE CASCADE ON UPDATE CASCADE,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    state TEXT NOT NULL,
    verdict TEXT NOT NULL,
    bar TEXT NOT NULL,
    beat TEXT NOT NULL,
    count INTEGER NOT NULL,
    words TEXT NOT NULL,
    PRIMARY KEY (lesson, id)
) STRICT, WITHOUT ROWID;
CREATE TABLE roots (folder TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;
CREATE VIRTUAL TABLE words USING fts5 (
    title, names, summary, tags, music, tokenize = "unicode61 remove_diacritics 2", prefix = '2 3'
);
"""

# Which mistake a report tells of, and which edition answers it.
_SECOND = """
ALTER TABLE reports ADD COLUMN erratum TEXT NOT NULL DEFAULT '';
ALTER TABLE reports ADD COLUMN edition INTEGER;
"""

MIGRATIONS: tuple[str, ...] = (_FIRST, _SECOND)
VERSION = len(MIGRATIONS)


def migrate(database: sqlite3.Connection, path: Path, scripts: Sequence[str] = MIGRATIONS) -> None:
    """Bring a catalogue to this program's version, each step whole or not at all.

    Raises NewerFormat for a catalogue of a newer program, which is left alone.
    """
    version = int(database.execute("PRAGMA user_version").fetchone()[0])
    if version > len(scripts):
        raise NewerFormat(
            f"was made by a newer partwright (version {version}; this one knows up to {len(scripts)})",
            "Install the newer partwright; nothing was changed.",
            place=Place(file=str(path)),
        )
    if version == len(scripts):
        return
    database.execute("BEGIN IMMEDIATE")
    try:
        version = int(database.execute("PRAGMA user_version").fetchone()[0])  # another process may have been first
        for number, script in enumerate(scripts[version:], start=version + 1):
            for statement in _statements(script):
                database.execute(statement)
            database.execute(f"PRAGMA user_version = {number}")
        database.execute("COMMIT")
    except BaseException:
        database.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    """The script's statements one by one; the database's own `executescript` would end the transaction."""
    found, pending = [], ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            found.append(pending)
            pending = ""
    return found
