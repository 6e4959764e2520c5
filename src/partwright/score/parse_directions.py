"""Directions, sounds and barlines as plain values: words, dynamics, tempo, jumps, octave lines, endings."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from partwright.score.note_values import BASE_VALUES
from partwright.score.ticks import number_of

__all__ = ["Metronome", "RawBarline", "RawMark", "read_barline", "read_direction", "read_sound"]

_DA_CAPO = re.compile(r"(?<![a-z.])(d\.?\s?c\.?(?![a-z])|da\s+capo)", re.IGNORECASE)
_DAL_SEGNO = re.compile(r"(?<![a-z.])(d\.?\s?s\.?(?![a-z])|dal\s+segno)", re.IGNORECASE)
_TO_CODA = re.compile(r"\bto\s+(the\s+)?(coda|\U0001D10C)", re.IGNORECASE)
_AL_FINE = re.compile(r"\bal\s+fine\b", re.IGNORECASE)
_AL_CODA = re.compile(r"\b(al|alla|e\s+poi\s+la)\s+coda\b", re.IGNORECASE)
_FINE = re.compile(r"^\W*fine\W*$", re.IGNORECASE)
_CODA = re.compile(r"^\W*coda\W*$", re.IGNORECASE)
_PIZZICATO = re.compile(r"\bpizz(\.|icato\b|\b)", re.IGNORECASE)
_ARCO = re.compile(r"\barco\b", re.IGNORECASE)
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_MAX_REPEATS = 1_000_000
_MAX_ENDING = 99


@dataclass(frozen=True, slots=True)
class Metronome:
    """A metronome mark: how many `unit_quarters` to the minute, or which old unit lasts as long as which new one."""

    unit_quarters: Fraction
    per_minute: float | None
    equals_quarters: Fraction | None = None


@dataclass(frozen=True, slots=True)
class RawMark:
    """Something said at a tick. `kind` is one of: words, dynamics, wedge, rehearsal, metronome, sound-tempo,
    sound-dynamics, pizzicato, octave-shift, segno, coda, coda-sign, to-coda, fine, da-capo, dal-segno, other."""

    kind: str
    tick: int
    bar_index: int
    staff: int  # 0 = not said
    text: str = ""
    value: float = 0.0
    metronome: Metronome | None = None


@dataclass(slots=True)
class RawBarline:
    """What the barlines of one bar say together."""

    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    times_given: bool = False
    after_jump: bool = False
    endings: tuple[int, ...] = ()
    ending_starts: bool = False
    ending_stops: bool = False
    double: bool = False
    middle_repeat: bool = False


def read_direction(element: etree._Element, tick: int, bar_index: int) -> Iterator[RawMark]:
    """Every mark of one <direction>, at the tick the caller worked out."""
    staff = _whole(element.findtext("staff")) or 0
    sound = element.find("sound")
    for kind_element in element.iterfind("direction-type"):
        for child in kind_element:
            yield from _read_type(child, sound, tick, bar_index, staff)
    if sound is not None:
        yield from read_sound(sound, tick, bar_index, staff)


def read_sound(element: etree._Element, tick: int, bar_index: int, staff: int = 0) -> Iterator[RawMark]:
    """Marks in the attributes of a <sound>: tempo, dynamics, pizzicato and jumps."""
    attributes = element.attrib
    if "tempo" in attributes:
        tempo = number_of(element.get("tempo"))
        yield RawMark("sound-tempo", tick, bar_index, staff, str(element.get("tempo"))[:20], float(tempo or 0))
    if "dynamics" in attributes:
        percent = number_of(element.get("dynamics"))
        if percent is not None and 0 <= percent <= 1000:
            yield RawMark("sound-dynamics", tick, bar_index, staff, value=float(percent))
    if element.get("pizzicato") in ("yes", "no"):
        yield RawMark("pizzicato", tick, bar_index, staff, value=1.0 if element.get("pizzicato") == "yes" else 0.0)
    if element.get("dacapo") == "yes":
        yield RawMark("da-capo", tick, bar_index, staff)
    if "dalsegno" in attributes:
        yield RawMark("dal-segno", tick, bar_index, staff)
    if "tocoda" in attributes:
        yield RawMark("to-coda", tick, bar_index, staff)
    if element.get("fine") not in (None, "no"):
        yield RawMark("fine", tick, bar_index, staff)
    if "segno" in attributes:
        yield RawMark("segno", tick, bar_index, staff)
    if "coda" in attributes:
        yield RawMark("coda", tick, bar_index, staff)
    if element.get("forward-repeat") == "yes":
        yield RawMark("forward-repeat", tick, bar_index, staff)


def read_barline(element: etree._Element, into: RawBarline) -> None:
    """Add one <barline> to what is known of its bar. Ending numbers: "1", "1, 2", "1-3"; anything else is no number."""
    middle = element.get("location") == "middle"
    for child in element:
        if child.tag == "repeat":
            if middle:
                into.middle_repeat = True
            elif child.get("direction") == "forward":
                into.repeat_start = True
            elif child.get("direction") == "backward":
                into.repeat_end = True
                times = _whole(child.get("times"))
                if times is not None and times > 0:
                    into.repeat_times, into.times_given = min(times, _MAX_REPEATS), True
                into.after_jump = child.get("after-jump") == "yes"
        elif child.tag == "ending":
            numbers = _ending_numbers(child.get("number", ""))
            if child.get("type") == "start":
                into.endings, into.ending_starts = numbers, bool(numbers)
            elif child.get("type") in ("stop", "discontinue"):
                into.ending_stops = True
        elif child.tag == "bar-style":
            into.double = into.double or (child.text or "").strip() in ("light-light", "heavy-heavy", "light-heavy")


def _read_type(
    child: etree._Element, sound: etree._Element | None, tick: int, bar_index: int, staff: int
) -> Iterator[RawMark]:
    tag = child.tag
    if not isinstance(tag, str):
        return
    if tag == "words":
        text = " ".join((child.text or "").split())
        if text:
            yield RawMark("words", tick, bar_index, staff, text)
            yield from _word_marks(text, sound, tick, bar_index, staff)
    elif tag == "dynamics":
        for mark in child:
            if isinstance(mark.tag, str):
                yield RawMark(
                    "dynamics", tick, bar_index, staff, (mark.text or "") if mark.tag == "other-dynamics" else mark.tag
                )
    elif tag == "wedge":
        yield RawMark("wedge", tick, bar_index, staff, child.get("type", ""))
    elif tag == "rehearsal":
        yield RawMark("rehearsal", tick, bar_index, staff, " ".join((child.text or "").split()))
    elif tag == "metronome":
        metronome = _read_metronome(child)
        if metronome is not None:
            yield RawMark("metronome", tick, bar_index, staff, metronome=metronome)
    elif tag == "octave-shift":
        size = _whole(child.get("size")) or 8
        yield RawMark("octave-shift", tick, bar_index, staff, child.get("type", ""), (size - 1) // 7)
    elif tag == "segno":
        yield RawMark("segno", tick, bar_index, staff)
    elif tag == "coda":
        yield RawMark("coda-sign", tick, bar_index, staff)
    elif tag in ("pedal", "dashes", "bracket", "damp", "damp-all", "eyeglasses"):
        kind = child.get("type", "")
        yield RawMark("other", tick, bar_index, staff, f"{tag} {kind}".strip())


def _word_marks(text: str, sound: etree._Element | None, tick: int, bar_index: int, staff: int) -> Iterator[RawMark]:
    """Jumps and pizzicato said in words. What the direction's own sound says of the same kind wins by being later."""
    until = "fine" if _AL_FINE.search(text) else "coda" if _AL_CODA.search(text) else ""
    if _DA_CAPO.search(text):
        yield RawMark("da-capo", tick, bar_index, staff, until)
    elif _DAL_SEGNO.search(text):
        yield RawMark("dal-segno", tick, bar_index, staff, until)
    elif _TO_CODA.search(text):
        yield RawMark("to-coda", tick, bar_index, staff)
    elif _FINE.match(text):
        yield RawMark("fine", tick, bar_index, staff)
    elif _CODA.match(text) and (sound is None or "tocoda" not in sound.attrib):
        yield RawMark("coda-sign", tick, bar_index, staff)
    if _PIZZICATO.search(text):
        yield RawMark("pizzicato", tick, bar_index, staff, value=1.0)
    elif _ARCO.search(text):
        yield RawMark("pizzicato", tick, bar_index, staff, value=0.0)


def _read_metronome(element: etree._Element) -> Metronome | None:
    units: list[Fraction] = []
    per_minute: float | None = None
    for child in element:
        if child.tag == "beat-unit":
            unit = BASE_VALUES.get((child.text or "").strip())
            if unit is None:
                return None
            units.append(unit)
        elif child.tag == "beat-unit-dot" and units:
            units[-1] *= Fraction(3, 2)
        elif child.tag == "per-minute":
            numbers = [float(number) for number in _NUMBER.findall((child.text or "")[:40])[:2]]
            if numbers:
                per_minute = sum(numbers) / len(numbers)
    if len(units) == 1 and per_minute is not None:
        return Metronome(units[0], per_minute)
    if len(units) == 2:
        return Metronome(units[0], None, units[1])
    return None


def _ending_numbers(text: str) -> tuple[int, ...]:
    numbers: set[int] = set()
    for piece in re.split(r"[,;\s]+", text.strip()):
        first, dash, last = piece.strip(". ").partition("-")
        low = _whole(first)
        high = _whole(last.strip(". ")) if dash else low
        if low is None or high is None or not 1 <= low <= high <= _MAX_ENDING:
            continue
        numbers.update(range(low, high + 1))
    return tuple(sorted(numbers))


def _whole(text: str | None) -> int | None:
    value = number_of(text)
    return None if value is None else round(value)
