"""Bars as print has them: several bars of rest as one sign with a number, a bar longer than a line cut in pieces.

Common practice in printed parts (no source). A cut has no bar line of its own, stands between two beams, and never
inside a tuplet or a chord; notes before the beat stay with their note.
Shapes: MusicXML measure elements of a render copy; pieces of "bar-5" are "bar-5", "bar-5.2", "bar-5.3" …
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from lxml import etree

__all__ = ["cut_long_bars", "is_jump", "join_rest_bars", "jumps_first"]

_LONGEST = 40  # beginnings of notes in one bar: more do not stand side by side in one line
_PIECE = 12  # beginnings in one piece, so that lines come out evenly full
_FEWEST_RESTS = 2
_JUMP = re.compile(r"\s*(?:d\. ?[cs]\.|da capo|dal segno|fine\b|to coda)", re.IGNORECASE)


def is_jump(text: str) -> bool:
    """Whether words say where to go on, which a player reads at the end of the bar.

    >>> is_jump("D.C. al Fine"), is_jump("To Coda"), is_jump("Finely")
    (True, True, False)
    """
    return _JUMP.match(text) is not None


def jumps_first(measure: Any) -> None:
    """Jumps go to the start of their bar: behind its last note the engraving library would make room beyond the line.

    Placing moves them to the bar line.
    """
    first = next((child for child in measure if child.tag == "note"), None)
    if first is None:
        return
    for direction in measure.findall("direction"):
        if is_jump(" ".join(words.text or "" for words in direction.iter("words"))):
            first.addprevious(direction)


def join_rest_bars(measures: Sequence[Any]) -> list[Any]:
    """Runs of empty bars become one bar with a multi-bar rest, the other bars stay; rests the source joined stay so.

    Only bars of nothing but a whole bar's rest are joined; a double bar, a repeat, words, a fermata or a new metre
    keep their own bar.
    """
    if any(True for measure in measures for _ in measure.iter("multiple-rest")):
        return list(measures)
    made: list[Any] = []
    run: list[Any] = []
    for measure in measures:
        if run and _is_bare(measure):
            run.append(measure)
            continue
        made += _joined(run)
        run = []
        if _opens_rests(measure):
            run = [measure]
        else:
            made.append(measure)
    return made + _joined(run)


def _joined(run: list[Any]) -> list[Any]:
    if len(run) < _FEWEST_RESTS:
        return run
    first = run[0]
    # The engraving library draws the first bar of so many and passes over the others, which must be there.
    attributes = etree.Element("attributes")
    style = etree.SubElement(attributes, "measure-style")
    etree.SubElement(style, "multiple-rest").text = str(len(run))
    first.insert(next(i for i, child in enumerate(first) if child.tag == "note"), attributes)
    return run


def _is_bare(measure: Any) -> bool:
    """Whether a bar is a rest of a whole bar and nothing else."""
    notes = [child for child in measure if child.tag == "note"]
    return len(notes) == len(measure) == 1 and measure.get("implicit") != "yes" and _is_bar_rest(notes[0])


def _opens_rests(measure: Any) -> bool:
    """A bare bar, or one with a new key, metre, clef, words or bar line at its beginning."""
    *before, last = list(measure) or [measure]
    at_start = all(child.tag in ("attributes", "direction", "harmony") or _is_left(child) for child in before)
    return at_start and last.tag == "note" and measure.get("implicit") != "yes" and _is_bar_rest(last)


def _is_left(child: Any) -> bool:
    return bool(child.tag == "barline" and child.get("location") == "left")


def _is_bar_rest(note: Any) -> bool:
    rest = note.find("rest")
    plain = all(child.tag in ("rest", "duration", "voice", "type", "dot", "staff") for child in note)
    whole = rest is not None and (
        rest.get("measure") == "yes" or (note.findtext("type") in (None, "whole") and note.find("dot") is None)
    )
    return plain and whole and note.get("print-object") != "no"


def cut_long_bars(measures: Sequence[Any]) -> list[Any]:
    """Bars that would not fit into a line in pieces, the others as they are. A bar of several voices stays whole."""
    made: list[Any] = []
    for measure in measures:
        cuts = _cuts(measure)
        made += _pieces(measure, cuts) if cuts else [measure]
    return made


def _cuts(measure: Any) -> list[int]:
    """Indices of the children that begin a new piece."""
    if measure.find("backup") is not None or measure.find("forward") is not None:
        return []
    places = list(_places(measure))
    if not places or places[-1][1] <= _LONGEST:
        return []
    count = places[-1][1]
    wanted = -(-count // _PIECE)
    cuts: list[int] = []
    for k in range(1, wanted):
        free = [(abs(begun - k * count / wanted), index) for index, begun, good in places if good and 0 < begun < count]
        if free and (best := min(free)[1]) not in cuts:
            cuts.append(best)
    return sorted(cuts)


def _places(measure: Any) -> Iterator[tuple[int, int, bool]]:
    """For every place between two children: the index after it, how many notes have begun, may the bar be cut there.

    The last one is the end of the bar.
    """
    begun = 0
    beamed = tuplets = 0
    grace = False
    for index, child in enumerate(measure):
        note = child.tag == "note"
        chord = note and child.find("chord") is not None
        yield index, begun, not (beamed or tuplets or grace or chord)
        if not note or chord:
            continue
        grace = child.find("grace") is not None
        begun += not grace
        for beam in child.iterfind("beam[@number='1']"):
            beamed = 0 if (beam.text or "").strip() == "end" else 1
        for tuplet in child.iterfind("notations/tuplet"):
            tuplets = max(0, tuplets + (1 if tuplet.get("type") == "start" else -1))
    yield len(measure), begun, True


def _pieces(measure: Any, cuts: Sequence[int]) -> list[Any]:
    children = list(measure)
    edges = [0, *cuts, len(children)]
    made = []
    for k, (start, end) in enumerate(pairwise(edges)):
        piece = measure if k == 0 else etree.Element("measure", dict(measure.attrib))
        if k:
            piece.set("id", f"{measure.get('id')}.{k + 1}")
            piece.set("implicit", "yes")
            piece.extend(children[start:end])
        made.append(piece)
    for piece in made[:-1]:
        line = etree.SubElement(piece, "barline", location="right")
        etree.SubElement(line, "bar-style").text = "none"
    return made
