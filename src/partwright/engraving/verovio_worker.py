"""The engraving library in a process of its own: one request, one drawing, until the pipe closes.

Run as a script, so that it loads nothing but the library. Why a process: on odd input the library aborts, faults,
or never ends; whatever happens here, the caller only sees a pipe that closed.

Frames on both pipes: 4 bytes length (big-endian), then that many bytes.
Request: one JSON frame {"options": {...}, "cpu_seconds": int}, then the MusicXML as one frame.
Answer: one JSON frame {"ok": bool, "why": str, "pages": int}, then each page's SVG as one frame.
Units: options as the library has them (tenths of a millimetre at scale 100).
"""

from __future__ import annotations

import json
import os
import resource
import struct
import sys
from typing import IO

__all__: list[str] = []

_LARGEST_FRAME = 256 * 1024 * 1024


def read_frame(stream: IO[bytes]) -> bytes | None:
    """The next frame, or None at the end of the pipe."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    (size,) = struct.unpack(">I", head)
    if size > _LARGEST_FRAME:
        return None
    body = stream.read(size)
    return body if len(body) == size else None


def write_frame(stream: IO[bytes], body: bytes) -> None:
    """Write one frame; the caller flushes."""
    stream.write(struct.pack(">I", len(body)))
    stream.write(body)


def _limit_memory(megabytes: int) -> None:
    size = megabytes * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (size, size))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _limit_processor(seconds: int) -> None:
    # The limit counts from the process's start, so each request moves it on from what is already spent.
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime) + max(1, seconds) + 1
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def _draw(musicxml: bytes, options: dict[str, object], resources: str) -> tuple[str, list[str]]:
    import verovio

    toolkit = verovio.toolkit(False)  # a fresh one each time: ids then depend on the input and the seed alone
    toolkit.setResourcePath(resources)
    toolkit.setOptions(options)
    if not toolkit.loadData(musicxml.decode("utf-8")):
        return "it could not read the music", []
    return "", [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]


def main() -> None:
    """Serve requests from standard input until it closes. Arguments: resource folder, memory limit in MB."""
    resources, megabytes = sys.argv[1], int(sys.argv[2])
    requests = os.fdopen(os.dup(0), "rb")
    answers = os.fdopen(os.dup(1), "wb")
    # The library may print; nothing of that may get between the frames.
    quiet = os.open(os.devnull, os.O_RDWR)
    for descriptor in (0, 1, 2):
        os.dup2(quiet, descriptor)
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    _limit_memory(megabytes)
    while True:
        head = read_frame(requests)
        music = read_frame(requests) if head is not None else None
        if head is None or music is None:
            return
        request = json.loads(head)
        _limit_processor(int(request["cpu_seconds"]))
        try:
            why, pages = _draw(music, request["options"], resources)
        except MemoryError:
            why, pages = "it ran out of memory", []
        except Exception as error:
            why, pages = f"it gave up ({type(error).__name__})", []
        write_frame(answers, json.dumps({"ok": not why, "why": why, "pages": len(pages)}).encode())
        for page in pages:
            write_frame(answers, page.encode("utf-8"))
        answers.flush()


if __name__ == "__main__":
    main()
