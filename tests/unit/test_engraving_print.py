"""Bars as a printed part has them: joined rests, bars cut where they are longer than a line, jumps at their bar line.

Common practice of printed parts (no source).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lxml import etree

from engraving_pieces import ATTRIBUTES, Piece, beams
from partwright.engraving import Heading, engrave_part_svg
from partwright.engraving.boxes import overlap
from partwright.engraving.music import EngravedMusic, engrave_music
from partwright.engraving.print_bars import cut_long_bars, join_rest_bars

REST = '<note><rest measure="yes"/><duration>12</duration><voice>1</voice></note>'
END = '<barline location="right"><bar-style>light-heavy</bar-style></barline>'
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'


def words(text: str) -> str:
    return f'<direction placement="above"><direction-type><words>{text}</words></direction-type></direction>'


def held(piece: Piece) -> str:
    return piece.note(8, 12, "half", note_id=piece.next_id(), dot=True)


def bars_of(*contents: str) -> Piece:
    """A bar for each content; "note" is a held note."""
    piece = Piece()
    for number, content in enumerate(contents, 1):
        body = content.replace("note", held(piece)) if "note" in content.split("<")[0] else content
        piece.bar((ATTRIBUTES if number == 1 else "") + body, number=number)
    return piece


def joined(piece: Piece) -> list[tuple[str, str]]:
    """For every bar that carries a joined rest its number, and how many bars it stands for."""
    measures = list(etree.fromstring(piece.musicxml().encode()).iter("measure"))
    return [
        (measure.get("number", ""), rest.text or "")
        for measure in join_rest_bars(measures)
        for rest in measure.iter("multiple-rest")
    ]


def drawn(piece: Piece, folder: Path) -> EngravedMusic:
    return engrave_music(piece.tune(folder), (), width=17_800.0, string_letters={}, for_print=True)


@pytest.mark.parametrize(
    ("contents", "found"),
    [
        (["note", REST, REST, REST, "note"], [("2", "3")]),
        ([REST, REST, "note"], [("1", "2")]),
        (["note", REST, "note", REST], []),
        (["note", REST, words("tutti") + REST, REST, "note"], [("3", "2")]),
        (["note", REST, REST + DOUBLE, REST, REST, "note"], [("4", "2")]),
        (["note", REST.replace("</voice>", '</voice><notations><fermata/></notations>'), REST, REST], [("3", "2")]),
        (["note", REST.replace(' measure="yes"', "").replace("12<", "4<") * 3, REST], []),
    ],
)  # fmt: skip
def test_empty_bars_are_joined_and_nothing_else(contents: list[str], found: list[tuple[str, str]]) -> None:
    assert joined(bars_of(*contents)) == found


def test_joined_rests_are_one_bar_with_a_number(tmp_path: Path) -> None:
    """Twelve bars take the room of one; the next line's number counts them all."""
    piece = bars_of("note", *[REST] * 12, *["note"] * 30)
    music = drawn(piece, tmp_path)
    shown = [name for system in music.systems for name in system.measure_ids]
    assert shown[:3] == ["bar-1", "bar-2", "bar-14"]
    assert re.findall(r'class="(multiRest|mRest)"', music.systems[0].svg) == ["multiRest"]
    second = music.systems[1]
    assert f">{int(second.measure_ids[0].removeprefix('bar-'))}<" in second.svg


def long_bar(notes: int) -> Piece:
    """One bar of quavers beamed in fours, with slurs over the beams, then a held note."""
    piece = Piece()
    ids = [piece.next_id() for _ in range(notes)]
    body = "".join(piece.note(5 + k % 9, 2, "eighth", note_id=name, beams=beams(k, 4, 1)) for k, name in enumerate(ids))
    piece.bar(ATTRIBUTES + body, number=1)
    piece.bar(held(piece) + END, number=2)
    return piece


def test_a_bar_longer_than_a_line_goes_on_in_the_next(tmp_path: Path) -> None:
    """Every note stands, in order, and no head touches another; uncut they lie on each other."""
    piece = long_bar(96)
    music = drawn(piece, tmp_path)
    heads = [list(system.heads) for system in music.systems]
    assert len(music.systems) > 2
    assert [p.note_id for line in heads for p in sorted(line, key=lambda p: p.box.left)] == list(music.copy.note_order)
    for line in heads:
        for k, piece_of in enumerate(line):
            assert not any(overlap(piece_of.box, other.box) for other in line[k + 1 :])
    pieces = [name for system in music.systems for name in system.measure_ids if "." in name]
    assert pieces and not any(music.copy.bar_numbers[name] for name in pieces)  # a piece is no bar of its own


def test_a_bar_is_cut_between_beams_only_and_short_ones_stay() -> None:
    for notes, pieces in ((96, 8), (44, 4), (40, 1)):
        measures = list(etree.fromstring(long_bar(notes).musicxml().encode()).iter("measure"))
        made = cut_long_bars(measures)[:-1]
        assert len(made) == pieces
        counts = [sum(1 for _ in measure.iter("note")) for measure in made]
        assert sum(counts) == notes and all(count % 4 == 0 for count in counts)
        assert [b.text for m in made[:-1] for b in m.iter("bar-style")] == ["none"] * (pieces - 1)


@pytest.mark.parametrize("text", ["D.S. al Coda", "D. C.", "Fine", "To Coda"])
def test_a_jump_ends_where_its_bar_does(text: str, tmp_path: Path) -> None:
    """Written behind the last note it is read at the bar line; other words stand where they were written."""
    piece = Piece()
    piece.bar(ATTRIBUTES + held(piece), number=1)
    piece.bar(held(piece) + words(text), number=2)
    piece.bar(words("dolce") + held(piece) + END, number=3)
    (system,) = drawn(piece, tmp_path).systems
    jump, dolce = sorted((p for p in system.outer if p.kind in ("dir", "repeatMark")), key=lambda p: p.box.left)
    heads = {p.note_id: p.box for p in system.heads}
    assert heads["n2"].right < jump.box.right < heads["n3"].left
    assert abs(dolce.box.left - heads["n3"].left) < 100


def test_a_jump_after_the_last_note_makes_no_room_behind_the_last_bar_line(tmp_path: Path) -> None:
    """The staff ends with the final bar line, and the words stand over the bar."""
    piece = Piece()
    piece.bar(ATTRIBUTES + held(piece), number=1)
    piece.bar(held(piece) + words("D.C. al Fine") + END, number=2)
    (system,) = drawn(piece, tmp_path).systems
    (jump,) = (p for p in system.outer if p.kind in ("dir", "repeatMark"))
    element = etree.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg">{system.svg}</svg>')
    staff, line = farthest_right(element, "staff"), farthest_right(element, "barLine")
    assert abs(staff - line) < 100  # half a thick line, in hundredths of a mm
    assert jump.box.right < line + 100


def farthest_right(element: etree._Element, kind: str) -> float:
    """The largest x of what is drawn in groups of this kind, by the numbers of its own lines and polygons."""
    found = []
    for group in element.iter("{*}g"):
        if group.get("class") == kind:
            for child in group:
                pairs = re.findall(r"(-?[\d.]+)[ ,](-?[\d.]+)", child.get("d", "") + child.get("points", ""))
                found += [float(x) for x, _ in pairs]
                found += [float(child.get("x", 0)) + float(child.get("width", 0))] if child.get("width") else []
    return max(found)


@pytest.mark.parametrize(("first", "metres"), [(0, ["34"]), (1, ["54"]), (2, ["54"])])
def test_an_excerpt_begins_with_the_metre_of_its_first_bar(first: int, metres: list[str], tmp_path: Path) -> None:
    """Where the metre changes at its first bar, the new one alone is printed, not the one before."""
    piece = Piece()
    piece.bar(ATTRIBUTES + held(piece), number=1)
    change = (
        "<attributes><key><fifths>-3</fifths></key><time><beats>5</beats><beat-type>4</beat-type></time></attributes>"
    )
    five = piece.note(8, 16, "whole", note_id=piece.next_id()) + piece.note(8, 4, "quarter", note_id=piece.next_id())
    piece.bar(change + five, number=2)
    six = piece.note(9, 16, "whole", note_id=piece.next_id()) + piece.note(8, 4, "quarter", note_id=piece.next_id())
    piece.bar(six + END, number=3)
    music = engrave_music(
        piece.tune(tmp_path), (), width=17_800.0, string_letters={}, bars=(first, first), for_print=False
    )
    element = etree.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg">{music.systems[0].svg}</svg>')
    shown = [
        "".join(chr(ord(use.get("href", "")[-1])) for use in sign.iter("{*}use"))
        for sign in element.iter("{*}g")
        if sign.get("class") == "meterSig"
    ]
    assert shown == metres
    flats = [g for g in element.iter("{*}g") if (g.get("class") or "").startswith("keyAccid")]
    assert len(flats) == (2 if first == 0 else 3)


def symbol(root: str, kind: str, text: str | None, *degrees: tuple[str, int, str]) -> str:
    attribute = "" if text is None else f' text="{text}"'
    more = "".join(
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{what}</degree-type></degree>"
        for value, alter, what in degrees
    )
    return f"<harmony><root><root-step>{root}</root-step></root><kind{attribute}>{kind}</kind>{more}</harmony>"


@pytest.mark.parametrize(
    ("chord", "printed"),
    [
        (symbol("E", "dominant", "7b9", ("9", -1, "add")), "E7♭9"),
        (symbol("E", "dominant", "7#5#9", ("5", 1, "alter"), ("9", 1, "add")), "E7♯5♯9"),
        (symbol("E", "dominant", "7", ("9", -1, "add")), "E7(♭9)"),  # the words do not say it: it is added
        (symbol("E", "dominant-13th", "13", ("3", 0, "subtract")), "E13(no3)"),
        (symbol("B", "minor", "m"), "Bm"),
    ],
)
def test_a_chord_symbol_says_each_degree_once(chord: str, printed: str, tmp_path: Path) -> None:
    piece = Piece()
    piece.bar(ATTRIBUTES + chord + held(piece) + END, number=1)
    (system,) = drawn(piece, tmp_path).systems
    (found,) = (p for p in system.outer if p.kind == "harm")
    assert "".join("".join(found.element.itertext()).split()) == printed.replace("♭", "").replace("♯", "")
    assert len(list(found.element.iter("{*}use"))) == printed.count("♭") + printed.count("♯")


def test_a_page_of_an_empty_part_is_still_a_page(tmp_path: Path) -> None:
    """A part that rests almost throughout: one line, and the SVG can be read."""
    piece = bars_of(*[REST] * 60, "note")
    (page,) = engrave_part_svg(piece.tune(tmp_path), (), heading=Heading(title="Silence"))
    assert etree.fromstring(page.encode()) is not None
    assert len(re.findall(r'class="system"', page)) == 1
