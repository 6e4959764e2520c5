"""Files of a lesson that the page may show: only those of build/ and takes/ and the backing, never through a link.

Ranges: one `bytes=` range as in RFC 9110, 14; media players ask for nothing else.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partwright.studio.refusal import Refusal

if TYPE_CHECKING:
    from starlette.responses import Response

__all__ = ["LessonFile", "file_answer", "file_kind", "find_file"]

_FOLDERS = ("build", "takes", "editions")
_KINDS: Mapping[str, str] = {
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".html": "text/html; charset=utf-8",
    ".json": "application/json",
    ".md": "text/plain; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".toml": "text/plain; charset=utf-8",
    ".vtt": "text/vtt; charset=utf-8",
    ".srt": "text/plain; charset=utf-8",
    ".musicxml": "application/vnd.recordare.musicxml+xml",
    ".mid": "audio/midi",
    ".flac": "audio/flac",
    ".wav": "audio/wav",
    ".mp3": "audio/mpeg",
    ".m4a": "audio/mp4",
    ".aac": "audio/aac",
    ".ogg": "audio/ogg",
    ".opus": "audio/ogg",
    ".mp4": "video/mp4",
    ".m4v": "video/mp4",
    ".mov": "video/quicktime",
    ".webm": "video/webm",
    ".mkv": "video/x-matroska",
}
"""Media types by ending. Source: IANA media types registry; Matroska's from common practice."""

_SHOWN = frozenset({"application/pdf", "image/png", "application/json"})
_BOXED = (
    "sandbox allow-scripts allow-popups; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: 'self'; font-src data:; media-src 'self' data:; frame-ancestors 'self'; base-uri 'none'; "
    "form-action 'none'"
)
"""Pages the program made carry their script inside. They are shown as if from nowhere: no cookie, no way back here."""
_PLAIN = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; sandbox; frame-ancestors 'self'"
_RANGE = re.compile(r"bytes=(\d*)-(\d*)")
_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class LessonFile:
    """A file that may be shown, by its path within the lesson."""

    path: Path
    name: str
    bytes: int
    kind: str


def file_kind(name: str) -> str:
    """The media type that goes with a file's ending."""
    return _KINDS.get(Path(name).suffix.casefold(), "application/octet-stream")


def find_file(folder: Path, name: str) -> LessonFile:
    """A file of the lesson by its path within it. Raises Refusal for all that is no plain file where they are shown."""
    missing = Refusal("not_found", "there is no such file in this lesson")
    parts = name.split("/")
    if any(part in ("", ".", "..") or "\\" in part or "\x00" in part or part.startswith(".") for part in parts):
        raise missing
    inside = parts[0] in _FOLDERS and len(parts) > 1
    if parts[0] == "editions" and (len(parts) < 4 or not parts[1].isdigit() or parts[2] != "files"):
        raise missing
    if not inside and not (len(parts) == 1 and parts[0].startswith("backing.") and parts[0] != "backing."):
        raise missing
    path = folder
    for part in parts:
        path = path / part
        try:
            found = path.lstat()
        except (OSError, ValueError):
            raise missing from None
        if stat.S_ISLNK(found.st_mode):
            raise missing
    if not stat.S_ISREG(found.st_mode):
        raise missing
    return LessonFile(path, parts[-1], found.st_size, file_kind(name))


def file_answer(file: LessonFile, *, wanted: str | None, download: bool, head: bool = False) -> Response:
    """The answer that carries a file, or the part of it that `wanted` (a Range header) asks for."""
    from urllib.parse import quote

    from starlette.responses import Response, StreamingResponse

    first, last, status = _range(file.bytes, wanted)
    plain = file.kind.partition(";")[0]
    saved = download or plain == "application/octet-stream"
    policy = _BOXED if plain == "text/html" else "default-src 'none'" if plain == "application/pdf" else _PLAIN
    headers = {
        "accept-ranges": "bytes",
        "content-length": str(max(0, last - first + 1)),
        "content-disposition": f"{'attachment' if saved else 'inline'}; filename*=UTF-8''{quote(file.name, safe='')}",
        "content-security-policy": policy,
        "cache-control": "no-cache",
    }
    if status == 206:
        headers["content-range"] = f"bytes {first}-{last}/{file.bytes}"
    if head:
        return Response(status_code=status, headers=headers, media_type=file.kind)
    return StreamingResponse(_pieces(file.path, first, last), status_code=status, headers=headers, media_type=file.kind)


def _range(size: int, wanted: str | None) -> tuple[int, int, int]:
    """First and last byte, and the status. A range that is none is passed over, as the standard says."""
    whole = (0, size - 1, 200)
    found = _RANGE.fullmatch(wanted.strip()) if wanted is not None else None
    if found is None or not (found[1] or found[2]) or len(found[1]) > 18 or len(found[2]) > 18:
        return whole
    if not found[1]:
        length = min(int(found[2]), size)
        first, last = size - length, size - 1
        if length == 0:
            raise Refusal("range", "the file holds no such part")
    else:
        first, last = int(found[1]), min(int(found[2]) if found[2] else size - 1, size - 1)
        if found[2] and int(found[2]) < first:
            return whole
    if first >= size:
        raise Refusal("range", "the file holds no such part")
    return first, last, 206


async def _pieces(path: Path, first: int, last: int) -> AsyncIterator[bytes]:
    from anyio import to_thread

    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags)
    try:
        left = last - first + 1
        at = first
        while left > 0:
            piece = await to_thread.run_sync(os.pread, handle, min(_CHUNK, left), at)
            if not piece:
                break
            at += len(piece)
            left -= len(piece)
            yield piece
    finally:
        os.close(handle)
