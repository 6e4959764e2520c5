"""What a converter hands on: a MusicXML tree made once from another format, and what had to be assumed on the way."""

from __future__ import annotations

from dataclasses import dataclass

from lxml import etree

__all__ = ["Converted"]


@dataclass(frozen=True, slots=True)
class Converted:
    """`tree` is a score-partwise document; each remark is one sentence with its place."""

    tree: etree._ElementTree
    remarks: tuple[str, ...] = ()
