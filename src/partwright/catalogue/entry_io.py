"""From a lesson's folder to its entry: everything the catalogue knows is read here, and nothing is kept elsewhere."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from partwright.building import FACTS_FILE, tune_facts
from partwright.catalogue.copies import COPIES_FILE, Copy
from partwright.catalogue.edition import Edition
from partwright.catalogue.editions_io import edition_folder, read_editions
from partwright.catalogue.entry import Entry, Report, parse_price
from partwright.errors import LessonError, PartwrightError, Place
from partwright.lesson import LESSON_FILE, Erratum, Lesson, credit_lines, read_errata, read_lesson

__all__ = ["REPORTS_FILE", "read_copies", "read_entry", "read_reports"]

REPORTS_FILE = "reports.json"
_LARGEST_BYTES = 50_000_000

# Settings that change nothing a buyer holds.
_NOT_SOLD: Mapping[str, Any] = {
    "catalogue_id": "", "price": "", "summary": "", "language": "", "tags": (), "sell": (), "edition": "", "links": (),
}  # fmt: skip


def read_entry(folder: Path, *, shown: str = "") -> Entry:
    """The entry of the lesson in this folder, known there as `shown`. What is missing in the folder is told in
    `trouble` and makes the entry incomplete. Raises LessonError where there is no readable lesson.toml, or no id."""
    lesson = read_lesson(folder)
    if not lesson.catalogue_id:
        raise LessonError(
            "has no id yet", f"Add it: partwright catalogue add {folder}", place=Place(file=str(folder / LESSON_FILE))
        )
    trouble: list[str] = []
    facts = _facts(folder, lesson, trouble)
    editions = _tried(trouble, (), lambda: read_editions(folder))
    copies = _tried(trouble, (), lambda: read_copies(folder))
    errata: tuple[Erratum, ...] = _tried(trouble, (), lambda: read_errata(folder))
    reports = _tried(trouble, (), lambda: read_reports(folder, errata))
    trouble += _missing_files(folder, editions)
    try:
        cents, currency = parse_price(lesson.price)
    except ValueError as error:
        cents, currency = None, ""
        trouble.append(f"{folder / LESSON_FILE}: {error}.")
    if lesson.language and not _is_language(lesson.language):
        trouble.append(f'{folder / LESSON_FILE}: no language of ISO 639: "{lesson.language}". Write it as en.')
    hardest = facts.get("hardest") or {}
    changed = editions and _changed(folder, lesson, editions[-1])
    return Entry(
        id=lesson.catalogue_id,
        folder=shown or str(folder),
        title=lesson.title or str(facts.get("title") or folder.name),
        subtitle=lesson.subtitle,
        composer=lesson.composer or str(facts.get("composer") or ""),
        arranger=lesson.arranger,
        teacher=lesson.teacher,
        instrument=lesson.instrument,
        level=lesson.level,
        language=lesson.language,
        summary=lesson.summary,
        price_cents=cents,
        currency=currency,
        key=str(facts.get("key") or ""),
        metre=str(facts.get("metre") or ""),
        **{name: _number(facts.get(name)) for name in _NUMBERS},
        lowest=str(facts.get("lowest") or ""),
        highest=str(facts.get("highest") or ""),
        hardest_bar=str(hardest.get("bar") or "") if isinstance(hardest, dict) else "",
        hardest=str(hardest.get("words") or "") if isinstance(hardest, dict) else "",
        positions=tuple(str(label) for label in facts.get("positions") or ()),
        tags=tuple(dict.fromkeys(tag.strip().casefold() for tag in lesson.tags if tag.strip())),
        credit=credit_lines(lesson.rights_sheet, lesson.rights),
        rights=lesson.rights_sheet,
        editions=editions,
        copies=copies,
        errata=errata,
        reports=reports,
        state="incomplete" if trouble else "draft" if not editions else "changed" if changed else "released",
        trouble=" ".join(trouble),
    )


_NUMBERS = ("bars", "notes", "tempo_qpm", "seconds", "lowest_midi", "highest_midi", "extensions", "harmonics", "thumb",
            "double_stops")  # fmt: skip


def _number(value: object) -> Any:
    return value if isinstance(value, int | float) and not isinstance(value, bool) else None


@cache
def _is_language(code: str) -> bool:
    """Whether ISO 639-1 (two letters) or 639-3 (three) has the code."""
    import pycountry

    if len(code) == 2:
        return pycountry.languages.get(alpha_2=code) is not None
    return len(code) == 3 and pycountry.languages.get(alpha_3=code) is not None


def _tried(trouble: list[str], otherwise: Any, read: Any) -> Any:
    try:
        return read()
    except PartwrightError as error:
        trouble.append(str(error))
        return otherwise


def _facts(folder: Path, lesson: Lesson, trouble: list[str]) -> dict[str, Any]:
    """The facts of the last build, or where there was none what the tune says by itself."""
    tune_path = folder / lesson.tune_file
    if not tune_path.is_file():
        trouble.append(f"{tune_path}: is missing.")
        return {}
    try:
        built = json.loads((folder / "build" / FACTS_FILE).read_bytes())
        if isinstance(built, dict) and built.get("format") == 1:
            return built
    except (OSError, ValueError):
        pass
    from partwright.score import read_tune

    try:
        part = read_tune(tune_path, part=lesson.part or None, voice=lesson.voice or None).part
        printed = part.credits
        facts = tune_facts(part, tempo_qpm=lesson.tempo_qpm)
        return {**facts, "title": printed.title, "composer": printed.composer}
    except PartwrightError as error:
        trouble.append(str(error))
        return {}


def _missing_files(folder: Path, editions: tuple[Edition, ...]) -> list[str]:
    """Files of editions that are not there: a folder half copied shows here."""
    missing = [
        edition_folder(folder, edition.number) / file.name
        for edition in editions
        for file in (*edition.files, *edition.source)
        if not (edition_folder(folder, edition.number) / file.name).is_file()
    ]
    if not missing:
        return []
    more = f", and {len(missing) - 1} more" if len(missing) > 1 else ""
    return [f"{missing[0]}: is missing{more}."]


def _changed(folder: Path, lesson: Lesson, last: Edition) -> bool:
    """Whether what the last edition was made from has changed since."""
    from partwright.catalogue.hashes_io import file_sha256

    home = edition_folder(folder, last.number)
    for file in last.source:
        name = file.name.partition("/")[2]
        if name in ("plan.json", "bows.json", "errata.toml"):
            continue
        if name == LESSON_FILE:
            try:
                if _sold(read_lesson(home / "source")) != _sold(lesson):
                    return True
            except PartwrightError:
                return True
            continue
        try:
            if file_sha256(folder / name) != file.sha256:
                return True
        except OSError:
            return True
    return False


def _sold(lesson: Lesson) -> Lesson:
    """The lesson without settings that change nothing a buyer holds, and without the lines on which things stand."""
    return replace(
        lesson,
        **_NOT_SOLD,
        rights=credit_lines(lesson.rights_sheet, lesson.rights),
        rights_sheet=type(lesson.rights_sheet)(),
        sections=tuple(replace(section, line=None) for section in lesson.sections),
        episodes=tuple(replace(episode, line=None) for episode in lesson.episodes),
        pins=tuple(replace(pin, line=None) for pin in lesson.pins),
    )


def read_copies(folder: Path) -> tuple[Copy, ...]:
    """The copies made of this lesson, oldest first. Raises LessonError for a line that is none, with its number."""
    path = folder / COPIES_FILE
    try:
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise LessonError("cannot be read", "Put it back from a backup.", place=Place(file=str(path))) from error
    copies = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
            copies.append(
                Copy(
                    id=str(row["id"]),
                    edition=int(row["edition"]),
                    file=str(row["file"]),
                    line=str(row["line"]),
                    date=datetime.date.fromisoformat(row["date"]),
                    sha256=str(row["sha256"]),
                )
            )
        except (ValueError, KeyError, TypeError) as error:
            todo = "Put it back from a backup; the licence counts on it."
            raise LessonError("is no copy", todo, place=Place(file=str(path), line=number)) from error
    return tuple(copies)


def read_reports(folder: Path, errata: Sequence[Erratum]) -> tuple[Report, ...]:
    """What viewers reported, as `partwright reports` left it in reports.json; none where there is no file.

    A report stands as its erratum does, also where errata.toml was changed by hand since.
    """
    path = folder / REPORTS_FILE
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise LessonError("is far too large", "Look at it.", place=Place(file=str(path)))
        data = json.loads(path.read_bytes())
        from partwright.checking.reports.answers import settled  # not before: most lessons have no reports

        rows = settled(data["reports"], errata, on=datetime.date.min)
        return tuple(
            Report(
                id=str(row["id"]),
                kind=str(row.get("kind") or "other"),
                state=str(row.get("state") or "open"),
                verdict=str(row.get("verdict") or ""),
                bar=str(row.get("bar") or ""),
                beat=str(row.get("beat") or ""),
                count=int(row.get("count") or 1),
                words=str(row.get("words") or "")[:500],
                erratum=str(row.get("erratum") or ""),
                edition=int(row["edition"]) if row.get("edition") else None,
            )
            for row in rows
        )
    except FileNotFoundError:
        return ()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        todo = "Make it again: partwright reports."
        raise LessonError("holds no reports any more", todo, place=Place(file=str(path))) from error
