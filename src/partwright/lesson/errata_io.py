"""Reading and writing errata.toml. Comments in the file stay; every fault is told with its line or its number."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, get_args, get_type_hints

from partwright.errors import LessonError, NewerFormat, Place
from partwright.files import write_atomic
from partwright.lesson.errata import ERRATA_FILE, Erratum, with_added, with_changed
from partwright.nearest import nearest_sentence

__all__ = ["add_erratum", "change_erratum", "errata_text", "parse_errata", "read_errata"]

FORMAT = 1
_LARGEST_BYTES = 2_000_000
_HEAD = """# Known mistakes in what was released. partwright writes here; your own changes and comments stay.
# state: draft (proposed), confirmed (told to buyers), fixed (mended in edition fixed_in), refused (no mistake).
"""
_TEXTS = ("id", "state", "kind", "bar", "beat", "was", "right", "words", "where", "why", "origin")
_NUMBERS = ("reports", "fixed_in")
_DATES = ("found", "fixed")
_ORDER = (
    "id", "state", "kind", "bar", "beat", "time_s", "was", "right", "words", "where", "why", "origin", "reports",
    "editions", "found", "fixed", "fixed_in",
)  # fmt: skip


def read_errata(folder: Path) -> tuple[Erratum, ...]:
    """The errata of the lesson in this folder, in the order of the file; none where there is no file.

    Raises LessonError for a file that cannot be read or makes no sense, NewerFormat for one of a newer program.
    """
    path = folder / ERRATA_FILE
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise LessonError("is far too large for a list of errata", "Look at it.", place=Place(file=str(path)))
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return ()
    except UnicodeDecodeError as error:
        raise LessonError("is not UTF-8 text", "Save it again as UTF-8.", place=Place(file=str(path))) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise LessonError(f"cannot be read ({reason})", "Check the file.", place=Place(file=str(path))) from error
    return parse_errata(text, file=str(path))


def parse_errata(text: str, *, file: str = ERRATA_FILE) -> tuple[Erratum, ...]:
    """The errata in the text of an errata.toml."""
    import tomllib

    place = Place(file=file)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LessonError(f"is not TOML ({error})", "Mend that line.", place=place) from error
    version = data.get("format", FORMAT)
    if isinstance(version, int) and version > FORMAT:
        what = f"was made by a newer partwright (format {version}; this one knows up to {FORMAT})"
        raise NewerFormat(what, "Install the newer partwright; nothing was changed.", place=place)
    rows = data.get("errata", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise LessonError("errata are a list", "Write [[errata]] before each one.", place=place)
    errata: list[Erratum] = []
    for number, row in enumerate(rows, start=1):
        try:
            errata.append(_erratum(row))
        except ValueError as error:
            raise LessonError(f"erratum {number} {error}", "Mend it.", place=place) from error
    seen: set[str] = set()
    for erratum in errata:
        if erratum.id in seen:
            raise LessonError(f'two errata have the id "{erratum.id}"', "Give one a new one.", place=place)
        seen.add(erratum.id)
    return tuple(errata)


def add_erratum(folder: Path, draft: Erratum, *, today: datetime.date) -> Erratum:
    """Add a draft to the lesson's errata and return it as it now stands, with its id.

    A mistake that is listed already is not listed twice. Call it under `folder_lock`.
    """
    errata, added = with_added(read_errata(folder), draft, today=today)
    _write(folder, errata)
    return added


def change_erratum(folder: Path, erratum_id: str, **changes: object) -> Erratum:
    """Change fields of one erratum and return it. Call it under `folder_lock`. Raises LessonError for no such id."""
    try:
        errata, changed = with_changed(read_errata(folder), erratum_id, **changes)
    except LessonError as error:
        raise error.at(Place(file=str(folder / ERRATA_FILE))) from error
    _write(folder, errata)
    return changed


def errata_text(errata: Sequence[Erratum], *, before: str = "") -> str:
    """The text of an errata.toml with these errata; comments of the text `before` stay."""
    import tomlkit

    document = tomlkit.parse(before) if before else tomlkit.parse(f"{_HEAD}format = {FORMAT}\n")
    rows = document.get("errata")
    if rows is None:
        rows = tomlkit.aot()
        document.append("errata", rows)
    by_id = {row.get("id"): row for row in rows}
    for erratum in errata:
        row = by_id.get(erratum.id)
        new = row is None
        if row is None:
            row = tomlkit.table()
        for key in _ORDER:
            value = getattr(erratum, key)
            if value is None or value == () or value == "" or (key == "reports" and not value):
                row.pop(key, None)
                continue
            plain: Any = list(value) if isinstance(value, tuple) else value
            if key not in row or row[key] != plain:
                row[key] = plain
        if new:
            rows.append(row)
    return re.sub(r"(?<!\n)\n(?=\[\[errata\]\])", "\n\n", tomlkit.dumps(document))


def _write(folder: Path, errata: Sequence[Erratum]) -> None:
    path = folder / ERRATA_FILE
    before = path.read_bytes().decode("utf-8") if path.is_file() else ""
    text = errata_text(errata, before=before)
    parse_errata(text, file=str(path))
    write_atomic(path, text)


def _erratum(row: dict[str, Any]) -> Erratum:
    for key in row:
        if key not in _ORDER:
            raise ValueError(f'has a key "{key}" that is not known. {nearest_sentence(key, _ORDER)}')
    values: dict[str, Any] = {}
    for key, value in row.items():
        if key in _TEXTS:
            if not isinstance(value, str) and not (key in ("bar", "beat") and type(value) is int):
                raise ValueError(f'has a "{key}" that is not a text in quotes')
            values[key] = str(value)
        elif key in _NUMBERS:
            if type(value) is not int or value < 0:
                raise ValueError(f'has a "{key}" that is not a whole number')
            values[key] = value
        elif key in _DATES:
            values[key] = _date(key, value)
        elif key == "time_s":
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e6:
                raise ValueError('has a "time_s" that is not a number of seconds')
            values[key] = float(value)
        else:
            if not isinstance(value, list) or not all(type(item) is int and item > 0 for item in value):
                raise ValueError('has "editions" that are not a list of edition numbers')
            values[key] = tuple(value)
    for key in ("id", "kind", "words"):
        if not values.get(key):
            raise ValueError(f'has no "{key}"')
    hints = get_type_hints(Erratum)
    for key in ("kind", "state", "origin"):
        known = get_args(hints[key])
        if key in values and values[key] not in known:
            raise ValueError(f'has the {key} "{values[key]}". {nearest_sentence(values[key], known)}')
    return Erratum(**values)


def _date(key: str, value: object) -> datetime.date:
    if type(value) is datetime.date:
        return value
    try:
        if isinstance(value, str):
            return datetime.date.fromisoformat(value)
    except ValueError:
        pass
    raise ValueError(f'has a "{key}" that is not a date like 2026-11-28')
