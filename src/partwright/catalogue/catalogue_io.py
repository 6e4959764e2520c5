"""The catalogue: one SQLite file over many lesson folders. The folders remain the truth; this can be made again.

Write-ahead logging lets others read while one writes; writers wait for each other; foreign keys hold; every change is
one transaction. Folders below the catalogue's own are kept relative to it, so the whole shelf can be moved.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from partwright.catalogue.copies import COPIES_FILE
from partwright.catalogue.edition import EDITIONS_FOLDER
from partwright.catalogue.entry import Entry
from partwright.catalogue.entry_io import read_entry
from partwright.catalogue.migrations import migrate
from partwright.catalogue.store import entry_rows, read_stored
from partwright.errors import InputError, LessonError, OutputError, PartwrightError, Place
from partwright.lesson import LESSON_FILE, read_lesson

__all__ = ["CATALOGUE_FILE", "Catalogue", "Rebuilt", "Trouble", "find_lessons", "open_catalogue"]

CATALOGUE_FILE = "catalogue.db"
_WAIT_SECONDS = 30.0
_NOT_LESSONS = frozenset({"build", "editions", "takes", "node_modules", "__pycache__"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A folder that is not as it should be: what is wrong with it, in one sentence with what to do."""

    folder: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What a rebuild found: how many lessons are in the catalogue, which ids are gone, which folders have trouble."""

    lessons: int
    gone: tuple[str, ...]
    trouble: tuple[Trouble, ...]


@contextmanager
def open_catalogue(path: Path, *, create: bool = False) -> Iterator[Catalogue]:
    """The catalogue in this file, brought to this program's version; closed when the block ends.

    Raises InputError where there is none (unless `create`) or the file is no catalogue, NewerFormat for one of a newer
    program.
    """
    place = Place(file=str(path))
    if not create and not path.is_file():
        todo = "Make one by adding a lesson: partwright catalogue add LESSON."
        raise InputError("there is no catalogue here", todo, place=place)
    if create and not path.parent.is_dir():
        raise OutputError("cannot be made, its folder is not there", "Make the folder first.", place=place)
    database: sqlite3.Connection | None = None
    try:
        database = sqlite3.connect(path, timeout=_WAIT_SECONDS, isolation_level=None)
        database.execute("PRAGMA foreign_keys = ON")
        database.execute("PRAGMA journal_mode = WAL").fetchone()
        database.execute("PRAGMA synchronous = FULL")
        migrate(database, path)
        yield Catalogue(path, database)
    except sqlite3.DatabaseError as error:
        raise _database_error(error, path) from error
    finally:
        if database is not None:
            database.close()


def _database_error(error: sqlite3.DatabaseError, path: Path) -> PartwrightError:
    place, text = Place(file=str(path)), str(error).casefold()
    if "locked" in text or "busy" in text:
        return InputError("is in use by another partwright", "Wait until it is done, then try again.", place=place)
    if "readonly" in text or "unable to open" in text or "full" in text or "i/o" in text:
        return OutputError(f"cannot be written ({text})", "Check permissions and free space.", place=place)
    todo = "Move it away and make it again: partwright catalogue rebuild. The lessons themselves are untouched."
    return InputError(f"is no catalogue, or a damaged one ({text})", todo, place=place)


class Catalogue:
    """An open catalogue. Reading sees one consistent state; every writing method is one transaction."""

    def __init__(self, path: Path, database: sqlite3.Connection) -> None:
        self.path = path
        self.database = database

    # Folders -----------------------------------------------------------------------------------------------------

    @property
    def home(self) -> Path:
        """The folder the catalogue lies in."""
        return self.path.resolve().parent

    def folder_of(self, entry: Entry) -> Path:
        """Where the lesson lies."""
        return self.home / entry.folder

    def shown(self, folder: Path) -> str:
        """A folder as the catalogue keeps it: relative to its home where it lies below it."""
        resolved = folder.resolve()
        return os.fspath(resolved.relative_to(self.home)) if resolved.is_relative_to(self.home) else os.fspath(resolved)

    # Reading -----------------------------------------------------------------------------------------------------

    def ids(self) -> tuple[str, ...]:
        """The ids of all lessons, by title."""
        rows = self.database.execute("SELECT id FROM lessons ORDER BY title COLLATE NOCASE, id")
        return tuple(row[0] for row in rows)

    def entry(self, name: str) -> Entry:
        """The lesson with this id, or in this folder. Raises InputError for one the catalogue does not hold."""
        found = self.database.execute("SELECT id FROM lessons WHERE id = ?", (name,)).fetchone()
        if found is None:
            shown = self.shown(Path(name))
            found = self.database.execute("SELECT id FROM lessons WHERE folder = ?", (shown,)).fetchone()
        if found is None:
            from partwright.nearest import nearest_sentence

            raise InputError(f'the catalogue holds no lesson "{name}"', nearest_sentence(name, self.ids()))
        return read_stored(self.database, found[0])

    def entries(self, ids: Iterable[str] | None = None) -> tuple[Entry, ...]:
        """All lessons, or those with these ids, in their order."""
        return tuple(read_stored(self.database, lesson_id) for lesson_id in (self.ids() if ids is None else ids))

    def count(self) -> int:
        """How many lessons there are."""
        return int(self.database.execute("SELECT count(*) FROM lessons").fetchone()[0])

    # Writing -----------------------------------------------------------------------------------------------------

    def add(self, folder: Path) -> Entry:
        """Enter the lesson in this folder, or read it again. A lesson whose folder was moved is found by its id.

        Raises InputError where its id is that of another lesson whose folder is still there.
        """
        entry = read_entry(folder, shown=self.shown(folder))
        with self._writing():
            self._refuse_second(entry)
            self._put(entry)
        return entry

    def remove(self, lesson_id: str) -> None:
        """Take a lesson out of the catalogue; its folder is untouched."""
        with self._writing():
            self._drop(lesson_id)

    def remember_roots(self, folders: Sequence[Path]) -> None:
        """Folders outside the catalogue's own that a rebuild looks through too."""
        with self._writing():
            for folder in folders:
                self.database.execute("INSERT OR IGNORE INTO roots VALUES (?)", (self.shown(folder),))

    def roots(self) -> tuple[Path, ...]:
        """Where a rebuild looks: the catalogue's own folder, and those remembered."""
        rows = self.database.execute("SELECT folder FROM roots ORDER BY folder").fetchall()
        return tuple(dict.fromkeys((self.home, *(self.home / row[0] for row in rows))))

    def rebuild(self, folders: Sequence[Path] = (), *, told: Callable[[int, int, Path], None] | None = None) -> Rebuilt:
        """Make the catalogue again from the folders below its own and `folders`. Nothing of the old one is used but
        where it looked. Readers see the old state until the new one is whole."""
        if folders:
            self.remember_roots(folders)
        found = find_lessons(self.roots())
        known = {lesson_id: self.home / folder
                 for lesson_id, folder in self.database.execute("SELECT id, folder FROM lessons")}  # fmt: skip
        found = tuple(dict.fromkeys((*found, *(f.resolve() for f in known.values() if (f / LESSON_FILE).is_file()))))
        trouble: list[Trouble] = []
        taken: dict[str, str] = {}
        with self._writing():
            self._clear()
            for number, folder in enumerate(found, start=1):
                if told is not None:
                    told(number, len(found), folder)
                shown = self.shown(folder)
                try:
                    entry = read_entry(folder, shown=shown)
                except PartwrightError as error:
                    trouble.append(Trouble(folder=shown, what=str(error)))
                    continue
                if entry.id in taken:
                    trouble.append(Trouble(folder=shown, what=_two_with_one_id(entry.id, taken[entry.id], shown)))
                    continue
                taken[entry.id] = shown
                if entry.trouble:
                    trouble.append(Trouble(folder=shown, what=entry.trouble))
                self._put(entry, new=True)
        gone = tuple(sorted(set(known) - set(taken)))
        return Rebuilt(lessons=len(taken), gone=gone, trouble=tuple(trouble))

    def catch_up(self) -> int:
        """Read again the lessons whose folder holds editions or copies that are not here, as after a kill between a
        release and its entry; how many there were. What cannot be read stays as it was."""
        rows = self.database.execute(
            "SELECT l.id, l.folder, (SELECT count(*) FROM editions e WHERE e.lesson = l.id), "
            "(SELECT count(*) FROM copies c WHERE c.lesson = l.id) FROM lessons l"
        ).fetchall()
        behind = 0
        for lesson_id, folder, editions, copies in rows:
            path = self.home / folder / EDITIONS_FOLDER
            try:
                held = sum(p.name.isdigit() for p in path.iterdir())
                made = (self.home / folder / COPIES_FILE).read_bytes().count(b"\n")
            except NotADirectoryError:
                continue
            except FileNotFoundError:
                made = 0
                if not path.is_dir():
                    continue
            if (held, made) != (editions, copies):
                try:
                    behind += self.add(self.home / folder).id == lesson_id
                except PartwrightError:
                    continue
        return behind

    # Keeping it safe -----------------------------------------------------------------------------------------------

    def faults(self) -> tuple[str, ...]:
        """What the database finds wrong with itself: pages, indices, references. Empty where it is sound."""
        rows = self.database.execute("PRAGMA integrity_check").fetchall()
        found = [str(row[0]) for row in rows if row[0] != "ok"]
        found += [f"a row of {row[0]} refers to nothing" for row in self.database.execute("PRAGMA foreign_key_check")]
        try:
            self.database.execute("INSERT INTO words (words) VALUES ('integrity-check')")
        except sqlite3.DatabaseError as error:
            found.append(f"the word index does not agree with itself ({error})")
        return tuple(found)

    def folder_troubles(self) -> tuple[Trouble, ...]:
        """Lessons whose folder is not where the catalogue has it, holds another lesson, or is incomplete."""
        found = []
        for entry in self.entries():
            folder = self.folder_of(entry)
            if not (folder / LESSON_FILE).is_file():
                todo = "If it was moved: partwright catalogue add NEW-PLACE."
                what = f'{entry.folder}: "{entry.title}" is no longer there. {todo}'
                found.append(Trouble(folder=entry.folder, what=what))
                continue
            try:
                held = read_lesson(folder).catalogue_id
            except PartwrightError as error:
                found.append(Trouble(folder=entry.folder, what=str(error)))
                continue
            if held != entry.id:
                holds = f'the lesson "{held}"' if held else "a lesson without an id"
                what = f'{entry.folder}: holds {holds} now, not "{entry.id}". Run: partwright catalogue rebuild.'
                found.append(Trouble(folder=entry.folder, what=what))
        return tuple(found)

    def backup(self, target: Path) -> None:
        """A copy of the catalogue while others use it, by the database's own online backup; whole or not at all."""
        from partwright.files import path_atomic

        with path_atomic(target) as temporary:
            copy = sqlite3.connect(temporary)
            try:
                self.database.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()

    # Inside --------------------------------------------------------------------------------------------------------

    @contextmanager
    def _writing(self) -> Iterator[None]:
        self.database.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self.database.execute("ROLLBACK")
            raise
        self.database.execute("COMMIT")

    def _refuse_second(self, entry: Entry) -> None:
        row = self.database.execute("SELECT folder FROM lessons WHERE id = ?", (entry.id,)).fetchone()
        if row is None or row[0] == entry.folder:
            return
        other = self.home / row[0]
        try:
            still_there = read_lesson(other).catalogue_id == entry.id
        except LessonError:
            still_there = False
        if still_there:
            raise InputError(_two_with_one_id(entry.id, row[0], entry.folder))

    def _put(self, entry: Entry, *, new: bool = False) -> None:
        if not new:
            self._drop(entry.id)
            other = self.database.execute("SELECT id FROM lessons WHERE folder = ?", (entry.folder,)).fetchone()
            if other is not None:  # the folder holds another lesson than it did
                self._drop(other[0])
        for statement, rows in entry_rows(entry):
            self.database.executemany(statement, rows)

    def _drop(self, lesson_id: str) -> None:
        row = self.database.execute("SELECT number FROM lessons WHERE id = ?", (lesson_id,)).fetchone()
        if row is not None:
            self.database.execute("DELETE FROM words WHERE rowid = ?", row)
            self.database.execute("DELETE FROM lessons WHERE id = ?", (lesson_id,))

    def _clear(self) -> None:
        self.database.execute("DELETE FROM words")
        self.database.execute("DELETE FROM lessons")


def find_lessons(roots: Sequence[Path]) -> tuple[Path, ...]:
    """Lesson folders at or below these, in a fixed order.

    What lies inside a lesson is looked through only where it was named itself: the demonstration has others below it.
    """
    found: list[Path] = []
    for root in roots:
        waiting = [root.resolve()]
        while waiting:
            folder = waiting.pop()
            if (folder / LESSON_FILE).is_file():
                found.append(folder)
                if folder != root.resolve():
                    continue
            try:
                below = sorted((p for p in folder.iterdir() if p.is_dir() and not p.is_symlink()), reverse=True)
            except OSError:
                continue
            waiting += [p for p in below if p.name not in _NOT_LESSONS and not p.name.startswith(".")]
    return tuple(dict.fromkeys(found))


def _two_with_one_id(lesson_id: str, first: str, second: str) -> str:
    return (
        f'two lessons have the id "{lesson_id}": {first} and {second}. If the second is a copy to become a lesson of '
        f"its own: partwright catalogue add {second} --new-id"
    )
