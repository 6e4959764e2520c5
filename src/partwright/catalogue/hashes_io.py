"""Hashes of released files, remembered by size and times, so that only what is new or was touched is read again.

A file counts as untouched while its size, its time of change and the time its entry changed (mtime and ctime, in
nanoseconds) are those it was hashed at. A program may set the first of the times back, but not the second. A file that
was changed within the last seconds is not remembered: a second change could fall into the same tick of the clock.

The memory lies in `editions/.hashes.json`; without it, or with one that makes no sense, everything is read. It is never
asked where the truth is wanted: `partwright catalogue check` reads every byte.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import time
from collections.abc import Iterator
from pathlib import Path

from partwright.catalogue.edition import EDITIONS_FOLDER
from partwright.errors import PartwrightError
from partwright.files import write_atomic

__all__ = ["HASHES_FILE", "Hashes", "file_sha256", "remembered_hashes"]

HASHES_FILE = f"{EDITIONS_FOLDER}/.hashes.json"
FORMAT = 1
_SETTLED_NS = 2_000_000_000  # the coarsest clock of a file system in use: FAT, two seconds

_Seen = list[int | str]  # size, mtime, ctime, SHA-256


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes, hex. Raises OSError where it cannot be read."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


class Hashes:
    """Hashes of the files below a folder; `read_bytes` counts the bytes that had to be read for them."""

    def __init__(self, folder: Path, seen: dict[str, _Seen]) -> None:
        self._folder = folder
        self._before = seen
        self.seen: dict[str, _Seen] = {}
        self.read_bytes = 0

    def sha256(self, path: Path) -> str:
        """SHA-256 of a file, from memory where it was not touched since. Raises OSError where it cannot be read."""
        name = path.relative_to(self._folder).as_posix()
        now = path.stat()
        known = self._before.get(name)
        if known is not None and known[:3] == [now.st_size, now.st_mtime_ns, now.st_ctime_ns]:
            self.seen[name] = known
            return str(known[3])
        value = file_sha256(path)
        self.read_bytes += now.st_size
        after = path.stat()
        still = (after.st_size, after.st_mtime_ns, after.st_ctime_ns) == (now.st_size, now.st_mtime_ns, now.st_ctime_ns)
        if still and time.time_ns() - max(now.st_mtime_ns, now.st_ctime_ns) > _SETTLED_NS:
            self.seen[name] = [now.st_size, now.st_mtime_ns, now.st_ctime_ns, value]
        return value


@contextlib.contextmanager
def remembered_hashes(folder: Path) -> Iterator[Hashes]:
    """The memory of the lesson in this folder; what was learned is kept, where it can be written."""
    path = folder / HASHES_FILE
    before = _read(path)
    hashes = Hashes(folder, before)
    yield hashes
    if hashes.seen != before and path.parent.is_dir():
        with contextlib.suppress(PartwrightError, OSError):  # a folder that is only read has no memory
            write_atomic(path, json.dumps({"format": FORMAT, "seen": hashes.seen}) + "\n")


def _read(path: Path) -> dict[str, _Seen]:
    try:
        data = json.loads(path.read_bytes())
        if data["format"] != FORMAT:
            return {}
        return {str(name): row for name, row in data["seen"].items() if _sound(row)}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def _sound(row: object) -> bool:
    return (
        isinstance(row, list)
        and len(row) == 4
        and all(type(number) is int for number in row[:3])
        and isinstance(row[3], str)
        and len(row[3]) == 64
    )
