"""Taking in a file: piece by piece to disk, never more than allowed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from partwright.studio.refusal import Refusal

if TYPE_CHECKING:
    from starlette.requests import Request

__all__ = ["received"]


async def received(request: Request, path: Path, *, limit: int) -> int:
    """Write the request's body to a new file; returns its size in bytes. Refuses an empty or too large one."""
    from anyio import to_thread

    taken = 0
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        async for piece in request.stream():
            taken += len(piece)
            if taken > limit:
                raise Refusal("too_large", "the file is too large", f"The limit is {limit // 1_000_000} MB.")
            if piece:
                await to_thread.run_sync(_write_all, handle, piece)
        await to_thread.run_sync(os.fsync, handle)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise Refusal("cannot", f"the file cannot be kept ({reason})", "Free some space.") from error
    finally:
        os.close(handle)
    if not taken:
        raise Refusal("bad_request", "the file is empty")
    return taken


def _write_all(handle: int, piece: bytes) -> None:
    view = memoryview(piece)
    while view:
        view = view[os.write(handle, view) :]
