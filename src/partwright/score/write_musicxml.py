"""A MusicXML tree to bytes and files."""

from __future__ import annotations

import io
from pathlib import Path

from lxml import etree

from partwright.files import write_atomic

__all__ = ["musicxml_bytes", "mxl_bytes", "write_musicxml"]

_CONTAINER = b"""<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>
  </rootfiles>
</container>
"""
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)  # so that the same score gives the same bytes


def musicxml_bytes(tree: etree._ElementTree) -> bytes:
    """UTF-8 text of the document with its declaration and document type, ending in a line break."""
    given = tree.docinfo.standalone
    standalone = "" if given is None else f' standalone="{"yes" if given else "no"}"'
    declaration = f'<?xml version="1.0" encoding="UTF-8"{standalone}?>\n'.encode()
    return declaration + etree.tostring(tree, encoding="UTF-8", xml_declaration=False).rstrip() + b"\n"


def mxl_bytes(tree: etree._ElementTree) -> bytes:
    """The document as a compressed .mxl archive (MusicXML 4.0, "Compressed .MXL files"); same tree, same bytes."""
    import zipfile  # slow to load, and most scores are written plain

    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(zipfile.ZipInfo("mimetype", _FIXED_DATE), b"application/vnd.recordare.musicxml")
        for name, data in (("META-INF/container.xml", _CONTAINER), ("score.musicxml", musicxml_bytes(tree))):
            info = zipfile.ZipInfo(name, _FIXED_DATE)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, data)
    return buffer.getvalue()


def write_musicxml(tree: etree._ElementTree, path: Path | str) -> None:
    """Write to `path`, compressed if it ends in .mxl. Raises OutputError, leaving what was there, if it cannot."""
    path = Path(path)
    write_atomic(path, mxl_bytes(tree) if path.suffix.casefold() == ".mxl" else musicxml_bytes(tree))
