"""Bytes to an XML tree, safely: no network, no external files, no entities, bounded memory.

Measured: the parser needs about 14 bytes of memory for each byte of MusicXML, so the size is capped before parsing.
"""

from __future__ import annotations

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.lines import line_of

__all__ = ["MAX_XML_BYTES", "parse_xml"]

MAX_XML_BYTES = 20 * 1024 * 1024
"""Largest MusicXML text read: about 60,000 written notes with all their trimmings."""


def parse_xml(data: bytes, *, file: str) -> etree._ElementTree:
    """The tree of an XML document. Raises ScoreError naming file and line for anything else.

    Entities of the document's own are refused, not expanded: MusicXML has no use for them, and they are how a small
    file grows huge or reads other files.
    """
    if len(data) > MAX_XML_BYTES:
        raise too_large(len(data), file=file)
    if not data.strip():
        raise ScoreError("the file is empty", "Export the tune again.", place=Place(file=file))
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False, huge_tree=False
    )
    try:
        tree = etree.fromstring(data, parser).getroottree()
    except etree.XMLSyntaxError as error:
        raise _syntax(error, data, file) from error
    except (OSError, ValueError, LookupError) as error:  # lxml raises OSError for some bad encodings
        raise ScoreError(
            "the text does not match its declared encoding", "Save it as UTF-8.", place=Place(file=file)
        ) from error
    _refuse_entities(tree, file)
    return tree


def too_large(size_bytes: int, *, file: str) -> ScoreError:
    """The one sentence for a file over the cap."""
    read_mb = MAX_XML_BYTES // 1024 // 1024
    return ScoreError(
        f"the file holds {size_bytes / 1024 / 1024:.0f} MB of notation, more than the {read_mb} MB read",
        "Export one part or movement at a time.",
        place=Place(file=file),
    )


def _syntax(error: etree.XMLSyntaxError, data: bytes, file: str) -> ScoreError:
    line = error.position[0] if error.position else None
    message = _short(str(error.msg).split(", line ")[0])
    lowered = message.casefold()
    place = Place(file=file, line=line)
    if "encoding" in lowered or "bytes" in lowered:
        return ScoreError(
            f"the text does not match its declared encoding ({message})", "Save it as UTF-8.", place=place
        )
    if "premature end" in lowered or "end of file" in lowered:
        return ScoreError("the file breaks off before its end", "Export or copy it again.", place=place)
    if "excessive depth" in lowered:
        return ScoreError("elements are nested too deep for a score", "Export the tune again.", place=place)
    if "entity" in lowered:
        return ScoreError(
            f"the file uses an entity that is not allowed ({message})",
            "Export it again as plain MusicXML.",
            place=place,
        )
    if not data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"<", b"\xff\xfe", b"\xfe\xff")):
        return ScoreError("this is not XML", "Give a MusicXML, MIDI or ABC file.", place=place)
    return ScoreError(f"this is not well-formed XML ({message})", "Export the tune again.", place=place)


def _short(message: str) -> str:
    """The parser quotes the file, line breaks and all: keep one short line."""
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in message).split())
    return line if len(line) <= 100 else line[:99] + "…"


def _refuse_entities(tree: etree._ElementTree, file: str) -> None:
    dtd = tree.docinfo.internalDTD
    declared = next(iter(dtd.iterentities()), None) if dtd is not None else None  # type: ignore[attr-defined] # stubs lack it
    used = next(tree.iter(etree.Entity), None)
    if declared is None and used is None:
        return
    raise ScoreError(
        "the file declares or uses entities of its own, which are never expanded",
        "Export it again as plain MusicXML.",
        place=Place(file=file, line=line_of(used) if used is not None else None),
    )
