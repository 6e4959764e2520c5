"""Marks added to a copy of the source's own tree, and taken out again.

Everything added is a whole element with an id beginning `pw-` (a <notations> inside a note, a <direction> between
notes) together with the white space behind it, so that removing these elements gives the source back.
Source of what may stand where: MusicXML 4.0 schema.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.collector import paused_collector
from partwright.score.marks import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, WordsMark
from partwright.score.measures import MeasureElement, score_parts
from partwright.score.part import Note
from partwright.score.tune import Tune

__all__ = ["MARK_ID_PREFIX", "annotate", "strip_marks", "with_note_ids"]

MARK_ID_PREFIX = "pw-"
_AFTER_NOTATIONS = frozenset({"lyric", "play", "listen"})
_HANDS = frozenset({"fingering", "string", "thumb-position", "open-string", "up-bow", "down-bow"})
_BOWS = frozenset({"up-bow", "down-bow"})
_LINE_NUMBERS = range(1, 17)  # MusicXML's number-level


Earlier = Literal["", "fingers", "bows"]


def annotate(
    tune: Tune, marks: Iterable[Mark], *, replace_source_fingerings: bool = False, keep: Earlier = ""
) -> etree._ElementTree:
    """A copy of the tune's document with the marks in it; the document itself is not changed.

    A mark that the source already prints on that note is not printed twice. Marks of an earlier run are taken out
    first, but for those to `keep`: the fingers (with strings and positions) or the bow signs. With
    `replace_source_fingerings` the source's own fingers, strings and bow signs on the notes of this part are removed
    from the copy; `strip_marks` cannot bring those back. Raises ScoreError for a note id the tune has not.
    """
    with paused_collector():
        return _annotated(tune, marks, replace_source_fingerings, keep)


def _annotated(tune: Tune, marks: Iterable[Mark], replace_source_fingerings: bool, keep: Earlier) -> etree._ElementTree:
    tree = strip_marks(tune.document, keep=keep)
    page = _Page(tune, tree)
    by_note: dict[str, list[FingeringMark | StringMark | TechnicalMark]] = {}
    words: list[WordsMark] = []
    lines: list[BracketLine] = []
    for mark in marks:
        if isinstance(mark, WordsMark):
            words.append(mark)
        elif isinstance(mark, BracketLine):
            lines.append(mark)
        else:
            by_note.setdefault(mark.note_id, []).append(mark)
    if replace_source_fingerings:
        for element in page.elements(tune.part.notes):
            _remove_hands(element)
    for note_id, on_note in by_note.items():
        page.add_technical(note_id, on_note)
    for mark in words:
        page.add_words(mark)
    page.add_lines(lines)
    return tree


def strip_marks(tree: etree._ElementTree, *, keep: Earlier = "") -> etree._ElementTree:
    """A copy without anything `annotate` has added, but for the fingers or the bow signs where they are to be kept."""
    stripped = copy.deepcopy(tree)
    for element in _ours(stripped):
        parent = element.getparent()
        if parent is not None and not _kept(element, keep):
            parent.remove(element)  # takes the white space behind it along
    return stripped


def _ours(tree: etree._ElementTree) -> list[etree._Element]:
    return [
        element for element in tree.iter("notations", "direction") if element.get("id", "").startswith(MARK_ID_PREFIX)
    ]


def _kept(element: etree._Element, keep: Earlier) -> bool:
    """Whether anything of one of our elements is kept; what is not kept is taken out of it."""
    if not keep or element.tag == "direction":  # words and lines are all of the left hand
        return keep == "fingers"
    for technical in element.findall("technical"):
        for mark in list(technical):
            if (mark.tag in _BOWS) == (keep == "fingers"):
                technical.remove(mark)
    return any(len(technical) for technical in element.findall("technical"))


def with_note_ids(tune: Tune, tree: etree._ElementTree) -> etree._ElementTree:
    """A copy of `tree` (the tune's document or an annotation of it) whose notes carry the ids of `tune.part`.

    For engraving, where the way back from the picture needs them; not for handing out. An id of the source that
    is used twice is taken off everything but this part's notes.
    """
    copied = copy.deepcopy(tree)
    wanted = {note.id for note in tune.part.notes}
    page = _Page(tune, copied)
    elements = page.elements(tune.part.notes)
    for element in copied.iter():
        if isinstance(element.tag, str) and element.get("id") in wanted:
            del element.attrib["id"]
    for note, element in zip(tune.part.notes, elements, strict=True):
        element.set("id", note.id)
    return copied


class _Page:
    """A copy of the source while marks are put into it."""

    def __init__(self, tune: Tune, tree: etree._ElementTree) -> None:
        self._tune = tune
        self._measures = score_parts(tree.getroot())[tune.part_index].measures
        self._bars: dict[int, list[etree._Element]] = {}
        earlier = (element.get("id", "").removeprefix(MARK_ID_PREFIX) for element in _ours(tree))
        self._count = max((int(number) for number in earlier if number.isdecimal()), default=0)

    def elements(self, notes: Sequence[Note]) -> list[etree._Element]:
        """The <note> elements of these notes."""
        return [self._element(note) for note in notes]

    def add_technical(self, note_id: str, marks: Sequence[FingeringMark | StringMark | TechnicalMark]) -> None:
        note = self._element(self._note(note_id))
        printed = _printed(note)
        wanted = [item for mark in marks for item in _technical(mark, printed)]
        if not wanted:
            return
        notations = etree.Element("notations", id=self._new_id())
        technical = etree.SubElement(notations, "technical")
        for item in wanted:
            technical.append(item)
        place = len(note)
        while place > 0 and note[place - 1].tag in _AFTER_NOTATIONS:
            place -= 1
        notations.tail = note[place - 1].tail if place > 0 else note.text
        note.insert(place, notations)

    def add_words(self, mark: WordsMark) -> None:
        note = self._note(mark.note_id)
        direction = self._direction(note, mark.placement)
        etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = _printable(mark.text)
        self._close_direction(direction, note)
        self._insert_before(self._chord_start(note), direction)

    def add_lines(self, lines: Sequence[BracketLine]) -> None:
        numbers = _LineNumbers(self._measures)
        index = {note.id: note.index for note in self._tune.part.notes}
        for line in lines:
            first, last = self._note(line.first_note_id), self._note(line.last_note_id)
            if index[last.id] < index[first.id]:
                raise ScoreError(
                    f"a line cannot run back from note {first.id!r} to {last.id!r}",
                    "Swap its ends.",
                    place=Place(bar=first.bar),
                )
            number = str(numbers.take(line.line, index[first.id], index[last.id]))
            begin = self._direction(first, "above")
            if line.text:
                words = etree.SubElement(etree.SubElement(begin, "direction-type"), "words")
                words.text = _printable(line.text)
            _line_element(begin, line.line, "start", number)
            self._close_direction(begin, first)
            end = self._direction(last, "above")
            _line_element(end, line.line, "stop", number)
            self._close_direction(end, last)
            self._insert_after(self._chord_end(last), end)
            self._insert_before(self._chord_start(first), begin)

    def _note(self, note_id: str) -> Note:
        note = self._tune.part.by_id.get(note_id)
        if note is None:
            raise ScoreError(f"there is no note {note_id!r} in this part", "Read the tune again.")
        return note

    def _element(self, note: Note) -> etree._Element:
        place = self._tune.note_places[note.index]
        bar = self._bars.get(place.bar_index)
        if bar is None:
            bar = self._bars[place.bar_index] = list(self._measures[place.bar_index].content.iterchildren("note"))
        return bar[place.order]

    def _chord_start(self, note: Note) -> etree._Element:
        element = self._element(note)
        while element.find("chord") is not None:
            before = next(element.itersiblings("note", preceding=True), None)
            if before is None:
                break
            element = before
        return element

    def _chord_end(self, note: Note) -> etree._Element:
        element = self._element(note)
        while True:
            after = next(element.itersiblings("note"), None)
            if after is None or after.find("chord") is None:
                return element
            element = after

    def _new_id(self) -> str:
        self._count += 1
        return f"{MARK_ID_PREFIX}{self._count}"

    def _direction(self, note: Note, placement: str) -> etree._Element:
        return etree.Element("direction", placement=placement, id=self._new_id())

    def _close_direction(self, direction: etree._Element, note: Note) -> None:
        """Voice and staff as the note's, where the note says them (they come after what is printed)."""
        element = self._element(note)
        for tag in ("voice", "staff"):
            text = element.findtext(tag)
            if text is not None:
                etree.SubElement(direction, tag).text = text

    def _insert_before(self, element: etree._Element, direction: etree._Element) -> None:
        parent = element.getparent()
        before = element.getprevious()
        assert parent is not None  # a note stands in a bar
        direction.tail = before.tail if before is not None else parent.text
        parent.insert(parent.index(element), direction)

    def _insert_after(self, element: etree._Element, direction: etree._Element) -> None:
        parent = element.getparent()
        assert parent is not None
        direction.tail = element.tail
        parent.insert(parent.index(element) + 1, direction)


class _LineNumbers:
    """Numbers that keep overlapping lines apart, clear of those the source uses."""

    def __init__(self, measures: Sequence[MeasureElement]) -> None:
        self._source: dict[str, set[int]] = {"dashes": set(), "bracket": set()}
        for measure in measures:
            for direction in measure.content.iterchildren("direction"):
                for element in direction.iter("dashes", "bracket"):
                    text = element.get("number", "1")
                    if text.isascii() and text.isdigit() and len(text) < 4:
                        self._source[str(element.tag)].add(int(text))
        self._busy: dict[tuple[str, int], list[tuple[int, int]]] = {}

    def take(self, kind: str, first: int, last: int) -> int:
        """A number free from note `first` to note `last`; the last one if all are busy."""
        free = [n for n in _LINE_NUMBERS if n not in self._source[kind]] or list(_LINE_NUMBERS)
        for number in free:
            spans = self._busy.setdefault((kind, number), [])
            if all(last < begin or end < first for begin, end in spans):
                spans.append((first, last))
                return number
        return free[-1]


def _technical(
    mark: FingeringMark | StringMark | TechnicalMark, printed: Mapping[tuple[str, str], bool]
) -> list[etree._Element]:
    """The elements of a mark that the note does not carry already."""
    if isinstance(mark, StringMark):
        return _unless(printed, "string", str(mark.number))
    if isinstance(mark, TechnicalMark):
        if mark.element == "harmonic":
            if ("harmonic", "") in printed:
                return []
            harmonic = etree.Element("harmonic")
            etree.SubElement(harmonic, "natural")
            return [harmonic]
        return _unless(printed, mark.element, "")
    thumb = mark.finger == "T"
    if mark.substitute is None:
        return _unless(printed, "thumb-position", "") if thumb else _unless(printed, "fingering", mark.finger)
    if ("fingering", f"{mark.substitute} yes") in printed:
        return []
    first = etree.Element("thumb-position") if thumb else _element("fingering", mark.finger)
    second = _element("fingering", mark.substitute)
    second.set("substitution", "yes")
    return [first, second]


def _unless(printed: Mapping[tuple[str, str], bool], tag: str, text: str) -> list[etree._Element]:
    return [] if (tag, text) in printed else [_element(tag, text)]


def _element(tag: str, text: str) -> etree._Element:
    element = etree.Element(tag)
    if text:
        element.text = text
    return element


def _printed(note: etree._Element) -> dict[tuple[str, str], bool]:
    """What the source's technical marks on a note say, as (element, text); substitutions as "text yes"."""
    found: dict[tuple[str, str], bool] = {}
    for notations in note.iterchildren("notations"):
        for technical in notations.iterchildren("technical"):
            for element in technical.iterchildren("*"):
                text = (element.text or "").strip() if element.tag in ("fingering", "string") else ""
                if element.get("substitution") == "yes":
                    text += " yes"
                found[str(element.tag), text] = True
    return found


def _remove_hands(note: etree._Element) -> None:
    for technical in list(note.iterfind("notations/technical")):
        for element in list(technical):
            if element.tag in _HANDS:
                technical.remove(element)
        notations = technical.getparent()
        if len(technical) == 0 and notations is not None:
            notations.remove(technical)
            if len(notations) == 0:
                note.remove(notations)


def _line_element(direction: etree._Element, kind: str, what: str, number: str) -> None:
    element = etree.SubElement(etree.SubElement(direction, "direction-type"), kind, type=what, number=number)
    if kind == "bracket":
        element.set("line-end", "down" if what == "stop" else "none")
        element.set("line-type", "dashed")


def _printable(text: str) -> str:
    """Text without the control characters XML cannot hold."""
    return "".join(sign for sign in text if sign.isprintable() or sign in " \t")
