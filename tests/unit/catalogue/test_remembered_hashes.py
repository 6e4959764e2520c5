"""Editions that nobody touched are not read again for a release; what was touched is, and a full check reads all."""

from __future__ import annotations

import datetime
import json
import os
from pathlib import Path

import pytest

from catalogue_shelf import BARS, DAY, make_lesson, tune_of
from partwright.catalogue import edition_faults, hashes_io, read_editions, release
from partwright.catalogue.hashes_io import HASHES_FILE, remembered_hashes


@pytest.fixture(autouse=True)
def _clock_that_settles_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashes_io, "_SETTLED_NS", -(10**12))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = make_lesson(tmp_path / "waltz")
    for k in range(4):
        (folder / "tune.musicxml").write_text(tune_of((*BARS, *("D3:4",) * k)), encoding="utf-8")
        release(folder, today=DAY + datetime.timedelta(days=k))
    return folder


def bytes_read(folder: Path) -> int:
    """How many bytes of the editions a look that trusts the memory reads."""
    with remembered_hashes(folder) as hashes:
        for path in sorted((folder / "editions").glob("*/*/*")):
            hashes.sha256(path)
        return hashes.read_bytes


def size_of(folder: Path, number: int) -> int:
    home = folder / "editions" / str(number)
    return sum(path.stat().st_size for path in home.glob("*/*"))


def test_a_release_reads_the_edition_before_it_and_none_older(folder: Path) -> None:
    seen = json.loads((folder / HASHES_FILE).read_bytes())["seen"]
    assert {name.split("/")[1] for name in seen} == {"1", "2", "3"}  # what the fourth release looked at
    assert bytes_read(folder) == size_of(folder, 4)
    assert bytes_read(folder) == 0


@pytest.mark.parametrize("times_set_back", [False, True])
def test_a_touched_file_is_read_and_told_even_where_its_size_and_time_are_set_back(
    folder: Path, times_set_back: bool
) -> None:
    assert edition_faults(folder, read_editions(folder), every_byte=False) == ()
    path = folder / "editions" / "2" / "source" / "tune.musicxml"
    then, data = path.stat(), path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(data[:-1] + b" ")
    if times_set_back:
        os.utime(path, ns=(then.st_atime_ns, then.st_mtime_ns))
    (told,) = edition_faults(folder, read_editions(folder), every_byte=False)
    assert "editions/2/source/tune.musicxml: was changed by hand" in told
    done = release(folder, today=DAY + datetime.timedelta(days=9), even_if_unchanged=True)
    assert told in done.remarks
    path.write_bytes(data)
    assert edition_faults(folder, read_editions(folder), every_byte=False) == ()


def test_a_lying_memory_is_not_asked_where_every_byte_is_read(folder: Path) -> None:
    path = folder / "editions" / "1" / "source" / "tune.musicxml"
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-1] + b" ")
    memory = json.loads((folder / HASHES_FILE).read_bytes())
    now = path.stat()
    row = memory["seen"]["editions/1/source/tune.musicxml"]
    memory["seen"]["editions/1/source/tune.musicxml"] = [now.st_size, now.st_mtime_ns, now.st_ctime_ns, row[3]]
    (folder / HASHES_FILE).write_text(json.dumps(memory), encoding="utf-8")
    assert edition_faults(folder, read_editions(folder), every_byte=False) == ()
    (told,) = edition_faults(folder, read_editions(folder))
    assert "editions/1/source/tune.musicxml: was changed by hand" in told


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"format": 9, "seen": {}}', '{"format": 1, "seen": {"editions/1/source/tune.musicxml": [1]}}'],
)
def test_a_memory_that_makes_no_sense_is_none(folder: Path, text: str) -> None:
    (folder / HASHES_FILE).write_text(text, encoding="utf-8")
    assert bytes_read(folder) == sum(size_of(folder, number) for number in (1, 2, 3, 4))
    assert bytes_read(folder) == 0


def test_what_changed_a_moment_ago_is_not_remembered(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashes_io, "_SETTLED_NS", 10**12)
    (folder / HASHES_FILE).unlink()
    every = sum(size_of(folder, number) for number in (1, 2, 3, 4))
    assert [bytes_read(folder), bytes_read(folder)] == [every, every]
