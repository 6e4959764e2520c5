"""A lesson's id: given once, kept in its lesson.toml, the same wherever the folder lies."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection
from pathlib import Path

from partwright.lesson import edit_settings, folder_lock, read_lesson

__all__ = ["ensure_id", "slug"]

_LONGEST = 60


def slug(title: str) -> str:
    """A title as an id: lower case letters and digits with hyphens.

    >>> slug("Lantern on the Weir"), slug("Été, nº 2"), slug("♪")
    ('lantern-on-the-weir', 'ete-no-2', 'lesson')
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii").casefold()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST].strip("-") or "lesson"


def ensure_id(folder: Path, *, taken: Collection[str] = (), new: bool = False) -> str:
    """The lesson's id; where it has none (or `new` is asked for) one is made from its title and written down.

    An id in `taken` is not given again.
    """
    lesson = read_lesson(folder)
    if lesson.catalogue_id and not new:
        return lesson.catalogue_id
    with folder_lock(folder):
        lesson = read_lesson(folder)
        if lesson.catalogue_id and not new:
            return lesson.catalogue_id
        stem = slug(lesson.title or folder.resolve().name)
        name, number = stem, 2
        while name in taken or name == lesson.catalogue_id:
            name, number = f"{stem}-{number}", number + 1
        edit_settings(folder, "catalogue", {"id": name})
        return name
