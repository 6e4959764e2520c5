"""Writing overlays with alpha: QuickTime Animation, ProRes 4444, VP9 in WebM, or a folder of PNG pictures.

Constant rate, exactly as many pictures as the length asks for. Straight alpha, as editors take it.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from partwright.errors import InputError, OutputError, Place
from partwright.files import path_atomic, write_atomic
from partwright.video.overlays import Overlay
from partwright.video.raster import Pixels

__all__ = ["OVERLAY_FORMATS", "OverlayFormat", "pixels_png", "write_overlay", "write_overlay_pictures"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayFormat:
    """A kind of file with alpha: container, codec, pixels, and the codec's options."""

    name: str
    words: str
    ending: str
    container: str
    codec: str
    pixels: str
    options: tuple[tuple[str, str], ...] = ()


OVERLAY_FORMATS = {
    kind.name: kind
    for kind in (
        OverlayFormat(
            name="animation", words="QuickTime Animation", ending=".mov", container="mov", codec="qtrle", pixels="argb"
        ),
        OverlayFormat(
            name="prores", words="ProRes 4444", ending=".mov", container="mov", codec="prores_ks",
            pixels="yuva444p10le", options=(("profile", "4444"), ("alpha_bits", "16"), ("vendor", "apl0")),
        ),
        OverlayFormat(
            name="webm", words="VP9 with alpha", ending=".webm", container="webm", codec="libvpx-vp9",
            pixels="yuva420p",
            options=(
                ("crf", "18"), ("b", "0"), ("deadline", "realtime"), ("cpu-used", "8"), ("row-mt", "1"),
                ("threads", "2"), ("auto-alt-ref", "0"), ("lag-in-frames", "0"),
            ),
        ),
    )
}  # fmt: skip
"""By name."""


def write_overlay(path: Path, overlay: Overlay, *, kind: str, seconds: float, rate: Fraction = Fraction(30)) -> int:
    """Write the overlay as one video; returns how many pictures it has. Raises OutputError, InputError."""
    if kind not in OVERLAY_FORMATS:
        raise InputError(f'there is no overlay format "{kind}"', f"Known are {', '.join(OVERLAY_FORMATS)}.")
    form = OVERLAY_FORMATS[kind]
    count = max(1, round(seconds * rate))
    with path_atomic(path) as temporary:
        try:
            with av.open(str(temporary), "w", format=form.container) as container:
                stream: Any = container.add_stream(form.codec, rate=rate, options=dict(form.options))
                stream.width, stream.height, stream.pix_fmt = overlay.width, overlay.height, form.pixels
                if form.pixels.startswith("yuva"):
                    stream.codec_context.color_range, stream.codec_context.colorspace = 1, 1
                    stream.codec_context.color_primaries, stream.codec_context.color_trc = 1, 1
                for number, frame in enumerate(_frames(overlay, count, rate, form)):
                    frame.pts, frame.time_base = number, 1 / rate
                    container.mux(stream.encode(frame))
                container.mux(stream.encode(None))
        except av.error.FFmpegError as error:
            raise OutputError(
                f"cannot be written ({(error.strerror or str(error)).lower()})",
                "Free some space or choose another place; nothing was changed.",
                place=Place(file=str(path)),
            ) from error
    return count


def _frames(overlay: Overlay, count: int, rate: Fraction, form: OverlayFormat) -> Iterator[Any]:
    """The pictures; one that does not differ from the one before is the same frame again."""
    before: object = None
    frame: Any = None
    for number in range(count):
        at = float((number + Fraction(1, 2)) / rate)
        state = overlay.state_at(at)
        if frame is None or state != before:
            rgba = av.VideoFrame.from_ndarray(overlay.picture(at), format="rgba")
            frame = rgba.reformat(format=form.pixels, dst_colorspace=1, dst_color_range=1)
            before = state
        yield frame


def write_overlay_pictures(
    folder: Path, overlay: Overlay, *, seconds: float, rate: Fraction = Fraction(30)
) -> tuple[Path, ...]:
    """One PNG for every picture that differs, numbered by picture, and `pictures.csv` saying how long each holds."""
    count = max(1, round(seconds * rate))
    found: list[Path] = []
    starts: list[int] = []
    before: object = None
    for number in range(count):
        at = float((number + Fraction(1, 2)) / rate)
        state = overlay.state_at(at)
        if number == 0 or state != before:
            path = folder / f"overlay-{number:06d}.png"
            write_atomic(path, pixels_png(overlay.picture(at)))
            found.append(path)
            starts.append(number)
            before = state
    rows = ["picture,first_frame,frames,start_seconds,seconds"]
    for path, first, after in zip(found, starts, [*starts[1:], count], strict=True):
        rows.append(
            f"{path.name},{first},{after - first},{float(first / rate):.6f},{float((after - first) / rate):.6f}"
        )
    table = folder / "pictures.csv"
    write_atomic(table, "\n".join(rows) + "\n")
    return (*found, table)


def pixels_png(pixels: Pixels) -> bytes:
    """An RGB or RGBA picture as PNG bytes."""
    form = "rgba" if pixels.shape[2] == 4 else "rgb24"
    frame: Any = av.VideoFrame.from_ndarray(pixels, format=form)
    frame.pts, frame.time_base = 0, Fraction(1, 1)
    target = io.BytesIO()
    with av.open(target, "w", format="image2pipe") as container:
        stream: Any = container.add_stream("png", rate=1)
        stream.width, stream.height, stream.pix_fmt = pixels.shape[1], pixels.shape[0], form
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return target.getvalue()
