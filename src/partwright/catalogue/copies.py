"""A copy sold: the line that stands on every page of it, and the id by which it is known again.

The id follows from lesson, edition and line, so the same copy made twice is one copy. What is sold, and counted against
a licence, is the line: the same line on a later edition is the same sale, with its mistakes mended.
"""

from __future__ import annotations

import datetime
import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from partwright.errors import InputError

__all__ = ["COPIES_FILE", "COPY_ID", "LONGEST_LINE", "Copy", "clean_line", "copies_sold", "copy_id", "stamp_text"]

COPIES_FILE = "editions/copies.jsonl"
LONGEST_LINE = 120
COPY_ID = re.compile(r"\bcopy ([a-z2-7]{8})\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """One file of one copy. `sha256` is of the stamped file's bytes."""

    id: str
    edition: int
    file: str
    line: str
    date: datetime.date
    sha256: str


def copies_sold(copies: Iterable[Copy]) -> int:
    """How many copies count against the licence: one for each line, whatever files and editions it stands on."""
    return len({copy.line for copy in copies})


def clean_line(line: str) -> str:
    """The buyer's line as it is printed: one line, no control signs. Raises InputError where nothing is left of it."""
    cleaned = " ".join("".join(c if unicodedata.category(c)[0] != "C" else " " for c in line).split())
    if not cleaned:
        raise InputError("the licence line is empty", 'Say who the copy is for, as in --for "A. Reader, order 118".')
    if len(cleaned) > LONGEST_LINE:
        raise InputError(f"the licence line has {len(cleaned)} signs", f"Use at most {LONGEST_LINE}.")
    return cleaned


def copy_id(lesson_id: str, edition: int, line: str) -> str:
    """Eight letters and digits, easy to read out.

    >>> copy_id("weir", 1, "A. Reader, order 118") == copy_id("weir", 1, "A. Reader, order 118")
    True
    """
    import base64

    digest = hashlib.sha256(f"{lesson_id}\0{edition}\0{line}".encode()).digest()
    return base64.b32encode(digest).decode("ascii")[:8].lower()


def stamp_text(line: str, *, imprint: str, known_as: str) -> str:
    """What is printed on every page of a copy."""
    return f"{line} · {imprint} · copy {known_as}"
