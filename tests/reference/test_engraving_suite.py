"""The open MusicXML test suite (see its SOURCE.md): every file that reads is drawn with all its notes, or refused.

Refused means: one sentence. The note count is compared inside the engraver; here it is counted again in the pages.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lxml import etree

from conftest import shared_folder
from partwright.engraving import engrave_part_svg, heading_from
from partwright.errors import PartwrightError
from partwright.score import Tune, read_tune

# Those with what the library drops, crowds or draws badly; the rest run with the wide tests.
SOME = (
    "01a",
    "03a",
    "12a",
    "21a",
    "22a",
    "22b",
    "23b",
    "24a",
    "31a",
    "32a",
    "32b",
    "33a",
    "42a",
    "43d",
    "45b",
    "46f",
    "61e",
)


def suite_files() -> list[Path]:
    try:
        folder = shared_folder() / "data" / "musicxml-suite" / "xmlFiles"
    except pytest.skip.Exception:
        return []
    return sorted(f for f in folder.iterdir() if f.suffix in (".xml", ".musicxml", ".mxl"))


def readable(file: Path) -> Tune | None:
    """The tune; of several voices the first one offered; None where our reader refuses the file."""
    try:
        return read_tune(file)
    except PartwrightError as error:
        offered = re.search(r"together: (\S+) \(", str(error))
    try:
        return read_tune(file, voice=offered[1]) if offered else None
    except PartwrightError:
        return None


def check(file: Path) -> None:
    tune = readable(file)
    if tune is None:
        return
    try:
        pages = engrave_part_svg(tune, (), heading=heading_from(tune))
    except PartwrightError as error:
        assert "\n" not in str(error) and str(error).endswith(".")
        return
    drawn = set()
    for page in pages:
        for group in etree.fromstring(page.encode()).iter("{*}g"):
            if group.get("class") == "note":
                drawn.add(group.get("id"))
    assert {note.id for note in tune.part.notes if note.id in drawn} or not tune.part.notes
    hidden = (
        len(re.findall(rb'print-object="no"|<notehead[^>]*>none', file.read_bytes())) if file.suffix != ".mxl" else 0
    )
    missing = {note.id for note in tune.part.notes} - drawn
    assert len(missing) <= hidden, missing


@pytest.mark.parametrize("file", [f for f in suite_files() if f.name.startswith(SOME)], ids=lambda f: f.stem)
def test_drawn_with_all_notes_or_refused(file: Path) -> None:
    check(file)


@pytest.mark.slow
@pytest.mark.parametrize("file", [f for f in suite_files() if not f.name.startswith(SOME)], ids=lambda f: f.stem)
def test_the_rest_drawn_with_all_notes_or_refused(file: Path) -> None:
    check(file)


@pytest.mark.slow
def test_few_are_refused() -> None:
    """At least nine in ten of the files that read are drawn."""
    tunes = [t for t in map(readable, suite_files()) if t is not None]
    if not tunes:
        pytest.skip("the open suite is not on this machine")
    drawn = 0
    for tune in tunes:
        try:
            drawn += bool(engrave_part_svg(tune, (), heading=heading_from(tune)))
        except PartwrightError:
            continue
    assert drawn >= 0.9 * len(tunes)
