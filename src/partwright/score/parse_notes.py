"""One <note> element as plain values, before voices are chosen. Times in ticks (see `ticks`)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from partwright.score.lines import line_of
from partwright.score.note_values import BASE_VALUES
from partwright.score.part import Pitch, SourceFingering

__all__ = ["RawNote", "fill_note", "pitch_of"]

_BREATHS = frozenset({"breath-mark", "caesura"})
_PLAIN_TECHNICAL = frozenset(
    {"snap-pizzicato", "stopped", "fingernails", "bend", "hammer-on", "pull-off", "double-tongue", "triple-tongue"}
)


@dataclass(slots=True)
class RawNote:
    """A note as found. Filled while its element is read, never changed afterwards except by the walk over its bar."""

    line: int | None
    order: int  # how many <note> elements stand before it in its bar
    bar_index: int = 0
    onset: int = 0
    duration: int = 0
    xml_id: str | None = None
    pitch: Pitch | None = None
    rest: bool = False
    unpitched: bool = False
    cue: bool = False
    hidden: bool = False  # print-object="no"
    chord: bool = False
    grace: str = ""
    voice: str = "1"
    staff: int = 1
    duration_text: str | None = None
    type: str = ""
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    tie_start: bool = False
    tie_stop: bool = False
    tied_start: bool = False
    tied_stop: bool = False
    slurs: tuple[tuple[str, str], ...] = ()  # (type, number)
    articulations: tuple[str, ...] = ()
    ornaments: tuple[str, ...] = ()
    fingerings: tuple[SourceFingering, ...] = ()
    string_number: int | None = None
    bow: str = ""
    open_string: bool = False
    harmonic: bool = False
    thumb: bool = False
    tremolo: int = 0
    arpeggiated: bool = False
    glissando: bool = False
    fermata: bool = False
    breath: bool = False
    dynamic_mark: str = ""
    dynamics_percent: str | None = None
    pizzicato: str | None = None
    lyric: str = ""
    lyric_number: str = ""
    transpose: tuple[int | None, int] = (None, 0)  # diatonic steps (None: not said), semitones

    @property
    def typed_quarters(self) -> Fraction | None:
        """What type, dots and tuplet say the note lasts, in quarters; None without a type."""
        value = BASE_VALUES.get(self.type)
        if value is None:
            return None
        value = value * (2 - Fraction(1, 2**self.dots))
        if self.tuplet is not None:
            value = value * self.tuplet[1] / self.tuplet[0]
        return value


def fill_note(element: etree._Element, order: int, pitches: dict[tuple[str | None, ...], Pitch | None]) -> RawNote:
    """Read one <note>. `pitches` remembers spelled pitches met before. A pitch that is none stays None."""
    note = RawNote(line_of(element), order, xml_id=element.get("id"))
    note.dynamics_percent = element.get("dynamics")
    note.pizzicato = element.get("pizzicato")
    note.hidden = element.get("print-object") == "no"
    for child in element:
        handler = _CHILDREN.get(child.tag)
        if handler is not None:
            handler(note, child)
        elif child.tag == "pitch":
            note.pitch = pitch_of(child, pitches)
    return note


def pitch_of(element: etree._Element, known: dict[tuple[str | None, ...], Pitch | None]) -> Pitch | None:
    """The spelled pitch of a <pitch> element, or None if its values are out of MusicXML's range."""
    step = alter = octave = None
    for child in element:
        if child.tag == "step":
            step = child.text
        elif child.tag == "octave":
            octave = child.text
        elif child.tag == "alter":
            alter = child.text
    key = (step, alter, octave)
    if key not in known:
        known[key] = _make_pitch(step, alter, octave)
    return known[key]


def _make_pitch(step: str | None, alter: str | None, octave: str | None) -> Pitch | None:
    letter = (step or "").strip()
    try:
        height = int(octave or "")
        change = float(alter) if alter and alter.strip() else 0.0
    except ValueError:
        return None
    if len(letter) != 1 or letter not in "ABCDEFG" or not 0 <= height <= 9 or not -4 <= change <= 4:
        return None
    return Pitch(letter, int(change) if change == int(change) else change, height)


def _whole(text: str | None, low: int, high: int) -> int | None:
    try:
        value = int(text or "")
    except ValueError:
        return None
    return value if low <= value <= high else None


def _rest(note: RawNote, _: etree._Element) -> None:
    note.rest = True


def _unpitched(note: RawNote, _: etree._Element) -> None:
    note.unpitched = True


def _cue(note: RawNote, _: etree._Element) -> None:
    note.cue = True


def _chord(note: RawNote, _: etree._Element) -> None:
    note.chord = True


def _grace(note: RawNote, element: etree._Element) -> None:
    note.grace = "slashed" if element.get("slash") == "yes" else "unslashed"


def _duration(note: RawNote, element: etree._Element) -> None:
    note.duration_text = element.text or ""


def _voice(note: RawNote, element: etree._Element) -> None:
    note.voice = (element.text or "").strip() or "1"


def _staff(note: RawNote, element: etree._Element) -> None:
    note.staff = _whole(element.text, 1, 99) or 1


def _type(note: RawNote, element: etree._Element) -> None:
    note.type = (element.text or "").strip()


def _dot(note: RawNote, _: etree._Element) -> None:
    note.dots = min(note.dots + 1, 8)


def _tie(note: RawNote, element: etree._Element) -> None:
    kind = element.get("type")
    if kind == "start":
        note.tie_start = True
    elif kind == "stop":
        note.tie_stop = True


def _time_modification(note: RawNote, element: etree._Element) -> None:
    actual = _whole(element.findtext("actual-notes"), 1, 1000)
    normal = _whole(element.findtext("normal-notes"), 1, 1000)
    if actual and normal:
        note.tuplet = (actual, normal)


def _lyric(note: RawNote, element: etree._Element) -> None:
    number = element.get("number", "1")
    if note.lyric and number >= note.lyric_number:
        return
    pieces = [child.text or " " for child in element if child.tag in ("text", "elision")]
    text = " ".join("".join(pieces).split())
    if text:
        note.lyric, note.lyric_number = text, number


def _notations(note: RawNote, element: etree._Element) -> None:
    for child in element:
        handler = _NOTATIONS.get(child.tag)
        if handler is not None:
            handler(note, child)


def _tied(note: RawNote, element: etree._Element) -> None:
    kind = element.get("type")
    if kind == "start":
        note.tied_start = True
    elif kind == "stop":
        note.tied_stop = True
    elif kind == "continue":
        note.tied_start = note.tied_stop = True


def _slur(note: RawNote, element: etree._Element) -> None:
    kind = element.get("type")
    if kind in ("start", "stop"):
        note.slurs += ((kind, element.get("number", "1")),)


def _articulations(note: RawNote, element: etree._Element) -> None:
    for child in element:
        if not isinstance(child.tag, str):
            continue
        if child.tag in _BREATHS:
            note.breath = True
        note.articulations += (child.tag,)


def _technical(note: RawNote, element: etree._Element) -> None:
    for child in element:
        tag = child.tag
        if tag == "fingering":
            text = (child.text or "").strip()
            if text:
                finger = SourceFingering(
                    text=text,
                    substitution=child.get("substitution") == "yes",
                    alternate=child.get("alternate") == "yes",
                )
                note.fingerings += (finger,)
        elif tag == "string":
            note.string_number = _whole(child.text, 1, 99) or note.string_number
        elif tag == "up-bow":
            note.bow = "up"
        elif tag == "down-bow":
            note.bow = "down"
        elif tag == "open-string":
            note.open_string = True
        elif tag == "harmonic":
            note.harmonic = True
        elif tag == "thumb-position":
            note.thumb = True
        elif tag in _PLAIN_TECHNICAL:
            note.articulations += (str(tag),)


def _ornaments(note: RawNote, element: etree._Element) -> None:
    for child in element:
        if not isinstance(child.tag, str) or child.tag == "accidental-mark":
            continue
        if child.tag == "tremolo":
            note.tremolo = _whole(child.text, 0, 8) or 0
        else:
            note.ornaments += (child.tag,)


def _arpeggiate(note: RawNote, _: etree._Element) -> None:
    note.arpeggiated = True


def _glissando(note: RawNote, element: etree._Element) -> None:
    if element.get("type") == "start":
        note.glissando = True


def _fermata(note: RawNote, _: etree._Element) -> None:
    note.fermata = True


def _dynamics(note: RawNote, element: etree._Element) -> None:
    for child in element:
        if isinstance(child.tag, str):
            note.dynamic_mark = child.tag


_Handler = Callable[[RawNote, etree._Element], None]
_CHILDREN: dict[object, _Handler] = {
    "rest": _rest,
    "unpitched": _unpitched,
    "cue": _cue,
    "chord": _chord,
    "grace": _grace,
    "duration": _duration,
    "voice": _voice,
    "staff": _staff,
    "type": _type,
    "dot": _dot,
    "tie": _tie,
    "time-modification": _time_modification,
    "notations": _notations,
    "lyric": _lyric,
}
_NOTATIONS: dict[object, _Handler] = {
    "tied": _tied,
    "slur": _slur,
    "articulations": _articulations,
    "technical": _technical,
    "ornaments": _ornaments,
    "arpeggiate": _arpeggiate,
    "glissando": _glissando,
    "slide": _glissando,
    "fermata": _fermata,
    "dynamics": _dynamics,
}
