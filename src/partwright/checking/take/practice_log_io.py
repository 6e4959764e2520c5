"""The practice log of a lesson: one JSON object a line, added at the end, never rewritten.

A damaged line is passed over when reading and kept when writing. Rows are found again by the bars they cover.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from partwright.errors import InputError, Place
from partwright.files import write_atomic

__all__ = ["LOG_FILE", "add_row", "earlier_takes", "read_log"]

LOG_FILE = "practice-log.jsonl"


def read_log(path: Path) -> tuple[dict[str, object], ...]:
    """The rows of a log, oldest first; () where there is none. Raises InputError where it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return ()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the file.", place=Place(file=str(path))) from error
    rows = []
    for line in text.splitlines():
        try:
            row = json.loads(line)
        except ValueError:
            continue
        if isinstance(row, dict):
            rows.append(row)
    return tuple(rows)


def add_row(path: Path, row: Mapping[str, object]) -> bool:
    """Add a row. False, and nothing is written, where the same take of the same bars stands there already."""
    same = ("file", "bars", "notes", "in_tune", "median_abs_cents", "reference_hz")
    if any(all(old.get(key) == json.loads(json.dumps(row.get(key))) for key in same) for old in read_log(path)):
        return False
    try:
        before = path.read_bytes() if path.is_file() else b""
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the file.", place=Place(file=str(path))) from error
    if before and not before.endswith(b"\n"):
        before += b"\n"
    line = json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n"
    write_atomic(path, before + line.encode("utf-8"))
    return True


def earlier_takes(
    rows: Sequence[Mapping[str, object]], *, bars: Sequence[tuple[str, str]], name: str, order: Mapping[str, int]
) -> tuple[Mapping[str, object], ...]:
    """Earlier takes of the same bars: those that share at least half of the bars either of the two covers."""
    mine = _covered(bars, order)
    found = []
    for row in rows:
        spans = row.get("bars")
        if row.get("what") != "take" or row.get("file") == name or not isinstance(spans, list):
            continue
        theirs = _covered([(str(s[0]), str(s[1])) for s in spans if isinstance(s, list) and len(s) == 2], order)
        if theirs and len(mine & theirs) >= 0.5 * len(mine | theirs):
            found.append(row)
    return tuple(found)


def _covered(bars: Sequence[tuple[str, str]], order: Mapping[str, int]) -> set[int]:
    return {i for first, last in bars if first in order and last in order for i in range(order[first], order[last] + 1)}
