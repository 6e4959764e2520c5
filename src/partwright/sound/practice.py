"""Files to practise with, as plain orders: what sounds, how fast, how often, in which mixes; and their timing.

An order is made by a pure function of its fields, so that orders can be made on all cores, the timing map can be
written without making a sound, and an order whose notes are what they were need not be made again.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context

import numpy as np
import numpy.typing as npt

from partwright.files import content_hash, file_hash
from partwright.sound.audio_io import FORMATS, Tags, encode_audio
from partwright.sound.bowed import bowed_voice
from partwright.sound.clock import whole_passage
from partwright.sound.guide import SAMPLE_RATE_HZ
from partwright.sound.loudness import integrated_lufs
from partwright.sound.mixing import PRACTICE_LUFS, Levelled, levelled, mix, stereo_stems
from partwright.sound.music import TAIL_SECONDS, Music, render_stems, stem_notes
from partwright.sound.timing import TimingMap, make_timing, timing_document

__all__ = ["Order", "Rung", "SoundFile", "make_orders", "order_key", "order_timings", "timings_document"]

_BREATH_SECONDS = 1.0
"""Silence between two turns, beyond what still rings; the count-in that follows is breath enough for the arm."""
_FADE_SECONDS = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One step of a ladder of tempi: quarters a minute at the beginning, and how often it is played."""

    tempo_qpm: float
    percent: float
    times: int = 1


@dataclass(frozen=True, kw_only=True)
class Order:
    """Files of one piece of sound: one per mix, and its stems if wanted.

    `files` pairs a mix's name with a file's; `stems_folder` names where the stems of the first mix go. The endings
    of the names choose the format.
    """

    music: Music
    title: str
    files: tuple[tuple[str, str], ...]
    rungs: tuple[Rung, ...]
    passage: tuple[int, int] | None = None
    stems: tuple[tuple[str, str], ...] = ()
    count_in_bars: int = 1
    subdivide: int = 1
    only_count_in: bool = False
    wanted: tuple[str, ...] = ("guide", "accompaniment", "click")
    target_lufs: float = PRACTICE_LUFS
    tags: Tags = field(default_factory=Tags)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundFile:
    """A finished file and its figures. `data` is None where the file lies there already."""

    name: str
    title: str
    data: bytes | None = field(repr=False)
    seconds: float = 0.0
    lufs: float = 0.0
    true_peak_dbtp: float = 0.0


def make_orders(orders: Sequence[Order], *, workers: int | None = None) -> tuple[SoundFile, ...]:
    """All files of all orders, on as many processes as there are cores. The result does not depend on how many."""
    count = min(workers or _cores(), len(orders))
    if count <= 1:
        return tuple(file for order in orders for file in _make(order))
    # Fresh processes: a fork of one that runs threads may hang.
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        return tuple(file for files in pool.map(_make, orders) for file in files)


def _cores() -> int:
    """How many processes may work; a builder of many lessons at once says "1" to each of its own."""
    if (said := os.environ.get("PARTWRIGHT_PROCESSES", "")).isdigit() and int(said) > 0:
        return int(said)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def order_key(order: Order) -> str:
    """What an order's files are made from, as 64 hex digits: orders of one key give the same bytes.

    The notes count as they will sound, not the plan they come from: another finger on the same string and in the same
    bow is heard by nobody. Raises OSError where a sound font cannot be read.
    """
    music = order.music
    chunks: list[bytes | str] = [
        repr((order.title, order.files, order.stems, order.rungs, order.target_lufs, order.tags, music.count)),
        order.tags.artwork_png,
        repr(bowed_voice(music.instrument)),
        file_hash(music.font) if music.font is not None else "",
    ]
    for timing, _ in _timings(order):
        notes = stem_notes(
            music,
            timing,
            wanted=order.wanted,
            passage=order.passage or whole_passage(music.part),
            subdivide=order.subdivide,
            only_count_in=order.only_count_in,
        )
        chunks.append(repr((timing.seconds, notes, timing.beats if music.count == "spoken" else ())))
    return content_hash(*chunks)


def order_timings(order: Order) -> tuple[tuple[float, TimingMap], ...]:
    """When each turn begins in the order's files, and its timing map (times from the turn's own beginning)."""
    found = []
    at = 0.0
    for timing, rung in _timings(order):
        turn = _turn_seconds(timing)
        for _ in range(rung.times):
            found.append((at, timing))
            at += turn
    return tuple(found)


def timings_document(orders: Sequence[Order]) -> dict[str, object]:
    """The timing map of all files: each distinct map once, and for each file which map begins when."""
    maps: list[dict[str, object]] = []
    products = []
    for order in orders:
        plays = []
        place: dict[int, int] = {}
        for at, timing in order_timings(order):
            if id(timing) not in place:
                document = timing_document(timing)
                if document not in maps:
                    maps.append(document)
                place[id(timing)] = maps.index(document)
            plays.append({"start_s": round(at, 6), "timing": place[id(timing)]})
        names = [*(file for _, file in order.files), *(file for _, file in order.stems)]
        products += [{"file": name, "title": order.title, "plays": plays} for name in names]
    return {"format": 1, "sample_rate_hz": SAMPLE_RATE_HZ, "timings": maps, "products": products}


def _timings(order: Order) -> Iterator[tuple[TimingMap, Rung]]:
    for rung in order.rungs:
        timing = make_timing(
            order.music.part,
            tempo_qpm=rung.tempo_qpm,
            count_in_bars=order.count_in_bars,
            passage=order.passage,
        )
        yield timing, rung


def _turn_seconds(timing: TimingMap) -> float:
    """One turn with its ringing off and the breath after it, on whole samples."""
    return round((timing.seconds + TAIL_SECONDS + _BREATH_SECONDS) * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ


def _make(order: Order) -> tuple[SoundFile, ...]:
    span = order.passage or whole_passage(order.music.part)
    rendered = []
    for timing, rung in _timings(order):
        looped = len(order.rungs) > 1 or rung.times > 1
        seconds = _turn_seconds(timing) if looped else timing.seconds + TAIL_SECONDS
        stems = render_stems(
            order.music,
            timing,
            wanted=order.wanted,
            passage=span,
            subdivide=order.subdivide,
            only_count_in=order.only_count_in,
            seconds=seconds,
        )
        rendered.append(({name: _faded(samples) for name, samples in stems.items()}, rung))
    made = []
    for mix_name, file in order.files:
        turns: list[npt.NDArray[np.float32]] = []
        figures: list[Levelled] = []
        stem_turns: dict[str, list[npt.NDArray[np.float32]]] = {}
        for stems, rung in rendered:
            whole, parts = mix(stereo_stems(stems, mix_name), SAMPLE_RATE_HZ, target_lufs=order.target_lufs)
            turns += [whole.samples] * rung.times
            figures.append(whole)
            if mix_name == order.files[0][0]:
                for name, samples in parts.items():
                    stem_turns.setdefault(name, []).extend([samples] * rung.times)
        samples = turns[0] if len(turns) == 1 else np.concatenate(turns, axis=1)
        lufs = figures[0].lufs if len(turns) == 1 else integrated_lufs(samples, SAMPLE_RATE_HZ)
        peak = max(figure.true_peak_dbtp for figure in figures)  # between two turns there is silence
        made.append(_file(file, order, Levelled(samples=samples, lufs=lufs, true_peak_dbtp=peak)))
        if mix_name == order.files[0][0]:
            made += [
                _file(stem_file, order, levelled(np.concatenate(stem_turns[name], axis=1), SAMPLE_RATE_HZ))
                for name, stem_file in order.stems
                if name in stem_turns
            ]
    return tuple(made)


def _faded(samples: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """What still rings at the end of a turn goes quietly."""
    last = round(_FADE_SECONDS * SAMPLE_RATE_HZ)
    if len(samples) > last:
        samples = samples.copy()
        samples[-last:] *= np.linspace(1, 0, last, dtype=np.float32)
    return samples


def _file(name: str, order: Order, finished: Levelled) -> SoundFile:
    kind = FORMATS["." + name.rpartition(".")[2]]
    bits = 24 if order.stems else 16  # what must add up to the sample is kept finer
    return SoundFile(
        name=name,
        title=order.title,
        data=encode_audio(finished.samples, SAMPLE_RATE_HZ, kind, tags=order.tags, bits=bits if kind.bits else 0),
        seconds=finished.samples.shape[1] / SAMPLE_RATE_HZ,
        lufs=finished.lufs,
        true_peak_dbtp=finished.true_peak_dbtp,
    )
