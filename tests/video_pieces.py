"""What the tests of the video share: the demonstration lesson made ready, its first seconds, and invented footage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from partwright.fingering import plan_of
from partwright.fingering import prepare as prepare_fingering
from partwright.lesson import (
    Prepared,
    Teaching,
    lesson_bowing,
    page_instrument,
    page_tune,
    plan_marks,
    plan_teaching,
    prepare,
    read_lesson,
    write_demo,
)
from partwright.sound import TimingMap, make_timing
from partwright.video import Demonstration, Timeline, Track, Work, make_timeline, picture_format

RATE_HZ = 48_000


@dataclass(frozen=True)
class Ready:
    """The demonstration lesson, planned."""

    job: Prepared
    work: Work
    teaching: Teaching
    timing: TimingMap
    timeline: Timeline


@cache
def ready() -> Ready:
    with TemporaryDirectory() as name:
        folder = Path(name) / "lesson"
        write_demo(folder)
        lesson = read_lesson(folder)
        job = prepare(lesson, folder)
        planning = prepare_fingering(job.part, job.instrument, level=job.level, pins=job.pins)
        plan = plan_of(planning)
        bowing = lesson_bowing(job, plan)
        marks = plan_marks(job, plan, bowing=bowing)
        work = Work(
            tune=page_tune(job), marks=marks, instrument=page_instrument(job), plan=plan, bowing=bowing, title="Weir"
        )
        teaching = plan_teaching(lesson, planning, bowing=bowing)
    timing = make_timing(job.part, tempo_qpm=100, count_in_bars=1)
    timeline = make_timeline(
        job.part, plan, bowing, timing, instrument=job.instrument, sections=teaching.outline.sections, title="Weir",
        seconds=timing.seconds + 1.2,
    )  # fmt: skip
    return Ready(job, work, teaching, timing, timeline)


def demonstration(layout: str = "wide-720", seconds: float | None = None, tempo_qpm: float = 100) -> Demonstration:
    """The first seconds of the demonstration in one format."""
    made = ready()
    timing, timeline = made.timing, made.timeline
    if tempo_qpm != 100:
        timing = make_timing(made.job.part, tempo_qpm=tempo_qpm, count_in_bars=1)
        timeline = make_timeline(
            made.job.part, made.work.plan, made.work.bowing, timing, instrument=made.job.instrument,
            sections=made.teaching.outline.sections, title="Weir", seconds=timing.seconds,
        )  # fmt: skip
    if seconds is not None:
        kept = sum(at < seconds for at in timeline.notes.times)
        notes = Track(timeline.notes.times[:kept], timeline.notes.states[:kept])
        timeline = replace(timeline, seconds=seconds, notes=notes)
    bars = [bar.bar_index for bar in timing.bars if seconds is None or bar.start_seconds < seconds + 2]
    return Demonstration(made.work, timeline, bars, picture_format(layout))


def impulses(timing: TimingMap, seconds: float) -> npt.NDArray[np.float32]:
    """A short burst at the onset of every note that is struck: sound whose onsets are known to the sample."""
    samples = np.zeros((2, round(seconds * RATE_HZ)), dtype=np.float32)
    burst = 0.8 * np.sin(2 * np.pi * 3000 * np.arange(480) / RATE_HZ).astype(np.float32)
    for note in timing.notes:
        at = round(note.start_seconds * RATE_HZ)
        if not note.tied and at + len(burst) < samples.shape[1]:
            samples[:, at : at + len(burst)] = burst
    return samples


def decoded_sound(path: Path) -> tuple[float, npt.NDArray[np.float32]]:
    """The time of the first sample and all samples of the first channel."""
    pieces, first = [], None
    container: Any
    with av.open(str(path)) as container:
        for frame in container.decode(audio=0):
            first = float(frame.pts * frame.time_base) if first is None else first
            pieces.append(frame.to_ndarray()[0])
    return first or 0.0, np.concatenate(pieces).astype(np.float32)


def footage(
    path: Path,
    *,
    width: int = 320,
    height: int = 180,
    seconds: float = 2.0,
    times: Sequence[float] | None = None,
    sound: str = "aac",
    pixels: str = "yuv420p",
    codec: str = "libx264",
    grey: int | None = None,
) -> tuple[float, ...]:
    """Invented footage: a moving test card (or one grey), and a tone; returns the times of its pictures."""
    shown = tuple(times) if times is not None else tuple(n / 30 for n in range(round(seconds * 30)))
    rows, columns = np.mgrid[0:height, 0:width]
    target: Any
    with av.open(str(path), "w") as target:
        stream = target.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = width, height, pixels
        stream.codec_context.time_base = stream.time_base = Fraction(1, 90_000)
        if codec == "libx264":
            stream.options = {"preset": "ultrafast", "bf": "0", "crf": "12"}
        tone = target.add_stream(sound, rate=RATE_HZ) if sound else None
        if tone is not None:
            tone.layout = "stereo"
        for number, at in enumerate(shown):
            card = np.stack(
                [columns * 255 // width, rows * 255 // height, np.full((height, width), number * 3 % 256)], axis=-1
            )
            rgb = (np.full_like(card, grey) if grey is not None else card).astype(np.uint8)
            frame = av.VideoFrame.from_ndarray(rgb, format="rgb24").reformat(format=pixels)
            frame.pts, frame.time_base = round(at * 90_000), Fraction(1, 90_000)
            target.mux(stream.encode(frame))
        target.mux(stream.encode(None))
        if tone is not None:
            wave = (0.2 * np.sin(2 * np.pi * 220 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)).astype(np.float32)
            for start in range(0, len(wave), 1024):
                piece = np.ascontiguousarray(np.stack([wave[start : start + 1024]] * 2))
                block = av.AudioFrame.from_ndarray(piece, "fltp", "stereo")
                block.sample_rate, block.pts, block.time_base = RATE_HZ, start, Fraction(1, RATE_HZ)
                for part in _as_wanted(block, tone):
                    target.mux(tone.encode(part))
            target.mux(tone.encode(None))
    return shown


def _as_wanted(block: av.AudioFrame, tone: Any) -> list[av.AudioFrame]:
    if tone.codec_context.format is None or tone.codec_context.format.name == "fltp":
        return [block]
    change = av.AudioResampler(format=tone.codec_context.format.name, layout="stereo", rate=RATE_HZ)
    return change.resample(block)


def turned(path: Path, target: Path) -> None:
    """A copy of an MP4 whose track header says it is to be shown a quarter turn to the right (ISO/IEC 14496-12)."""
    data = bytearray(path.read_bytes())
    header = data.index(b"tkhd")
    version = data[header + 4]
    matrix = header + 8 + (32 if version == 1 else 20) + 16
    turn = (0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30)
    for index, value in enumerate(turn):
        data[matrix + 4 * index : matrix + 4 * index + 4] = value.to_bytes(4, "big", signed=True)
    target.write_bytes(bytes(data))
