"""Editions: frozen whole or not at all, never written over, told apart by hash, the same bytes from the same inputs."""

from __future__ import annotations

import datetime
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from catalogue_shelf import BARS, DAY, make_lesson, settings_text, tune_of
from partwright.catalogue import edition_faults, read_editions, release
from partwright.catalogue.hashes_io import file_sha256
from partwright.errors import InputError, LessonError, NewerFormat, PartwrightError
from partwright.lesson import Erratum, add_erratum, read_errata

LATER = DAY + datetime.timedelta(days=9)
MENDED = (*BARS[:2], "A2:1 C3:1 E3:1 G3:1", BARS[3])


def change_tune(folder: Path, bars: tuple[str, ...] = MENDED) -> None:
    (folder / "tune.musicxml").write_text(tune_of(bars), encoding="utf-8")


def test_a_second_edition_says_what_changed_and_the_first_stays(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    first = release(folder, today=DAY).edition
    kept = {p: p.read_bytes() for p in (folder / "editions" / "1").rglob("*") if p.is_file()}
    change_tune(folder)
    second = release(folder, today=LATER)
    assert (first.number, first.changes) == (1, ("First edition.",))
    assert (second.edition.number, second.edition.date) == (2, LATER)
    assert "Bar 3, beat 2: C instead of C sharp." in second.edition.changes
    assert second.edition.before == first.seal
    assert {p: p.read_bytes() for p in kept} == kept
    assert edition_faults(folder, read_editions(folder)) == ()


def test_hashes_are_those_any_program_prints(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    done = release(folder, today=DAY)
    (file,) = done.edition.files
    printed = subprocess.run(["sha256sum", done.folder / file.name], capture_output=True, text=True, check=True).stdout
    assert printed.split()[0] == file.sha256 == file_sha256(done.folder / file.name)


def test_nothing_changed_is_no_new_edition(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    with pytest.raises(InputError, match="nothing a buyer would see has changed since edition 1"):
        release(folder, today=LATER)
    assert release(folder, today=LATER, even_if_unchanged=True).edition.changes == ("As edition 1.",)


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda home: (home / "files" / "fingered.musicxml").chmod(0o644) or
         (home / "files" / "fingered.musicxml").write_text("x"), "fingered.musicxml: was changed by hand"),
        (lambda home: (home / "source" / "tune.musicxml").unlink(), "tune.musicxml: is missing"),
        (lambda home: (home / "files" / "more.pdf").write_text("x"), "was not released, but lies among what was"),
        (lambda home: (home / "edition.json").chmod(0o644) or (home / "edition.json").write_text(
            (home / "edition.json").read_text().replace("2026-11", "2025-11")), "edition.json: was changed by hand"),
    ],
)  # fmt: skip
def test_an_edition_changed_by_hand_is_told_with_its_file(tmp_path: Path, spoil: object, told: str) -> None:
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    spoil(folder / "editions" / "1")  # type: ignore[operator]
    faults = edition_faults(folder, read_editions(folder))
    assert len(faults) == 1
    assert told in faults[0]


def test_an_edition_taken_out_of_the_middle_shows_in_the_chain(tmp_path: Path) -> None:
    import shutil

    folder = make_lesson(tmp_path / "waltz")
    for k in range(3):
        change_tune(folder, (*BARS, *("D3:4",) * k))
        release(folder, today=DAY)
    shutil.rmtree(folder / "editions" / "2")
    faults = edition_faults(folder, read_editions(folder))
    assert any("does not follow the edition before it" in fault for fault in faults)
    assert any("edition 2 is missing" in fault for fault in faults)


def test_a_clock_set_back_is_refused(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    change_tune(folder)
    with pytest.raises(InputError, match="edition 1 is dated 2026-11-28, but today is 2026-01-01"):
        release(folder, today=datetime.date(2026, 1, 1))
    assert release(folder, today=datetime.date(2026, 1, 1), date=LATER).edition.number == 2


def test_no_status_no_release_and_the_caution_is_told(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    text = settings_text("waltz").replace('status = "own-work"\n', "")
    (folder / "lesson.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="has no status") as refused:
        release(folder, today=DAY)
    assert "differs from country to country" in str(refused.value)
    assert not (folder / "editions").exists()


def test_an_unknown_product_is_answered_with_the_nearest(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", sell='["part-a5"]')
    with pytest.raises(InputError, match='Did you mean "part-a4"'):
        release(folder, today=DAY)


def test_a_record_that_is_none_and_one_of_a_newer_program(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    record = folder / "editions" / "1" / "edition.json"
    record.chmod(0o644)
    data = json.loads(record.read_text())
    record.write_text(json.dumps({**data, "format": 99}))
    with pytest.raises(NewerFormat, match="newer partwright"):
        read_editions(folder)
    record.write_text("{")
    with pytest.raises(LessonError, match="no record of an edition"):
        read_editions(folder)


def test_a_release_marks_the_errata_it_mends_and_only_those(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", bars=MENDED)
    release(folder, today=DAY)
    right = Erratum(
        kind="pitch", words="C sharp instead of C", bar="3", beat="2", was="C3", right="C#3", state="confirmed"
    )
    other = Erratum(kind="pitch", words="B instead of D", bar="4", beat="1", right="B3", state="confirmed")
    for erratum in (right, other):
        add_erratum(folder, erratum, today=DAY)
    change_tune(folder, BARS)
    done = release(folder, today=LATER)
    assert [e.id for e in done.mended] == ["e1"]
    assert [e.id for e in done.unmended] == ["e2"]
    fixed, still_open = read_errata(folder)
    assert (fixed.state, fixed.fixed, fixed.fixed_in, fixed.editions) == ("fixed", LATER, 2, (1,))
    assert still_open.state == "confirmed"
    assert [fixed.affects(n) for n in (1, 2)] == [True, False]


_RELEASE = """
import datetime, sys
from pathlib import Path
from partwright.catalogue import release
if __name__ == "__main__":
    done = release(Path(sys.argv[1]), today=datetime.date(2026, 11, 28))
    for file in sorted(done.edition.files, key=lambda f: f.name):
        print(file.sha256, file.name)
    print(done.edition.seal)
"""


def _released(folder: Path, **environment: str) -> str:
    script = folder.parent / "release.py"
    script.write_text(_RELEASE, encoding="utf-8")
    return subprocess.run(
        [sys.executable, str(script), str(folder)],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    ).stdout


def test_the_same_lesson_gives_the_same_bytes_in_another_folder_on_another_day_in_another_place(tmp_path: Path) -> None:
    """Two clean checkouts, each with its own process, time zone, language, home and order of hashing."""
    sell = '["part-a4", "charts", "fingered", "midi", "stems"]'
    here = make_lesson(tmp_path / "here" / "waltz", sell=sell)
    there = make_lesson(tmp_path / "a longer way there" / "renamed", "waltz", sell=sell, title="Waltz")
    one = _released(here, TZ="UTC", PYTHONHASHSEED="1")
    for path in there.iterdir():
        os.utime(path, (1_000_000_000, 1_000_000_000))
    two = _released(
        there, TZ="Pacific/Auckland", PYTHONHASHSEED="2", LC_ALL="C", HOME=str(tmp_path), PARTWRIGHT_PROCESSES="1"
    )
    assert one == two
    names = {line.partition(" ")[2].rpartition(".")[2] for line in one.splitlines()[:-1]}
    assert names == {"pdf", "musicxml", "mid", "flac"}
    for name in ("files/part-a4.pdf", "files/sound/with-guide-100.flac", "files/fingered.musicxml"):
        assert (here / "editions/1" / name).read_bytes() == (there / "editions/1" / name).read_bytes()


def test_the_imprint_is_printed_and_the_working_copy_does_not_carry_it(tmp_path: Path) -> None:
    from pypdf import PdfReader

    folder = make_lesson(tmp_path / "waltz", sell='["part-a4"]')
    done = release(folder, today=DAY)
    assert "Edition 1, 2026-11-28" in PdfReader(done.folder / "files" / "part-a4.pdf").pages[0].extract_text()
    assert "Edition" not in PdfReader(folder / "build" / "part-a4.pdf").pages[0].extract_text()


_RELEASE_ON_AND_ON = """
import datetime, sys
from pathlib import Path
from partwright.catalogue import release
folder = Path(sys.argv[1])
release(folder, today=datetime.date(2026, 11, 28), even_if_unchanged=True)
print("ready", flush=True)
while True:
    done = release(folder, today=datetime.date(2026, 11, 28), even_if_unchanged=True)
    print(done.edition.number, done.edition.seal, flush=True)
"""


def _kill_releases(tmp_path: Path, times: int) -> None:
    """Kill a releasing process at a random moment, again and again: every edition it told of must be there, whole."""
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    script = tmp_path / "on.py"
    script.write_text(_RELEASE_ON_AND_ON, encoding="utf-8")
    chance = random.Random(20261128)
    known: dict[int, str] = {}
    for _ in range(times):
        command = [sys.executable, str(script), str(folder)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(chance.uniform(0.0, 1.0))
            child.send_signal(signal.SIGKILL)
            said = child.stdout.read()
        for line in said.splitlines():
            if len(line.split()) == 2 and len(line.split()[1]) == 64:
                known[int(line.split()[0])] = line.split()[1]
        editions = read_editions(folder)
        assert edition_faults(folder, editions) == ()
        assert known == {e.number: e.seal for e in editions if e.number in known}
    assert release(folder, today=DAY, even_if_unchanged=True).edition.number == read_editions(folder)[-1].number
    left = [path.name for path in (folder / "editions").iterdir() if path.name.endswith(".part")]
    assert left == []


def test_a_kill_while_releasing_loses_no_edition(tmp_path: Path) -> None:
    _kill_releases(tmp_path, 3)


@pytest.mark.slow
def test_two_hundred_kills_while_releasing_lose_no_edition(tmp_path: Path) -> None:
    _kill_releases(tmp_path, 200)


def test_two_releases_at_once_exclude_each_other(tmp_path: Path) -> None:
    from partwright.lesson import folder_lock

    folder = make_lesson(tmp_path / "waltz")
    with folder_lock(folder), pytest.raises(PartwrightError, match="in use by another"):
        release(folder, today=DAY)


def test_a_full_disk_leaves_nothing_half_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import partwright.catalogue.editions_io as module

    folder = make_lesson(tmp_path / "waltz")

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, "_keep_source", full)
    with pytest.raises(PartwrightError, match="no space left on device"):
        release(folder, today=DAY)
    assert list((folder / "editions").iterdir()) == []
