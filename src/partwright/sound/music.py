"""One piece of music with everything its sound depends on, and its stems for any stretch at any tempo."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from partwright.bowing import BowingPlan
from partwright.errors import InputError
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.score import Part, Tune, tune_from_tree
from partwright.sound.accompaniment import (
    AccompanimentNote,
    accompaniment_from_chords,
    accompaniment_from_parts,
    drone_notes,
    render_accompaniment,
    voice_for,
)
from partwright.sound.bowed import bowed_voice
from partwright.sound.clock import whole_passage
from partwright.sound.font_io import render_with_font
from partwright.sound.guide import SAMPLE_RATE_HZ, render_guide
from partwright.sound.metronome import clicks, render_click
from partwright.sound.mixing import room
from partwright.sound.performance import Run, perform
from partwright.sound.spoken_io import render_count
from partwright.sound.tempering import Temperament
from partwright.sound.timing import TimingMap

__all__ = [
    "STEMS",
    "TAIL_SECONDS",
    "Music",
    "StemNotes",
    "key_note",
    "other_voices",
    "passage_of_bars",
    "render_stems",
    "stem_notes",
]

STEMS: tuple[str, ...] = ("guide", "accompaniment", "click", "drone")
TAIL_SECONDS = 1.2
"""How long the last sound may ring on beyond the last bar."""


@dataclass(frozen=True, kw_only=True)
class Music:
    """A part, how it is fingered and bowed, and what goes with it.

    `others` are arranged parts, each with its voice's name; without them chord symbols give the plain style.
    `font` is a sound font of the player's own for the accompaniment; a `count` that is spoken sounds with its clicks.
    """

    part: Part
    instrument: Instrument
    plan: FingeringPlan | None = None
    bowing: BowingPlan | None = None
    others: tuple[tuple[Part, str], ...] = ()
    tuned: Temperament = field(default_factory=Temperament)
    style: str = "plucked"
    vibrato_cents: float | None = None
    font: Path | None = None
    count: Literal["click", "spoken"] = "click"

    def light(self) -> Music:
        """The same without what a bowing plan keeps for further pins: quick to send to another process."""
        return replace(self, bowing=replace(self.bowing, search=None, problem=None)) if self.bowing else self


def passage_of_bars(part: Part, first: int, last: int) -> tuple[int, int]:
    """The first stretch of the played order that lies in bars `first` … `last` (indices), repeats inside included.

    A pick-up before bar `first` belongs to it. Raises InputError where these bars are never played.
    """
    if first == 1 and part.bars[0].pickup:
        first = 0
    start = None
    for place, played in enumerate(part.played_bars):
        inside = first <= played.bar_index <= last
        if inside and start is None:
            start = place
        elif not inside and start is not None:
            return start, place
    if start is None:
        raise InputError(f"bars {part.bars[first].number} to {part.bars[last].number} are never played")
    return start, len(part.played_bars)


@dataclass(frozen=True, slots=True, kw_only=True)
class StemNotes:
    """What sounds in each wanted stem, before any sound is made: None where the stem is not wanted.

    Equal notes, rendered with the same `Music`'s voices, give equal samples: this is how a sound is recognised.
    """

    guide: tuple[Run, ...] | None = None
    accompaniment: tuple[AccompanimentNote, ...] | None = None
    click: tuple[tuple[float, float], ...] | None = None
    drone: tuple[AccompanimentNote, ...] | None = None


def stem_notes(
    music: Music,
    timing: TimingMap,
    *,
    wanted: Collection[str] = ("guide", "accompaniment", "click"),
    passage: tuple[int, int] | None = None,
    subdivide: int = 1,
    only_count_in: bool = False,
) -> StemNotes:
    """The notes of every wanted stem, with their true times."""
    span = passage or whole_passage(music.part)
    guide: tuple[Run, ...] | None = None
    accompaniment: tuple[AccompanimentNote, ...] | None = None
    if "guide" in wanted:
        guide = perform(
            music.part, timing, music.tuned, instrument=music.instrument, plan=music.plan, bowing=music.bowing,
            vibrato_cents=music.vibrato_cents,
        )  # fmt: skip
    if "accompaniment" in wanted and music.others:
        accompaniment = accompaniment_from_parts(music.others, timing, music.tuned, passage=span)
    elif "accompaniment" in wanted:
        accompaniment = accompaniment_from_chords(music.part, timing, music.tuned, passage=span, style=music.style)
    return StemNotes(
        guide=guide,
        accompaniment=accompaniment,
        click=clicks(music.part, timing, subdivide=subdivide, only_count_in=only_count_in)
        if "click" in wanted
        else None,
        drone=drone_notes(timing, music.tuned) if "drone" in wanted else None,
    )


def render_stems(
    music: Music,
    timing: TimingMap,
    *,
    wanted: Collection[str] = ("guide", "accompaniment", "click"),
    passage: tuple[int, int] | None = None,
    subdivide: int = 1,
    only_count_in: bool = False,
    seconds: float | None = None,
) -> dict[str, npt.NDArray[np.float32]]:
    """Each wanted stem as mono samples at 48 kHz, all of one length: the music, and its last sound ringing off.

    A stem with nothing in it (no chord symbols, no drone) is left out. Raises InputError where a sound font or a spoken
    count is asked for and cannot be had.
    """
    length = timing.seconds + TAIL_SECONDS if seconds is None else seconds
    notes = stem_notes(music, timing, wanted=wanted, passage=passage, subdivide=subdivide, only_count_in=only_count_in)
    found: dict[str, npt.NDArray[np.float32]] = {}
    if notes.guide is not None:
        dry = render_guide(notes.guide, bowed_voice(music.instrument), seconds=length)
        found["guide"] = room(dry, SAMPLE_RATE_HZ)
    if notes.accompaniment:
        if music.font is None:
            dry = render_accompaniment(notes.accompaniment, seconds=length, sample_rate_hz=SAMPLE_RATE_HZ)
        else:
            dry = render_with_font(notes.accompaniment, music.font, seconds=length, sample_rate_hz=SAMPLE_RATE_HZ)
        found["accompaniment"] = room(dry, SAMPLE_RATE_HZ)
    if notes.click:
        found["click"] = render_click(notes.click, seconds=length, sample_rate_hz=SAMPLE_RATE_HZ)
        if music.count == "spoken":
            found["click"] += render_count(timing, seconds=length, sample_rate_hz=SAMPLE_RATE_HZ)
    if notes.drone is not None:
        found["drone"] = render_accompaniment(notes.drone, seconds=length, sample_rate_hz=SAMPLE_RATE_HZ)
    return found


def other_voices(tune: Tune) -> tuple[tuple[Part, str], ...]:
    """The score's other parts, each with the voice its name asks for; () where the tune stands alone."""
    found = []
    for index, name in enumerate(tune.part_names):
        if index == tune.part_index:
            continue
        other = tune_from_tree(
            tune.document,
            source=tune.source,
            source_bytes_hash=tune.source_bytes_hash,
            part=str(index + 1),
            voice="all",
        ).part
        if other.notes and len(other.bars) == len(tune.part.bars):
            found.append((other, voice_for(name)))
    return tuple(found)


def key_note(part: Part) -> tuple[str, int]:
    """The first note of the key the part begins in: (letter, accidental). Minor where the source says so."""
    bar = part.bars[0]
    place = bar.fifths + (3 if bar.mode == "minor" else 0)
    alter, letter = divmod(place + 1, 7)
    return "FCGDAEB"[letter], alter
