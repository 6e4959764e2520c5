"""The catalogue's file: made again from the folders, sound after any kill, shared by processes, refused when newer."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from catalogue_shelf import BARS, DAY, make_lesson, settings_text, tune_of
from partwright.catalogue import Catalogue, ensure_id, make_copy, open_catalogue, release
from partwright.catalogue.migrations import MIGRATIONS, VERSION, migrate
from partwright.errors import InputError, LessonError, NewerFormat
from partwright.lesson import Erratum, add_erratum, read_lesson

TABLES = ("lessons", "positions", "tags", "editions", "files", "rights", "copies", "errata", "reports", "words")


def content(catalogue: Catalogue) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, but for the numbers under which lessons are kept."""
    found = {}
    for table in TABLES:
        rows = catalogue.database.execute(f"SELECT * FROM {table}").fetchall()
        found[table] = sorted((row[1:] if table == "lessons" else row for row in rows), key=repr)
    return found


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Three lessons, with editions, an erratum, a copy and reports."""
    for name in ("waltz", "march"):
        make_lesson(tmp_path / "lessons" / name, sell='["part-a4", "fingered"]', more='tags = ["a", "b"]')
    make_lesson(tmp_path / "lessons" / "deep" / "air")
    waltz = tmp_path / "lessons" / "waltz"
    release(waltz, today=DAY)
    add_erratum(waltz, Erratum(kind="pitch", words="C sharp", bar="3", right="C#3", state="confirmed"), today=DAY)
    make_copy(waltz, "A. Reader", tmp_path / "out", today=DAY)
    (waltz / "reports.json").write_text(
        '{"format": 1, "reports": [{"id": "r1", "kind": "claim", "bar": "3", "count": 2, "words": "C sharp?"}]}',
        encoding="utf-8",
    )
    return tmp_path


def test_the_catalogue_is_made_again_from_the_folders_alone(shelf: Path) -> None:
    path = shelf / "catalogue.db"
    with open_catalogue(path, create=True) as catalogue:
        for folder in ("waltz", "march", "deep/air"):
            catalogue.add(shelf / "lessons" / folder)
        before = content(catalogue)
    assert all(before[table] for table in TABLES if table != "positions")
    for file in shelf.glob("catalogue.db*"):
        file.unlink()
    with open_catalogue(path, create=True) as catalogue:
        done = catalogue.rebuild()
        assert content(catalogue) == before
        assert (done.lessons, done.trouble) == (3, ())
        catalogue.database.execute("UPDATE lessons SET title = 'spoilt'")
        catalogue.database.execute("DELETE FROM editions")
        catalogue.rebuild()
        assert content(catalogue) == before
        assert catalogue.faults() == ()


def test_an_entry_comes_back_as_it_went_in(shelf: Path) -> None:
    from dataclasses import replace

    from partwright.catalogue import read_entry

    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        added = catalogue.add(shelf / "lessons" / "waltz")
        stored = catalogue.entry(added.id)
    read = read_entry(shelf / "lessons" / "waltz", shown=added.folder)
    assert replace(stored, editions=()) == replace(read, editions=())
    assert [(e.number, e.date, e.seal, e.changes) for e in stored.editions] == [
        (e.number, e.date, e.seal, e.changes) for e in read.editions
    ]
    assert {f.sha256 for f in stored.editions[0].files} == {f.sha256 for f in read.editions[0].files}


def test_moved_renamed_deleted_and_half_copied_folders(shelf: Path) -> None:
    lessons = shelf / "lessons"
    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        catalogue.rebuild()
        (lessons / "waltz").rename(lessons / "waltz in three")
        shutil.rmtree(lessons / "deep")
        troubles = catalogue.folder_troubles()
        assert {t.folder for t in troubles} == {"lessons/waltz", "lessons/deep/air"}
        assert all("no longer there" in t.what for t in troubles)
        assert catalogue.add(lessons / "waltz in three").id == "waltz"
        assert catalogue.entry("waltz").folder == "lessons/waltz in three"
        (lessons / "waltz in three" / "editions" / "1" / "files" / "part-a4.pdf").unlink()
        (lessons / "march" / "tune.musicxml").unlink()
        done = catalogue.rebuild()
        assert done.gone == ("air",)
        assert {t.folder for t in done.trouble} == {"lessons/waltz in three", "lessons/march"}
        for lesson_id in ("waltz", "march"):
            assert catalogue.entry(lesson_id).state == "incomplete"
            assert "is missing" in catalogue.entry(lesson_id).trouble


def test_two_lessons_with_one_id_are_both_named_and_neither_is_lost(shelf: Path) -> None:
    lessons = shelf / "lessons"
    shutil.copytree(lessons / "march", lessons / "march copied")
    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        catalogue.add(lessons / "march")
        with pytest.raises(InputError, match='two lessons have the id "march": lessons/march and lessons/march copied'):
            catalogue.add(lessons / "march copied")
        done = catalogue.rebuild()
        assert [t.folder for t in done.trouble] == ["lessons/march copied"]
        assert ensure_id(lessons / "march copied", taken=catalogue.ids(), new=True) == "march-2"
        assert catalogue.add(lessons / "march copied").id == "march-2"
    assert read_lesson(lessons / "march").catalogue_id == "march"


def test_a_folder_that_holds_another_lesson_than_it_did(shelf: Path) -> None:
    lessons = shelf / "lessons"
    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        catalogue.rebuild()
        shutil.rmtree(lessons / "march")
        make_lesson(lessons / "march", "polka")
        (trouble,) = catalogue.folder_troubles()
        assert 'holds the lesson "polka" now, not "march"' in trouble.what
        catalogue.add(lessons / "march")
        assert set(catalogue.ids()) == {"air", "polka", "waltz"}


def test_the_whole_shelf_can_be_moved(shelf: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        catalogue.rebuild()
    elsewhere = tmp_path_factory.mktemp("moved") / "shelf"
    shutil.move(shelf, elsewhere)
    with open_catalogue(elsewhere / "catalogue.db") as catalogue:
        assert catalogue.folder_troubles() == ()
        assert catalogue.count() == 3


def test_a_newer_catalogue_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.db"
    with open_catalogue(path, create=True) as catalogue:
        catalogue.database.execute(f"PRAGMA user_version = {VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(NewerFormat, match="Install the newer partwright"), open_catalogue(path):
        pass
    assert path.read_bytes() == before


@pytest.mark.parametrize("data", [b"", b"not a database, only some text that is long enough to be looked at" * 20])
def test_a_file_that_is_no_catalogue(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "catalogue.db"
    path.write_bytes(data)
    if not data:  # an empty file is an empty database
        with open_catalogue(path) as catalogue:
            assert catalogue.count() == 0
        return
    with pytest.raises(InputError, match="is no catalogue, or a damaged one"), open_catalogue(path):
        pass
    assert path.read_bytes() == data


def test_an_older_catalogue_is_brought_up_step_by_step_and_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    database = sqlite3.connect(tmp_path / "c.db", isolation_level=None)
    migrate(database, tmp_path / "c.db", MIGRATIONS)
    more = "CREATE TABLE shelf_marks (lesson TEXT);\nINSERT INTO shelf_marks VALUES ('a;b');\n"
    bad = "CREATE TABLE half (a TEXT);\nINSERT INTO nowhere VALUES (1);\n"
    with pytest.raises(sqlite3.OperationalError):
        migrate(database, tmp_path / "c.db", (*MIGRATIONS, more, bad))
    assert database.execute("PRAGMA user_version").fetchone() == (VERSION,)
    assert database.execute("SELECT count(*) FROM sqlite_master WHERE name IN ('shelf_marks', 'half')").fetchone() == (
        0,
    )
    migrate(database, tmp_path / "c.db", (*MIGRATIONS, more))
    assert database.execute("PRAGMA user_version").fetchone() == (VERSION + 1,)
    assert database.execute("SELECT * FROM shelf_marks").fetchall() == [("a;b",)]
    database.close()


def test_the_database_is_as_promised(tmp_path: Path) -> None:
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        ask = catalogue.database.execute
        assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
        assert ask("PRAGMA foreign_keys").fetchone() == (1,)
        with pytest.raises(sqlite3.IntegrityError):
            ask("INSERT INTO tags VALUES ('no such lesson', 'a')")


def test_damage_is_found(shelf: Path) -> None:
    with open_catalogue(shelf / "catalogue.db", create=True) as catalogue:
        catalogue.rebuild()
        catalogue.database.execute("PRAGMA foreign_keys = OFF")
        catalogue.database.execute("INSERT INTO tags VALUES ('nobody', 'a')")
        assert catalogue.faults() == ("a row of tags refers to nothing",)
        catalogue.database.execute("DELETE FROM tags WHERE lesson = 'nobody'")
        catalogue.database.execute("PRAGMA writable_schema = ON")
        catalogue.database.execute("DELETE FROM words_data WHERE id > 10")
        assert any("word index" in fault for fault in catalogue.faults())


def test_a_backup_is_whole_while_another_writes(shelf: Path) -> None:
    path = shelf / "catalogue.db"
    with open_catalogue(path, create=True) as catalogue:
        catalogue.rebuild()
        with open_catalogue(path) as other:
            other.database.execute("BEGIN IMMEDIATE")
            other.database.execute("DELETE FROM words")
            other.database.execute("DELETE FROM lessons")
            catalogue.backup(shelf / "kept.db")
            other.database.execute("ROLLBACK")
        whole = content(catalogue)
    with open_catalogue(shelf / "kept.db") as kept:
        assert content(kept) == whole
        assert kept.faults() == ()


_ADD_ON_AND_ON = """
import random, sys
from pathlib import Path
from partwright.catalogue import open_catalogue
lessons, path, seed = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
folders = sorted(lessons.glob("*"))
chance = random.Random(seed)
with open_catalogue(path, create=True) as catalogue:
    catalogue.add(folders[0])
print("ready", flush=True)
done = 0
while len(sys.argv) < 5 or done < int(sys.argv[4]):
    with open_catalogue(path, create=True) as catalogue:
        for _ in range(20):
            entry = catalogue.add(chance.choice(folders))
            print(entry.id, flush=True)
            done += 1
"""


def _many(tmp_path: Path, count: int) -> Path:
    """Lessons, two of them released."""
    lessons = tmp_path / "lessons"
    for k in range(count):
        make_lesson(lessons / f"tune{k}", more='tags = ["quick"]')
    for name in ("tune0", "tune1"):
        release(lessons / name, today=DAY)
    return lessons


def _kill_writers(tmp_path: Path, times: int) -> None:
    lessons, path = _many(tmp_path, 6), tmp_path / "catalogue.db"
    script = tmp_path / "add.py"
    script.write_text(_ADD_ON_AND_ON, encoding="utf-8")
    with open_catalogue(path, create=True) as catalogue:
        catalogue.rebuild()
    chance = random.Random(10957)
    written = 0
    for seed in range(times):
        command = [sys.executable, str(script), str(lessons), str(path), str(seed)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(chance.uniform(0.0, 0.4))
            child.send_signal(signal.SIGKILL)
            written += len(child.stdout.read().splitlines())
        with open_catalogue(path) as catalogue:
            assert catalogue.faults() == ()
            assert set(catalogue.ids()) == {folder.name for folder in lessons.iterdir()}
            assert {i for i in catalogue.ids() if catalogue.entry(i).editions} == {"tune0", "tune1"}
    assert written > times


def test_a_kill_while_writing_leaves_the_catalogue_sound(tmp_path: Path) -> None:
    _kill_writers(tmp_path, 4)


@pytest.mark.slow
def test_two_hundred_kills_while_writing_leave_the_catalogue_sound(tmp_path: Path) -> None:
    _kill_writers(tmp_path, 200)


def test_two_processes_write_at_the_same_time(tmp_path: Path) -> None:
    lessons, path = _many(tmp_path, 6), tmp_path / "catalogue.db"
    script = tmp_path / "add.py"
    script.write_text(_ADD_ON_AND_ON, encoding="utf-8")
    command = [sys.executable, str(script), str(lessons), str(path)]
    with (
        subprocess.Popen([*command, "1", "100"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as one,
        subprocess.Popen([*command, "2", "100"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as two,
    ):
        said = [child.communicate(timeout=120) for child in (one, two)]
    assert [errors for _, errors in said] == ["", ""]
    assert (one.returncode, two.returncode) == (0, 0)
    assert all(len(out.splitlines()) == 101 for out, _ in said)
    with open_catalogue(path) as catalogue:
        assert catalogue.faults() == ()
        held = content(catalogue)
        catalogue.rebuild()
        missing = {folder.name for folder in lessons.iterdir()} - {str(row[0]) for row in held["lessons"]}
        assert not missing or len(held["lessons"]) >= 5


def test_a_lesson_without_an_id_says_what_to_do(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    (folder / "lesson.toml").write_text("format = 1\n# mine\n", encoding="utf-8")
    with (
        open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue,
        pytest.raises(LessonError, match="partwright catalogue add"),
    ):
        catalogue.add(folder)
    assert ensure_id(folder) == "waltz"
    assert "# mine" in (folder / "lesson.toml").read_text(encoding="utf-8")
    assert ensure_id(folder) == "waltz"


def test_what_changed_since_the_edition_is_a_state_and_the_price_is_not(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        assert catalogue.add(folder).state == "draft"
        release(folder, today=DAY)
        assert catalogue.add(folder).state == "released"
        (folder / "lesson.toml").write_text("# n\n" + settings_text("waltz", more='price = "3 EUR"'), encoding="utf-8")
        assert catalogue.add(folder).state == "released"
        (folder / "tune.musicxml").write_text(tune_of((*BARS, "D3:4")), encoding="utf-8")
        assert catalogue.add(folder).state == "changed"


def test_bad_entries_are_told_not_swallowed(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", more='price = "cheap"\nlanguage = "xx"')
    (folder / "reports.json").write_text("[", encoding="utf-8")
    (folder / "errata.toml").write_text("[[errata]]\nid = 3\n", encoding="utf-8")
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        trouble = catalogue.add(folder).trouble
    for words in ('the price "cheap"', 'no language of ISO 639: "xx"', "holds no reports any more", "erratum 1 has"):
        assert words in trouble


def test_a_catalogue_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    from partwright.errors import PartwrightError

    with (
        pytest.raises(PartwrightError, match="its folder is not there"),
        open_catalogue(tmp_path / "no" / "catalogue.db", create=True),
    ):
        pass
    with pytest.raises(InputError, match="there is no catalogue here"), open_catalogue(tmp_path / "catalogue.db"):
        pass
    assert list(tmp_path.iterdir()) == []
