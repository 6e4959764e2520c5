"""Nothing a player reads lies on anything else: our signs against each other and against the library's own boxes.

The library's boxes come from a second rendering with its bounding boxes switched on, so they are a measure from
outside our own geometry.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from engraving_pieces import Piece, dense_study, forty_bars
from partwright.engraving.boxes import Box, overlap
from partwright.engraving.music import engrave_music, library_options, render_copy
from partwright.engraving.placing import PlacedSystem
from partwright.engraving.worker import shared_process
from partwright.score import Tune

G = "{http://www.w3.org/2000/svg}g"
RECT = "{http://www.w3.org/2000/svg}rect"
WIDTH = 17_800.0
READ_AT_NOTES = {"finger", "harmonic", "string", "bow", "above", "line", "hand", "hand-line", "below"}

PIECES = {
    "forty bars": lambda: forty_bars(),
    "dense study": lambda: dense_study(bars=8, seed=1),
    "dense study, other notes": lambda: dense_study(bars=8, seed=2),
}


def library_boxes(tune: Tune, bars: tuple[int, int]) -> list[tuple[str, Box]]:
    """Boxes of noteheads, rests, stems, articulations, accidentals and clefs as the library itself measures them."""
    options = {**library_options(WIDTH, 1.0, "none"), "svgBoundingBoxes": True}
    (page,) = shared_process().draw(render_copy(tune, bars=bars).musicxml, options)
    found = []
    for group in etree.fromstring(page.encode()).iter(G):
        kind, _, what = (group.get("class") or "").partition(" ")
        rect = group.find(RECT)
        if what == "bounding-box" and rect is not None and kind in ("note", "rest", "stem", "artic", "accid", "clef"):
            x, y, w, h = (float(rect.get(key, "0")) for key in ("x", "y", "width", "height"))
            found.append((kind, Box(x, y, x + w, y + h)))
    return found


def one_line(tune: Tune, piece: Piece, bar: int) -> PlacedSystem:
    """One bar alone, so that the library's boxes and ours share one coordinate system."""
    (system,) = engrave_music(tune, piece.marks, width=WIDTH, string_letters={}, bars=(bar, bar)).systems
    return system


@pytest.mark.parametrize("name", PIECES)
def test_no_sign_touches_another_sign(name: str, tmp_path: Path) -> None:
    """Digits, letters, bows, words and lines keep clear of each other, in every system."""
    piece = PIECES[name]()
    music = engrave_music(piece.tune(tmp_path), piece.marks, width=WIDTH, string_letters={})
    for system in music.systems:
        signs = system.signs
        for index, sign in enumerate(signs):
            for other in signs[index + 1 :]:
                assert not overlap(sign.box, other.box), (sign.kind, sign.note_id, other.kind, other.note_id)


@pytest.mark.parametrize("name", PIECES)
def test_no_sign_touches_a_note(name: str, tmp_path: Path) -> None:
    """By the library's own boxes, no sign of ours lies on a notehead, stem, rest, accidental, articulation or clef."""
    piece = PIECES[name]()
    tune = piece.tune(tmp_path)
    for bar in range(min(8, len(piece.bars))):
        boxes = library_boxes(tune, (bar, bar))
        system = one_line(tune, piece, bar)
        assert boxes, "the library gave no boxes to compare with"
        for sign in system.signs:
            if sign.kind in READ_AT_NOTES:
                hit = [kind for kind, box in boxes if overlap(sign.box, box, gap=-1.0)]
                assert not hit, (bar, sign.kind, sign.note_id, hit)


@pytest.mark.parametrize("name", PIECES)
def test_every_mark_is_drawn_at_its_note(name: str, tmp_path: Path) -> None:
    """No mark is lost, and each stands within a notehead's reach of its own note, left or right."""
    piece = PIECES[name]()
    music = engrave_music(piece.tune(tmp_path), piece.marks, width=WIDTH, string_letters={})
    drawn = [(s.kind, s.note_id) for system in music.systems for s in system.signs]
    for mark in piece.marks:
        note_id = getattr(mark, "note_id", None)
        kind = {"FingeringMark": "finger", "StringMark": "string"}.get(type(mark).__name__)
        if note_id is not None and kind is not None:
            assert (kind, note_id) in drawn, mark
    for system in music.systems:
        heads = {p.note_id: p.box for p in system.heads}
        for sign in system.signs:
            if sign.kind in ("finger", "string", "bow", "harmonic"):
                head = heads[sign.note_id]
                assert sign.box.left <= head.right and head.left <= sign.box.right
                assert sign.box.bottom < head.top, "fingers, strings and bows stand over the note"


def test_bow_stands_outside_the_finger(tmp_path: Path) -> None:
    """Order outwards from the note: finger, string letter, bow (common practice, no source)."""
    piece = dense_study(bars=8, seed=3)
    music = engrave_music(piece.tune(tmp_path), piece.marks, width=WIDTH, string_letters={})
    seen = 0
    for system in music.systems:
        by_note: dict[str, dict[str, Box]] = {}
        for sign in system.signs:
            by_note.setdefault(sign.note_id, {})[sign.kind] = sign.box
        for boxes in by_note.values():
            order = [boxes[kind] for kind in ("finger", "string", "bow") if kind in boxes]
            for inner, outer in pairwise(order):
                assert outer.bottom < inner.top
                seen += 1
    assert seen > 40


def test_words_on_one_beat_do_not_collide(tmp_path: Path) -> None:
    """Two directions on the same beat, which the library would print over each other, stand clear."""
    piece = forty_bars()
    tune = piece.tune(tmp_path)
    (system,) = engrave_music(tune, (), width=WIDTH, string_letters={}, bars=(28, 28)).systems
    words = [p for p in system.outer if p.kind == "dir"]
    assert len(words) == 2
    assert not overlap(words[0].box, words[1].box)
