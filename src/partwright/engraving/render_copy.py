"""The copy of the tune that the engraving library sees: music alone, without what it drops or draws badly.

The library loses string labels, thumb signs, substitutions and the kind of a harmonic, stacks bow signs inside
fingers and lets words collide. So everything a player reads around the notes is taken out of this copy, kept as
data (`NoteSigns`), and drawn by `placing` where it belongs. Titles and credits belong to the page, not to the music.
Note and measure ids stay, so that a note in the picture is the note of the tune.
Shapes: the source tree is never touched.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from lxml import etree

from partwright.engraving.guard import check_drawable
from partwright.engraving.print_bars import cut_long_bars, join_rest_bars, jumps_first
from partwright.errors import EngravingError

__all__ = ["NoteSigns", "RenderCopy", "render_tree"]


@dataclass(slots=True)
class NoteSigns:
    """What the source prints at one note, in reading order, as plain data."""

    fingers: list[str] = field(default_factory=list)  # "1", "T", "2–1" for a substitution, "(3)" for an alternate
    strings: list[int] = field(default_factory=list)  # MusicXML numbers, 1 = highest
    bow: str = ""  # "down-bow" or "up-bow"
    open_string: bool = False
    thumb: bool = False
    harmonic: str = ""  # "natural" or "artificial"
    glissando: str = ""  # words along the line to the next note
    arpeggiate: bool = False


@dataclass(frozen=True, slots=True)
class RenderCopy:
    """MusicXML for the engraving library, how many noteheads it must draw, and what is to be drawn around them."""

    musicxml: bytes
    note_count: int
    signs: Mapping[str, NoteSigns]
    note_order: tuple[str, ...]  # ids of notes in the order of the source
    bar_numbers: Mapping[str, str]  # printed number by measure id
    rest_edges: Mapping[
        str, tuple[bool, bool]
    ]  # by measure id: does the bar begin, end with a rest (a quarter or more)


_TECHNICAL = {"fingering", "string", "up-bow", "down-bow", "open-string", "thumb-position", "harmonic"}
_NOT_MUSIC = ("credit", "work", "movement-title", "movement-number", "identification", "defaults")


def render_tree(
    root: Any,
    *,
    part_id: str,
    note_ids: Mapping[tuple[int, int], str] | None = None,
    bars: tuple[int, int] | None = None,
    new_systems: Collection[str] = (),
    only_voice: bool = False,
    for_print: bool = False,
) -> RenderCopy:
    """A render copy of one part.

    `root` is a MusicXML root element (partwise or timewise); `note_ids` gives a note's id by bar index and the number
    of note elements before it in the bar (a note without one keeps its own); `bars` limits the copy to a range of bar
    indices from 0, both included; `new_systems` lists ids of measures that begin a line. With `only_voice`
    the notes that `note_ids` does not name are left out, as when one voice of several was chosen. With `for_print`
    bars are joined and cut as printed parts have them (see `print_bars`).
    Raises EngravingError for a part that is not there or cannot be drawn.
    """
    part = _part_of(root, part_id)
    if only_voice and note_ids:
        part = _one_voice(part, set(note_ids))
    measures = list(part.iterchildren("measure"))
    if not measures:
        raise EngravingError(f'part "{part_id}" has no bars', "Choose another part.")
    ids = _ids(measures, note_ids or {})
    first, last = bars if bars is not None else (0, len(measures) - 1)
    if not 0 <= first <= last < len(measures):
        raise EngravingError(
            f"bars {first + 1} to {last + 1} were asked for, but the part has {len(measures)}",
            "Choose a range inside it.",
        )
    new_part = etree.Element("part", id="P1")
    signs: dict[str, NoteSigns] = {}
    order: list[str] = []
    numbers: dict[str, str] = {}
    rests: dict[str, tuple[bool, bool]] = {}
    count = 0
    for index, measure in enumerate(measures[first : last + 1]):
        made = copy.deepcopy(measure)
        for old, new in zip(measure.iter("note"), list(made.iter("note")), strict=True):
            if old.get("print-object") == "gone":
                new.getparent().remove(new)
            else:
                new.set("id", ids[old])
        made.set("id", f"bar-{first + index + 1}")
        if index == 0:
            _carry_attributes(measures[:first], made)
        count += _clean_measure(made, signs, order)
        jumps_first(made)
        new_part.append(made)
    drawn = list(new_part)
    if for_print:
        drawn = cut_long_bars(join_rest_bars(drawn))
        new_part[:] = drawn
    for index, made in enumerate(drawn):
        name = made.get("id") or ""
        numbers[name] = "" if made.get("implicit") == "yes" else (made.get("number") or "")
        rests[name] = _rest_edges(made)
        if name in new_systems and index > 0:
            made.insert(0, etree.Element("print", {"new-system": "yes"}))
    check_drawable(new_part)
    _drop_loose_spanners(new_part)
    document = etree.Element("score-partwise", version="4.0")
    listing = etree.SubElement(document, "part-list")
    entry = etree.SubElement(listing, "score-part", id="P1")
    etree.SubElement(entry, "part-name").text = ""
    document.append(new_part)
    if count == 0 and not any(True for _ in new_part.iter("rest")):
        raise EngravingError("there is not a single note to engrave", "Choose a part that has notes.")
    return RenderCopy(
        musicxml=etree.tostring(document, encoding="UTF-8", xml_declaration=True),
        note_count=count,
        signs=signs,
        note_order=tuple(order),
        bar_numbers=numbers,
        rest_edges=rests,
    )


def _part_of(root: Any, part_id: str) -> Any:
    """The `<part>` of this id; from a timewise score, put together."""
    if root.tag == "score-timewise":
        part = etree.Element("part", id=part_id)
        for measure in root.iterchildren("measure"):
            mine = next((p for p in measure.iterchildren("part") if p.get("id") == part_id), None)
            if mine is None:
                continue
            bar = etree.SubElement(part, "measure", dict(measure.attrib))
            for child in mine:
                bar.append(copy.deepcopy(child))
        return part
    for part in root.iterchildren("part"):
        if part.get("id") == part_id:
            return part
    raise EngravingError(f'there is no part "{part_id}" to engrave', "Choose one of the tune's parts.")


def _one_voice(part: Any, wanted: set[tuple[int, int]]) -> Any:
    """A copy of the part with other voices' notes turned into silence of their length, and empty staves dropped."""
    made = copy.deepcopy(part)
    voices: set[str] = set()
    staves: set[str] = set()
    for bar_index, measure in enumerate(made.iterchildren("measure")):
        for place, note in enumerate(measure.iter("note")):
            if (bar_index, place) in wanted:
                voices.add(note.findtext("voice", "1").strip())
                staves.add(note.findtext("staff", "1").strip())
    for bar_index, measure in enumerate(made.iterchildren("measure")):
        for place, note in enumerate(list(measure.iter("note"))):
            mine = note.findtext("voice", "1").strip() in voices and note.findtext("staff", "1").strip() in staves
            if (bar_index, place) in wanted or (mine and note.find("rest") is not None):
                continue
            duration = note.find("duration")
            if note.find("chord") is None and note.find("grace") is None and duration is not None:
                silence = etree.Element("forward")
                silence.append(duration)
                note.addprevious(silence)
                # Places count note elements, so an empty one stays until ids are given out.
            note.getparent().replace(note, etree.Element("note", {"print-object": "gone"}))
    if len(staves) == 1:
        _drop_other_staves(made, staves.pop())
    return made


def _drop_other_staves(part: Any, staff: str) -> None:
    for element in list(part.iter("staves")):
        element.getparent().remove(element)
    for element in list(part.iter("clef", "staff-details", "key", "time", "transpose")):
        number = element.get("number")
        if element.getparent().tag != "attributes":
            continue
        if number is not None and number != staff:
            element.getparent().remove(element)
        elif number is not None:
            del element.attrib["number"]
        elif staff != "1" and element.tag == "clef":
            element.getparent().remove(element)
    for direction in list(part.iter("direction", "harmony")):
        if direction.findtext("staff", staff).strip() != staff:
            direction.getparent().remove(direction)
    for element in list(part.iter("staff")):
        element.getparent().remove(element)


def _ids(measures: list[Any], given: Mapping[tuple[int, int], str]) -> dict[Any, str]:
    """An id for every note: the tune's own, or one made from its place; doubled ids are made unique."""
    ids: dict[Any, str] = {}
    used: set[str] = set()
    for bar_index, measure in enumerate(measures):
        for place, note in enumerate(measure.iter("note")):
            wanted = given.get((bar_index, place)) or note.get("id") or f"note-{bar_index + 1}-{place + 1}"
            while wanted in used:
                wanted = f"{wanted}-{bar_index + 1}-{place + 1}"
            used.add(wanted)
            ids[note] = wanted
    return ids


_CARRIED = ("divisions", "key", "time", "staves", "clef", "staff-details", "transpose")


def _carry_attributes(before: list[Any], first: Any) -> None:
    """Puts what is in force at the start of `first` into one element there: key, metre, clefs and so on.

    What the bar itself says at its start replaces what stood before it: the library would print the older of two.
    """
    state: dict[tuple[str, str], Any] = {}
    for measure in before:
        for attributes in measure.iterchildren("attributes"):
            _overrule(state, [child for child in attributes if child.tag in _CARRIED])
    if not state:
        return
    for attributes in list(_at_start(first)):
        own = [child for child in attributes if child.tag in _CARRIED]
        _overrule(state, own)
        for child in own:
            attributes.remove(child)
        if len(attributes) == 0:
            first.remove(attributes)
    made = etree.Element("attributes")
    for tag in _CARRIED:
        made.extend(copy.deepcopy(child) for (name, _), child in sorted(state.items(), key=_by_key) if name == tag)
    first.insert(0, made)


def _by_key(item: tuple[tuple[str, str], Any]) -> tuple[str, str]:
    return item[0]


def _at_start(measure: Any) -> Iterator[Any]:
    """The attributes before the first note of a bar."""
    for child in measure:
        if child.tag in ("note", "forward", "backup"):
            return
        if child.tag == "attributes":
            yield child


def _overrule(state: dict[tuple[str, str], Any], children: Sequence[Any]) -> None:
    """A key or metre without a staff's number holds for every staff."""
    for child in children:
        if child.get("number") is None and child.tag in ("key", "time", "transpose"):
            for key in [key for key in state if key[0] == child.tag]:
                del state[key]
    for child in children:
        state[child.tag, child.get("number", "")] = child


def _clean_measure(measure: Any, signs: dict[str, NoteSigns], order: list[str]) -> int:
    """Take out what this program draws itself; returns the number of noteheads left."""
    count = 0
    for child in list(measure):
        if child.tag in ("print", "sound", "listening", "bookmark", "grouping", "link"):
            measure.remove(child)
        elif child.tag == "harmony":
            _clean_harmony(child)
        elif child.tag == "direction":
            for sound in list(child.iterchildren("sound")):
                child.remove(sound)
            _clean_direction(measure, child)
    for note in list(measure.iterchildren("note")):
        note_id = note.get("id")
        if note.get("print-object") == "no":
            _make_invisible(note)
        if note.find("rest") is None and note.getparent() is not None:
            order.append(note_id)
            if (note.findtext("notehead") or "").strip() != "none":
                count += 1
        found = _take_signs(note)
        if found is not None:
            signs[note_id] = found
    return count


def _clean_harmony(harmony: Any) -> None:
    """A chord's own words, with true accidentals; a degree that stands in them is not printed a second time."""
    kind = harmony.find("kind")
    text = kind.get("text") if kind is not None else None
    if text is None or kind is None:
        return
    for degree in harmony.findall("degree"):
        if re.search(rf"(?<!\d){re.escape(degree.findtext('degree-value', '').strip())}(?!\d)", text):
            harmony.remove(degree)
    kind.set("text", re.sub(r"#(?=\d)", "♯", re.sub(r"b(?=\d)", "♭", text)))


def _clean_direction(measure: Any, direction: Any) -> None:
    """Words of several lines or empty ones; an invisible direction is none."""
    if direction.get("print-object") == "no":
        measure.remove(direction)
        return
    for words in direction.iter("words"):
        text = " ".join((words.text or "").split())
        words.text = text
        for key in ("default-x", "default-y", "relative-x", "relative-y", "font-family", "font-size", "color"):
            words.attrib.pop(key, None)
    types = list(direction.iterchildren("direction-type"))
    for kind in types:
        for words in [w for w in kind.iterchildren("words") if not w.text]:
            kind.remove(words)
        if len(kind) == 0:
            direction.remove(kind)
    if direction.find("direction-type") is None:
        measure.remove(direction)
        return
    signs = list(direction.iterfind("direction-type/*"))
    for words, sign in pairwise(signs):  # the library sets a sign close behind the words before it
        if words.tag == "words" and sign.tag in ("coda", "segno"):
            words.text = f"{words.text}\N{NO-BREAK SPACE}"


def _make_invisible(note: Any) -> None:
    """A note that is not to be printed becomes an invisible rest of its length: the library would draw it."""
    if note.find("chord") is not None or note.find("grace") is not None:
        note.getparent().remove(note)
        return
    for child in list(note):
        if child.tag in ("pitch", "unpitched"):
            note.replace(child, etree.Element("rest"))
        elif child.tag in ("tie", "beam", "notations", "lyric", "notehead", "notehead-text", "accidental", "stem"):
            note.remove(child)


def _take_signs(note: Any) -> NoteSigns | None:
    found = NoteSigns()
    for notations in list(note.iterchildren("notations")):
        for technical in list(notations.iterchildren("technical")):
            for element in list(technical):
                if element.tag in _TECHNICAL:
                    _take_technical(found, element)
                    technical.remove(element)
            if len(technical) == 0:
                notations.remove(technical)
        for line in list(notations):
            if line.tag in ("glissando", "slide") and line.get("type") == "start":
                found.glissando = (line.text or "").strip()
            elif line.tag == "arpeggiate":  # the library keeps it at one note of the chord and draws nothing
                found.arpeggiate = True
                notations.remove(line)
        if len(notations) == 0:
            note.remove(notations)
    if found.harmonic == "artificial" and note.find("notehead") is None:
        _set_notehead(note, "diamond")
    return found if found != NoteSigns() else None


def _take_technical(found: NoteSigns, element: Any) -> None:
    text = (element.text or "").strip()
    if element.tag == "fingering" and text:
        text = "T" if text in ("T", "t", "+", "\ue624") else text
        if element.get("substitution") == "yes" and found.fingers:
            found.fingers[-1] = f"{found.fingers[-1]}–{text}"
        elif element.get("alternate") == "yes":
            found.fingers.append(f"({text})")
        else:
            found.fingers.append(text)
    elif element.tag == "string" and text.isdigit():
        found.strings.append(int(text))
    elif element.tag in ("up-bow", "down-bow"):
        found.bow = element.tag
    elif element.tag == "open-string":
        found.open_string = True
    elif element.tag == "thumb-position":
        found.thumb = True
    elif element.tag == "harmonic":
        artificial = element.find("artificial") is not None
        # Of an artificial harmonic only the touched note is a diamond; base and sounding pitch are what they are.
        if artificial and (element.find("base-pitch") is not None or element.find("sounding-pitch") is not None):
            return
        found.harmonic = "artificial" if artificial else "natural"


_AFTER_NOTEHEAD = ("notehead-text", "staff", "beam", "notations", "lyric", "play", "listen")


def _set_notehead(note: Any, shape: str) -> None:
    head = etree.Element("notehead")
    head.text = shape
    for place, child in enumerate(note):
        if child.tag in _AFTER_NOTEHEAD:
            note.insert(place, head)
            return
    note.append(head)


def _rest_edges(measure: Any) -> tuple[bool, bool]:
    notes = [n for n in measure.iterchildren("note") if n.find("grace") is None and n.find("chord") is None]
    if not notes:
        return True, True
    return _long_rest(notes[0]), _long_rest(notes[-1])


def _long_rest(note: Any) -> bool:
    if note.find("rest") is None:
        return False
    kind = (note.findtext("type") or "whole").strip()
    return kind not in ("eighth", "16th", "32nd", "64th", "128th", "256th")


_PAIRED = ("slur", "glissando", "slide", "tied")


def _drop_loose_spanners(part: Any) -> None:
    """Starts without an end and ends without a start, as an excerpt leaves them."""
    for tag in _PAIRED:
        waiting: dict[str, Any] = {}
        loose: list[Any] = []
        for element in part.iter(tag):
            number = element.get("number", "1")
            kind = element.get("type")
            if tag == "tied":
                continue
            if kind == "start":
                if number in waiting:
                    loose.append(waiting[number])
                waiting[number] = element
            elif kind == "stop" and waiting.pop(number, None) is None:
                loose.append(element)
        for element in [*loose, *waiting.values()]:
            _drop(element)
    for tag in ("wedge", "dashes", "bracket", "octave-shift", "pedal"):
        waiting = {}
        loose = []
        for element in part.iter(tag):
            number, kind = element.get("number", "1"), element.get("type")
            if kind in ("stop", "discontinue"):
                if waiting.pop(number, None) is None:
                    loose.append(element)
            elif kind in ("start", "crescendo", "diminuendo", "up", "down"):
                if number in waiting:
                    loose.append(waiting[number])
                waiting[number] = element
        for element in [*loose, *waiting.values()]:
            _drop(element)
    _drop_loose_endings(part)


def _drop(element: Any) -> None:
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    if len(parent) == 0 and parent.tag in ("direction-type", "direction", "notations"):
        _drop(parent)


def _drop_loose_endings(part: Any) -> None:
    open_ending: Any | None = None
    for element in list(part.iter("ending")):
        if element.get("type") == "start":
            if open_ending is not None:
                _drop(open_ending)
            open_ending = element
        else:
            if open_ending is None:
                _drop(element)
            open_ending = None
    if open_ending is not None:
        measure = part[-1]
        closing = next((b for b in measure.iterchildren("barline") if b.get("location", "right") == "right"), None)
        if closing is None:
            closing = etree.SubElement(measure, "barline", location="right")
        ending = etree.Element("ending", number=open_ending.get("number", "1"), type="discontinue")
        place = next((i for i, c in enumerate(closing) if c.tag == "repeat"), len(closing))
        closing.insert(place, ending)
