"""Work that takes time: builds, checks, sounds, each in a process of its own that can be ended at any moment.

A worker is told what to do in one JSON line and tells how it goes in JSON lines; what it makes it writes whole or not
at all. One worker at a time; the others wait their turn. Units: seconds.
"""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from partwright.studio.addresses import file_url
from partwright.studio.events import Hub
from partwright.studio.refusal import Refusal

__all__ = ["Job", "Jobs"]

State = Literal["waiting", "running", "done", "failed", "cancelled"]
_MOST_WAITING = 20
_MOST_KEPT = 60
_MOST_SECONDS = 4 * 3600.0


@dataclass(slots=True)
class Job:
    """One piece of work. `order` is what the worker is told."""

    id: str
    lesson: str
    kind: str
    order: Mapping[str, Any]
    state: State = "waiting"
    words: str = "waits its turn"
    done: int = 0
    total: int = 0
    result: dict[str, Any] | None = None
    error: dict[str, Any] | None = None
    began: float | None = None
    ended: float | None = None
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def document(self) -> dict[str, Any]:
        """As the page gets it."""
        until = self.ended if self.ended is not None else time.monotonic()
        return {
            "id": self.id,
            "lesson": self.lesson,
            "kind": self.kind,
            "order": {key: value for key, value in self.order.items() if key not in ("kind", "folder")},
            "state": self.state,
            "words": self.words,
            "done": self.done,
            "total": self.total,
            "seconds": 0.0 if self.began is None else round(until - self.began, 2),
            "result": self._addressed(),
            "error": self.error,
        }

    def _addressed(self) -> dict[str, Any] | None:
        """The result, its files with the addresses the page finds them at."""
        result = self.result
        if result is None:
            return None
        if self.kind == "build":
            steps = [
                {**step, "files": [{"path": path, "url": file_url(self.lesson, path)} for path in step["files"]]}
                for step in result["steps"]
            ]
            return {**result, "steps": steps}
        return {**result, "url": file_url(self.lesson, result["path"])} if "path" in result else result


class Jobs:
    """The jobs of one run of the studio."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._jobs: dict[str, Job] = {}
        self._queue: deque[Job] = deque()
        self._lock = threading.Condition()
        self._closed = False
        self._thread: threading.Thread | None = None
        self._running: Job | None = None

    def start(self, lesson: str, folder: Path, order: Mapping[str, Any]) -> Job:
        """Begin a job, or join the one that does the same already."""
        full = {**order, "folder": str(folder)}
        with self._lock:
            for job in self._jobs.values():
                if job.order == full and job.state in ("waiting", "running"):
                    return job
            if len(self._queue) >= _MOST_WAITING:
                raise Refusal("too_many", "too much is waiting to be done", "Wait until something is finished.")
            job = Job(id=secrets.token_hex(8), lesson=lesson, kind=str(order["kind"]), order=full)
            self._jobs[job.id] = job
            self._queue.append(job)
            for old in [j.id for j in self._jobs.values() if j.ended is not None][
                : max(0, len(self._jobs) - _MOST_KEPT)
            ]:
                del self._jobs[old]
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="partwright jobs", daemon=True)
                self._thread.start()
            self._lock.notify_all()
        self._tell(job)
        return job

    def get(self, job_id: str) -> Job:
        """A job by its id. Raises Refusal for an unknown one."""
        with self._lock:
            if job_id not in self._jobs:
                raise Refusal("not_found", "there is no such job")
            return self._jobs[job_id]

    def all(self) -> tuple[Job, ...]:
        """Every job that is known, in the order they were begun."""
        with self._lock:
            return tuple(self._jobs.values())

    def builds(self, lesson: str) -> bool:
        """Whether a build or a release of this lesson is running: it holds the folder's lock."""
        job = self._running
        return job is not None and job.lesson == lesson and job.kind in ("build", "release")

    def cancel(self, job_id: str) -> Job:
        """End a job; what it has finished stays."""
        job = self.get(job_id)
        with self._lock:
            if job.state == "waiting":
                self._queue.remove(job)
                self._end(job, "cancelled", "cancelled before it began")
            elif job.state == "running":
                job.state = "cancelled"
                job.words = "being cancelled"
                if job.process is not None:
                    _end_all(job.process)
        self._tell(job)
        return job

    def close(self) -> None:
        """End everything."""
        with self._lock:
            self._closed = True
            self._queue.clear()
            running = self._running
            if running is not None and running.process is not None:
                _end_all(running.process)
            self._lock.notify_all()
        if self._thread is not None:
            self._thread.join(timeout=5.0)

    # ---------------------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        while True:
            with self._lock:
                while not self._queue and not self._closed:
                    self._lock.wait()
                if self._closed:
                    return
                job = self._queue.popleft()
                job.state, job.words, job.began = "running", "begins", time.monotonic()
                self._running = job
            self._tell(job)
            try:
                self._run(job)
            except OSError as error:
                reason = (error.strerror or str(error)).lower()
                self._end(job, "failed", "could not be begun", _error(f"The work could not be begun ({reason})."))
            finally:
                self._running = None
            self._tell(job)

    def _run(self, job: Job) -> None:
        environment = {key: value for key, value in os.environ.items() if not key.startswith("PARTWRIGHT_STUDIO")}
        process = subprocess.Popen(
            [sys.executable, "-m", "partwright.studio.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            start_new_session=True,  # so that what the worker begins ends with it
        )
        job.process = process
        assert process.stdin is not None and process.stdout is not None
        timer = threading.Timer(_MOST_SECONDS, _end_all, (process,))
        timer.daemon = True
        timer.start()
        try:
            with process.stdin as orders:
                orders.write((json.dumps(job.order) + "\n").encode("ascii"))
        except BrokenPipeError:
            pass
        for line in process.stdout:
            try:
                told = json.loads(line)
            except ValueError:
                continue
            if job.state == "running":
                self._hear(job, told)
        process.stdout.close()
        process.wait()
        timer.cancel()
        job.process = None
        if job.state == "cancelled":
            self._end(job, "cancelled", "cancelled; what was finished stays")
        elif job.ended is None:
            self._end(
                job, "failed", "ended without an answer", _error("The work ended without an answer. Try it again.")
            )

    def _hear(self, job: Job, told: Mapping[str, Any]) -> None:
        if "result" in told:
            job.result = told["result"]
            self._end(job, "done", str(told.get("words", "done")))
            return
        if "error" in told:
            self._end(job, "failed", str(told["error"].get("words", "failed")), told["error"])
            return
        job.words = str(told.get("words", job.words))
        job.done, job.total = int(told.get("done", job.done)), int(told.get("total", job.total))
        self._tell(job)

    @staticmethod
    def _end(job: Job, state: State, words: str, error: dict[str, Any] | None = None) -> None:
        job.state, job.words, job.error, job.ended = state, words, error, time.monotonic()
        if state == "done":
            job.done = job.total

    def _tell(self, job: Job) -> None:
        self._hub.tell("job", job.document(), lesson=job.lesson)
        if job.state == "done" and job.kind in ("check", "release"):
            self._hub.tell("takes", {}, lesson=job.lesson)


def _end_all(process: subprocess.Popen[bytes]) -> None:
    """End a worker and everything it began."""
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except (AttributeError, ProcessLookupError, PermissionError):
        process.kill()


def _error(words: str) -> dict[str, Any]:
    return {"code": "cannot", "words": words, "what": words, "todo": "", "place": {}}
