"""From drawings to pixels, once each: RGBA by the rasteriser, then the planes a video frame is made of.

Pixels are uint8, shape (rows, columns, channels). Y′CbCr: BT.709, limited range, colour at half the resolution.
Source of the matrix: ITU-R BT.709 (Kr 0.2126, Kb 0.0722).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from partwright.engraving import Used, svg_document, svg_png

__all__ = [
    "Canvas",
    "Patch",
    "Pixels",
    "drawing_svg",
    "over",
    "patch_of",
    "plain_patch",
    "png_rgb",
    "recoloured",
    "rgb_of",
    "svg_rgb",
    "svg_rgba",
]

Pixels = npt.NDArray[np.uint8]

_KR, _KB = 0.2126, 0.0722
_MATRIX = np.array(
    [
        [_KR, 1 - _KR - _KB, _KB],
        [-_KR / (2 * (1 - _KB)), -(1 - _KR - _KB) / (2 * (1 - _KB)), 0.5],
        [0.5, -(1 - _KR - _KB) / (2 * (1 - _KR)), -_KB / (2 * (1 - _KR))],
    ],
    dtype=np.float32,
) * np.array([[219 / 255], [224 / 255], [224 / 255]], dtype=np.float32)

_BAND = 32  # rows that are turned to planes at once: they stay in the processor's cache


def rgb_of(colour: str) -> tuple[int, int, int]:
    """#RRGGBB as three numbers."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def drawing_svg(content: str, width: float, height: float, used: Used) -> str:
    """A drawing whose unit is a hundredth of a pixel as one SVG."""
    return svg_document(content, width * 100, height * 100, used, title="", screen=False, paper=False)


def svg_rgba(svg: str, width: int, height: int) -> Pixels:
    """The drawing on nothing, `width` by `height`; cut or filled with nothing where its shape differs by a pixel."""
    pixels = _decoded(svg_png(svg, width, background="transparent"), "rgba")
    found = np.zeros((height, width, 4), dtype=np.uint8)
    rows, columns = min(height, pixels.shape[0]), min(width, pixels.shape[1])
    found[:rows, :columns] = pixels[:rows, :columns]
    return found


def svg_rgb(svg: str, width: int, height: int, ground: str) -> Pixels:
    """The drawing on paper of one colour."""
    return png_rgb(svg_png(svg, width, background=ground), width, height, ground)


def png_rgb(png: bytes, width: int, height: int, ground: str) -> Pixels:
    """A PNG's pixels, cut or filled with paper where its shape differs by a pixel."""
    pixels = _decoded(png, "rgb24")
    if pixels.shape[:2] == (height, width):
        return pixels
    found = np.full((height, width, 3), rgb_of(ground), dtype=np.uint8)
    rows, columns = min(height, pixels.shape[0]), min(width, pixels.shape[1])
    found[:rows, :columns] = pixels[:rows, :columns]
    return found


def recoloured(pixels: Pixels, ink: str, ground: str, colour: str) -> Pixels:
    """Ink on paper in another colour: how much ink a pixel holds decides how much of the colour it gets."""
    dark, light = np.array(rgb_of(ink), np.float32), np.array(rgb_of(ground), np.float32)
    share = np.clip((light[1] - pixels[..., 1:2].astype(np.float32)) / (light[1] - dark[1]), 0.0, 1.0)
    wanted = np.array(rgb_of(colour), np.float32)
    found: Pixels = (light + share * (wanted - light) + 0.5).astype(np.uint8)
    return found


def over(top: Pixels, ground: Pixels) -> Pixels:
    """A drawing with alpha laid over an opaque one: αF + (1 − α)B, rounded."""
    alpha = top[..., 3:].astype(np.uint16)
    mixed = top[..., :3] * alpha + ground[..., :3] * (255 - alpha) + 127
    found: Pixels = (mixed // 255).astype(np.uint8)
    return found


def _decoded(png: bytes, pixel_format: str) -> Pixels:
    import av

    decoder: Any = av.CodecContext.create("png", "r")
    frames = [*decoder.decode(av.Packet(png)), *decoder.decode(None)]
    pixels: Pixels = frames[0].to_ndarray(format=pixel_format)
    return pixels


@dataclass(frozen=True, slots=True)
class Patch:
    """Some pixels as planes. Shapes: luma (rows, columns), the others half of that each way."""

    luma: Pixels
    blue: Pixels
    red: Pixels

    @property
    def shape(self) -> tuple[int, int]:
        return self.luma.shape[0], self.luma.shape[1]

    def copy(self) -> Patch:
        """The same in memory of its own."""
        return Patch(self.luma.copy(), self.blue.copy(), self.red.copy())

    def put(self, other: Patch, x: int, y: int) -> None:
        """Lay another patch down on this one; x and y even."""
        rows, columns = other.shape
        self.luma[y : y + rows, x : x + columns] = other.luma
        self.blue[y // 2 : (y + rows) // 2, x // 2 : (x + columns) // 2] = other.blue
        self.red[y // 2 : (y + rows) // 2, x // 2 : (x + columns) // 2] = other.red

    def cut(self, x: int, y: int, width: int, height: int) -> Patch:
        """A part of it; all even."""
        return Patch(
            self.luma[y : y + height, x : x + width],
            self.blue[y // 2 : (y + height) // 2, x // 2 : (x + width) // 2],
            self.red[y // 2 : (y + height) // 2, x // 2 : (x + width) // 2],
        )


def patch_of(rgb: Pixels) -> Patch:
    """The planes of an RGB picture with even sides; colour is the mean of four pixels."""
    rows, columns = rgb.shape[:2]
    found = Patch(*(np.empty((rows // n, columns // n), dtype=np.uint8) for n in (1, 2, 2)))
    for first in range(0, rows, _BAND):
        band = rgb[first : first + _BAND]
        colours = [band[..., n].astype(np.float32) for n in range(3)]
        found.luma[first : first + _BAND] = _mixed(colours, _MATRIX[0], 16.5)
        pairs = [colour[0::2] + colour[1::2] for colour in colours]
        fours = [pair[:, 0::2] + pair[:, 1::2] for pair in pairs]
        half = slice(first // 2, (first + _BAND) // 2)
        found.blue[half] = _mixed(fours, 0.25 * _MATRIX[1], 128.5)
        found.red[half] = _mixed(fours, 0.25 * _MATRIX[2], 128.5)
    return found


def _mixed(
    colours: Sequence[npt.NDArray[np.float32]], weights: npt.NDArray[np.float32], offset: float
) -> npt.NDArray[np.float32]:
    """One plane from three; each step in place, as allotting memory takes longer than the sums."""
    found: npt.NDArray[np.float32] = colours[0] * weights[0]
    found += colours[1] * weights[1]
    found += colours[2] * weights[2]
    found += np.float32(offset)
    return found


def plain_patch(width: int, height: int, colour: str) -> Patch:
    """A patch of one colour; even sides."""
    values = _one(colour)
    return Patch(*(np.full((height // n, width // n), v, np.uint8) for n, v in zip((1, 2, 2), values, strict=True)))


class Canvas:
    """The one picture that is changed in place; `planes` is what the encoder takes, shape (rows · 3/2, columns)."""

    def __init__(self, width: int, height: int, ground: str) -> None:
        self.width, self.height = width, height
        self.planes: Pixels = np.empty((height * 3 // 2, width), dtype=np.uint8)
        quarter = height * width // 4
        flat = self.planes[height:].reshape(-1)
        self.luma = self.planes[:height]
        self.blue = flat[:quarter].reshape(height // 2, width // 2)
        self.red = flat[quarter:].reshape(height // 2, width // 2)
        self._whole = Patch(self.luma, self.blue, self.red)
        self.fill(0, 0, width, height, ground)

    def put(self, patch: Patch, x: int, y: int) -> None:
        """Lay a patch down; x and y even."""
        self._whole.put(patch, x, y)

    def fill(self, x: int, y: int, width: int, height: int, colour: str) -> None:
        """A filled rectangle; its edges are taken to even pixels."""
        x, y, right, bottom = (2 * round(v / 2) for v in (x, y, x + width, y + height))
        luma, blue, red = _one(colour)
        self.luma[y:bottom, x:right] = luma
        self.blue[y // 2 : bottom // 2, x // 2 : right // 2] = blue
        self.red[y // 2 : bottom // 2, x // 2 : right // 2] = red


@cache
def _one(colour: str) -> tuple[int, int, int]:
    patch = patch_of(np.full((2, 2, 3), rgb_of(colour), dtype=np.uint8))
    return int(patch.luma[0, 0]), int(patch.blue[0, 0]), int(patch.red[0, 0])
