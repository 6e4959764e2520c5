"""The lesson's takes: which there are, of which kind, and taking a new one in. The kind is told by the content.

Signs by which files are known: EBML (RFC 8794), ISO base media `ftyp` (ISO/IEC 14496-12), RIFF, FLAC (RFC 9639), Ogg
(RFC 3533), ID3 and MPEG audio frames (ISO/IEC 11172-3), WebVTT (W3C).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from partwright.errors import InputError
from partwright.studio.files_io import file_kind, find_file
from partwright.studio.refusal import Refusal

__all__ = ["TAKES_FOLDER", "Kind", "free_name", "keep_take", "list_takes", "take_kind", "take_path"]

TAKES_FOLDER = "takes"
Kind = Literal["transcript", "sound", "film"]

_ENDINGS: Mapping[str, Kind] = {
    **dict.fromkeys((".vtt", ".srt", ".sbv", ".txt"), "transcript"),
    **dict.fromkeys((".wav", ".flac", ".mp3", ".m4a", ".aac", ".ogg", ".opus", ".aif", ".aiff", ".weba"), "sound"),
    **dict.fromkeys((".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".mts"), "film"),
}
_CLEAN = re.compile(r"[^\w .\-]+")


def take_kind(name: str) -> Kind:
    """The kind of a take by its ending. Raises Refusal for a file that is none."""
    kind = _ENDINGS.get(Path(name).suffix.casefold())
    if kind is None:
        raise Refusal("wrong_type", "this is neither a transcript nor a recording")
    return kind


def take_path(folder: Path, name: str) -> Path:
    """A take by its name. Raises Refusal where there is none."""
    if "/" in name:
        raise Refusal("not_found", "there is no such take")
    take_kind(name)
    return find_file(folder, f"{TAKES_FOLDER}/{name}").path


def list_takes(folder: Path) -> list[dict[str, Any]]:
    """Every take, by name; a transcript with the recording of the same name beside it."""
    home = folder / TAKES_FOLDER
    if home.is_symlink() or not home.is_dir():
        return []
    found = [
        path
        for path in sorted(home.iterdir(), key=lambda p: p.name.casefold())
        if path.suffix.casefold() in _ENDINGS
        and path.is_file()
        and not path.is_symlink()
        and not path.name.startswith(".")
    ]
    media = {path.stem: path.name for path in found if take_kind(path.name) != "transcript"}
    return [
        {
            "name": path.name,
            "kind": take_kind(path.name),
            "type": file_kind(path.name).partition(";")[0],
            "bytes": path.stat().st_size,
            "media_name": path.name if take_kind(path.name) != "transcript" else media.get(path.stem),
        }
        for path in found
    ]


def free_name(folder: Path, filename: str) -> str:
    """A name for a new take that nothing has yet: as it came, without what a file system might mind."""
    plain = Path(filename.replace("\\", "/")).name
    stem = _CLEAN.sub("-", Path(plain).stem).strip(" .-")[:80] or "take"
    suffix = Path(plain).suffix.casefold()
    take_kind(f"{stem}{suffix}")
    home = folder / TAKES_FOLDER
    number = 1
    name = f"{stem}{suffix}"
    while (home / name).exists() or (home / name).is_symlink():
        number += 1
        name = f"{stem}-{number}{suffix}"
    return name


def keep_take(folder: Path, temporary: Path, name: str) -> str:
    """Move a file that was taken in to takes/, if it is what its name says. Returns the name it got."""
    kind = take_kind(name)
    with temporary.open("rb") as stream:
        head = stream.read(4096)
    if kind == "transcript":
        _refuse_no_text(temporary, head)
    elif _media_of(head) is None:
        raise Refusal("wrong_type", f"{name[:80]} is no {kind} that is known", "Give it as it came from the recorder.")
    else:
        _refuse_unreadable(temporary, name)
    home = folder / TAKES_FOLDER
    if home.is_symlink():
        raise Refusal("cannot", "takes is a link out of the lesson", "Make it a folder.")
    home.mkdir(exist_ok=True)
    free = free_name(folder, name)
    temporary.chmod(0o644)
    temporary.rename(home / free)
    return free


def _refuse_no_text(path: Path, head: bytes) -> None:
    from partwright.checking.narration import read_transcript

    if b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refusal("wrong_type", "this is no text, so it is no transcript")
    try:
        read_transcript(path)
    except InputError as error:
        raise Refusal("wrong_type", f"this cannot be read as a transcript: it {error.what}", error.todo) from error


def _refuse_unreadable(path: Path, name: str) -> None:
    """Only what holds sound is kept: a header alone is no recording."""
    import av
    from av.error import FFmpegError

    try:
        with av.open(str(path), metadata_errors="replace") as container:
            if not container.streams.audio:
                raise Refusal("wrong_type", f"{name[:80]} holds no sound")
            container.streams.audio[0].codec_context  # noqa: B018 (asking for it opens it)
    except (FFmpegError, ValueError, OSError, EOFError) as error:
        raise Refusal("wrong_type", f"{name[:80]} cannot be read as a recording") from error


def _media_of(head: bytes) -> str | None:
    """What a file's first bytes say it is."""
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return "matroska"
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
        return "iso media"
    if head.startswith(b"RIFF") and head[8:12] in (b"WAVE", b"AVI "):
        return "riff"
    if head.startswith((b"RF64", b"BW64")):
        return "riff"
    if head.startswith(b"fLaC"):
        return "flac"
    if head.startswith(b"OggS"):
        return "ogg"
    if head.startswith(b"FORM") and head[8:12] in (b"AIFF", b"AIFC"):
        return "aiff"
    if head.startswith(b"ID3") or (len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0):
        return "mpeg audio"
    if head[:1] == b"G" and len(head) > 188 and head[188:189] == b"G":
        return "transport stream"
    if len(head) > 196 and head[4:5] == b"G" and head[196:197] == b"G":
        return "transport stream"
    return None
