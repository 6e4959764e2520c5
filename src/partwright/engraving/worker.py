"""Asking the engraving library for a drawing without being taken down by it.

The library runs in a process of its own (see `verovio_worker`) with limits on memory, processor time and wall time.
A crash, a limit or a missing note becomes one EngravingError; the next request gets a new process.
Units: seconds, megabytes; the drawing is SVG in the library's inner units (hundredths of a millimetre here).
"""

from __future__ import annotations

import atexit
import json
import os
import selectors
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from partwright.engraving import verovio_worker
from partwright.engraving.typefaces import library_data, text_metrics_xml
from partwright.errors import EngravingError

__all__ = ["EngravingProcess", "Limits", "shared_process"]

ID_SEED = 7
"""Fixed, so that the same tune gives the same bytes."""

_REQUESTS_PER_PROCESS = 500  # then a new one, so that nothing the library leaks can grow


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one drawing may use."""

    memory_mb: int = 1500
    cpu_seconds: int = 60
    wall_seconds: float = 120.0


class EngravingProcess:
    """A process that draws, kept for many drawings; started at the first, replaced after a crash. Thread-safe.

    Usable as a context manager; closed at the interpreter's end otherwise.
    """

    def __init__(self, limits: Limits = Limits()) -> None:
        self._limits = limits
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._owner = 0
        self._served = 0

    def __enter__(self) -> EngravingProcess:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def draw(self, musicxml: bytes, options: Mapping[str, object]) -> tuple[str, ...]:
        """One SVG per library page. Raises EngravingError; whatever happens, this process survives."""
        with self._lock:
            if self._owner != os.getpid():  # a fork must not talk into its parent's pipes
                self._process, self._folder = None, None
            if self._process is None or self._process.poll() is not None or self._served >= _REQUESTS_PER_PROCESS:
                self._restart()
            self._served += 1
            head = json.dumps(
                {"options": {"xmlIdSeed": ID_SEED, **options}, "cpu_seconds": self._limits.cpu_seconds}
            ).encode()
            request = b"".join(struct.pack(">I", len(body)) + body for body in (head, musicxml))
            try:
                frames = self._exchange(request)
            except _Gone as gone:
                why = self._stop(gone.reason)
                raise EngravingError(
                    f"the engraver cannot draw this tune ({why})",
                    "Check the tune with `check score`, or engrave fewer bars at a time.",
                ) from None
        answer = json.loads(frames[0])
        if not answer["ok"]:
            raise EngravingError(
                f"the engraver cannot draw this tune ({answer['why']})", "Check the tune with `check score`."
            )
        return tuple(frame.decode("utf-8") for frame in frames[1:])

    def close(self) -> None:
        """End the process and remove its folder."""
        with self._lock:
            if self._owner == os.getpid():
                self._stop("")

    # ---------------------------------------------------------------------------------------------------------------

    def _restart(self) -> None:
        self._stop("")
        self._folder = tempfile.TemporaryDirectory(prefix="partwright-engraving-")
        resources = _resource_folder(Path(self._folder.name))
        script = Path(verovio_worker.__file__)
        environment = {key: value for key, value in os.environ.items() if key in ("PATH", "LD_LIBRARY_PATH", "TMPDIR")}
        self._process = subprocess.Popen(
            [sys.executable, "-I", str(script), str(resources), str(self._limits.memory_mb)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**environment, "LC_ALL": "C.UTF-8"},
            bufsize=0,
        )
        self._owner = os.getpid()
        self._served = 0

    def _stop(self, reason: str) -> str:
        """End the process if there is one; returns the reason in words."""
        process, self._process = self._process, None
        if process is not None:
            if reason != "crash":
                process.kill()
            try:
                code = process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                code = process.wait()
            for stream in (process.stdin, process.stdout):
                if stream is not None:
                    stream.close()
            if reason == "crash":
                reason = _crash_words(code)
        folder, self._folder = self._folder, None
        if folder is not None:
            folder.cleanup()
        return reason

    def _exchange(self, request: bytes) -> list[bytes]:
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        deadline = time.monotonic() + self._limits.wall_seconds
        to_write, received = memoryview(request), bytearray()
        frames: list[bytes] = []
        expected = 1
        os.set_blocking(process.stdin.fileno(), False)
        os.set_blocking(process.stdout.fileno(), False)
        with selectors.DefaultSelector() as selector:
            selector.register(process.stdin, selectors.EVENT_WRITE)
            selector.register(process.stdout, selectors.EVENT_READ)
            while len(frames) < expected:
                left = deadline - time.monotonic()
                if left <= 0:
                    raise _Gone(f"it took longer than {self._limits.wall_seconds:g} seconds")
                for key, _ in selector.select(left):
                    if key.fileobj is process.stdin:
                        try:
                            written = os.write(process.stdin.fileno(), to_write[: 1 << 16])
                        except BrokenPipeError:
                            raise _Gone("crash") from None
                        to_write = to_write[written:]
                        if not to_write:
                            selector.unregister(process.stdin)
                        continue
                    chunk = os.read(process.stdout.fileno(), 1 << 20)
                    if not chunk:
                        raise _Gone("crash")
                    received += chunk
                    while len(received) >= 4 and len(frames) < expected:
                        (size,) = struct.unpack(">I", received[:4])
                        if len(received) < 4 + size:
                            break
                        frames.append(bytes(received[4 : 4 + size]))
                        del received[: 4 + size]
                        if len(frames) == 1:
                            expected = 1 + int(json.loads(frames[0])["pages"])
        return frames


class _Gone(Exception):
    """The process ended or had to be ended."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


_SIGNALS = {
    6: "it gave up",
    8: "it failed on impossible numbers",
    9: "it used too much time or memory",
    11: "it failed on impossible numbers",
    24: "it used too much processor time",
}


def _crash_words(code: int) -> str:
    return _SIGNALS.get(-code, "it stopped without an answer") if code < 0 else "it stopped without an answer"


def _resource_folder(folder: Path) -> Path:
    """The library's data with our text face's metrics in place of its own, so that words get the room they need."""
    data = library_data()
    target = folder / "data"
    target.mkdir()
    for item in data.iterdir():
        if item.name != "text":
            (target / item.name).symlink_to(item)
    text = target / "text"
    text.mkdir()
    for name, bold, italic in (
        ("Times", False, False),
        ("Times-bold", True, False),
        ("Times-italic", False, True),
        ("Times-bold-italic", True, True),
    ):
        (text / f"{name}.xml").write_text(text_metrics_xml(bold=bold, italic=italic), encoding="utf-8")
    return target


_shared: EngravingProcess | None = None
_shared_lock = threading.Lock()


def shared_process() -> EngravingProcess:
    """The one process all drawings of this run share unless they bring their own."""
    global _shared
    with _shared_lock:
        if _shared is None:
            _shared = EngravingProcess()
            atexit.register(_shared.close)
        return _shared
