"""The text under a video, ready to paste, and the thumbnail. Pure text and pixels; the words are the lesson's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from partwright.engraving import GREY, INK, PAPER, SANS, SERIF, Face, Used, letter, text_width
from partwright.video.captions import Chapter, chapter_list
from partwright.video.raster import drawing_svg, rgb_of, svg_rgb
from partwright.video.write_overlays import pixels_png

if TYPE_CHECKING:
    from partwright.video.demonstration import Demonstration

__all__ = ["Description", "description_text", "thumbnail_png"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """What is said of a video. Empty fields are left out."""

    title: str
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    teacher: str = ""
    rights: tuple[str, ...] = ()
    instrument: str = ""
    tuning: str = ""
    level: str = ""
    tempo_qpm: float | None = None
    chapters: tuple[Chapter, ...] = ()
    episodes: tuple[str, ...] = ()
    links: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def description_text(about: Description) -> str:
    """The description. Angle brackets are not used: some platforms refuse them."""
    head = about.title + (f", {about.subtitle}" if about.subtitle else "")
    names = [
        *([f"Music: {about.composer}"] if about.composer else []),
        *([f"Arranged by {about.arranger}"] if about.arranger else []),
        *([f"Fingers, bow and teaching: {about.teacher}"] if about.teacher else []),
    ]
    facts = [
        *([f"Instrument: {about.instrument}" + (f", tuned {about.tuning}" if about.tuning else "")]
          if about.instrument else []),
        *([f"Level: {about.level}"] if about.level else []),
        *([f"Tempo: {about.tempo_qpm:g} quarter notes a minute"] if about.tempo_qpm else []),
    ]  # fmt: skip
    blocks = [
        [head],
        names,
        list(about.rights),
        list(chapter_list(about.chapters)),
        facts,
        ["More:", *about.links] if about.links else [],
        ["Episodes:", *about.episodes] if about.episodes else [],
        list(about.cautions),
    ]
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    return text.replace("<", "‹").replace(">", "›") + "\n"


def thumbnail_png(show: Demonstration, *, title: str, section: str, played_bar: int = 0) -> bytes:
    """A still for lists of videos, 1280 × 720: the title large, the section, and the first bars. PNG bytes."""
    width, height = 1280, 720
    picture = np.full((height, width, 3), rgb_of(PAPER), dtype=np.uint8)
    used, parts, y = Used(), [], 0.0
    face = Face(SERIF, bold=True)
    size = 104.0
    lines = _broken(title, size, face, width - 120)
    while len(lines) > 2 and size > 60:
        size -= 8
        lines = _broken(title, size, face, width - 120)
    for line in lines[:3]:
        y += size * 1.12
        parts.append(_drawn(line, size, face, y, INK, used))
    if section:
        y += 70
        parts.append(_drawn(section, 46.0, Face(SANS), y, GREY, used))
    head = svg_rgb(drawing_svg("".join(parts), width, round(y + 40), used), width, round(y + 40), PAPER)
    picture[40 : 40 + head.shape[0]] = head[: height - 40]
    window = show.line.window_of(played_bar)
    strip = show.line.windows[window].strip
    top = 40 + round(y + 40) + 20
    scale = min((width - 80) / strip.width_mm, (height - top - 30) / strip.height_mm)
    drawn_width, drawn_height = int(strip.width_mm * scale), int(strip.height_mm * scale)
    music = svg_rgb(strip.svg, drawn_width, drawn_height, PAPER)
    left, low = (width - drawn_width) // 2, top + (height - top - 30 - drawn_height) // 2
    picture[low : low + drawn_height, left : left + drawn_width] = music
    return pixels_png(picture)


def _drawn(words: str, size: float, face: Face, y: float, colour: str, used: Used) -> str:
    drawn = letter(words, size * 100, face, x=6000.0, y=y * 100, fill=colour)
    used.add(drawn.used)
    return drawn.svg


def _broken(words: str, size: float, face: Face, width: float) -> Sequence[str]:
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, face) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
