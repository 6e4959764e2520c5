"""The score inside a compressed MusicXML file (.mxl), read in memory; nothing is ever unpacked to disk.

Source of the layout: MusicXML 4.0, "Compressed .MXL files": META-INF/container.xml names the root file.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass

from partwright.errors import Place, ScoreError
from partwright.score.safe_xml import MAX_XML_BYTES, parse_xml, too_large

__all__ = ["MxlScore", "is_zip", "open_mxl"]

_CONTAINER = "META-INF/container.xml"
_MAX_CONTAINER_BYTES = 64 * 1024
_MAX_MEMBERS = 1000
_MAX_RATIO = 250  # real scores shrink about 10 to 50 times; a bomb of blanks about 1000 times
_RATIO_FREE_BYTES = 1024 * 1024  # below this size the ratio does not matter
_BAD_ZIP = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    NotImplementedError,
    RuntimeError,
    EOFError,
    OSError,
    ValueError,
    OverflowError,
    KeyError,
    IndexError,
)


@dataclass(frozen=True, slots=True)
class MxlScore:
    """The root file's bytes and its name in the archive."""

    data: bytes
    member: str


def is_zip(data: bytes) -> bool:
    """Whether the bytes begin like a zip archive."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def open_mxl(data: bytes, *, file: str) -> MxlScore:
    """The score in an .mxl archive. Raises ScoreError for a broken, hostile or empty one."""
    place = Place(file=file)
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except _BAD_ZIP as error:
        raise _broken(place) from error
    with archive:
        members = archive.infolist()
        if len(members) > _MAX_MEMBERS:
            raise ScoreError(
                f"the archive holds {len(members)} files, more than the {_MAX_MEMBERS} read",
                "Export the score again.",
                place=place,
            )
        for member in members:
            _refuse_odd_name(member.filename, place)
        name = _root_name(archive, file)
        score = _read_member(archive, name, MAX_XML_BYTES, place)
    if is_zip(score):
        raise ScoreError("the archive holds another archive where the score should be", "Unpack it.", place=place)
    return MxlScore(score, name)


def _root_name(archive: zipfile.ZipFile, file: str) -> str:
    names = archive.namelist()
    if _CONTAINER not in names:
        scores = [n for n in names if "/" not in n and n.casefold().endswith((".xml", ".musicxml"))]
        if len(scores) == 1:
            return scores[0]
        raise ScoreError(
            f"the archive has no {_CONTAINER} to say which file is the score",
            "Export it again as .musicxml.",
            place=Place(file=file),
        )
    container_place = Place(file=f"{file} ({_CONTAINER})")
    tree = parse_xml(
        _read_member(archive, _CONTAINER, _MAX_CONTAINER_BYTES, container_place), file=str(container_place)
    )
    for element in tree.iter("{*}rootfile"):
        path = element.get("full-path", "")
        kind = element.get("media-type", "")
        if kind not in ("", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml", "text/xml"):
            continue
        _refuse_odd_name(path, Place(file=file))
        if path in names:
            return path
        raise ScoreError(
            f"the archive names {path!r} as its score but does not hold it",
            "Export the score again.",
            place=Place(file=file),
        )
    raise ScoreError(f"{_CONTAINER} names no score", "Export it again as .musicxml.", place=Place(file=file))


def _read_member(archive: zipfile.ZipFile, name: str, limit_bytes: int, place: Place) -> bytes:
    try:
        info = archive.getinfo(name)
        if info.flag_bits & 0x1:
            raise ScoreError("the archive is locked with a password", "Export it without one.", place=place)
        if info.file_size > limit_bytes:
            raise too_large(info.file_size, file=place.file or "")
        if info.file_size > _RATIO_FREE_BYTES and info.file_size > _MAX_RATIO * max(info.compress_size, 1):
            raise ScoreError(
                "the archive swells more than any score would when unpacked", "Export the score again.", place=place
            )
        with archive.open(info) as stream:
            data = stream.read(limit_bytes + 1)  # what is really there counts, not what the archive declares
    except _BAD_ZIP as error:
        raise _broken(place) from error
    if len(data) > limit_bytes:
        raise too_large(len(data), file=place.file or "")
    return data


def _refuse_odd_name(name: str, place: Place) -> None:
    parts = name.replace("\\", "/").split("/")
    if name.startswith(("/", "\\")) or ".." in parts or ":" in parts[0]:
        raise ScoreError(
            f"the archive holds a path that leads out of it ({name[:80]!r})", "Export the score again.", place=place
        )


def _broken(place: Place) -> ScoreError:
    return ScoreError("the .mxl archive is damaged or cut short", "Export or copy it again.", place=place)
