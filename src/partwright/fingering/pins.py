"""What the teacher insists on: pins from the source's own marks and from the call, and what they leave of a column.

Written form: "BAR:BEAT=FINGER[/STRING][@POSITION]", for instance "13:2=3", "13:2=1/D", "13:2+1/2=2-1", "5:1=/G@IV".
Where two notes sound at that beat the pitch tells them apart: "5:1:F#3=1".
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from partwright.errors import InputError, PinConflict, Place
from partwright.fingering.columns import Column
from partwright.fingering.hands import HandTable
from partwright.fingering.plan import Pin
from partwright.instrument import THUMB, Instrument, finger_text
from partwright.score import Note, Part, beat_text

__all__ = ["merge_pins", "parse_pin", "pin_mask", "pin_words", "pins_from_source"]

_FORM = re.compile(
    r"^\s*(?P<bar>[^:=]+):(?P<beat>\d+(?:\+\d+/\d+|/\d+|\.\d+)?)(?::(?P<pitch>[A-Ga-g](?:#|b|##|bb)?-?\d))?\s*(?P<ban>!?)=\s*"
    r"(?P<finger>[0-4T]?)(?:-(?P<substitute>[1-4T]))?(?:/(?P<string>[A-Za-z]))?(?:@(?P<position>.+))?\s*$"
)
_HOW = 'Write it as BAR:BEAT=FINGER[/STRING], for instance "13:2=3" or "13:2=1/D".'


def parse_pin(text: str, part: Part, instrument: Instrument, *, origin: str = "call") -> Pin:
    """A pin from its written form. Raises InputError or PinConflict saying what is wrong and where."""
    match = _FORM.match(text)
    if match is None or not any(match[k] for k in ("finger", "string", "position")):
        raise InputError(f'"{text}" is not a pin', _HOW)
    note = _note_at(part, match["bar"].strip(), _beat(match["beat"]), match["pitch"], text)
    string = None
    if match["string"]:
        string = instrument.string_index(match["string"])
        if string is None:
            letters = ", ".join(s.letter for s in instrument.strings)
            raise InputError(f'"{text}": the {instrument.name} has no {match["string"]} string', f"It has {letters}.")
    frame = None
    if match["position"]:
        wanted = match["position"].strip()
        asked = _position_word(wanted)
        frames = [
            name.frame
            for name in instrument.position_names[instrument.school]
            if asked in (_position_word(name.label), _position_word(name.spoken))
        ]
        if not frames:
            known = ", ".join(n.label for n in instrument.position_names[instrument.school])
            raise InputError(f'"{text}": there is no position "{wanted}"', f"Known are {known}.")
        frame = frames[0]
    return Pin(
        note_id=note.id,
        finger=_finger(match["finger"]),
        substitute=_finger(match["substitute"]),
        string=string,
        frame=frame,
        banned=bool(match["ban"]),
        origin=origin,
    )


_NUMBERED = {str(number): roman for number, roman in enumerate(["i", "ii", "iii", "iv", "v", "vi", "vii"], start=1)}


def _position_word(name: str) -> str:
    """A position's name however it is written: "IV", "iv", "4", "4th", "fourth", "fourth position"; "III#" is III♯.

    >>> [_position_word(name) for name in ("4", "4th", "iv", "IV", "fourth position", "III#")]
    ['iv', 'iv', 'iv', 'iv', 'fourth', 'iii♯']
    """
    word = name.casefold().replace("#", "♯").removesuffix(" position").strip()
    number = re.fullmatch(r"([1-7])(?:st|nd|rd|th)?([♯½]?)", word)
    return _NUMBERED[number[1]] + number[2] if number else word


def pins_from_source(part: Part, instrument: Instrument) -> tuple[tuple[Pin, ...], tuple[str, ...]]:
    """Pins from the fingers, strings, open-string, thumb and harmonic marks printed in the source.

    The first finger of a note counts; a second one marked as a substitution takes over from it, an alternate is left
    to the player. Returns the pins and a remark for every mark that is no finger of a string player.
    """
    pins: list[Pin] = []
    remarks: list[str] = []
    for note in part.notes:
        finger, substitute = None, None
        for mark in note.fingerings:
            read = _source_finger(mark.text)
            if read is None:
                remarks.append(
                    f'bar {note.bar}, beat {beat_text(note.beat)}: the printed finger "{mark.text}" is none of '
                    f"0-4 or T; it is left as it is."
                )
            elif mark.alternate:
                continue
            elif finger is None:
                finger, substitute = read
            elif mark.substitution:
                substitute = read[0]
        if note.thumb and finger is None:
            finger = THUMB
        if note.open_string and finger is None and any(note.midi == s.midi for s in instrument.strings):
            finger = 0
        string = None
        if note.string_number is not None:
            string = next((i for i, s in enumerate(instrument.strings) if s.number == note.string_number), None)
        if finger is None and string is None and not note.harmonic:
            continue
        pins.append(
            Pin(
                note_id=note.id,
                finger=finger,
                substitute=substitute,
                string=string,
                harmonic=True if note.harmonic else None,
                origin="source",
            )
        )
    return tuple(pins), tuple(remarks)


def merge_pins(pins: Iterable[Pin], part: Part) -> dict[str, tuple[Pin, ...]]:
    """Pins by note, bans kept beside the pin. Two pins that say different things of one note are a PinConflict."""
    merged: dict[str, tuple[Pin, ...]] = {}
    for pin in pins:
        for before in merged.get(pin.note_id, ()):
            if before.banned or pin.banned:
                continue
            for name in ("finger", "string", "frame", "shape", "harmonic", "substitute"):
                one, two = getattr(before, name), getattr(pin, name)
                if one is not None and two is not None and one != two:
                    raise PinConflict(
                        f"two pins contradict each other: {pin_words(before)} ({before.origin}) and "
                        f"{pin_words(pin)} ({pin.origin})",
                        "Remove one of them.",
                        place=_place(part.by_id[pin.note_id]),
                    )
        merged[pin.note_id] = (*merged.get(pin.note_id, ()), pin)
    return merged


def pin_mask(column: Column, note: int, pins: Sequence[Pin], hands: HandTable) -> NDArray[np.bool_]:
    """Which states of a column agree with the pins of its note number `note`, (K,)."""
    mask = np.ones(len(column), bool)
    for pin in pins:
        fits = np.ones(len(column), bool)
        if pin.finger is not None:
            fits &= column.finger[:, note] == pin.finger
        if pin.string is not None:
            fits &= column.string[:, note] == pin.string
        if pin.frame is not None:
            fits &= _at_frame(column, hands, pin.frame)
        if pin.shape is not None:
            fits &= np.array([any(s.name == pin.shape for s, _ in hands.names[h]) for h in column.hand], bool)
        if pin.harmonic is not None:
            fits &= (column.harmonic[:, note] > 0) == pin.harmonic
        mask &= ~fits if pin.banned else fits
    return mask


def _at_frame(column: Column, hands: HandTable, frame: int) -> NDArray[np.bool_]:
    """The hand lies at this frame, or is opened from it."""
    return np.array([any(f == frame for _, f in hands.names[h]) for h in column.hand], bool)


def pin_words(pin: Pin) -> str:
    """A pin in words for a message."""
    words = []
    if pin.finger is not None:
        words.append("open string" if pin.finger == 0 else f"finger {finger_text(pin.finger)}")
    if pin.substitute is not None:
        words.append(f"replaced by {finger_text(pin.substitute)}")
    if pin.string is not None:
        words.append(f"string {pin.string + 1} from the lowest")
    if pin.frame is not None:
        words.append(f"hand at {pin.frame} semitones")
    if pin.shape is not None:
        words.append(pin.shape)
    if pin.harmonic is not None:
        words.append("harmonic" if pin.harmonic else "no harmonic")
    text = ", ".join(words) or "nothing"
    return f"not ({text})" if pin.banned else text


def _note_at(part: Part, bar: str, beat: Fraction, pitch: str | None, text: str) -> Note:
    in_bar = [note for note in part.notes if note.bar == bar]
    if not in_bar and not any(b.number == bar for b in part.bars):
        numbers = [b.number for b in part.bars]
        raise InputError(f'"{text}": there is no bar {bar}', f"The tune has bars {numbers[0]} to {numbers[-1]}.")
    there = [note for note in in_bar if note.beat == beat]
    place = Place(bar=bar, beat=beat_text(beat))
    if not there:
        beats = ", ".join(dict.fromkeys(beat_text(note.beat) for note in in_bar)) or "none"
        raise PinConflict(
            f'"{text}" is pinned where no note begins (a rest, or a note held on)',
            f"Notes of this bar begin at beat {beats}.",
            place=place,
        )
    if pitch is not None:
        wanted = pitch[0].upper() + pitch[1:]
        there = [note for note in there if note.written_pitch.name == wanted or note.pitch.name == wanted]
        if not there:
            raise PinConflict(f'"{text}": {wanted} is not among the notes there', "Name one that is.", place=place)
    proper = [note for note in there if not note.grace] or there
    if len(proper) > 1:
        names = ", ".join(note.written_pitch.name for note in proper)
        raise InputError(
            f'"{text}": several notes sound there ({names})',
            f'Name the pitch, for instance "{bar}:{beat_text(beat)}:{proper[0].written_pitch.name}=1".',
            place=place,
        )
    return proper[0]


def _beat(text: str) -> Fraction:
    if "+" in text:
        whole, part = text.split("+")
        return int(whole) + Fraction(part)
    return Fraction(text)


def _finger(text: str | None) -> int | None:
    if not text:
        return None
    return THUMB if text == "T" else int(text)


def _source_finger(text: str) -> tuple[int, int | None] | None:
    """A printed finger, and what takes over from it where both stand in one mark ("2-1")."""
    parts = re.split(r"\s*[-–‑]\s*", text.strip().upper())
    if not 1 <= len(parts) <= 2 or any(p not in {"0", "1", "2", "3", "4", "T", "+"} for p in parts):
        return None
    fingers = [THUMB if p in ("T", "+") else int(p) for p in parts]
    return fingers[0], (fingers[1] if len(fingers) == 2 else None)


def _place(note: Note) -> Place:
    return Place(bar=note.bar, beat=beat_text(note.beat), note_id=note.id)
