"""Pictures that move: the demonstration video, overlays, corrections and captions on footage, chapters, description.

>>> from partwright.video import contrast_ratio
>>> round(contrast_ratio("#0F5A8A", "#FCFAF5"), 1)
7.1
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.video.captions import (
        Caption,
        Chapter,
        chapter_list,
        chapters_vtt,
        consistent_words,
        demonstration_captions,
        demonstration_chapters,
        ruled_chapters,
        shape_captions,
        srt_text,
        vtt_text,
    )
    from partwright.video.demonstration import TAIL_SECONDS, Demonstration, Work, frame_times
    from partwright.video.description import Description, description_text, thumbnail_png
    from partwright.video.footage_io import Footage, burn_in, read_footage
    from partwright.video.look import FORMATS, Layout, Rect, contrast_ratio, picture_format
    from partwright.video.narrated import NarratedPieces, narrated_pieces, spoken_captions
    from partwright.video.overlays import KINDS, Overlay, Piece, timeline_pieces
    from partwright.video.played import PlayedPieces, played_pieces
    from partwright.video.timeline import Timeline, Track, make_timeline
    from partwright.video.write_overlays import OVERLAY_FORMATS, pixels_png, write_overlay, write_overlay_pictures
    from partwright.video.write_video import write_demonstration, write_pictures

_HOMES: dict[str, tuple[str, ...]] = {
    "captions": (
        "Caption",
        "Chapter",
        "chapter_list",
        "chapters_vtt",
        "consistent_words",
        "demonstration_captions",
        "demonstration_chapters",
        "ruled_chapters",
        "shape_captions",
        "srt_text",
        "vtt_text",
    ),
    "demonstration": ("TAIL_SECONDS", "Demonstration", "Work", "frame_times"),
    "description": ("Description", "description_text", "thumbnail_png"),
    "footage_io": ("Footage", "burn_in", "read_footage"),
    "look": ("FORMATS", "Layout", "Rect", "contrast_ratio", "picture_format"),
    "narrated": ("NarratedPieces", "narrated_pieces", "spoken_captions"),
    "overlays": ("KINDS", "Overlay", "Piece", "timeline_pieces"),
    "played": ("PlayedPieces", "played_pieces"),
    "timeline": ("Timeline", "Track", "make_timeline"),
    "write_overlays": ("OVERLAY_FORMATS", "pixels_png", "write_overlay", "write_overlay_pictures"),
    "write_video": ("write_demonstration", "write_pictures"),
}

__getattr__ = lazy_names(__name__, _HOMES)

__all__ = [
    "FORMATS",
    "KINDS",
    "OVERLAY_FORMATS",
    "TAIL_SECONDS",
    "Caption",
    "Chapter",
    "Demonstration",
    "Description",
    "Footage",
    "Layout",
    "NarratedPieces",
    "Overlay",
    "Piece",
    "PlayedPieces",
    "Rect",
    "Timeline",
    "Track",
    "Work",
    "burn_in",
    "chapter_list",
    "chapters_vtt",
    "consistent_words",
    "contrast_ratio",
    "demonstration_captions",
    "demonstration_chapters",
    "description_text",
    "frame_times",
    "make_timeline",
    "narrated_pieces",
    "picture_format",
    "pixels_png",
    "played_pieces",
    "read_footage",
    "ruled_chapters",
    "shape_captions",
    "spoken_captions",
    "srt_text",
    "thumbnail_png",
    "timeline_pieces",
    "vtt_text",
    "write_demonstration",
    "write_overlay",
    "write_overlay_pictures",
    "write_pictures",
]
