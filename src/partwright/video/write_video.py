"""Writing the demonstration: pictures, sound, captions and chapters into one MP4, and whole or not at all.

H.264 (High, 4:2:0, BT.709) and AAC, the index in front of the content so that playing can begin at once. Without
reordered pictures, so that times in the file are the times of the pictures. Threads are fixed: the bytes depend on
nothing but the input and the libraries.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from partwright.errors import OutputError, Place
from partwright.files import path_atomic
from partwright.video.ahead import ahead
from partwright.video.captions import Caption, Chapter
from partwright.video.demonstration import FRAME_RATE, Demonstration, frame_times
from partwright.video.raster import Pixels

__all__ = ["SoundTrack", "TextTrack", "add_text_track", "set_chapters", "write_demonstration", "write_pictures"]

_TICKS = 90_000
_THREADS = "2"
_AHEAD = 4  # pictures drawn before the encoder asks for them
_FRAMES = _AHEAD + 4  # those waiting, one in the making, one at the encoder, and some to spare
_AUDIO_BIT_RATE = 192_000

# What the text track's encoder asks for as its style: white text at the foot; players use their own.
_STYLE = b"""[Script Info]
ScriptType: v4.00+

[V4+ Styles]
Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, Bold, Italic, Underline, \
StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, Encoding
Style: Default,Sans,18,&H00FFFFFF,&H00FFFFFF,&H00000000,&H00000000,0,0,0,0,100,100,0,0,1,1,0,2,10,10,10,1

[Events]
Format: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text
"""


def write_demonstration(
    path: Path,
    show: Demonstration,
    *,
    samples: npt.NDArray[np.float32],
    rate_hz: int,
    captions: Sequence[Caption] = (),
    chapters: Sequence[Chapter] = (),
    title: str = "",
    variable: bool = False,
) -> int:
    """Write the video to `path` (MP4); returns how many pictures it has. `samples`: shape (2, frames).

    Raises OutputError where it cannot be written; then nothing carries the name.
    """
    times = frame_times(show, variable=variable)

    def pictures() -> Iterator[tuple[float, Pixels]]:
        for seconds in times:
            # At a constant rate a note is shown in the picture nearest to its onset.
            show.draw(seconds if variable else seconds + 0.5 / FRAME_RATE - 1e-6)
            yield seconds, show.canvas.planes

    write_pictures(
        path,
        pictures(),
        width=show.layout.width,
        height=show.layout.height,
        seconds=show.timeline.seconds,
        samples=samples,
        rate_hz=rate_hz,
        captions=captions,
        chapters=chapters,
        title=title,
        variable=variable,
    )
    return len(times)


def write_pictures(
    path: Path,
    pictures: Iterable[tuple[float, Pixels]],
    *,
    width: int,
    height: int,
    seconds: float,
    samples: npt.NDArray[np.float32] | None = None,
    rate_hz: int = 48_000,
    captions: Sequence[Caption] = (),
    chapters: Sequence[Chapter] = (),
    title: str = "",
    variable: bool = False,
) -> None:
    """Pictures as planes (see `Canvas`) with their times, and sound, as an MP4. The last picture holds to the end."""
    with path_atomic(path) as temporary:
        try:
            with av.open(str(temporary), "w", format="mp4", options={"movflags": "+faststart"}) as container:
                stream = _picture_stream(container, width, height, variable=variable)
                sound = SoundTrack(container, samples, rate_hz) if samples is not None else None
                text = TextTrack(container, captions) if captions else None
                set_chapters(container, chapters)
                if title:
                    container.metadata["title"] = title
                container.start_encoding()
                last = 0
                for at, frame in ahead(_as_frames(pictures), _AHEAD):
                    if sound is not None:
                        sound.write_until(at + 0.5)
                    if text is not None:
                        text.write_until(at + 0.5)
                    last = frame.pts
                    container.mux(stream.encode(frame))
                for packet in stream.encode(None):
                    if packet.pts is not None and packet.pts >= last:
                        packet.duration = max(1, round(seconds * _TICKS) - packet.pts)
                    container.mux(packet)
                if sound is not None:
                    sound.write_until(None)
                if text is not None:
                    text.write_until(None)
        except av.error.FFmpegError as error:
            raise OutputError(
                f"cannot be written ({(error.strerror or str(error)).lower()})",
                "Free some space or choose another place; nothing was changed.",
                place=Place(file=str(path)),
            ) from error


def _as_frames(pictures: Iterable[tuple[float, Pixels]]) -> Iterator[tuple[float, Any]]:
    """A copy of each picture as the encoder takes it, with its time.

    A few frames are used in turn, as the encoder copies what it is given: new memory for each picture takes longer
    than filling it.
    """
    frames: list[Any] = []
    for number, (at, planes) in enumerate(pictures):
        height, width = planes.shape[0] * 2 // 3, planes.shape[1]
        if len(frames) < _FRAMES:
            frames.append(av.VideoFrame(width, height, "yuv420p"))
        frame = frames[number % _FRAMES]
        flat = planes[height:].reshape(2, height // 2, width // 2)
        for plane, pixels in zip(frame.planes, (planes[:height], *flat), strict=True):
            lines = np.frombuffer(plane, dtype=np.uint8)[: plane.line_size * plane.height]
            lines.reshape(plane.height, plane.line_size)[:, : plane.width] = pixels
        frame.pts, frame.time_base = round(at * _TICKS), Fraction(1, _TICKS)
        frame.color_range, frame.colorspace = 1, 1
        yield at, frame


def _picture_stream(container: Any, width: int, height: int, *, variable: bool) -> Any:
    stream = container.add_stream("libx264", rate=FRAME_RATE)
    stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
    stream.codec_context.time_base = Fraction(1, _TICKS)
    stream.time_base = Fraction(1, _TICKS)
    stream.codec_context.color_range, stream.codec_context.colorspace = 1, 1
    stream.codec_context.color_primaries, stream.codec_context.color_trc = 1, 1
    # A whole picture every few seconds, so that a player can go anywhere; pictures that change little need no more.
    stream.codec_context.gop_size = 30 if variable else 4 * FRAME_RATE
    stream.options = {
        # Flat areas and thin lines: the fastest way of coding shows them best here, in a somewhat larger file.
        "preset": "ultrafast",
        "crf": "19",
        "bf": "0",
        "threads": _THREADS,
    }
    return stream


def set_chapters(container: Any, chapters: Sequence[Chapter]) -> None:
    """Chapters into a container that is being written."""
    if chapters:
        container.set_chapters(
            [
                {
                    "id": number,
                    "start": round(chapter.start_seconds * 1000),
                    "end": round(chapter.end_seconds * 1000),
                    "time_base": Fraction(1, 1000),
                    "metadata": {"title": chapter.title},
                }
                for number, chapter in enumerate(chapters, start=1)
            ]
        )


class SoundTrack:
    """AAC beside the pictures, written as far as they have come. `samples`: shape (2, frames)."""

    def __init__(self, container: Any, samples: npt.NDArray[np.float32], rate_hz: int) -> None:
        self._container, self._samples, self._rate = container, samples, rate_hz
        # The plain way of choosing its steps takes a third of the time; the rate is ample for it.
        self._stream = container.add_stream("aac", rate=rate_hz, options={"aac_coder": "fast"})
        self._stream.layout = "stereo"
        self._stream.bit_rate = _AUDIO_BIT_RATE
        self._next = 0

    def write_until(self, seconds: float | None) -> None:
        """Sound up to a time; None: all that is left, and the end."""
        end = self._samples.shape[1] if seconds is None else min(self._samples.shape[1], round(seconds * self._rate))
        while self._next < end:
            # The encoder cuts it into its own frames; larger pieces cost fewer turns between the threads.
            piece = np.ascontiguousarray(self._samples[:, self._next : min(end, self._next + self._rate)], np.float32)
            frame = av.AudioFrame.from_ndarray(piece, "fltp", "stereo")
            frame.sample_rate = self._rate
            frame.pts, frame.time_base = self._next, Fraction(1, self._rate)
            self._next += piece.shape[1]
            self._container.mux(self._stream.encode(frame))
        if seconds is None:
            self._container.mux(self._stream.encode(None))


class TextTrack:
    """Captions as a track of the file (3GPP timed text), written as far as the pictures have come."""

    def __init__(self, container: Any, captions: Sequence[Caption], language: str = "eng") -> None:
        self._container = container
        self._left = list(captions)
        self._stream = add_text_track(container, language)

    def write_until(self, seconds: float | None) -> None:
        """Captions that begin before a time; None: all."""
        while self._left and (seconds is None or self._left[0].start_seconds < seconds):
            caption = self._left.pop(0)
            payload = caption.text.encode("utf-8")
            packet = av.Packet(struct.pack(">H", len(payload)) + payload)
            packet.stream, packet.time_base = self._stream, Fraction(1, 1000)
            packet.pts = packet.dts = round(caption.start_seconds * 1000)
            packet.duration = max(1, round((caption.end_seconds - caption.start_seconds) * 1000))
            self._container.mux(packet)


def add_text_track(container: Any, language: str) -> Any:
    """An empty track of timed text in a container that is being written."""
    stream = container.add_stream("mov_text")
    stream.codec_context.subtitle_header = _STYLE
    stream.codec_context.time_base = stream.time_base = Fraction(1, 1000)
    stream.metadata["language"] = language
    return stream
