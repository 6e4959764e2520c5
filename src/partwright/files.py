"""Writing a file so that a kill at any moment leaves either the old one or the new one, whole.

Method: a temporary file beside the target, flushed to disk (fsync), then renamed over it, then the folder flushed.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from partwright.errors import OutputError, Place

__all__ = ["content_hash", "file_hash", "flush_folder", "path_atomic", "write_atomic", "writing_atomic"]


def write_atomic(path: Path, data: bytes | str) -> None:
    """Write `data` to `path`; text as UTF-8. Raises OutputError, leaving what was there, if it cannot."""
    payload = data.encode("utf-8") if isinstance(data, str) else data
    with writing_atomic(path) as stream:
        stream.write(payload)


@contextmanager
def writing_atomic(path: Path) -> Iterator[BinaryIO]:
    """A stream whose content becomes `path` when the block ends, for what is too long to hold in memory.

    Whatever goes wrong inside leaves what was there. Raises OutputError where the file cannot be written.
    """
    with path_atomic(path) as temporary, temporary.open("w+b") as stream:
        yield stream


@contextmanager
def path_atomic(path: Path) -> Iterator[Path]:
    """A name beside `path` for a library that must open its file itself; it becomes `path` when the block ends.

    Whatever goes wrong inside leaves what was there. Raises OutputError where the file cannot be written.
    """
    temporary: Path | None = None
    try:
        handle, name = _open_beside(path)
        temporary = Path(name)
        os.close(handle)
        yield temporary
        with temporary.open("r+b") as stream:
            os.fsync(stream.fileno())
        temporary.chmod(_permissions(path))
        temporary.replace(path)
        temporary = None
        flush_folder(path.parent)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(
            f"cannot be written ({reason.lower()})",
            "Choose another place or free some space; nothing was changed.",
            place=Place(file=str(path)),
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def file_hash(path: Path) -> str:
    """`content_hash` of a file's bytes, read in pieces. Raises OSError where it cannot be read."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        digest.update(os.fstat(stream.fileno()).st_size.to_bytes(8, "big"))
        while piece := stream.read(1 << 20):
            digest.update(piece)
    return digest.hexdigest()


def content_hash(*chunks: bytes | str) -> str:
    """SHA-256 over the chunks, each preceded by its length so that boundaries count. 64 hex digits."""
    digest = hashlib.sha256()
    for chunk in chunks:
        payload = chunk.encode("utf-8") if isinstance(chunk, str) else chunk
        digest.update(len(payload).to_bytes(8, "big"))
        digest.update(payload)
    return digest.hexdigest()


def _open_beside(path: Path) -> tuple[int, str]:
    """A new file beside `path` that no one else has; by hand, as `tempfile` alone takes longer to load than we do."""
    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    for attempt in range(10_000):
        name = str(path.parent / f".{path.name}.{os.getpid()}-{attempt}.part")
        try:
            return os.open(name, flags, 0o600), name
        except FileExistsError:
            continue
    raise FileExistsError(f"no free name beside {path}")


def _permissions(path: Path) -> int:
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def flush_folder(folder: Path) -> None:
    """Bring to disk which names a folder holds; nothing where the system does that by itself. Raises OSError."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
