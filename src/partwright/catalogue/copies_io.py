"""Making copies: the edition's PDFs with the buyer's line on every page, counted before they are handed out.

The copy is written down first and the files follow, so a kill between the two counts a copy that can be made again, and
never hands out one that is not counted.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from partwright.catalogue.copies import COPIES_FILE, Copy, clean_line, copies_sold, copy_id, stamp_text
from partwright.catalogue.edition import Edition, FrozenFile
from partwright.catalogue.editions_io import edition_folder, read_editions
from partwright.catalogue.entry_io import read_copies
from partwright.catalogue.stamp import stamp_pdf
from partwright.errors import InputError, OutputError, Place
from partwright.files import write_atomic
from partwright.lesson import LESSON_FILE, RightsGap, folder_lock, read_lesson, rights_gaps
from partwright.nearest import nearest_sentence

__all__ = ["CopyMade", "make_copy"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyMade:
    """A copy: its id, its files, how many copies are sold now, how many the licence allows, what to see to.

    `replaces` are the other editions that were handed out under the same line; such a copy is not counted again.
    """

    id: str
    edition: int
    line: str
    files: tuple[Path, ...]
    made: int
    allowed: int | None
    again: bool  # the same copy was made before; it is not counted twice
    replaces: tuple[int, ...]
    gaps: tuple[RightsGap, ...]


def make_copy(
    folder: Path,
    line: str,
    out: Path,
    *,
    today: datetime.date,
    number: int | None = None,
    names: Sequence[str] = (),
) -> CopyMade:
    """Stamp a copy of an edition (the latest if no number is given) for the buyer named in `line` into `out`.

    `names` chooses among its PDFs by name or product; all of them if none is named. Raises InputError where the rights
    or the licence's number of copies stand against it, or the edition is not as it was released.
    """
    line = clean_line(line)
    read_lesson(folder)
    with folder_lock(folder, wait_seconds=30.0):
        lesson = read_lesson(folder)
        sheet, place = lesson.rights_sheet, Place(file=str(folder / LESSON_FILE))
        edition = _edition(folder, number)
        files = _chosen(folder, edition, names)
        copies = read_copies(folder)
        known_as = copy_id(edition.lesson_id, edition.number, line)
        before = [copy for copy in copies if copy.line == line]
        sold = copies_sold(copies)
        gaps = rights_gaps(sheet, today=today, copies_made=sold, price=lesson.price)
        if against := [gap for gap in gaps if gap.weight == "refuse"]:
            listed = "\n".join(f"  {gap}" for gap in against)
            raise InputError(f"no copy may be made:\n{listed}", place=place)
        if sheet.status == "fan-arrangement":
            todo = "Ask the owner for leave and write it down."
            raise InputError("is a fan arrangement, not for sale; no copy is made", todo, place=place)
        if sheet.copies is not None and not before and sold >= sheet.copies:
            raise InputError(
                f"all {sheet.copies} copies the licence allows are made", "Ask the owner for more.", place=place
            )
        text = stamp_text(line, imprint=edition.imprint, known_as=known_as)
        stamped = [(file, stamp_pdf(_as_released(folder, edition, file), text)) for file in files]
        fresh = [
            Copy(
                id=known_as,
                edition=edition.number,
                file=file.name,
                line=line,
                date=today,
                sha256=hashlib.sha256(data).hexdigest(),
            )
            for file, data in stamped
        ]
        kept = [copy for copy in copies if (copy.id, copy.file) not in {(c.id, c.file) for c in fresh}]
        write_atomic(folder / COPIES_FILE, "".join(_row(copy) for copy in (*kept, *fresh)))
        written = _hand_out(out, stamped)
        sold = copies_sold((*copies, *fresh))
    return CopyMade(
        id=known_as,
        edition=edition.number,
        line=line,
        files=written,
        made=sold,
        allowed=sheet.copies,
        again=any(copy.id == known_as for copy in before),
        replaces=tuple(sorted({copy.edition for copy in before} - {edition.number})),
        gaps=rights_gaps(sheet, today=today, copies_made=sold, price=lesson.price),
    )


def _edition(folder: Path, number: int | None) -> Edition:
    editions = read_editions(folder)
    if not editions:
        todo = f"Release it first: partwright catalogue release {folder}"
        raise InputError("has no edition yet", todo, place=Place(file=str(folder)))
    if number is None:
        return editions[-1]
    for edition in editions:
        if edition.number == number:
            return edition
    raise InputError(
        f"has no edition {number}", f"The latest is {editions[-1].number}.", place=Place(file=str(folder))
    )  # fmt: skip


def _chosen(folder: Path, edition: Edition, names: Sequence[str]) -> list[FrozenFile]:
    pages = [file for file in edition.files if file.name.casefold().endswith(".pdf")]
    if not pages:
        raise InputError(f"edition {edition.number} holds no PDF to stamp", "", place=Place(file=str(folder)))
    chosen = []
    for name in names:
        hits = [f for f in pages if name in (f.product, f.name, Path(f.name).name, Path(f.name).stem)]
        if not hits:
            known = dict.fromkeys(Path(file.name).stem for file in pages)
            raise InputError(f'edition {edition.number} holds no PDF "{name}"', nearest_sentence(name, known))
        chosen += hits
    return list(dict.fromkeys(chosen)) or pages


def _as_released(folder: Path, edition: Edition, file: FrozenFile) -> bytes:
    path = edition_folder(folder, edition.number) / file.name
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError("is missing", "Put it back from a backup.", place=Place(file=str(path))) from error
    if hashlib.sha256(data).hexdigest() != file.sha256:
        todo = "Put it back from a backup, or release the next edition."
        raise InputError("was changed by hand after it was released", todo, place=Place(file=str(path)))
    return data


def _row(copy: Copy) -> str:
    row = {
        "id": copy.id,
        "edition": copy.edition,
        "file": copy.file,
        "line": copy.line,
        "date": copy.date.isoformat(),
        "sha256": copy.sha256,
    }
    return json.dumps(row, ensure_ascii=False) + "\n"


def _hand_out(out: Path, stamped: Sequence[tuple[FrozenFile, bytes]]) -> tuple[Path, ...]:
    written = []
    for file, data in stamped:
        path = out / Path(file.name).relative_to("files")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            todo = "Choose another place; the copy is counted, say the same again to have its files."
            raise OutputError(f"cannot be made ({reason})", todo, place=Place(file=str(path.parent))) from error
        write_atomic(path, data)
        written.append(path)
    return tuple(written)
