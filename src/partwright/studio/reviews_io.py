"""What was decided on the findings of a take: the file that `check narration --review` and the build read.

It lies in takes/ under the take's name with .review.json; one decision by the finding's key.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from partwright.checking.narration.review_io import REVIEW_FORMAT, read_review
from partwright.files import content_hash, write_atomic
from partwright.studio.takes_io import TAKES_FOLDER

__all__ = ["decisions_of", "review_version", "write_decision"]


def _path(folder: Path, take: str) -> Path:
    return (folder / TAKES_FOLDER / take).with_suffix(".review.json")


def decisions_of(folder: Path, take: str) -> Mapping[str, str]:
    """Decisions by finding key; none where nothing was decided. Raises InputError for a file that is no review."""
    path = _path(folder, take)
    if not path.is_file() or path.is_symlink():
        return {}
    return dict(read_review(path))


def review_version(folder: Path, take: str) -> str:
    """A short text that stands for what is decided."""
    try:
        return content_hash(_path(folder, take).read_bytes())[:16]
    except OSError:
        return "none"


def write_decision(folder: Path, take: str, key: str, decision: str | None) -> None:
    """Set one decision, or take it back with None; the others stand."""
    path = _path(folder, take)
    known = dict(decisions_of(folder, take))
    if decision is None:
        known.pop(key, None)
    else:
        known[key] = decision
    document = {"format": REVIEW_FORMAT, "transcript": take, "decisions": known}
    write_atomic(path, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
