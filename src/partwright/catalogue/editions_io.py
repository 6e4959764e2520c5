"""Releasing: a lesson's products frozen in LESSON/editions/N, whole or not at all, and never overwritten.

An edition is made in a folder beside its place, flushed to disk, and then renamed into it; renaming onto an edition
that is there fails. So a kill at any moment leaves every released edition as it was, and none half there.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from partwright import __version__
from partwright.building import STEPS, Ran, Step, build_lesson, choose_steps
from partwright.building.manifest_io import read_manifest
from partwright.catalogue.changes import State, changes_between
from partwright.catalogue.edition import (
    EDITION_FILE,
    EDITIONS_FOLDER,
    Edition,
    FrozenFile,
    edition_document,
    parse_edition,
    sealed,
)
from partwright.catalogue.hashes_io import file_sha256, remembered_hashes
from partwright.catalogue.mended import mended
from partwright.errors import InputError, LessonError, OutputError, PartwrightError, Place
from partwright.files import flush_folder, write_atomic
from partwright.lesson import (
    ERRATA_FILE,
    LESSON_FILE,
    OWN_SCRIPT_FILE,
    RIGHTS_CAUTION,
    Erratum,
    Lesson,
    RightsGap,
    credit_lines,
    folder_lock,
    parse_lesson,
    read_errata,
    read_lesson,
    rights_gaps,
)
from partwright.lesson.errata_io import change_erratum
from partwright.nearest import nearest_sentence
from partwright.score import read_tune

if TYPE_CHECKING:
    from partwright.score import Credits

__all__ = [
    "Released",
    "edition_faults",
    "edition_folder",
    "read_editions",
    "read_state",
    "release",
    "sold_products",
]

FILES, SOURCE = "files", "source"
_PLANS = ("plan", "bows", "fingered")
_NEVER_SOLD = ("part-svg", "check-score", "check-together", "sections", "facts", "timing", "script", "captions",
               "footage", "check-takes", "plan", "bows")  # fmt: skip
_WORKING_PAPERS = ".json"
_NOT_SOLD_WITHOUT_ASKING = ("demonstration", "overlay")


@dataclass(frozen=True, slots=True, kw_only=True)
class Released:
    """What a release did: the edition, what should be seen to about the rights, errata it mends and those it leaves."""

    edition: Edition
    folder: Path
    gaps: tuple[RightsGap, ...]
    mended: tuple[Erratum, ...]
    unmended: tuple[Erratum, ...]
    remarks: tuple[str, ...]


def edition_folder(folder: Path, number: int) -> Path:
    """Where an edition of the lesson in `folder` lies."""
    return folder / EDITIONS_FOLDER / str(number)


def read_editions(folder: Path) -> tuple[Edition, ...]:
    """All editions of the lesson, oldest first. Raises LessonError where a record is no record any more."""
    found = []
    for path in sorted((folder / EDITIONS_FOLDER).glob("*"), key=lambda p: p.name):
        if path.name.isdigit() and path.is_dir():
            record = path / EDITION_FILE
            try:
                text = record.read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as error:
                what, todo = "holds no readable record of an edition", "Put it back from a backup."
                raise LessonError(what, todo, place=Place(file=str(path))) from error
            found.append(parse_edition(text, file=str(record)))
    return tuple(sorted(found, key=lambda edition: edition.number))


def edition_faults(folder: Path, editions: Sequence[Edition], *, every_byte: bool = True) -> tuple[str, ...]:
    """What in the lesson's frozen editions is not as it was released: one sentence each, with the file.

    Every byte is read, or, where that is not asked for, only what was touched since it was last read.
    """
    if every_byte:
        return _faults(folder, editions, file_sha256)
    with remembered_hashes(folder) as hashes:
        return _faults(folder, editions, hashes.sha256)


def _faults(folder: Path, editions: Sequence[Edition], sha256: Callable[[Path], str]) -> tuple[str, ...]:
    faults: list[str] = []
    before = ""
    for edition in editions:
        home = edition_folder(folder, edition.number)
        if sealed(edition).seal != edition.seal:
            faults.append(f"{home / EDITION_FILE}: was changed by hand after it was released.")
        if edition.before != before:
            faults.append(f"{home / EDITION_FILE}: does not follow the edition before it.")
        before = edition.seal
        known = {EDITION_FILE}
        for file in (*edition.files, *edition.source):
            known.add(file.name)
            path = home / file.name
            try:
                if sha256(path) != file.sha256:
                    faults.append(f"{path}: was changed by hand after it was released.")
            except OSError:
                faults.append(f"{path}: is missing.")
        faults += [
            f"{path}: was not released, but lies among what was."
            for path in sorted(home.rglob("*"))
            if path.is_file() and not path.name.startswith(".") and path.relative_to(home).as_posix() not in known
        ]
    numbers = [edition.number for edition in editions]
    if missing := sorted(set(range(1, max(numbers, default=0) + 1)) - set(numbers)):
        listed = ", ".join(str(number) for number in missing)
        faults.append(f"{folder / EDITIONS_FOLDER}: edition {listed} is missing.")
    return tuple(faults)


def sold_products(lesson: Lesson) -> tuple[str, ...]:
    """Names of the products an edition of this lesson holds: those it names, else all but video and working papers.

    Raises InputError for a name that is no product.
    """
    if lesson.sell:
        names = {step.name for step in STEPS}
        for name in lesson.sell:
            if name not in names:
                raise InputError(f'[catalogue] sell names "{name}", which is no product', nearest_sentence(name, names))
        return lesson.sell
    return tuple(
        step.name
        for step in STEPS
        if step.name not in _NEVER_SOLD and not step.name.startswith(_NOT_SOLD_WITHOUT_ASKING) and not step.on_request
    )


def release(
    folder: Path,
    *,
    today: datetime.date,
    date: datetime.date | None = None,
    copies_made: int = 0,
    even_if_unchanged: bool = False,
    started: Callable[[Step, int, int], None] | None = None,
    finished: Callable[[Ran], None] | None = None,
) -> Released:
    """Build the lesson and freeze what is sold as its next edition, dated `date` (today where none is given).

    Raises InputError where the rights sheet stands against it, where nothing has changed, or where the date lies
    before that of the last edition; whatever `build_lesson` raises. Nothing is left half done.
    """
    date = date or today
    read_lesson(folder)
    with folder_lock(folder):
        lesson = read_lesson(folder)
        editions = read_editions(folder)
        last = editions[-1] if editions else None
        _refuse(folder, lesson, last, date=date)
        gaps = rights_gaps(lesson.rights_sheet, today=date, copies_made=copies_made, price=lesson.price)
        _refuse_rights(folder, gaps)
        products = _wanted(folder, sold_products(lesson))
        _sweep(folder)
        build_lesson(folder, only=[*products, *_PLANS], locked=True, started=started, finished=finished)
        content = _content(folder / "build", products)
        state = read_state(folder)
        state = replace(state, products=_product_words(products))
        remarks: list[str] = list(edition_faults(folder, editions, every_byte=False))
        changes: tuple[str, ...] = ("First edition.",)
        before: State | None = None
        if last is not None:
            before, trouble = _state_of(folder, last)
            remarks += trouble
            changes = _changes(before, state, last, content, editions=editions)
            if content == last.content and not even_if_unchanged:
                raise InputError(
                    f"nothing a buyer would see has changed since edition {last.number}",
                    "Change the lesson first, or say --anyway.",
                    place=Place(file=str(folder)),
                )
        edition = Edition(
            lesson_id=lesson.catalogue_id,
            number=(last.number if last else 0) + 1,
            date=date,
            title=state.settings.get("title", "") or folder.name,
            changes=changes,
            credit=credit_lines(lesson.rights_sheet, lesson.rights),
            rights_status=lesson.rights_sheet.status,
            files=(),
            source=(),
            program=f"partwright {__version__}",
            content=content,
            before=last.seal if last else "",
        )
        home, edition = _freeze(folder, edition, products)
        fixed, open_ = _settle(folder, edition, before, state)
        remarks += _answered(folder, date=date)
        return Released(
            edition=edition, folder=home, gaps=gaps, mended=fixed, unmended=open_, remarks=tuple(remarks)
        )  # fmt: skip


# Before -----------------------------------------------------------------------------------------------------------


def _refuse(folder: Path, lesson: Lesson, last: Edition | None, *, date: datetime.date) -> None:
    place = Place(file=str(folder / LESSON_FILE))
    if not lesson.catalogue_id:
        todo = f"Add it to the catalogue first: partwright catalogue add {folder}"
        raise InputError("the lesson has no id yet", todo, place=place)
    if last is None:
        return
    if last.lesson_id != lesson.catalogue_id:
        raise InputError(
            f'the lesson is "{lesson.catalogue_id}", but its editions are of "{last.lesson_id}"',
            "Put the id back, or take the editions of the other lesson out of this folder.",
            place=place,
        )
    if date < last.date:
        raise InputError(
            f"edition {last.number} is dated {last.date.isoformat()}, but today is {date.isoformat()}",
            "Set the clock of this machine, or say --date.",
            place=Place(file=str(folder)),
        )


def _refuse_rights(folder: Path, gaps: Sequence[RightsGap]) -> None:
    against = [gap for gap in gaps if gap.weight == "refuse"]
    if against:
        listed = "\n".join(f"  {gap}" for gap in against)
        raise InputError(
            f"may not be released yet:\n{listed}\n{RIGHTS_CAUTION}", place=Place(file=str(folder / LESSON_FILE))
        )


def _wanted(folder: Path, products: Sequence[str]) -> tuple[str, ...]:
    """Of the products named, those this lesson makes."""
    from partwright.building import Workshop

    workshop = Workshop(folder, read_lesson(folder))
    wanted = {step.name for step in choose_steps(STEPS, products) if step.wanted is None or step.wanted(workshop)}
    return tuple(name for name in products if name in wanted)


# States -----------------------------------------------------------------------------------------------------------


def read_state(folder: Path, *, plans: Path | None = None) -> State:
    """The lesson in this folder as it is now, with the plan of its last build (in `plans`, or its build folder)."""
    lesson = read_lesson(folder)
    tune = read_tune(folder / lesson.tune_file, part=lesson.part or None, voice=lesson.voice or None)
    plans = plans or folder / "build"
    return State(
        part=tune.part,
        fingers={
            str(row["id"]): (row.get("finger"), row.get("string"), row.get("semitones"), row.get("harmonic"))
            for row in _rows(plans / "plan.json", "notes")
        },
        strokes={
            str(row["id"]): (row.get("direction"), row.get("retake")) for row in _rows(plans / "bows.json", "strokes")
        },
        settings=_settings(lesson, tune.part.credits),
    )


def _rows(path: Path, key: str) -> list[Mapping[str, object]]:
    try:
        data = json.loads(path.read_bytes())
        return [row for row in data[key] if isinstance(row, dict) and "id" in row]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _settings(lesson: Lesson, printed: Credits) -> dict[str, str]:
    sheet = lesson.rights_sheet
    return {
        "title": lesson.title or printed.title,
        "subtitle": lesson.subtitle or printed.subtitle,
        "composer": lesson.composer or printed.composer,
        "arranger": lesson.arranger or printed.arranger,
        "teacher": lesson.teacher,
        "credit": " ".join(credit_lines(sheet, lesson.rights or (() if sheet.status else printed.rights))),
        "instrument": lesson.instrument,
        "level": lesson.level,
        "tempo": f"{lesson.tempo_qpm:g} quarter notes a minute" if lesson.tempo_qpm else "",
        "practice tempi": ", ".join(f"{percent:g} %" for percent in lesson.practice_percent),
        "sections": ", ".join(f"{s.name} (bars {s.first_bar}–{s.last_bar})" for s in lesson.sections),
        "versions": ", ".join(lesson.levels),
        "second part": lesson.second,
        "accompaniment": lesson.style,
    }


def _state_of(folder: Path, edition: Edition) -> tuple[State | None, list[str]]:
    """The state an edition was made from, and what stood in the way of reading it."""
    home = edition_folder(folder, edition.number) / SOURCE
    try:
        state = read_state(home, plans=home)
    except PartwrightError as error:
        return None, [f"What changed since edition {edition.number} cannot be told: {error}"]
    products = dict.fromkeys(file.product for file in edition.files)
    return replace(state, products=_product_words(tuple(products))), []


def _changes(
    before: State | None, state: State, last: Edition, content: str, *, editions: Sequence[Edition]
) -> tuple[str, ...]:
    if before is None:
        return (f"What changed since edition {last.number} is not known.",)
    told = changes_between(before, state)
    if told:
        return told
    if content == last.content:
        return (f"As edition {last.number}.",)
    return ("No note, finger or bow has changed; pages or sound are made anew.",)


def _product_words(products: Iterable[str]) -> dict[str, str]:
    words = {step.name: step.words for step in STEPS}
    return {name: words.get(name, name) for name in products}


# Freezing ---------------------------------------------------------------------------------------------------------


def _content(build_folder: Path, products: Sequence[str]) -> str:
    """One hash for all that is sold, before the imprint is printed on it."""
    manifest = read_manifest(build_folder)
    digest = hashlib.sha256()
    for name in products:
        for file, value in sorted(manifest.steps[name].files.items()):
            digest.update(f"{name}\0{file}\0{value}\n".encode())
    return digest.hexdigest()


def _freeze(folder: Path, edition: Edition, products: Sequence[str]) -> tuple[Path, Edition]:
    home = edition_folder(folder, edition.number)
    staging = folder / EDITIONS_FOLDER / f".{edition.number}.{os.getpid()}.part"
    made = folder / EDITIONS_FOLDER / f".{edition.number}.{os.getpid()}.made.part"
    try:
        made.mkdir(parents=True)
        _copy_build(folder / "build", made, [*products, *_PLANS])
        build_lesson(
            folder, only=[*products, *_PLANS], edition=edition.imprint, build_folder=made, locked=True
        )  # fmt: skip
        staging.mkdir()
        manifest = read_manifest(made)
        files = [
            _frozen(made / name, staging, f"{FILES}/{name}", product=product)
            for product in products
            for name in sorted(manifest.steps[product].files)
            if not name.endswith(_WORKING_PAPERS)
        ]
        edition = sealed(replace(edition, files=tuple(files), source=tuple(_keep_source(folder, made, staging))))
        record = json.dumps(edition_document(edition), ensure_ascii=False, indent=1) + "\n"
        write_atomic(staging / EDITION_FILE, record)
        (staging / EDITION_FILE).chmod(0o444)
        _flush(staging)
        if home.exists():
            raise LessonError(
                f"edition {edition.number} is there already", "It stays as it is.", place=Place(file=str(home))
            )
        staging.rename(home)
        flush_folder(home.parent)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be released ({reason})", "Free some space or check permissions; nothing was changed.",
            place=Place(file=str(home)),
        ) from error  # fmt: skip
    finally:
        for left in (made, staging):
            shutil.rmtree(left, ignore_errors=True)
    return home, edition


def _copy_build(build: Path, made: Path, names: Sequence[str]) -> None:
    """What is built already is not built again: only what carries the imprint is."""
    manifest = read_manifest(build)
    for step in choose_steps(STEPS, names):
        record = manifest.steps.get(step.name)
        for file in record.files if record else ():
            (made / file).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(build / file, made / file)
    shutil.copyfile(build / "manifest.json", made / "manifest.json")


def _keep_source(folder: Path, made: Path, staging: Path) -> list[FrozenFile]:
    """What the edition was made from, beside it: settings, tune, plans, and whatever else the settings name."""
    lesson = parse_lesson((folder / LESSON_FILE).read_text(encoding="utf-8"), file=str(folder / LESSON_FILE))
    names = [LESSON_FILE, lesson.tune_file, OWN_SCRIPT_FILE, ERRATA_FILE, lesson.levels_file, lesson.taste]
    names += [lesson.instrument] if lesson.instrument.casefold().endswith(".toml") else []
    kept = [
        _frozen(folder / name, staging, f"{SOURCE}/{name}")
        for name in dict.fromkeys(names)
        if name and (folder / name).is_file() and not Path(name).is_absolute() and ".." not in Path(name).parts
    ]
    return kept + [_frozen(made / name, staging, f"{SOURCE}/{name}") for name in ("plan.json", "bows.json")]


def _frozen(path: Path, staging: Path, name: str, *, product: str = "") -> FrozenFile:
    """One file copied into the edition, hashed as it was copied."""
    target = staging / name
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source, target.open("wb") as stream:
        while piece := source.read(1 << 20):
            digest.update(piece)
            size += len(piece)
            stream.write(piece)
        stream.flush()
        os.fsync(stream.fileno())
    target.chmod(0o444)
    return FrozenFile(name=name, sha256=digest.hexdigest(), size_bytes=size, product=product)


def _sweep(folder: Path) -> None:
    """What a killed release left half made; under the lock nothing else can be working here."""
    for path in (folder / EDITIONS_FOLDER).glob(".*.part"):
        shutil.rmtree(path, ignore_errors=True)


def _flush(folder: Path) -> None:
    for path in [folder, *(p for p in folder.rglob("*") if p.is_dir())]:
        flush_folder(path)


# After ------------------------------------------------------------------------------------------------------------


def _settle(
    folder: Path, edition: Edition, before: State | None, state: State
) -> tuple[tuple[Erratum, ...], tuple[Erratum, ...]]:
    """Errata this edition mends are marked so; those it should have mended and does not are told.

    What the maker has marked as mended since the edition before is mended in this one.
    """
    fixed, left = [], []
    for erratum in read_errata(folder):
        had = erratum.editions or tuple(range(1, edition.number))
        if erratum.state == "fixed" and erratum.fixed_in is None and erratum.where != "video" and edition.number > 1:
            fixed.append(change_erratum(folder, erratum.id, fixed_in=edition.number, editions=had))
        if not erratum.open or before is None:
            continue
        if mended(erratum, before, state):
            fixed.append(
                change_erratum(
                    folder, erratum.id, state="fixed", fixed=edition.date, fixed_in=edition.number, editions=had
                )
            )
        elif erratum.state == "confirmed":
            left.append(erratum)
    return tuple(fixed), tuple(left)


def _answered(folder: Path, *, date: datetime.date) -> list[str]:
    """Viewers' reports follow their errata; a list of reports that cannot be read holds no edition up."""
    from partwright.checking.reports import settle_reports, state_words

    try:
        changed = settle_reports(folder, today=date)
    except PartwrightError as error:
        return [f"Viewers' reports were not looked at: {error}"]
    return [f"Report {row.get('id')} is {state_words(row)}." for row in changed]
