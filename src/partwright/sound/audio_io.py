"""Audio files: encoding with tags and artwork, and reading in pieces so that length costs no memory.

Samples are float32, shape (channels, frames), full scale 1. Codecs come with the PyAV library; nothing is looked for
on the system.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import av
import numpy as np
import numpy.typing as npt
from av.stream import Disposition

from partwright.errors import AudioError, InputError, Place

__all__ = ["FORMATS", "AudioFile", "Format", "Tags", "encode_audio", "encode_stream", "format_of", "read_pieces"]

Samples = npt.NDArray[np.float32]
MIN_RATE_HZ, MAX_RATE_HZ = 4_000, 384_000
_ENCODE_FRAMES = 1 << 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """A kind of audio file. `rates_hz` are those its codec takes (empty: any)."""

    ending: str
    container: str
    codec: str
    sample_format: str
    bit_rate: int | None = None
    rates_hz: tuple[int, ...] = ()
    artwork: bool = False
    bits: int = 0  # of the samples written, where they are whole numbers
    options: tuple[tuple[str, str], ...] = ()  # of the container's writer


_MP3_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
FORMATS: Mapping[str, Format] = {
    f.ending: f
    for f in (
        Format(ending=".flac", container="flac", codec="flac", sample_format="s32", artwork=True, bits=24),
        Format(ending=".wav", container="wav", codec="pcm_s24le", sample_format="s32", bits=24),
        Format(
            ending=".mp3", container="mp3", codec="libmp3lame", sample_format="fltp", bit_rate=160_000,
            rates_hz=_MP3_RATES, artwork=True,
        ),
        Format(
            ending=".m4a", container="mp4", codec="aac", sample_format="fltp", bit_rate=160_000,
            rates_hz=(*_MP3_RATES, 64000, 88200, 96000), artwork=True, options=(("brand", "M4A "),),
        ),
        Format(
            ending=".opus", container="ogg", codec="libopus", sample_format="flt", bit_rate=112_000,
            rates_hz=(48000,),
        ),
    )
}  # fmt: skip
"""What can be written, by the file's ending."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tags:
    """What a player shows beside the sound. `artwork_png`: a picture, or nothing."""

    title: str = ""
    artist: str = ""
    album: str = ""
    track: int | None = None
    comment: str = ""
    copyright: str = ""
    artwork_png: bytes = field(default=b"", repr=False)

    def metadata(self) -> dict[str, str]:
        """By FFmpeg's names of tags, which each container writes as its own."""
        found = {
            "title": self.title,
            "artist": self.artist,
            "album": self.album,
            "comment": self.comment,
            "copyright": self.copyright,
        }
        if self.track is not None:
            found["track"] = str(self.track)
        return {key: value for key, value in found.items() if value}


def format_of(path: Path) -> Format:
    """The format a file's ending asks for. Raises InputError for an unknown one."""
    found = FORMATS.get(path.suffix.casefold())
    if found is None:
        raise InputError(
            f'no audio is written as "{path.suffix or path.name}"',
            f"Choose a name that ends in {', '.join(FORMATS)}.",
            place=Place(file=str(path)),
        )
    return found


def encode_audio(samples: Samples, rate_hz: int, kind: Format, *, tags: Tags | None = None, bits: int = 0) -> bytes:
    """The whole signal as a file's bytes. `bits` 16 or 24 for FLAC and WAV (0: as the format has it)."""
    target = io.BytesIO()
    encode_stream(target, [samples], rate_hz, kind, channels=samples.shape[0], tags=tags, bits=bits)
    return target.getvalue()


def encode_stream(
    target: IO[bytes],
    pieces: Iterable[Samples],
    rate_hz: int,
    kind: Format,
    *,
    channels: int,
    tags: Tags | None = None,
    bits: int = 0,
) -> int:
    """Write pieces of one signal as they come; returns how many frames were written.

    Raises OSError where the target cannot take them.
    """
    tags = tags or Tags()
    guarded = _Guarded(target)
    layout = "mono" if channels == 1 else "stereo"
    sample_format, codec = kind.sample_format, kind.codec
    bits = bits or kind.bits
    if bits == 16:
        sample_format, codec = "s16", "pcm_s16le" if codec.startswith("pcm") else codec
    out_rate = _nearest_rate(rate_hz, kind)
    frames = 0
    try:
        with av.open(guarded, "w", format=kind.container, options=dict(kind.options)) as container:
            stream: Any = container.add_stream(codec, rate=out_rate)
            stream.layout = layout
            stream.format = sample_format
            if kind.bit_rate:
                stream.bit_rate = kind.bit_rate * (1 if channels == 2 else 2) // (1 if channels == 2 else 3)
            container.metadata.update(tags.metadata())
            if tags.artwork_png and kind.artwork:
                _add_artwork(container, tags.artwork_png)
            change = av.AudioResampler(format=sample_format, layout=layout, rate=out_rate)
            whole = sample_format in ("s16", "s32") and out_rate == rate_hz
            for piece in pieces:
                for start in range(0, piece.shape[1], _ENCODE_FRAMES):
                    part = piece[:, start : start + _ENCODE_FRAMES]
                    frames += part.shape[1]
                    for frame in _frames(part, rate_hz, layout, sample_format, whole, change):
                        container.mux(stream.encode(frame))
            if not whole:
                for frame in change.resample(None):
                    container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
    except av.error.FFmpegError as error:
        guarded.complain()
        raise OSError(error.errno, error.strerror or str(error)) from error
    guarded.complain()
    return frames


def _frames(
    part: Samples, rate_hz: int, layout: str, sample_format: str, whole: bool, change: Any
) -> Iterator[av.AudioFrame]:
    if whole:
        # Whole numbers are made here: the same samples in two files differ by no more than half a step.
        if sample_format == "s16":
            data = np.clip(np.rint(part.T * np.float32(32767.0)), -32768, 32767).astype(np.int16)
        else:  # 24 bits are all a float32 holds, so nothing is lost by not going over double precision
            data = np.clip(np.rint(part.T * np.float32(8388607.0)), -8388608, 8388607).astype(np.int32) << 8
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(data).reshape(1, -1), sample_format, layout)
        frame.sample_rate = rate_hz
        yield frame
        return
    frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(part, dtype=np.float32), "fltp", layout)
    frame.sample_rate = rate_hz
    yield from change.resample(frame)


def _add_artwork(container: Any, png: bytes) -> None:
    width, height = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    picture = container.add_stream("png", rate=1)
    picture.width, picture.height, picture.pix_fmt = width, height, "rgb24"
    picture.disposition = Disposition.attached_pic
    packet = av.Packet(png)
    packet.stream = picture
    packet.pts = packet.dts = 0
    container.mux(packet)


def _nearest_rate(rate_hz: int, kind: Format) -> int:
    if not kind.rates_hz or rate_hz in kind.rates_hz:
        return rate_hz
    return min((r for r in kind.rates_hz if r >= rate_hz), default=max(kind.rates_hz))


class _Guarded:
    """A file for the codec library that remembers what the system said when it refused a write."""

    def __init__(self, target: IO[bytes]) -> None:
        self._target = target
        self._error: OSError | None = None

    def write(self, data: bytes) -> int:
        try:
            return self._target.write(data)
        except OSError as error:
            self._error = self._error or error
            raise

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._target.seek(offset, whence)

    def tell(self) -> int:
        return self._target.tell()

    def complain(self) -> None:
        if self._error is not None:
            raise self._error


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioFile:
    """What a recording says of itself; `channels` is 1 or 2, as it will be read."""

    rate_hz: int
    channels: int
    codec: str
    said_seconds: float | None
    remarks: tuple[str, ...] = ()


def read_pieces(path: Path) -> tuple[AudioFile, Iterator[Samples], list[str]]:
    """A recording: what it is, its samples piece by piece, and a list that fills with remarks while they are read.

    More than two channels are mixed to two. A file that breaks off gives what it holds, with a remark. Raises
    AudioError where it is not there or is no audio; the iterator raises it where nothing can be decoded.
    """
    place = Place(file=str(path))
    if not path.is_file():
        raise AudioError("is not there", "Check the path.", place=place)
    try:
        container = av.open(str(path), metadata_errors="replace")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise AudioError(
            "is not audio that can be read", "Give a recording: WAV, FLAC, MP3, M4A, Opus …", place=place
        ) from error
    if not container.streams.audio:
        container.close()
        raise AudioError("holds no sound", "Give a recording.", place=place)
    stream = container.streams.audio[0]
    try:
        rate, channels = int(stream.rate or 0), int(stream.channels or 0)
    except (av.error.FFmpegError, ValueError, TypeError):
        rate, channels = 0, 0
    if not MIN_RATE_HZ <= rate <= MAX_RATE_HZ or channels < 1:
        container.close()
        raise AudioError(
            f"says it has {channels} channels at {rate} Hz, which cannot be", "Export the recording again.", place=place
        )
    remarks: list[str] = []
    if channels > 2:
        remarks.append(f"{path.name} has {channels} channels; they are mixed to two.")
    said = float(stream.duration * stream.time_base) if stream.duration and stream.time_base else None
    if said is None and container.duration:
        said = container.duration / 1e6
    info = AudioFile(
        rate_hz=rate,
        channels=min(2, channels),
        codec=stream.codec_context.name,
        said_seconds=said,
        remarks=tuple(remarks),
    )
    return info, _decoded(container, stream, info, path, remarks), remarks


def _decoded(container: Any, stream: Any, info: AudioFile, path: Path, remarks: list[str]) -> Iterator[Samples]:
    layout = "mono" if info.channels == 1 else "stereo"
    change = av.AudioResampler(format="fltp", layout=layout, rate=info.rate_hz)
    frames, broken = 0, False
    with container:
        packets = container.demux(stream)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                break
            except (av.error.FFmpegError, OSError):
                broken = True
                break
            try:
                decoded = packet.decode()
                made = [made for frame in decoded for made in change.resample(frame)]
            except (av.error.FFmpegError, ValueError):
                broken = True
                continue
            for frame in made:
                piece = frame.to_ndarray().astype(np.float32, copy=False)
                if not np.isfinite(piece).all():
                    piece = np.nan_to_num(piece, nan=0.0, posinf=0.0, neginf=0.0)
                    broken = True
                frames += piece.shape[1]
                yield piece
        for frame in change.resample(None) if frames else ():
            piece = frame.to_ndarray().astype(np.float32, copy=False)
            frames += piece.shape[1]
            yield piece
    if frames == 0:
        raise AudioError(
            "holds no sound that can be decoded", "Export the recording again.", place=Place(file=str(path))
        )
    seconds = frames / info.rate_hz
    if broken:
        remarks.append(f"{path.name} is damaged; {seconds:.1f} s of it could be read.")
    elif info.said_seconds is not None and info.said_seconds - seconds > max(0.5, 0.01 * info.said_seconds):
        remarks.append(f"{path.name} says it lasts {info.said_seconds:.1f} s but ends after {seconds:.1f} s.")
