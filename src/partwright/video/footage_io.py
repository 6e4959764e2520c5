"""Overlays, corrections and captions put on recorded footage. The recording is read, never changed.

Pictures are decoded one at a time; those with nothing over them go to the encoder as they are. Sound is copied packet
by packet. Times of the pictures stay what they were, so a variable rate stays one. A rotation that the file only
notes is carried out, so that lettering stands upright. More than 8 bits and other colour sampling become 8 bits 4:2:0.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from partwright.errors import InputError, OutputError, Place
from partwright.files import path_atomic
from partwright.video.captions import Caption, Chapter
from partwright.video.overlays import Overlay, PlacedPiece
from partwright.video.raster import Pixels, patch_of
from partwright.video.write_video import TextTrack, set_chapters

__all__ = ["Footage", "burn_in", "read_footage"]

_THREADS = "4"  # fixed, so that the bytes do not depend on the machine
_COPIED_SOUND = frozenset({"aac", "mp3", "ac3", "eac3", "alac", "opus", "flac"})  # what an MP4 file may hold


@dataclass(frozen=True, slots=True, kw_only=True)
class Footage:
    """What a recording is. `width` and `height` as it is shown: turned where it says so, made even."""

    path: Path
    width: int
    height: int
    quarter_turns: int  # to the left, to stand upright
    seconds: float
    rate: Fraction
    constant: bool
    sound: str  # codec, or none
    sound_begins_seconds: float = 0.0
    remarks: tuple[str, ...] = ()

    @property
    def container(self) -> str:
        """What the result is kept in: MP4, or QuickTime where the sound asks for it."""
        return "mp4" if not self.sound or self.sound in _COPIED_SOUND else "mov"


def read_footage(path: Path) -> Footage:
    """What the recording says of itself and its first picture shows. Raises InputError where it cannot be read."""
    place = Place(file=str(path))
    if not path.is_file():
        raise InputError("is not there", "Check the path.", place=place)
    container: Any
    try:
        with av.open(str(path), metadata_errors="replace") as container:
            if not container.streams.video:
                raise InputError("holds no picture", "Give the recorded video.", place=place)
            stream = container.streams.video[0]
            frame = next(container.decode(stream), None)
            if frame is None:
                raise InputError("holds no picture that can be decoded", "Export the recording again.", place=place)
            turns = round(getattr(frame, "rotation", 0) / 90) % 4
            seconds = float(container.duration or 0) / av.time_base
            rate = Fraction(stream.average_rate or stream.guessed_rate or 30)
            base = Fraction(stream.base_rate or rate)
            sounds = container.streams.audio
            sound = sounds[0].codec_context.name if sounds else ""
            # Some cameras begin the sound later than the picture. What is before 0 is never decoded.
            begins = float((sounds[0].start_time or 0) * sounds[0].time_base) if sounds else 0.0
            remarks = []
            if frame.format.components[0].bits > 8:
                remarks.append(f"{path.name} has {frame.format.components[0].bits} bits a colour; they become 8.")
            width, height = (frame.height, frame.width) if turns % 2 else (frame.width, frame.height)
            if width % 2 or height % 2:
                remarks.append(f"{path.name} is {width} × {height}; a row of pixels is added to make it even.")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise InputError(
            "is not a video that can be read", "Give the recording as the camera wrote it.", place=place
        ) from error
    return Footage(
        path=path,
        width=width + width % 2,
        height=height + height % 2,
        quarter_turns=turns,
        seconds=seconds,
        rate=rate,
        constant=abs(float(base - rate)) < 0.01,
        sound=sound,
        sound_begins_seconds=max(0.0, begins),
        remarks=tuple(remarks),
    )


def burn_in(
    footage: Footage,
    path: Path,
    overlay: Overlay,
    *,
    captions: Sequence[Caption] = (),
    chapters: Sequence[Chapter] = (),
    preset: str = "veryfast",
    progress: Callable[[float], None] | None = None,
) -> int:
    """Write the footage with the overlay on it to `path` (MP4, or QuickTime where its sound asks for it).

    `captions` become a text track as well; the overlay decides what of them is seen in the picture.
    Returns how many pictures it has. Raises OutputError, or InputError where the recording breaks off unreadable.
    """
    if path.resolve() == footage.path.resolve():
        raise InputError("is the recording itself", "Choose another name for the result.", place=Place(file=str(path)))
    blender = _Blender(overlay)
    source: Any
    target: Any
    with path_atomic(path) as temporary:
        try:
            with (
                av.open(str(footage.path), metadata_errors="replace") as source,
                av.open(str(temporary), "w", format=footage.container, options={"movflags": "+faststart"}) as target,
            ):
                return _copy(footage, source, target, blender, captions, chapters, preset, progress)
        except av.error.FFmpegError as error:
            raise OutputError(
                f"cannot be written ({(error.strerror or str(error)).lower()})",
                "Free some space or choose another place; the recording and what was there are unchanged.",
                place=Place(file=str(path)),
            ) from error


def _copy(
    footage: Footage,
    source: Any,
    target: Any,
    blender: _Blender,
    captions: Sequence[Caption],
    chapters: Sequence[Chapter],
    preset: str,
    progress: Callable[[float], None] | None,
) -> int:
    pictures = source.streams.video[0]
    pictures.thread_type = "AUTO"
    sounds = list(source.streams.audio)[:1]
    out = target.add_stream("libx264", rate=footage.rate)
    out.width, out.height, out.pix_fmt = footage.width, footage.height, "yuv420p"
    out.codec_context.time_base = out.time_base = pictures.time_base
    out.options = {"preset": preset, "crf": "20", "threads": _THREADS, "bf": "0"}
    for name in ("color_range", "colorspace", "color_primaries", "color_trc"):
        value = getattr(pictures.codec_context, name, None)
        if value:
            setattr(out.codec_context, name, value)
    copied = [target.add_stream_from_template(sound) for sound in sounds]
    text = TextTrack(target, captions) if captions else None
    set_chapters(target, chapters)
    count, last = 0, None
    for packet in source.demux([pictures, *sounds]):
        if packet.stream is not pictures:
            if packet.dts is not None:
                packet.stream = copied[0]
                target.mux(packet)
            continue
        try:
            frames = packet.decode()
        except av.error.InvalidDataError:
            continue  # a damaged picture: what follows is still shown
        for frame in frames:
            if frame.pts is None or (last is not None and frame.pts <= last):
                continue
            last = frame.pts
            seconds = float(frame.pts * pictures.time_base)
            made = _upright(frame, footage, blender.at(seconds))
            made.pts, made.time_base = frame.pts, pictures.time_base
            made.pict_type = 0
            if text is not None:
                text.write_until(seconds + 0.5)
            target.mux(out.encode(made))
            count += 1
            if progress is not None and count % 100 == 0:
                progress(seconds)
    for packet in out.encode(None):
        target.mux(packet)
    if text is not None:
        text.write_until(None)
    if not count:
        raise InputError(
            "holds no picture that can be decoded", "Export the recording again.", place=Place(file=str(footage.path))
        )
    return count


def _upright(frame: Any, footage: Footage, pieces: tuple[_Blend, ...]) -> Any:
    """The picture turned upright, even, 8 bits 4:2:0, with the pieces on it; untouched where nothing is to be done."""
    if frame.format.name not in ("yuv420p", "yuvj420p"):
        frame = frame.reformat(format="yuv420p")
    even = frame.width % 2 == 0 and frame.height % 2 == 0
    if not pieces and even and not footage.quarter_turns:
        return frame
    planes = [_plane(plane) for plane in frame.planes]
    if footage.quarter_turns:
        planes = [np.rot90(plane, footage.quarter_turns) for plane in planes]
    width, height = footage.width, footage.height
    whole = np.empty((height * 3 // 2, width), dtype=np.uint8)
    quarter = width * height // 4
    flat = whole[height:].reshape(-1)
    targets = [
        whole[:height],
        flat[:quarter].reshape(height // 2, width // 2),
        flat[quarter:].reshape(height // 2, width // 2),
    ]
    for plane, target in zip(planes, targets, strict=True):
        rows, columns = min(plane.shape[0], target.shape[0]), min(plane.shape[1], target.shape[1])
        target[:rows, :columns] = plane[:rows, :columns]
        target[rows:] = target[rows - 1 : rows]
        target[:, columns:] = target[:, columns - 1 : columns]
    for piece in pieces:
        piece.lay(targets)
    made = av.VideoFrame.from_ndarray(whole, format="yuv420p")
    made.color_range, made.colorspace = frame.color_range, frame.colorspace
    return made


def _plane(plane: Any) -> Pixels:
    """The pixels of a plane as an array, without the padding of its lines."""
    data = np.frombuffer(plane, dtype=np.uint8)
    return data[: plane.line_size * plane.height].reshape(plane.height, plane.line_size)[:, : plane.width]


@dataclass(frozen=True, slots=True)
class _Blend:
    """One piece as planes, weighted by its alpha beforehand: out = (weighted + (255 − α) · footage) / 255."""

    x: int
    y: int
    weighted: tuple[np.ndarray[Any, Any], ...]
    left: tuple[np.ndarray[Any, Any], ...]

    def lay(self, planes: Sequence[Pixels]) -> None:
        for index, plane in enumerate(planes):
            step = 1 if index == 0 else 2
            y, x = self.y // step, self.x // step
            rows, columns = self.left[index].shape
            part = plane[y : y + rows, x : x + columns]
            rows, columns = part.shape
            mixed = self.weighted[index][:rows, :columns] + self.left[index][:rows, :columns] * part
            part[:] = (mixed // 255).astype(np.uint8)


class _Blender:
    """What lies over the footage at a time, ready to be laid down; kept while nothing changes."""

    def __init__(self, overlay: Overlay) -> None:
        self._overlay = overlay
        self._state: object = None
        self._pieces: tuple[_Blend, ...] = ()

    def at(self, seconds: float) -> tuple[_Blend, ...]:
        state = self._overlay.state_at(seconds)
        if state != self._state:
            self._state = state
            self._pieces = tuple(_blend(piece) for piece in self._overlay.placed(state))
        return self._pieces


def _blend(piece: PlacedPiece) -> _Blend:
    rows, columns = piece.pixels.shape[0] // 2 * 2, piece.pixels.shape[1] // 2 * 2
    pixels = piece.pixels[:rows, :columns]
    patch = patch_of(np.ascontiguousarray(pixels[..., :3]))
    alpha = pixels[..., 3].astype(np.uint16)
    half = ((alpha[0::2, 0::2] + alpha[1::2, 0::2] + alpha[0::2, 1::2] + alpha[1::2, 1::2] + 2) // 4).astype(np.uint16)
    alphas = (alpha, half, half)
    weighted = tuple(
        plane.astype(np.uint16) * a + 127 for plane, a in zip((patch.luma, patch.blue, patch.red), alphas, strict=True)
    )
    return _Blend(piece.x, piece.y, weighted, tuple(255 - a for a in alphas))
