"""How to find a note: from an open string, a natural harmonic, the neck, or a place the hand already knows.

Only what is true on the instrument is said: open strings and harmonics come from its tables, and a harmonic is offered
as a landmark only where its node lies within a fifth of a semitone of where a finger of this hand is.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from math import log2
from typing import Literal

from partwright.fingering import FingeringPlan, Placement
from partwright.instrument import THUMB, Harmonic, Instrument
from partwright.lesson.bar_content import Bars
from partwright.lesson.saying import finger_said, pitch_said, place_words, position_said
from partwright.score import Note, Pitch, transposed

__all__ = ["Landmark", "find_landmarks", "harmonic_node_semitones"]

_NEAR_SEMITONES = 0.2
_LOOK_BACK_EVENTS = 8
_LANDMARK_PARTIALS = (2, 3, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmark:
    """One way to find a note. `words` are a whole sentence about the note at `note_id`; `sounds_midi` is what is heard
    when the landmark is played, where it is."""

    kind: Literal["open string", "harmonic", "neck joint", "same place across", "guide finger"]
    note_id: str
    words: str
    sounds_midi: int | None = None
    string: str = ""


def find_landmarks(bars: Bars, plan: FingeringPlan, instrument: Instrument, event: int) -> tuple[Landmark, ...]:
    """Ways to find the (highest) note of an event, the surest first. Empty where the note is open or has no finger."""
    note, place = _note(bars, plan, event)
    if place is None or place.finger == 0:
        return ()
    found = [
        *_unison_or_octave(note, place, instrument),
        *_own_harmonic(note, place, instrument),
        *_harmonic_in_hand(note, place, instrument),
        *_neck_joint(note, place, instrument),
        *_guide_finger(bars, plan, instrument, event, note, place),
        *_same_place_across(bars, plan, instrument, event, note, place),
    ]
    return tuple(found)


def harmonic_node_semitones(harmonic: Harmonic) -> float:
    """Where the node lies in tempered semitones above the open string, from its fraction of the string.

    >>> from partwright.instrument import load_instrument
    >>> third = next(h for h in load_instrument("cello").harmonics if h.partial == 3)
    >>> round(harmonic_node_semitones(third), 2)
    7.02
    """
    return -12 * log2(1 - harmonic.node_fraction)


def _note(bars: Bars, plan: FingeringPlan, event: int) -> tuple[Note, Placement | None]:
    notes = [bars.part.by_id[i] for i in bars.events[event].note_ids]
    note = max((n for n in notes if not n.grace), key=lambda n: n.midi, default=notes[0])
    found = plan.by_id.get(note.id)
    return note, found.placement if found is not None else None


def _unison_or_octave(note: Note, place: Placement, instrument: Instrument) -> list[Landmark]:
    """An open string next to the hand that is the same note, or the same note an octave away."""
    found = []
    for index, string in enumerate(instrument.strings):
        if index == place.string or abs(index - place.string) > 1:
            continue
        if string.midi == note.midi:
            how = f"it is the same note as the open {string.letter} string"
        elif (string.midi - note.midi) % 12 == 0:
            octaves = abs(string.midi - note.midi) // 12
            side = "above" if note.midi > string.midi else "below"
            how = (
                f"it is {'an octave' if octaves == 1 else f'{octaves} octaves'} {side} the open {string.letter} string"
            )
        else:
            continue
        found.append(
            Landmark(
                kind="open string", note_id=note.id, words=f"Check the {pitch_said(note.pitch)}: {how}.",
                sounds_midi=string.midi, string=string.letter,
            )
        )  # fmt: skip
    return found


def _own_harmonic(note: Note, place: Placement, instrument: Instrument) -> list[Landmark]:
    """A stopped note whose very place is a node: touched lightly there, the harmonic sounds."""
    if place.harmonic:
        return []
    harmonic = _node_at(instrument, place.semitones)
    if harmonic is None:
        return []
    string = instrument.strings[place.string]
    sounds = string.midi + harmonic.sounds_semitones
    heard = _harmonic_said(note, harmonic, sounds)
    return [
        Landmark(
            kind="harmonic",
            note_id=note.id,
            words=f"Touch the {string.letter} string lightly at the {pitch_said(note.pitch)}: {heard}.",
            sounds_midi=sounds,
            string=string.letter,
        )
    ]


def _harmonic_in_hand(note: Note, place: Placement, instrument: Instrument) -> list[Landmark]:
    """Another finger of the same hand that lies on the middle of the string."""
    middle = next((h for h in instrument.harmonics if h.partial == 2), None)
    if middle is None or place.semitones == middle.node_semitones:
        return []
    offsets = instrument.shape(place.shape).offsets
    finger = next((f for f, offset in offsets.items() if place.frame + offset == middle.node_semitones), None)
    if finger is None or finger == place.finger:
        return []
    string = instrument.strings[place.string]
    name = {1: "first", 2: "second", 3: "third", 4: "fourth", THUMB: "thumb"}[finger]
    which = "the thumb" if finger == THUMB else f"the {name} finger"
    octave = pitch_said(_open_pitch(note, place, instrument))
    return [
        Landmark(
            kind="harmonic",
            note_id=note.id,
            words=f"In this hand {which} lies on the middle of the {string.letter} string: "
            f"touched lightly, the harmonic {octave} sounds there.",
            sounds_midi=string.midi + middle.sounds_semitones,
            string=string.letter,
        )
    ]


def _neck_joint(note: Note, place: Placement, instrument: Instrument) -> list[Landmark]:
    for row in _neck_joints():
        if row["instrument"] == instrument.name and row["frame"] == place.frame and place.zone == "neck":
            return [
                Landmark(
                    kind="neck joint",
                    note_id=note.id,
                    words=f"In {position_said(place, instrument)} {row['words']}.",
                )
            ]
    return []


def _guide_finger(
    bars: Bars, plan: FingeringPlan, instrument: Instrument, event: int, note: Note, place: Placement
) -> list[Landmark]:
    """The finger that stopped the note before on this string, and slides there."""
    if event == 0:
        return []
    _, last = _note(bars, plan, event - 1)
    if last is None or last.finger != place.finger or last.string != place.string or last.semitones == place.semitones:
        return []
    return [
        Landmark(
            kind="guide finger",
            note_id=note.id,
            words=f"The finger stays on the {instrument.strings[place.string].letter} string and slides there.",
            string=instrument.strings[place.string].letter,
        )
    ]


def _same_place_across(
    bars: Bars, plan: FingeringPlan, instrument: Instrument, event: int, note: Note, place: Placement
) -> list[Landmark]:
    """The same finger at the same height on a neighbouring string a moment ago, in the same hand."""
    for earlier in range(event - 1, max(-1, event - 1 - _LOOK_BACK_EVENTS), -1):
        other, last = _note(bars, plan, earlier)
        if last is None or last.finger == 0:
            continue
        if (last.frame, last.shape) != (place.frame, place.shape):
            return []
        if last.finger == place.finger and last.semitones == place.semitones and abs(last.string - place.string) == 1:
            where = place_words(other.bar, other.beat)
            return [
                Landmark(
                    kind="same place across",
                    note_id=note.id,
                    words=f"It lies straight across from the {pitch_said(other.pitch)} of {where}: "
                    f"{finger_said(last, instrument)} there.",
                    string=instrument.strings[place.string].letter,
                )
            ]
    return []


def _node_at(instrument: Instrument, semitones: int) -> Harmonic | None:
    for harmonic in instrument.harmonics:
        near = abs(harmonic_node_semitones(harmonic) - semitones) <= _NEAR_SEMITONES
        if harmonic.partial in _LANDMARK_PARTIALS and near:
            return harmonic
    return None


def _harmonic_said(note: Note, harmonic: Harmonic, sounds: int) -> str:
    """What is heard when the string is touched where the note is stopped."""
    if sounds == note.midi:
        return "the harmonic is the same note"
    heard = pitch_said(transposed(note.pitch, None, sounds - note.midi))
    octaves, rest = divmod(sounds - note.midi, 12)
    if rest == 0:
        return f"the harmonic {heard} sounds {'an octave' if octaves == 1 else f'{octaves} octaves'} higher"
    above = harmonic.sounds_semitones // 12
    return f"the harmonic {heard} sounds, {above} octaves above the open string"


def _open_pitch(note: Note, place: Placement, instrument: Instrument) -> Pitch:
    return transposed(note.pitch, None, instrument.strings[place.string].midi - note.midi)


@cache
def _neck_joints() -> tuple[dict[str, object], ...]:
    text = (resources.files("partwright.lesson") / "data" / "landmarks.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["neck_joint"])
