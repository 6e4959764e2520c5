"""A recording as the checks want it: one channel at 22 050 Hz, on disk rather than in memory, and what was odd in it.

The samples lie in a temporary file that goes away with the process, so an hour costs no more memory than a minute.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from partwright.errors import AudioError, Place
from partwright.sound import read_pieces

__all__ = ["RATE_HZ", "Recording", "read_recording", "recording_of"]

RATE_HZ = 22_050
Samples = npt.NDArray[np.float32]

_SILENT_DBFS = -72.0
_CLIPPED_SHARE = 2e-4
_LONGEST_S = 4 * 3600.0
_SHORTEST_S = 1.0


@dataclass(frozen=True, kw_only=True)
class Recording:
    """Samples (float32, shape (frames,), full scale 1) at RATE_HZ, and what the file said and showed."""

    name: str
    samples: Samples
    source_rate_hz: int
    source_channels: int
    peak_dbfs: float
    loud_dbfs: float  # RMS of the louder tenth of half-second pieces
    clipped_share: float
    remarks: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        return len(self.samples) / RATE_HZ

    @property
    def top_hz(self) -> float:
        """The highest frequency the source can hold."""
        return min(self.source_rate_hz, RATE_HZ) / 2


def read_recording(path: Path, *, told: Callable[[float], None] | None = None) -> Recording:
    """Read any audio, or a video's first sound track. `told` is called with the seconds read so far.

    Raises AudioError where there is no sound, nothing but silence, less than a second, or more than four hours.
    """
    info, pieces, remarks = read_pieces(path)
    place = Place(file=str(path))
    kept: list[str] = []
    two_sided = _Sides()
    clip = _Clipping()
    with tempfile.TemporaryFile(prefix="partwright-take-") as spool:
        read = 0
        for piece in _resampled(_watched(pieces, two_sided, clip), info.rate_hz, info.channels):
            spool.write(np.ascontiguousarray(piece.T).tobytes())
            read += piece.shape[1]
            if read > _LONGEST_S * RATE_HZ:
                raise AudioError("is longer than four hours", "Cut out the take and give that.", place=place)
            if told is not None:
                told(read / RATE_HZ)
        spool.flush()
        if read < _SHORTEST_S * RATE_HZ:
            raise AudioError(f"holds only {read / RATE_HZ:.1f} s of sound", "Give a longer take.", place=place)
        raw = np.memmap(spool, dtype=np.float32, mode="r", shape=(read, info.channels))
        side, words = two_sided.choice()
        kept += words
        samples = _one_channel(raw, side)
    loud, peak = _levels(samples)
    if loud < _SILENT_DBFS:
        raise AudioError(
            f"is silent: its loudest passages are at {loud:.0f} dBFS"
            if math.isfinite(loud)
            else "is silent throughout",
            "Check the microphone and the track that was exported.",
            place=place,
        )
    if clip.share > _CLIPPED_SHARE:
        kept.append(
            f"{path.name} is clipped ({100 * clip.share:.2g} % of the samples stand at the limit): "
            "pitch and timing can still be measured, tone cannot; record with less gain next time."
        )
    if loud < -42:
        kept.append(
            f"{path.name} is very quiet ({loud:.0f} dBFS where it is loudest); noise weighs more than it should."
        )
    if info.rate_hz < 16_000:
        kept.append(f"{path.name} has {info.rate_hz} Hz, telephone quality; it is judged by its lower partials.")
    return Recording(
        name=path.name,
        samples=samples,
        source_rate_hz=info.rate_hz,
        source_channels=info.channels,
        peak_dbfs=peak,
        loud_dbfs=loud,
        clipped_share=clip.share,
        remarks=(*info.remarks, *remarks, *kept),
    )


def recording_of(samples: Samples, rate_hz: int, *, name: str = "take") -> Recording:
    """Samples that are in memory already, shape (frames,), as a recording."""
    pieces = iter([np.ascontiguousarray(samples[None, :], dtype=np.float32)])
    mono = np.concatenate([p[0] for p in _resampled(pieces, rate_hz, 1)]) if rate_hz != RATE_HZ else samples
    loud, peak = _levels(mono)
    return Recording(
        name=name,
        samples=np.asarray(mono, dtype=np.float32),
        source_rate_hz=rate_hz,
        source_channels=1,
        peak_dbfs=peak,
        loud_dbfs=loud,
        clipped_share=0.0,
    )


def _resampled(pieces: Iterator[Samples], rate_hz: int, channels: int) -> Iterator[Samples]:
    if rate_hz == RATE_HZ:
        yield from pieces
        return
    import av

    layout = "mono" if channels == 1 else "stereo"
    change: Any = av.AudioResampler(format="fltp", layout=layout, rate=RATE_HZ)
    for piece in pieces:
        for start in range(0, piece.shape[1], 1 << 16):
            part = np.ascontiguousarray(piece[:, start : start + (1 << 16)], dtype=np.float32)
            frame = av.AudioFrame.from_ndarray(part, "fltp", layout)
            frame.sample_rate = rate_hz
            for made in change.resample(frame):
                yield made.to_ndarray()
    for made in change.resample(None):
        yield made.to_ndarray()


class _Sides:
    """Energies of two channels and of their sum and difference, to tell which of them to listen to."""

    def __init__(self) -> None:
        self.left = self.right = self.mid = 0.0
        self.channels = 1

    def add(self, piece: Samples) -> None:
        self.channels = piece.shape[0]
        if self.channels == 2:
            left, right = piece[0].astype(np.float64), piece[1].astype(np.float64)
            self.left += float(left @ left)
            self.right += float(right @ right)
            both = (left + right) / 2
            self.mid += float(both @ both)

    def choice(self) -> tuple[str, list[str]]:
        if self.channels == 1:
            return "left", []
        total = self.left + self.right
        if total <= 0:
            return "mid", []
        if min(self.left, self.right) < 1e-3 * total:
            return ("left" if self.left > self.right else "right"), [
                "only one of its two channels holds sound; that one is read."
            ]
        if self.mid < 0.1 * total / 2:
            return (
                "left" if self.left >= self.right else "right",
                ["its two channels are out of phase and would cancel each other; one of them is read."],
            )
        return "mid", []


class _Clipping:
    """The share of samples that stand in rows of three or more at the piece's limit."""

    def __init__(self) -> None:
        self.flat = 0
        self.count = 0
        self.limit = 0.0

    def add(self, piece: Samples) -> None:
        level = np.abs(piece)
        top = float(level.max(initial=0.0))
        if top > self.limit * 1.0005:
            self.limit, self.flat = top, 0  # what was counted stood below the limit
        if self.limit > 0.05:
            at = level >= 0.999 * self.limit
            rows = at[:, 2:] & at[:, 1:-1] & at[:, :-2]
            self.flat += int(rows.sum())
        self.count += piece.size

    @property
    def share(self) -> float:
        return self.flat / max(1, self.count)


def _watched(pieces: Iterator[Samples], sides: _Sides, clip: _Clipping) -> Iterator[Samples]:
    for piece in pieces:
        sides.add(piece)
        clip.add(piece)
        yield piece


def _one_channel(raw: npt.NDArray[np.float32], side: str) -> Samples:
    if raw.shape[1] == 1:
        return raw[:, 0]
    if side == "left":
        return raw[:, 0]
    if side == "right":
        return raw[:, 1]
    with tempfile.TemporaryFile(prefix="partwright-take-") as spool:
        step = 1 << 20
        for start in range(0, raw.shape[0], step):
            spool.write(raw[start : start + step].mean(axis=1, dtype=np.float32).tobytes())
        spool.flush()
        return np.memmap(spool, dtype=np.float32, mode="r", shape=(raw.shape[0],))


def _levels(samples: Samples) -> tuple[float, float]:
    """RMS of the louder tenth of half-second pieces, and the peak; both in dBFS."""
    step = RATE_HZ // 2
    powers, peak = [], 0.0
    for start in range(0, len(samples), step):
        piece = np.asarray(samples[start : start + step], dtype=np.float64)
        powers.append(float(np.mean(piece * piece)))
        peak = max(peak, float(np.abs(piece).max(initial=0.0)))
    loudest = sorted(powers)[-max(1, len(powers) // 10) :]
    power = sum(loudest) / len(loudest)
    return (
        10 * math.log10(power) if power > 0 else -math.inf,
        20 * math.log10(peak) if peak > 0 else -math.inf,
    )
