"""What we print says it is PDF/A-2b; here every file is held to what that standard asks, as far as it can be read off.

Source: ISO 19005-2:2011 (PDF/A-2), clause numbers from memory; ICC.1:2010 for the profile's header. The file is taken
apart by pypdf, and by qpdf where it is installed; what only a rendering could tell is not claimed.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pypdf
import pytest
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, NameObject, StreamObject, TextStringObject

from engraving_pieces import forty_bars
from partwright.engraving import (
    ChartHand,
    Heading,
    SlipRow,
    charts_pdf,
    engrave_part_pdf,
    errata_slip_pdf,
    stamp_page_pdf,
)
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")
HEADING = Heading(
    title="Lantern Waltz & “Échos”", composer="Mira Holt", arranger="Tomás Reed", instrument="Cello", rights=("© 2026",)
)
# ISO 19005-2, 6.5.1: actions that start something outside the page.
FORBIDDEN_ACTIONS = {
    "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/Hide", "/SetOCGState", "/Rendition", "/Trans",
    "/GoTo3DView", "/JavaScript", "/SubmitForm", "/GoToR", "/GoToE",
}  # fmt: skip
BLEND_MODES = {
    "/Normal", "/Compatible", "/Multiply", "/Screen", "/Overlay", "/Darken", "/Lighten", "/ColorDodge", "/ColorBurn",
    "/HardLight", "/SoftLight", "/Difference", "/Exclusion", "/Hue", "/Saturation", "/Color", "/Luminosity",
}  # fmt: skip


def part(folder: Path) -> bytes:
    piece = forty_bars()
    return engrave_part_pdf(piece.tune(folder), piece.marks, heading=HEADING, instrument=CELLO)


def charts(_: Path) -> bytes:
    return charts_pdf(CELLO, [ChartHand(frame=2, zone="neck", shape="closed")], heading=HEADING)


def slip(_: Path) -> bytes:
    row = SlipRow(place="bar 18, beat 3", words="C sharp, not C", editions="1", found="2026-11-20", mended="2026-11-24")
    return errata_slip_pdf(title="Lantern Waltz", byline="Mira Holt", edition="Edition 2", rows=[row])


def stamp(_: Path) -> bytes:
    return stamp_page_pdf(
        "Copy 12, for Tessa Brandt", width_mm=210, height_mm=297, from_edge_mm=5, side_mm=10, size_pt=7.5
    )


def copy_of_a_part(folder: Path) -> bytes:
    from partwright.catalogue.stamp import stamp_pdf

    return stamp_pdf(part(folder), "Copy 12, for Tessa Brandt")


def booklet(folder: Path) -> bytes:
    from partwright.building import build_lesson
    from partwright.lesson import write_demo

    lesson = folder / "lesson"
    write_demo(lesson)
    build_lesson(lesson, only=("booklet-a4",))
    return (lesson / "build" / "booklet-a4.pdf").read_bytes()


PRODUCTS: dict[str, Callable[[Path], bytes]] = {
    "part": part, "charts": charts, "errata slip": slip, "stamp": stamp, "stamped copy": copy_of_a_part,
    "booklet": booklet,
}  # fmt: skip


@pytest.fixture(scope="module", params=PRODUCTS)
def pdf(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return PRODUCTS[request.param](tmp_path_factory.mktemp("archive"))


def opened(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


def objects(reader: pypdf.PdfReader) -> Iterator[DictionaryObject]:
    """Every dictionary and stream that can be reached from the trailer, each once, however deep it lies."""
    seen: set[int] = set()
    waiting: list[object] = [reader.trailer]
    while waiting:
        found = waiting.pop()
        if isinstance(found, IndirectObject):
            if found.idnum in seen:
                continue
            seen.add(found.idnum)
            found = found.get_object()
        if isinstance(found, DictionaryObject):
            yield found
            waiting.extend(found.values())
        elif isinstance(found, ArrayObject):
            waiting.extend(found)


def faults(data: bytes) -> list[str]:
    """What a file does that PDF/A-2b does not allow, or lacks that it asks for; empty where nothing is seen."""
    reader = opened(data)
    catalog = reader.root_object
    found = [*_file_faults(data, reader), *_intent_faults(catalog), *_metadata_faults(reader)]
    for item in objects(reader):
        found += [*_stream_faults(item), *_graphics_faults(item), *_action_faults(item)]
        if item.get("/Type") == "/Font" or item.get("/Subtype") in ("/CIDFontType0", "/CIDFontType2", "/Type0"):
            found += _font_faults(item)
    if "/AA" in catalog or any("/AA" in page for page in reader.pages):
        found.append("6.5.2: additional actions")
    if "/Names" in catalog and {"/JavaScript", "/AlternatePresentations"} & set(catalog["/Names"].get_object()):
        found.append("6.5.1 or 6.10: JavaScript or alternate presentations among the names")
    for page in reader.pages:
        contents = page.get_contents()
        marked = re.findall(rb"/MCID (\d+)", contents.get_data() if contents is not None else b"")
        if len(marked) != len(set(marked)):
            found.append("ISO 32000-1, 14.7.4: two pieces of a page have one identifier")
    if catalog.get("/MarkInfo", {}).get("/Marked") and "/StructTreeRoot" not in catalog:
        found.append("ISO 32000-1, 14.8: said to be tagged, but there is no structure")
    return found


def _file_faults(data: bytes, reader: pypdf.PdfReader) -> Iterator[str]:
    if not re.match(rb"%PDF-1\.[0-7][\r\n]{1,2}%[\x80-\xff]{4}", data):
        yield "6.1.2: header"
    if len(reader.trailer.get("/ID", [])) != 2:
        yield "6.1.3: no document ID"
    if "/Encrypt" in reader.trailer:
        yield "6.1.3: encrypted"
    if data.rstrip(b"\r\n")[-5:] != b"%%EOF":
        yield "6.1.3: something stands after the end of the file"


def _intent_faults(catalog: DictionaryObject) -> Iterator[str]:
    intents = [item.get_object() for item in catalog.get("/OutputIntents", [])]
    archive = [intent for intent in intents if intent.get("/S") == "/GTS_PDFA1"]
    if not archive:
        yield "6.2.3: no output intent"
    for intent in archive:
        profile = intent["/DestOutputProfile"].get_object() if "/DestOutputProfile" in intent else None
        head = profile.get_data()[:128] if profile is not None else b""
        if head[36:40] != b"acsp" or head[12:16] not in (b"mntr", b"prtr") or head[8] > 4:
            yield "6.2.3: the output intent has no ICC profile of a monitor or printer"
        elif head[16:20] != b"RGB " or profile["/N"] != 3:
            yield "6.2.3: the profile is not RGB with three components"


def _metadata_faults(reader: pypdf.PdfReader) -> Iterator[str]:
    stream = reader.root_object.get("/Metadata")
    if stream is None:
        yield "6.6.2.1: no metadata"
        return
    packet = stream.get_object().get_data().decode("utf-8")
    head = packet[: packet.find("?>")]
    if "bytes=" in head or "encoding=" in head:
        yield "6.6.2.1: the packet's header names bytes or encoding"
    for name, value in (("part", "2"), ("conformance", "B")):
        if not re.search(rf"pdfaid:{name}(?:>|=[\"']){value}\b", packet):
            yield f"6.6.4: {name} is not {value}"
    told = reader.xmp_metadata
    title = (reader.metadata or {}).get("/Title")
    if told is None or (title is not None and (told.dc_title or {}).get("x-default") != title):
        yield "6.6.2: the title is not told the same in both places"
    author = (reader.metadata or {}).get("/Author")
    if told is not None and author is not None and ", ".join(told.dc_creator or []) != author:
        yield "6.6.2: the authors are not told the same in both places"


def _stream_faults(item: DictionaryObject) -> Iterator[str]:
    if not isinstance(item, StreamObject):
        return
    if {"/F", "/FFilter", "/FDecodeParms"} & set(item):
        yield "6.1.7.1: a stream's data lies in another file"
    filters = item.get("/Filter", [])
    if "/LZWDecode" in (filters if isinstance(filters, list) else [filters]):
        yield "6.1.7.2: LZW"


def _graphics_faults(item: DictionaryObject) -> Iterator[str]:
    if item.get("/Type") == "/ExtGState" or {"/BM", "/ca", "/CA"} & set(item):
        if "/TR" in item or item.get("/TR2", "/Default") != "/Default" or "/HTP" in item:
            yield "6.2.5: a transfer function or halftone phase"
        modes = item.get("/BM", "/Normal")
        if not set(modes if isinstance(modes, list) else [modes]) <= BLEND_MODES:
            yield "6.2.10: a blend mode of its own"
    if item.get("/Subtype") == "/PS" or item.get("/Subtype2") == "/PS":
        yield "6.2.9: a PostScript object"
    if item.get("/Subtype") == "/Image" and (item.get("/Interpolate") or {"/Alternates", "/OPI"} & set(item)):
        yield "6.2.8: an image with alternates or interpolation"
    if item.get("/Subtype") == "/Form" and {"/OPI", "/Ref"} & set(item):
        yield "6.2.9: a form that refers elsewhere"
    spaces = item.get("/ColorSpace")
    inks = [*spaces.values()] if isinstance(spaces, DictionaryObject) else [spaces, item.get("/CS")]
    if "/DeviceCMYK" in inks:
        yield "6.2.4.3: CMYK with an RGB output intent"


def _action_faults(item: DictionaryObject) -> Iterator[str]:
    if item.get("/S") in FORBIDDEN_ACTIONS or "/JS" in item:
        yield f"6.5.1: the action {item.get('/S')}"
    if item.get("/Type") == "/Filespec" or "/EF" in item:
        yield "6.8: an embedded or named file"
    if item.get("/Type") == "/Annot" or ("/Rect" in item and "/Subtype" in item):
        flags = int(item.get("/F", 0))
        if item["/Subtype"] != "/Popup" and (not flags & 4 or flags & (1 | 2 | 32)):
            yield "6.3.2: an annotation that does not print"
        if item["/Subtype"] not in ("/Popup", "/Link") and "/AP" not in item:
            yield "6.3.3: an annotation without an appearance"


def _font_faults(font: DictionaryObject) -> Iterator[str]:
    name = font.get("/BaseFont", font.get("/Subtype"))
    if font.get("/Subtype") == "/Type0":
        if font.get("/Encoding") not in ("/Identity-H", "/Identity-V"):
            yield f"6.2.11.3.3: the character map of {name}"
        if "/ToUnicode" not in font:  # asked for by level U; the pages' text is promised to be selectable
            yield f"6.2.11.7: {name} does not say which characters it shows"
    elif font.get("/Subtype") != "/Type3":
        descriptor = font["/FontDescriptor"].get_object() if "/FontDescriptor" in font else {}
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor):
            yield f"6.2.11.4.1: {name} is not embedded"
        if font.get("/Subtype") == "/CIDFontType2" and "/CIDToGIDMap" not in font:
            yield f"6.2.11.3.2: {name} has no map from characters to glyphs"


def test_nothing_that_the_standard_forbids_is_seen(pdf: bytes) -> None:
    assert faults(pdf) == []


def test_content_streams_keep_within_the_limits(pdf: bytes) -> None:
    """6.1.13: graphics states nest 28 deep at most; 6.2.4.3: no CMYK ink is called for; 6.2.8: no inline LZW image."""
    reader = opened(pdf)
    streams = [page.get_contents().get_data() for page in reader.pages]
    streams += [
        item.get_data()
        for item in objects(reader)
        if isinstance(item, StreamObject) and item.get("/Subtype") == "/Form"
    ]
    assert any(streams)
    for data in streams:
        depth = deepest = 0
        words = re.sub(rb"\((?:\\.|[^\\()])*\)|<[0-9A-Fa-f\s]*>", b" ", data).split()
        for word in words:
            depth += (word == b"q") - (word == b"Q")
            deepest = max(deepest, depth)
        assert depth == 0 and deepest <= 28
        assert not {b"k", b"K", b"BI"} & set(words)


def test_text_can_be_taken_out_again(pdf: bytes) -> None:
    """Every font is mapped back to characters, so what is printed can be found and read aloud."""
    reader = opened(pdf)
    fonts = [item for item in objects(reader) if item.get("/Subtype") == "/Type0"]
    assert fonts
    assert all(page.extract_text().strip() for page in reader.pages)


def test_a_second_program_finds_the_file_sound(pdf: bytes, tmp_path: Path) -> None:
    """qpdf reads cross references, object streams and every filter, and warns of what does not fit."""
    program = shutil.which("qpdf")
    if program is None:
        pytest.skip("qpdf is not installed")
    file = tmp_path / "file.pdf"
    file.write_bytes(pdf)
    ran = subprocess.run([program, "--check", str(file)], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr


def _spoilt(data: bytes, change: Callable[[pypdf.PdfWriter], object]) -> bytes:
    writer = pypdf.PdfWriter(clone_from=opened(data))
    change(writer)
    stream = io.BytesIO()
    writer.write(stream)
    return stream.getvalue()


def _unembed(writer: pypdf.PdfWriter) -> None:
    for item in writer._objects:
        if isinstance(item, DictionaryObject):
            for key in ("/FontFile2", "/FontFile3"):
                item.pop(NameObject(key), None)


SCRIPT = DictionaryObject(
    {NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject("app.alert(1)")}
)


def _set(writer: pypdf.PdfWriter, key: str, value: object) -> None:
    writer.root_object[NameObject(key)] = value


@pytest.mark.parametrize(
    ("clause", "change"),
    [
        ("6.2.3", lambda w: w.root_object.pop("/OutputIntents")),
        ("6.6.2.1", lambda w: w.root_object.pop("/Metadata")),
        ("6.5.1", lambda w: _set(w, "/OpenAction", SCRIPT)),
        ("6.2.11.4.1", _unembed),
        ("6.1.3: encrypted", lambda w: w.encrypt("", owner_password="x", algorithm="RC4-128")),
        ("6.8", lambda w: w.add_attachment("a.txt", b"a")),
        ("6.5.2", lambda w: _set(w, "/AA", DictionaryObject())),
        ("6.6.2: the title", lambda w: w.add_metadata({"/Title": "Another"})),
        ("14.8", lambda w: w.root_object.pop("/StructTreeRoot")),
        (
            "6.2.10",
            lambda w: w.pages[0]["/Resources"].update(
                {NameObject("/X"): DictionaryObject({NameObject("/BM"): TextStringObject("/Mine")})}
            ),
        ),
    ],
)
def test_a_spoilt_file_is_seen(clause: str, change: Callable[[pypdf.PdfWriter], object]) -> None:
    """The same looking finds each fault once it is put into one of our files."""
    assert any(clause in fault for fault in faults(_spoilt(slip(Path()), change)))
