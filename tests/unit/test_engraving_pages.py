"""Pages: same bytes twice, letters embedded and selectable, ids kept, both sheets, turns at rests."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from lxml import etree
from pypdf import PdfReader

from engraving_pieces import forty_bars, plain_bars
from partwright.engraving import (
    A4,
    LETTER,
    Heading,
    engrave_excerpt_svg,
    engrave_part_pdf,
    engrave_part_svg,
    heading_from,
    page_size,
    svg_png,
)
from partwright.engraving.pagination import LineBox, paginate, space_out
from partwright.errors import InputError
from partwright.instrument import load_instrument
from partwright.score import FingeringMark, Tune

CELLO = load_instrument("cello")
HEADING = Heading(
    title="Lantern Waltz",
    subtitle="for the long evenings",
    composer="Mira Holt",
    arranger="Tomas Reed",
    instrument="Cello",
    level="intermediate",
    rights=("© 2026 Mira Holt. Invented for this test.",),
)


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Tune:
    return forty_bars().tune(tmp_path_factory.mktemp("sample"))


@pytest.fixture(scope="module")
def pdf(sample: Tune) -> bytes:
    return engrave_part_pdf(sample, forty_bars().marks, heading=HEADING, instrument=CELLO)


def test_same_input_gives_same_bytes(sample: Tune, pdf: bytes) -> None:
    """PDF and SVG twice, the second time in another engraving process."""
    from partwright.engraving import EngravingProcess

    marks = forty_bars().marks
    with EngravingProcess() as other:
        again = engrave_part_pdf(sample, marks, heading=HEADING, instrument=CELLO, process=other)
        assert again == pdf
        first = engrave_part_svg(sample, marks, heading=HEADING, process=other)
    assert engrave_part_svg(sample, marks, heading=HEADING) == first


def test_text_can_be_selected_and_read(pdf: bytes) -> None:
    """Title, credits, tempo, chord symbols, fingers, legend and page numbers come out of the PDF as text (pypdf)."""
    reader = PdfReader(io.BytesIO(pdf))
    text = reader.pages[0].extract_text()
    wanted = (
        *("Lantern Waltz", "for the long evenings", "Mira Holt", "arr. Tomas Reed", "Cello", "Andante con moto"),
        *("Gm7", "2–1", "sul D", "IV", "1 / 2", "© 2026 Mira Holt", "names its string"),
    )
    for expected in wanted:
        assert expected in text, expected
    assert reader.metadata is not None and reader.metadata.title == "Lantern Waltz"


def test_every_letter_is_embedded_in_our_faces(pdf: bytes) -> None:
    """All fonts of the PDF are embedded subsets of Source Serif and Source Sans (read with pypdf)."""
    names = set()
    for page in PdfReader(io.BytesIO(pdf)).pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            base = font.get_object()
            (inner,) = base["/DescendantFonts"]
            descriptor = inner.get_object()["/FontDescriptor"].get_object()
            assert any(key in descriptor for key in ("/FontFile2", "/FontFile3"))
            names.add(re.sub(r"^/[A-Z]{6}\+", "", str(base["/BaseFont"])))
    assert names and all(name.startswith(("SourceSerifPro", "SourceSansPro")) for name in names)


def test_the_pdf_claims_its_archive_standard(pdf: bytes) -> None:
    """PDF/A-2b is declared in the metadata: part 2, conformance B (ISO 19005-2, clause 6.6.4, from memory)."""
    metadata = PdfReader(io.BytesIO(pdf)).xmp_metadata
    assert metadata is not None
    raw = metadata.stream.get_data().decode("utf-8")
    assert re.search(r"pdfaid:part[>=\"']+2", raw) and re.search(r"pdfaid:conformance[>=\"']+B", raw)


@pytest.mark.parametrize(("page", "points"), [(A4, (595.276, 841.89)), (LETTER, (612.0, 792.0))])
def test_sheets_have_their_true_size(sample: Tune, page: object, points: tuple[float, float]) -> None:
    """A4 is 210 × 297 mm (ISO 216), US Letter 8.5 × 11 in = 612 × 792 points (ANSI A)."""
    made = engrave_part_pdf(sample, (), heading=HEADING, page=page)  # type: ignore[arg-type]
    box = PdfReader(io.BytesIO(made)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(points, abs=0.05)


def test_nothing_leaves_the_sheet(sample: Tune) -> None:
    """Every text of the PDF lies inside the margins of the sheet."""
    for page in (A4, LETTER):
        made = engrave_part_pdf(sample, forty_bars().marks, heading=HEADING, page=page, instrument=CELLO)
        for sheet in PdfReader(io.BytesIO(made)).pages:
            height = float(sheet.mediabox.height)
            places: list[tuple[float, float]] = []
            sheet.extract_text(
                visitor_text=lambda text, cm, tm, *_, p=places: p.append((cm, tm)) if text.strip() else None
            )
            for cm, tm in places:
                x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
                y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
                assert 30 < x < float(sheet.mediabox.width) - 30 and 25 < y < height - 25


def test_notes_keep_their_ids(sample: Tune) -> None:
    """From a note in the picture the way leads back to the note in the tune."""
    pages = engrave_part_svg(sample, (), heading=HEADING)
    ids = {
        g.get("id") for page in pages for g in etree.fromstring(page.encode()).iter("{*}g") if g.get("class") == "note"
    }
    assert ids == {note.id for note in sample.part.notes}


def test_pages_stand_alone(sample: Tune) -> None:
    """A page refers to nothing outside itself, and everything it refers to is in it."""
    for page in engrave_part_svg(sample, forty_bars().marks, heading=HEADING):
        root = etree.fromstring(page.encode())
        wanted = {u.get("href") for u in root.iter("{*}use")}
        held = {f"#{g.get('id')}" for g in root.iter("{*}g") if g.get("id")}
        assert wanted <= held
        assert "http" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
        for family in {t.get("font-family") for t in root.iter("{*}text")}:
            assert f"font-family:'{family}'" in page


def test_excerpt_starts_with_clef_key_and_bar_number(sample: Tune) -> None:
    """Bars 21 to 24 alone: clef and key carried over, the bar's own number printed, no title."""
    index = next(bar.index for bar in sample.part.bars if bar.number == "21")
    svg = engrave_excerpt_svg(sample, (), first_bar_index=index, last_bar_index=index + 3, width_mm=150.0)
    root = etree.fromstring(svg.encode())
    texts = ["".join(t.itertext()) for t in root.iter("{*}text")]
    assert "21" in texts and "Sample for the engraver" not in texts
    assert len([g for g in root.iter("{*}g") if g.get("class") == "measure"]) == 4
    assert any(g.get("class") == "clef" for g in root.iter("{*}g"))
    assert float(root.get("width", "0mm").removesuffix("mm")) == pytest.approx(150.0, abs=1.0)


def test_excerpt_shows_the_notes_of_its_bars(sample: Tune) -> None:
    svg = engrave_excerpt_svg(sample, (), first_bar_index=3, last_bar_index=5, width_mm=170.0)
    ids = {g.get("id") for g in etree.fromstring(svg.encode()).iter("{*}g") if g.get("class") == "note"}
    assert ids == {note.id for note in sample.part.notes if 3 <= note.bar_index <= 5}


def test_a_picture_can_be_made_of_a_page(sample: Tune) -> None:
    page = engrave_part_svg(sample, (), heading=HEADING)[0]
    png = svg_png(page, 400)
    assert png.startswith(b"\x89PNG") and int.from_bytes(png[16:20], "big") == 400


def test_a_title_cannot_be_code(tmp_path: Path) -> None:
    """Signs that mean something to the document engine or to XML are printed as they are."""
    title = 'A "quoted" #title \\ <b>&amp; $x$ ]'
    tune = plain_bars(2).tune(tmp_path)
    made = engrave_part_pdf(tune, (), heading=Heading(title=title, composer="#panic()"))
    reader = PdfReader(io.BytesIO(made))
    assert reader.metadata is not None and reader.metadata.title == title
    assert "#panic()" in reader.pages[0].extract_text()


def test_heading_falls_back_on_the_file_s_name(tmp_path: Path) -> None:
    piece = plain_bars(1)
    assert heading_from(piece.tune(tmp_path)).title == "Sample for the engraver"


@pytest.mark.parametrize(("name", "page"), [("a4", A4), ("A4", A4), ("letter", LETTER), ("US Letter", LETTER)])
def test_page_sizes_by_name(name: str, page: object) -> None:
    assert page_size(name) is page
    with pytest.raises(InputError, match="Use A4 or Letter"):
        page_size("A9")


def test_pages_turn_where_the_player_rests() -> None:
    """Of two ways with equally many pages, the one with a rest at the turn is taken."""
    lines = [LineBox(1000.0, rest_at_end=i == 5) for i in range(14)]
    assert paginate(lines, 10_500.0, 11_000.0) == ((0, 6), (6, 14))
    plain = [LineBox(1000.0) for _ in range(14)]
    assert paginate(plain, 10_500.0, 11_000.0)[0] == (0, 8)


def test_every_line_is_on_exactly_one_page() -> None:
    for count in (1, 2, 7, 40):
        ranges = paginate([LineBox(900.0 + 70 * (i % 5)) for i in range(count)], 8000.0, 9000.0)
        assert [i for first, end in ranges for i in range(first, end)] == list(range(count))


def test_a_line_taller_than_a_page_stands_alone() -> None:
    assert paginate([LineBox(500.0), LineBox(99_000.0), LineBox(500.0)], 9000.0, 9000.0) == ((0, 1), (1, 2), (2, 3))


def test_spacing_never_overlaps() -> None:
    tops = space_out([1000.0, 1500.0, 900.0], 20_000.0)
    assert tops[1] >= 1000.0 and tops[2] >= tops[1] + 1500.0


def test_works_without_home_or_system_fonts(tmp_path: Path) -> None:
    """An empty home folder and no fonts on the machine give the same bytes as here."""
    piece = plain_bars(6)
    tune = piece.tune(tmp_path)
    here = engrave_part_pdf(tune, piece.marks, heading=HEADING)
    code = (
        "import sys; from pathlib import Path; from partwright.score import read_tune;"
        "from partwright.engraving import Heading, engrave_part_pdf; sys.path.insert(0, sys.argv[2]);"
        "from engraving_pieces import plain_bars; from test_engraving_pages import HEADING;"
        "sys.stdout.buffer.write(engrave_part_pdf(read_tune(sys.argv[1]), plain_bars(6).marks, heading=HEADING))"
    )
    empty = tmp_path / "empty"
    empty.mkdir()
    paths = os.pathsep.join(str(p) for p in (Path(__file__).parents[1], Path(__file__).parent))
    environment = {
        **{key: str(empty) for key in ("HOME", "XDG_CACHE_HOME", "XDG_DATA_DIRS")},
        "FONTCONFIG_FILE": "/dev/null",
        "PATH": os.environ["PATH"],
        "PYTHONPATH": paths,
    }
    ran = subprocess.run(
        [sys.executable, "-c", code, str(tune.source), str(Path(__file__).parent)],
        env=environment,
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr.decode()[-2000:]
    assert ran.stdout == here
    assert not list(empty.iterdir()), "nothing may be left in the user's home"


def test_source_fingerings_are_drawn_as_the_source_has_them(tmp_path: Path) -> None:
    """Substitution, alternate, thumb, string number, open string: all that the library drops or draws badly."""
    piece = plain_bars(1)
    signs = (
        "<technical><fingering>2</fingering><fingering substitution='yes'>1</fingering></technical>",
        "<technical><fingering>3</fingering><fingering alternate='yes'>2</fingering></technical>",
        "<technical><thumb-position/></technical>",
        "<technical><string>2</string><fingering>1</fingering></technical>",
        "<technical><open-string/></technical>",
        "<technical><up-bow/></technical>",
    )
    xml = piece.musicxml()
    for number, technical in enumerate(signs, 1):
        note = re.search(rf'<note id="n{number}">.*?</note>', xml)
        assert note is not None
        plain = re.sub(r"<notations>.*?</notations>", "", note[0])
        xml = xml.replace(note[0], plain.replace("</note>", f"<notations>{technical}</notations></note>"))
    xml = xml.replace('<slur type="stop" number="1"/>', "")
    file = tmp_path / "signs.musicxml"
    file.write_text(xml, encoding="utf-8")
    from partwright.engraving.music import engrave_music
    from partwright.score import read_tune

    music = engrave_music(read_tune(file), (), width=17_800.0, string_letters={2: "D"})
    drawn = [(s.kind, s.note_id, "".join(re.findall(r">([^<>]+)<", s.svg))) for s in music.systems[0].signs]
    assert ("finger", "n1", "2–1") in drawn
    assert ("finger", "n2", "3") in drawn and ("finger", "n2", "(2)") in drawn
    assert ("finger", "n3", "") in drawn, "the thumb is a drawn sign, not a letter"
    assert ("string", "n4", "D") in drawn and ("finger", "n5", "0") in drawn
    assert ("bow", "n6", "") in drawn


def test_a_mark_replaces_the_source_s_own(tmp_path: Path) -> None:
    piece = plain_bars(1)
    xml = piece.musicxml().replace("</type>", "</type>", 1)
    file = tmp_path / "own.musicxml"
    note = re.search(r'<note id="n5">.*?</note>', xml)
    assert note is not None
    xml = xml.replace(
        note[0],
        note[0].replace("</note>", "<notations><technical><fingering>4</fingering></technical></notations></note>"),
    )
    file.write_text(xml, encoding="utf-8")
    from partwright.engraving.music import engrave_music
    from partwright.score import read_tune

    marks = (FingeringMark(note_id="n5", finger="1"),)
    signs = engrave_music(read_tune(file), marks, width=17_800.0, string_letters={}).systems[0].signs
    assert ["".join(re.findall(r">([^<>]+)<", s.svg)) for s in signs if s.note_id == "n5"] == ["1"]


def test_a_chord_is_one_stroke_and_can_be_arpeggiated(tmp_path: Path) -> None:
    """Bow signs on both notes of a double stop are one sign; an arpeggio, which the library loses, is one line."""
    piece = plain_bars(1)
    low = piece.note(3, 8, "half", note_id="c1", notations="<technical><down-bow/></technical><arpeggiate/>")
    high = piece.note(
        8, 8, "half", note_id="c2", chord=True, notations="<technical><down-bow/></technical><arpeggiate/>"
    )
    piece.bar(low + high + piece.note(4, 8, "half", note_id="c3"), number=2)
    from partwright.engraving.music import engrave_music

    music = engrave_music(piece.tune(tmp_path), (), width=17_800.0, string_letters={})
    signs = [(s.kind, s.note_id) for system in music.systems for s in system.signs]
    assert [kind for kind, note in signs if kind == "bow"] == ["bow"]
    assert [kind for kind, note in signs if kind == "arpeggio"] == ["arpeggio"]
