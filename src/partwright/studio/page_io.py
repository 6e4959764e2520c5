"""The page's own files and the program's fonts: known by name from the start, so that nothing else can be asked for."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable

from partwright.engraving import SANS, SERIF, Face
from partwright.engraving.typefaces import font_path

__all__ = ["PAGE_KINDS", "PageFile", "page_files"]

PAGE_KINDS: Mapping[str, str] = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "mjs": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "json": "application/json",
    "webmanifest": "application/manifest+json",
    "woff2": "font/woff2",
    "otf": "font/otf",
    "ttf": "font/ttf",
    "png": "image/png",
}
"""Media types by ending. Source: IANA media types registry."""


_FACES: Mapping[str, Face] = {
    f"{short}{'-bold' if bold else ''}{'-italic' if italic else ''}": Face(family, bold, italic)
    for short, family in (("serif", SERIF), ("sans", SANS))
    for bold in (False, True)
    for italic in (False, True)
}


@dataclass(frozen=True, slots=True)
class PageFile:
    """One file to serve, its media type, and a tag that changes with its content."""

    content: bytes
    kind: str
    tag: str


def page_files() -> Mapping[str, PageFile]:
    """Every file of the page by its path on the server."""
    found: dict[str, PageFile] = {}
    root = resources.files("partwright.studio") / "page"
    if root.is_dir():
        _gather(root, "/page", found)
    if "/page/index.html" in found:
        found["/"] = found["/page/index.html"]
    for name, face in _FACES.items():
        found[f"/fonts/{name}.ttf"] = _file(font_path(face).read_bytes(), "ttf")
    return found


def _gather(folder: Traversable, path: str, found: dict[str, PageFile]) -> None:
    for item in folder.iterdir():
        ending = item.name.rpartition(".")[2]
        if item.name.startswith((".", "_")):
            continue
        if item.is_dir():
            _gather(item, f"{path}/{item.name}", found)
        elif ending in PAGE_KINDS:
            found[f"{path}/{item.name}"] = _file(item.read_bytes(), ending)


def _file(content: bytes, ending: str) -> PageFile:
    return PageFile(content, PAGE_KINDS[ending], f'"{hashlib.sha256(content).hexdigest()[:20]}"')
