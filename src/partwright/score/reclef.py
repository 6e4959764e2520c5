"""The same music in other clefs: a copy of a tune's document, for a reader who does not read its own."""

from __future__ import annotations

import copy
from collections.abc import Sequence

from lxml import etree

from partwright.score.measures import score_parts
from partwright.score.musicxml_elements import CLEFS, write_clef
from partwright.score.tune import Tune

__all__ = ["in_clefs"]

# What stands behind the clef within <attributes>. Source: MusicXML 4.0, the content model of that element.
_BEHIND_CLEF = frozenset({"staff-details", "transpose", "for-part", "directive", "measure-style"})


def in_clefs(tune: Tune, clefs: Sequence[str]) -> etree._ElementTree:
    """A copy of the tune's document whose part, on one staff, is written in these clefs: one for every bar.

    Clefs of the source are taken out, those within bars too; sounding pitches stay. Raises ValueError for a clef that
    has no name in `CLEFS` and where there are not as many clefs as bars.
    """
    if unknown := set(clefs) - set(CLEFS):
        raise ValueError(f"no clef is called {sorted(unknown)[0]!r}")
    tree = copy.deepcopy(tune.document)
    measures = score_parts(tree.getroot())[tune.part_index].measures
    before = ""
    for measure, clef in zip(measures, clefs, strict=True):
        for attributes in list(measure.content.iterchildren("attributes")):
            for old in attributes.findall("clef"):
                attributes.remove(old)
            if not len(attributes):
                measure.content.remove(attributes)
        if clef != before:
            _put(measure.content, clef)
            before = clef
    return tree


def _put(content: etree._Element, clef: str) -> None:
    """A clef at the beginning of a bar, in the <attributes> that stand before its first note where there are some."""
    attributes = None
    for child in content:
        if child.tag in ("note", "backup", "forward"):
            break
        if child.tag == "attributes":
            attributes = child
    if attributes is None:
        attributes = etree.Element("attributes")
        content.insert(0, attributes)
    written = etree.Element("attributes")
    write_clef(written, clef)
    place = next((k for k, child in enumerate(attributes) if child.tag in _BEHIND_CLEF), len(attributes))
    attributes.insert(place, written[0])
