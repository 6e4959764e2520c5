"""Many lessons at once: one bad lesson stops none, a dead worker loses nothing, a cluster makes the same files."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path

import pytest

from catalogue_shelf import BARS, make_lesson
from partwright.catalogue import Built, Pool, build_many, build_one, cluster_pool, local_pool
from partwright.errors import InputError

ONLY = ("part-a4", "facts")


def lessons(home: Path, count: int) -> list[Path]:
    return [make_lesson(home / f"tune{k}", bars=BARS * (k + 1)) for k in range(count)]


def contents(built: tuple[Built, ...]) -> list[tuple[str, str]]:
    return [(Path(b.folder).name, b.content) for b in built]


def test_a_bad_lesson_is_told_and_the_others_are_done(tmp_path: Path) -> None:
    folders = lessons(tmp_path, 3)
    (folders[1] / "tune.musicxml").write_text("<score-partwise>", encoding="utf-8")
    missing = tmp_path / "nowhere"
    told: list[tuple[int, int, bool]] = []
    built = build_many(
        [*folders, missing], local_pool(2), only=["fingered"], told=lambda n, of, b: told.append((n, of, b.ok))
    )
    assert [b.ok for b in built] == [True, False, True, False]
    assert "tune.musicxml" in built[1].error
    assert "is not there" in built[3].error
    assert [(n, of) for n, of, _ in told] == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert (folders[2] / "build" / "fingered.musicxml").is_file()


def test_a_second_run_makes_nothing_and_the_hashes_stay(tmp_path: Path) -> None:
    folders = lessons(tmp_path, 2)
    first = build_many(folders, local_pool(1), only=["fingered"])
    second = build_many(folders, local_pool(2), only=["fingered"])
    assert all(b.made for b in first)
    assert not any(b.made for b in second)
    assert contents(first) == contents(second)


@contextmanager
def _killing(once: list[int]) -> Iterator[Executor]:
    """Two processes, one of which is killed while it works, the first time."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:

        def kill() -> None:
            while not executor._processes:
                time.sleep(0.01)
            time.sleep(1.0)
            process = next(iter(dict(executor._processes).values()))
            once.append(process.pid or 0)
            os.kill(process.pid or 0, signal.SIGKILL)

        if not once:
            threading.Thread(target=kill, daemon=True).start()
        yield executor


def test_a_killed_worker_loses_nothing_and_the_files_are_those_of_one_machine(tmp_path: Path) -> None:
    alone = build_many(lessons(tmp_path / "alone", 4), local_pool(1), only=ONLY)
    killed: list[int] = []
    pool = Pool(opened=lambda: _killing(killed), width=2)
    built = build_many(lessons(tmp_path / "killed", 4), pool, only=ONLY)
    assert killed
    assert all(b.ok for b in built), [b.error for b in built]
    assert contents(built) == contents(alone)
    assert not list(tmp_path.rglob("*.part"))


def _suicide(folder: str, only: tuple[str, ...] = ()) -> dict[str, object]:
    if Path(folder).name == "tune1":
        os.kill(os.getpid(), signal.SIGKILL)
    return build_one(folder, only)


class _Suicidal(ProcessPoolExecutor):
    def submit(self, fn: object, /, *arguments: object, **more: object):  # type: ignore[no-untyped-def]
        return super().submit(_suicide, *arguments, **more)  # type: ignore[arg-type]


@pytest.mark.slow
def test_a_lesson_that_always_ends_its_worker_is_listed_and_the_others_are_done(tmp_path: Path) -> None:
    @contextmanager
    def opened() -> Iterator[Executor]:
        with _Suicidal(2, mp_context=get_context("spawn")) as executor:
            yield executor

    built = build_many(lessons(tmp_path, 4), Pool(opened=opened, width=2), only=["plan"])
    assert [b.ok for b in built] == [True, False, True, True]
    assert "the process that built it ended, more than once" in built[1].error


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_cluster_with_a_killed_worker_makes_the_files_of_one_machine(tmp_path: Path) -> None:
    """Dask's own local cluster, in processes; one of its workers is killed while it works."""
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    alone = build_many(lessons(tmp_path / "alone", 5), local_pool(1), only=ONLY)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:

        def kill() -> None:
            time.sleep(1.5)
            os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)

        threading.Thread(target=kill, daemon=True).start()
        built = build_many(lessons(tmp_path / "spread", 5), cluster_pool(cluster.scheduler_address), only=ONLY)
    assert all(b.ok for b in built), [b.error for b in built]
    assert contents(built) == contents(alone)


def test_no_scheduler_is_one_sentence() -> None:
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    with pytest.raises(InputError, match="no scheduler answers"):
        cluster_pool("tcp://127.0.0.1:1")
    with pytest.raises(InputError, match="no scheduler answers"):
        cluster_pool("nonsense")
