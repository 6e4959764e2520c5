"""Building many lessons: each in a process of its own pool, or on a cluster, by one interface (`Executor`).

A lesson is the unit of work. What a killed worker had finished of it stays, whole files vouched for by the lesson's own
manifest; the lesson is given out again, and only what is missing is made. A lesson that ends its worker twice is tried
once more by itself, and if that worker ends too it is listed as failed; the others go on.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from partwright.errors import InputError, PartwrightError

__all__ = ["Built", "Pool", "build_many", "build_one", "cluster_pool", "local_pool"]

_TRIES = 2
_LOCK_WAIT_SECONDS = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """How one lesson went: `made` of `steps` products made anew, seconds by the clock and of the processor, one hash
    of everything in build/ (equal hashes: equal files), or the sentence that says why it failed."""

    folder: str
    made: int = 0
    steps: int = 0
    seconds: float = 0.0
    cpu_seconds: float = 0.0
    content: str = ""
    remarks: tuple[str, ...] = ()
    error: str = ""

    @property
    def ok(self) -> bool:
        return not self.error


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """Where work is done: how to open an executor, and how many lessons it works on at once."""

    opened: Callable[[], AbstractContextManager[Executor]]
    width: int


def build_many(
    folders: Sequence[Path],
    pool: Pool,
    *,
    only: Sequence[str] = (),
    told: Callable[[int, int, Built], None] | None = None,
) -> tuple[Built, ...]:
    """Build every lesson, in the order given as far as workers allow; the result is in that order.

    `told` is called with (how many are done, of how many, how the last one went). What is fresh takes no time, so a run
    that was stopped goes on where it was.
    """
    order = [os.fspath(folder.resolve()) for folder in folders]
    waiting = deque(dict.fromkeys(order))
    alone: deque[str] = deque()
    done: dict[str, Built] = {}
    ended: Counter[str] = Counter()
    total = len(waiting)

    def finish(built: Built) -> None:
        done[built.folder] = built
        if told is not None:
            told(len(done), total, built)

    while waiting or alone:
        width = pool.width if waiting else 1
        queue = waiting or alone
        running: dict[Future[dict[str, Any]], str] = {}
        lost: list[str] = []
        with pool.opened() as executor:
            broken = False
            while (queue and not broken) or running:
                while queue and not broken and len(running) < width:
                    folder = queue.popleft()
                    try:
                        running[executor.submit(build_one, folder, tuple(only))] = folder
                    except (BrokenExecutor, RuntimeError):
                        queue.appendleft(folder)
                        broken = True
                if not running:
                    break
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    folder = running.pop(future)
                    try:
                        finish(Built(**future.result()))
                    except (BrokenExecutor, CancelledError):
                        broken = True
                        lost.append(folder)
                    except Exception as fault:
                        if _worker_ended(fault):  # as a cluster says it, once it has tried elsewhere
                            lost.append(folder)
                        else:
                            finish(Built(folder=folder, error=f"{folder}: a fault of the program ({fault})."))
        for folder in lost:
            ended[folder] += 1
            if ended[folder] > _TRIES:
                what = "the process that built it ended, more than once; perhaps there is not enough memory"
                finish(Built(folder=folder, error=f"{folder}: {what}. Build it alone: partwright build {folder}"))
            elif ended[folder] == _TRIES:
                alone.append(folder)
            else:
                waiting.append(folder)
    return tuple(done[folder] for folder in dict.fromkeys(order))


def _worker_ended(fault: BaseException) -> bool:
    return type(fault).__name__ in ("KilledWorker", "CommClosedError", "FutureCancelledError")


def build_one(folder: str, only: tuple[str, ...] = ()) -> dict[str, Any]:
    """Build one lesson in this process; the fields of `Built` as plain values, so that any cluster can carry them.

    Whatever goes wrong is told in `error`, never raised: one bad lesson must not stop the others.
    """
    os.environ["PARTWRIGHT_PROCESSES"] = "1"  # the lessons are what is spread over the cores
    from partwright.building import build_lesson
    from partwright.building.manifest_io import read_manifest

    began, cpu = time.monotonic(), _cpu_seconds()
    path = Path(folder)
    result: dict[str, Any] = {"folder": folder}
    try:
        ran = _patiently(lambda: build_lesson(path, only=only))
        result["made"], result["steps"] = sum(step.made for step in ran), len(ran)
        result["remarks"] = tuple(text for step in ran if step.made for text in step.remarks)
        digest = hashlib.sha256()
        records = read_manifest(path / "build").steps
        for step in sorted(records):
            for name, value in sorted(records[step].files.items()):
                digest.update(f"{step}\0{name}\0{value}\n".encode())
        result["content"] = digest.hexdigest()
    except PartwrightError as error:
        result["error"] = str(error) if folder in str(error) else f"{folder}: {error}"
    except MemoryError:
        result["error"] = f"{folder}: there is not enough memory for it. Close other programs, or use fewer processes."
    except Exception as fault:
        result["error"] = f"{folder}: a fault of the program ({type(fault).__name__}: {str(fault)[:200]})."
    result["seconds"], result["cpu_seconds"] = time.monotonic() - began, _cpu_seconds() - cpu
    return result


def _patiently(build: Callable[[], Any]) -> Any:
    """A worker that was killed may hold the lesson's lock for a moment more."""
    from partwright.errors import LessonError

    until = time.monotonic() + _LOCK_WAIT_SECONDS
    while True:
        try:
            return build()
        except LessonError as error:
            if "is in use" not in error.what or time.monotonic() > until:
                raise
            time.sleep(0.2)


def _cpu_seconds() -> float:
    """Processor time of this process and its children; of those still at work where the system tells (Linux)."""
    times = os.times()
    total = times.user + times.system + times.children_user + times.children_system
    try:
        for children in Path("/proc/self/task").glob("*/children"):
            for child in children.read_text(encoding="ascii").split():
                fields = Path(f"/proc/{child}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
                total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        pass
    return total


def local_pool(processes: int | None = None) -> Pool:
    """Processes on this machine, as many as there are cores if no number is given."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    width = processes or (len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)

    @contextmanager
    def opened() -> Iterator[Executor]:
        # Fresh processes: a fork of one that runs threads may hang.
        with ProcessPoolExecutor(width, mp_context=get_context("spawn")) as executor:
            yield executor

    return Pool(opened=opened, width=width)


def cluster_pool(address: str) -> Pool:
    """The workers of a Dask cluster at this address. They must see the lessons under the same paths.

    Raises InputError where the extra is not installed or no scheduler answers.
    """
    try:
        import distributed
    except ImportError as error:
        todo = 'Install it: pip install "partwright[cluster]".'
        raise InputError("a cluster needs the optional part of the program", todo) from error
    connect: Any = distributed.Client
    try:
        client = connect(address, timeout="5s", set_as_default=False)
        width = sum(client.nthreads().values())
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"no scheduler answers at {address}", "Start one, or check the address.") from error
    if width == 0:
        client.close()
        raise InputError(f"the cluster at {address} has no workers", "Start some, then try again.")

    @contextmanager
    def opened() -> Iterator[Executor]:
        executor = client.get_executor(pure=False, retries=0)
        try:
            yield executor
        finally:
            executor.shutdown(wait=True)

    # Two for each thread, so that none waits for the next while the last result travels.
    return Pool(opened=opened, width=2 * width)
