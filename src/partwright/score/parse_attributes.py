"""Metre, key, clef, transposition: what <attributes> changes from here on."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from partwright.errors import Place, ScoreError
from partwright.score.lines import line_of
from partwright.score.ticks import divisions_of, number_of

__all__ = ["Attributes", "Metre", "clef_name", "read_attributes"]

MAX_BEATS = 64
MAX_STAVES = 16
_MAX_TRANSPOSE = 60

_CLEFS = {
    ("G", 2): "treble",
    ("G", 1): "french violin",
    ("F", 4): "bass",
    ("F", 3): "baritone",
    ("F", 5): "subbass",
    ("C", 1): "soprano",
    ("C", 2): "mezzo-soprano",
    ("C", 3): "alto",
    ("C", 4): "tenor",
    ("C", 5): "baritone",
}
_USUAL_LINE = {"G": 2, "F": 4, "C": 3}
_OCTAVES = {-2: " 15mb", -1: " 8vb", 0: "", 1: " 8va", 2: " 15ma"}


@dataclass(frozen=True, slots=True)
class Metre:
    """Beats of one kind: compound metres (3/8 + 2/4) are counted in the shorter beat (7/8)."""

    beats: int
    beat_type: int
    given: bool = True

    @property
    def quarters(self) -> Fraction:
        return Fraction(4 * self.beats, self.beat_type)


@dataclass(slots=True)
class Attributes:
    """What is in force while walking through a part. Staff 0 stands for every staff."""

    resolution: int
    unit: int | None = None  # ticks per division; None until divisions are given
    metre: Metre = Metre(4, 4, given=False)
    metre_changed: bool = False
    staves: int = 1
    keys: dict[int, tuple[int, str]] = field(default_factory=dict)
    keys_changed: bool = False
    clefs: list[tuple[int, int, int, str]] = field(default_factory=list)  # bar index, tick in it, staff, name
    transposes: dict[int, tuple[int | None, int]] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)


def clef_name(sign: str, line: int | None, octave_change: int) -> str:
    """A clef as players call it; "" for none.

    >>> clef_name("C", 4, 0), clef_name("G", 2, -1)
    ('tenor', 'treble 8vb')
    """
    if sign in ("percussion", "TAB", "jianpu", "none"):
        return sign.casefold() if sign != "none" else ""
    if sign not in _USUAL_LINE:
        return ""
    place = _USUAL_LINE[sign] if line is None else line
    name = _CLEFS.get((sign, place), f"{sign} clef on line {place}")
    return name + _OCTAVES.get(octave_change, "")


def read_attributes(element: etree._Element, state: Attributes, at: tuple[int, int], *, file: str, bar: str) -> None:
    """Bring `state` up to date; `at` is bar index and tick in it.

    Raises ScoreError for values no music can have (0 beats, 100,000 staves …).
    """
    for child in element:
        tag = child.tag
        if tag == "divisions":
            state.unit = int(state.resolution / divisions_of(child, file=file, bar=bar))
        elif tag == "key":
            _read_key(child, state, bar)
        elif tag == "time":
            _read_time(child, state, file, bar)
        elif tag == "staves":
            staves = _whole(child.text)
            if staves is None or not 1 <= staves <= MAX_STAVES:
                raise _absurd(child, f"a part with {_shown(child.text)} staves", f"1 to {MAX_STAVES}", file, bar)
            state.staves = max(state.staves, staves)
        elif tag == "clef":
            name = clef_name(
                (child.findtext("sign") or "").strip(),
                _whole(child.findtext("line")),
                _whole(child.findtext("clef-octave-change")) or 0,
            )
            state.clefs.append((*at, _whole(child.get("number")) or 1, name))
        elif tag == "transpose":
            _read_transpose(child, state, file, bar)


def _read_key(element: etree._Element, state: Attributes, bar: str) -> None:
    staff = _whole(element.get("number")) or 0
    fifths = _whole(element.findtext("fifths"))
    if fifths is None:
        if element.find("key-step") is not None:
            state.remarks.append(f"Bar {bar}: a key signature of single accidentals is kept in the file but not used.")
        fifths = 0
    if not -14 <= fifths <= 14:
        state.remarks.append(f"Bar {bar}: a key signature of {fifths} fifths makes no sense and is not used.")
        fifths = 0
    key = (fifths, (element.findtext("mode") or "").strip())
    state.keys_changed = state.keys_changed or (bool(state.keys) and state.keys.get(staff, state.keys.get(0)) != key)
    if staff == 0:
        state.keys.clear()
    state.keys[staff] = key


def _read_time(element: etree._Element, state: Attributes, file: str, bar: str) -> None:
    if element.find("senza-misura") is not None:
        state.metre_changed = state.metre_changed or state.metre.given
        state.metre = Metre(state.metre.beats, state.metre.beat_type, given=False)
        return
    terms: list[tuple[int, int]] = []
    beats_text: str | None = None
    for child in element:
        if child.tag == "beats":
            beats_text = child.text
        elif child.tag == "beat-type" and beats_text is not None:
            beats = _sum(beats_text)
            beat_type = _sum(child.text)
            if beats is None or not 1 <= beats <= MAX_BEATS:
                raise _absurd(child, f"a metre of {_shown(beats_text)} beats", f"1 to {MAX_BEATS}", file, bar)
            if beat_type is None or beat_type not in (1, 2, 4, 8, 16, 32, 64, 128):
                raise _absurd(child, f"a beat type of {_shown(child.text)}", "1, 2, 4 … 128", file, bar)
            terms.append((beats, beat_type))
            beats_text = None
    if not terms:
        return
    finest = max(beat_type for _, beat_type in terms)
    metre = Metre(sum(beats * (finest // beat_type) for beats, beat_type in terms), finest)
    state.metre_changed = state.metre_changed or (state.metre != metre and state.metre.given)
    state.metre = metre


def _read_transpose(element: etree._Element, state: Attributes, file: str, bar: str) -> None:
    chromatic = _whole(element.findtext("chromatic")) or 0
    diatonic = _whole(element.findtext("diatonic"))
    octaves = _whole(element.findtext("octave-change")) or 0
    semitones = chromatic + 12 * octaves
    if abs(semitones) > _MAX_TRANSPOSE or (diatonic is not None and abs(diatonic) > _MAX_TRANSPOSE):
        raise _absurd(element, f"a transposition of {semitones} semitones", f"up to {_MAX_TRANSPOSE}", file, bar)
    staff = _whole(element.get("number")) or 0
    if staff == 0:
        state.transposes.clear()
    state.transposes[staff] = (None if diatonic is None else diatonic + 7 * octaves, semitones)


def _absurd(element: etree._Element, what: str, sensible: str, file: str, bar: str) -> ScoreError:
    return ScoreError(
        f"{what} makes no sense (sensible: {sensible})",
        "Correct it in the source.",
        place=Place(file=file, line=line_of(element), bar=bar),
    )


def _shown(text: str | None) -> str:
    return repr((text or "").strip()[:20])


def _whole(text: str | None) -> int | None:
    value = number_of(text)
    return None if value is None else round(value)


def _sum(text: str | None) -> int | None:
    total = 0
    for piece in (text or "").split("+"):
        value = _whole(piece)
        if value is None or value < 0:
            return None
        total += value
    return total
