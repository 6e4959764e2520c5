"""One lesson folder, one writer at a time. The lock is the system's: it is let go even when we are killed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from partwright.errors import LessonError, OutputError, Place

__all__ = ["LOCK_FILE", "folder_lock"]

LOCK_FILE = ".partwright.lock"


@contextmanager
def folder_lock(folder: Path, *, wait_seconds: float = 0.0) -> Iterator[None]:
    """Hold the folder for writing. Raises LessonError if another process holds it for longer than `wait_seconds`."""
    from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK_FILE)
    try:
        lock.acquire(timeout=wait_seconds)
    except Timeout as error:
        raise LessonError(
            "is in use by another partwright", "Wait until it is done, then try again.", place=Place(file=str(folder))
        ) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be written ({reason})", "Check the folder's permissions.", place=Place(file=str(folder))
        ) from error
    try:
        yield
    finally:
        lock.release()
