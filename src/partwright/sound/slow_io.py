"""A recording slower or faster at its own pitch, or at its own speed in another key; piece by piece.

The stretching is done by the `python-stretch` library (MIT). Less than a minute is in memory at any time, however
long the recording is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
from python_stretch import Signalsmith

from partwright.errors import InputError, Place
from partwright.files import writing_atomic
from partwright.sound.audio_io import Tags, encode_stream, format_of, read_pieces
from partwright.sound.loudness import Limiter, Meter

__all__ = ["SPEED_RANGE", "Slowed", "slow_file", "stretch_pieces"]

SPEED_RANGE = (0.5, 1.5)
_TRANSPOSE_MAX = 12.0
_CEILING_DBTP = -1.0
_STRETCH_S, _OVERLAP_S = 17.0, 3.0
_FADE_S, _EDGE_S, _LAG_S = 0.03, 0.3, 0.006
Samples = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slowed:
    """A written file and what was measured of it. `source_seconds` is how long the recording was."""

    file: Path
    seconds: float
    source_seconds: float
    lufs: float
    true_peak_dbtp: float
    remarks: tuple[str, ...] = ()


def slow_file(
    source: Path,
    out: Path,
    *,
    speed: float = 1.0,
    semitones: float = 0.0,
    tags: Tags | None = None,
    heard: Callable[[float, float | None], None] | None = None,
) -> Slowed:
    """Write `source` at `speed` times its own, moved by `semitones`, to `out` (its ending chooses the format).

    `heard` is told how many seconds were read, and of how many if the recording says. Loudness stays as it was but
    for peaks above −1 dBTP. Raises InputError for a speed or interval out of reach, AudioError for a recording that
    cannot be read, OutputError where the result cannot be written; what was there before then stays.
    """
    check_stretch(speed, semitones)
    kind = format_of(out)
    info, pieces, remarks = read_pieces(source)
    if out.exists() and out.samefile(source):
        raise InputError("is the recording itself", "Choose another name for --out.", place=Place(file=str(out)))
    meter = Meter(info.rate_hz, info.channels)
    read = [0]

    def counted() -> Iterator[Samples]:
        for piece in pieces:
            read[0] += piece.shape[1]
            if heard is not None:
                heard(read[0] / info.rate_hz, info.said_seconds)
            yield piece

    def finished() -> Iterator[Samples]:
        limiter = Limiter(info.rate_hz, _CEILING_DBTP)
        for piece in stretch_pieces(counted(), info.rate_hz, info.channels, speed=speed, semitones=semitones):
            for start in range(0, piece.shape[1], info.rate_hz):  # a second at a time: what follows works in copies
                ready = limiter.push(piece[:, start : start + info.rate_hz])
                meter.push(ready)
                yield ready
        ready = limiter.finish(info.channels)
        meter.push(ready)
        yield ready

    with writing_atomic(out) as target:
        frames = encode_stream(target, finished(), info.rate_hz, kind, channels=info.channels, tags=tags)
    told = list(remarks)
    if meter.true_peak_dbtp < -90:
        told.append(f"{source.name} is silent.")
    return Slowed(
        file=out,
        seconds=frames / info.rate_hz,
        source_seconds=read[0] / info.rate_hz,
        lufs=meter.lufs,
        true_peak_dbtp=meter.true_peak_dbtp,
        remarks=tuple(told),
    )


def check_stretch(speed: float, semitones: float) -> None:
    """Raises InputError for what cannot be stretched well."""
    low, high = SPEED_RANGE
    if not (math.isfinite(speed) and low <= speed <= high):
        raise InputError(
            f"a speed of {speed:g} is out of reach", f"Give a factor from {low:g} to {high:g}: 0.75 is three quarters."
        )
    if not (math.isfinite(semitones) and abs(semitones) <= _TRANSPOSE_MAX):
        raise InputError(f"{semitones:g} semitones are out of reach", "Give at most 12, up or down.")


def stretch_pieces(
    pieces: Iterator[Samples], rate_hz: int, channels: int, *, speed: float, semitones: float = 0.0
) -> Iterator[Samples]:
    """The stretched signal, piece by piece; in all `round(frames / speed)` frames, aligned with the source's start.

    The library takes whole signals only, so a long one goes through it in overlapping stretches, each joined to the
    one before it where both are most alike or most quiet. A join moves what follows it by at most 6 ms, never the one
    after; recordings up to 20 s have none.
    """
    ratio = Fraction(speed).limit_denominator(1000)
    # Lengths are whole numbers of frames on both sides, so that nothing is lost to rounding however long it lasts.
    hop = max(1, round(_STRETCH_S * rate_hz) // ratio.numerator) * ratio.numerator
    overlap = max(1, round(_OVERLAP_S * rate_hz) // ratio.numerator) * ratio.numerator
    pending = np.zeros((channels, 0), dtype=np.float32)
    given = taken = 0
    for number, piece in enumerate(_overlapping(pieces, hop, overlap, channels)):
        taken = number * hop + piece.shape[1]
        made = _stretched(piece, rate_hz, ratio, semitones)
        if number:
            start = number * hop // ratio.numerator * ratio.denominator  # where `made` belongs
            settled, pending = _joined(pending, made, start - given, rate_hz)
        else:
            settled, pending = made[:, :0], made
        given += settled.shape[1]
        if settled.shape[1]:
            yield settled
    missing = round(taken / ratio) - given - pending.shape[1]
    if missing > 0:
        pending = np.concatenate([pending, np.zeros((channels, missing), dtype=np.float32)], axis=1)
    yield pending[:, : pending.shape[1] + min(0, missing)]


def _stretched(piece: Samples, rate_hz: int, ratio: Fraction, semitones: float) -> Samples:
    """One stretch as a whole: `round(frames / ratio)` frames."""
    frames = piece.shape[1]
    wanted = round(frames / ratio)
    if frames == 0 or wanted == 0:
        return piece[:, :0]
    if ratio == 1 and not semitones:
        return piece
    stretch = Signalsmith.Stretch()
    stretch.preset(len(piece), float(rate_hz))
    if semitones:
        stretch.setTransposeSemitones(semitones)
    # The library drops the fraction of a frame; a quarter more keeps the last one. Silence pads what is shorter than
    # its own block.
    padded = max(frames, 4 * stretch.blockSamples())
    data = np.zeros((len(piece), padded), dtype=np.float32)
    data[:, :frames] = piece
    stretch.timeFactor = padded / (round(padded / ratio) + 0.25)
    made: Samples = np.asarray(stretch.process(data), dtype=np.float32)
    if made.shape[1] < wanted:
        made = np.concatenate([made, np.zeros((len(piece), wanted - made.shape[1]), dtype=np.float32)], axis=1)
    return made[:, :wanted]


def _overlapping(pieces: Iterator[Samples], hop: int, overlap: int, channels: int) -> Iterator[Samples]:
    """Stretches of `hop + overlap` frames, one every `hop`; the last is as long as what is left."""
    held = [np.zeros((channels, 0), dtype=np.float32)]
    count = 0
    for piece in pieces:
        held.append(piece)
        count += piece.shape[1]
        while count > hop + overlap:
            joined = np.concatenate(held, axis=1)
            yield joined[:, : hop + overlap]
            held = [joined[:, hop:]]
            count -= hop
    yield np.concatenate(held, axis=1)


def _joined(before: Samples, after: Samples, at: int, rate_hz: int) -> tuple[Samples, Samples]:
    """Two stretches that overlap from frame `at` of `before` on: what is settled of them, and what may yet change."""
    fade = round(_FADE_S * rate_hz)
    edge = round(_EDGE_S * rate_hz)
    reach = round(_LAG_S * rate_hz)
    length = min(before.shape[1] - at, after.shape[1])
    first, last = edge + reach, length - edge - reach - fade
    if last <= first:  # what is left is too short to choose: it is in `before` already
        middle = max(0, min(length - fade, length // 2))
        fade = max(0, min(fade, length - middle))
        place, lag = middle, 0
    else:
        old = before[:, at : at + length].mean(axis=0)
        new = after[:, :length].mean(axis=0)
        place, lag = _best_join(old, new, first, last, fade, reach, max(1, rate_hz // 4000))
    head = before[:, at + place : at + place + fade]
    tail = after[:, place + lag : place + lag + fade]
    turn = np.linspace(0.0, 1.0, fade, dtype=np.float32)
    power = float(np.sqrt(np.mean(head**2) * np.mean(tail**2))) if fade else 0.0
    like = max(0.0, min(1.0, float(np.mean(head * tail)) / power)) if power > 1e-12 else 1.0
    even = np.sqrt(turn**2 + (1 - turn) ** 2 + 2 * like * turn * (1 - turn))  # keeps the level, however unlike they are
    crossed = (head * (1 - turn) + tail * turn) / even
    settled = np.concatenate([before[:, : at + place], crossed], axis=1).astype(np.float32)
    return settled, after[:, place + lag + fade :]


def _best_join(
    old: npt.NDArray[np.float32], new: npt.NDArray[np.float32], first: int, last: int, fade: int, reach: int, step: int
) -> tuple[int, int]:
    """Where, and with which lag, the two differ least over the length of a crossfade."""

    def differences(lag: int) -> npt.NDArray[np.float64]:
        gap = old[first : last + fade] - new[first + lag : last + fade + lag]
        sums = np.concatenate([[0.0], np.cumsum(gap.astype(np.float64) ** 2)])
        found: npt.NDArray[np.float64] = sums[fade:] - sums[:-fade]
        return found

    best = (math.inf, first, 0)
    for lag in [0, *range(-reach, reach + 1, step)]:
        found = differences(lag)
        k = int(np.argmin(found))
        if found[k] * (1 + 0.2 * abs(lag) / reach) < best[0]:
            best = (float(found[k]) * (1 + 0.2 * abs(lag) / reach), first + k, lag)
    for lag in range(max(-reach, best[2] - step), min(reach, best[2] + step) + 1):
        found = differences(lag)
        k = int(np.argmin(found))
        if found[k] < best[0]:
            best = (float(found[k]), first + k, lag)
    return best[1], best[2]
