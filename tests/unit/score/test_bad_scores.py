"""Bad MusicXML: one sentence that names the file and the line or bar; never a traceback, never a wrong reading."""

from __future__ import annotations

import io
import resource
import struct
import zipfile
from pathlib import Path

import pytest

from made_scores import HEAD, bar, note, read, score
from partwright.errors import InputError, ScoreError
from partwright.score import musicxml_bytes, mxl_bytes, read_musicxml, read_tune, write_musicxml
from partwright.score.safe_xml import MAX_XML_BYTES

CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def refused(folder: Path, data: str | bytes, match: str, *, name: str = "tune.musicxml", **wishes: str) -> str:
    path = folder / name
    path.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
    with pytest.raises(InputError, match=match) as caught:
        read_tune(path, **wishes)
    text = str(caught.value)
    assert text.startswith(name), text
    assert "\n" not in text
    assert len(text) < 400
    assert caught.value.exit_code == 2
    return text


def archive(members: dict[str, bytes | str], *, compress: bool = True) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED if compress else zipfile.ZIP_STORED) as made:
        for name, data in members.items():
            made.writestr(name, data)
    return buffer.getvalue()


# --- not a score ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "empty"),
        (b"   \n", "empty"),
        (b"a tune, perhaps", "line 1: this is not XML"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not XML"),
        (b"<html><body/></html>", "not a MusicXML score .*<html>"),
        (b"<opus/>", "opus, a list of scores"),
        (b"<score-partwise><part-list/></score-partwise>", "no parts"),
        (b"<score-partwise><a></score-partwise>", "line 1: this is not well-formed XML"),
    ],
)
def test_what_is_no_score(data: bytes, match: str, tmp_path: Path) -> None:
    refused(tmp_path, data, match)


def test_truncated(tmp_path: Path) -> None:
    text = score(bar(), bar()).replace("<measure", "\n<measure")
    refused(tmp_path, text[: len(text) // 2 + 120], r"line \d+: the file breaks off")


def test_wrong_encoding(tmp_path: Path) -> None:
    text = score(bar(), before="<movement-title>Müßiggang</movement-title>").encode("latin-1")
    refused(tmp_path, text, r"line \d+: the text does not match its declared encoding")


@pytest.mark.parametrize("encoding", ["nonsense", "UTF-32LE"])
def test_unknown_encoding(encoding: str, tmp_path: Path) -> None:
    refused(tmp_path, f'<?xml version="1.0" encoding="{encoding}"?><score-partwise/>', "encoding")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_declared_encodings_are_read(encoding: str, tmp_path: Path) -> None:
    declared = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "latin-1": "ISO-8859-1"}[encoding]
    text = score(bar(), before="<movement-title>Müßiggang</movement-title>").replace("UTF-8", declared)
    assert read(tmp_path, text.encode(encoding)).part.credits.title == "Müßiggang"


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match=r"nowhere\.musicxml: cannot be read"):
        read_tune(tmp_path / "nowhere.musicxml")
    with pytest.raises(ScoreError, match="cannot be read"):
        read_tune(tmp_path)


# --- hostile XML ---------------------------------------------------------------------------------------------


def with_dtd(dtd: str, use: str = "") -> str:
    text = score(bar(), before=f"<movement-title>{use}</movement-title>")
    return text.replace("<score-partwise", f"<!DOCTYPE score-partwise [{dtd}]>\n<score-partwise", 1)


def test_external_entity_is_refused_and_not_read(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("canary")
    text = refused(tmp_path, with_dtd(f'<!ENTITY x SYSTEM "{secret.as_uri()}">', "&x;"), "entities of its own")
    assert "canary" not in text


def test_parameter_entity_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, with_dtd('<!ENTITY % x SYSTEM "file:///etc/hostname"> %x;'), "entit")


def test_entity_bomb_is_refused_in_little_memory(tmp_path: Path) -> None:
    layers = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    refused(tmp_path, with_dtd('<!ENTITY l0 "ha">' + layers, "&l9;"), "entit")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000  # kilobytes


def test_undeclared_entity_with_outside_dtd_is_refused(tmp_path: Path) -> None:
    text = score(bar(), before="<movement-title>&nbsp;</movement-title>")
    text = text.replace("<score-partwise", '<!DOCTYPE score-partwise SYSTEM "x.dtd">\n<score-partwise', 1)
    refused(tmp_path, text, "line 3.*entities")


def test_plain_doctype_is_read(tmp_path: Path) -> None:
    doctype = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "http://localhost/x.dtd">'
    tune = read(tmp_path, score(bar()).replace("<score-partwise", doctype + "<score-partwise", 1))
    assert doctype in musicxml_bytes(tune.document).decode()


def test_deep_nesting_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, "<a>" * 200_000 + "</a>" * 200_000, "nested too deep")


def test_huge_file_is_refused_before_it_is_parsed(tmp_path: Path) -> None:
    path = tmp_path / "huge.musicxml"
    with path.open("wb") as stream:
        stream.truncate(100 * 1024 * 1024)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(ScoreError, match=r"huge\.musicxml: the file holds 100 MB"):
        read_tune(path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 10_000


# --- archives ------------------------------------------------------------------------------------------------


def test_archive_is_read_and_written(tmp_path: Path) -> None:
    tune = read(tmp_path, score(bar()))
    write_musicxml(tune.document, tmp_path / "tune.mxl")
    again = read_musicxml(tmp_path / "tune.mxl")
    assert musicxml_bytes(again.document) == musicxml_bytes(tune.document)
    assert mxl_bytes(tune.document) == (tmp_path / "tune.mxl").read_bytes()


def test_archive_without_container_but_one_score_is_read(tmp_path: Path) -> None:
    (tmp_path / "tune.mxl").write_bytes(archive({"tune.xml": score(bar())}))
    assert len(read_tune(tmp_path / "tune.mxl").part.notes) == 1


@pytest.mark.parametrize(
    ("members", "match"),
    [
        ({"../tune.xml": score(bar())}, "leads out of it"),
        ({"/etc/tune.xml": score(bar())}, "leads out of it"),
        ({"C:\\tune.xml": score(bar())}, "leads out of it"),
        ({"a/../../tune.xml": score(bar())}, "leads out of it"),
        ({"META-INF/container.xml": CONTAINER.format("../../tune.xml")}, "leads out of it"),
        ({"META-INF/container.xml": CONTAINER.format("tune.xml")}, "does not hold it"),
        ({"META-INF/container.xml": "<container/>"}, "names no score"),
        ({"META-INF/container.xml": "<container"}, "container.xml"),
        ({"readme.txt": "no score"}, r"no META-INF/container\.xml"),
        ({f"{i}.xml": "" for i in range(1001)}, "1001 files"),
        (
            {"META-INF/container.xml": CONTAINER.format("t.mxl"), "t.mxl": archive({"t.xml": score(bar())})},
            "another archive",
        ),
        (
            {"META-INF/container.xml": CONTAINER.format("t.xml"), "t.xml": with_dtd('<!ENTITY x "y">', "&x;")},
            "entities of its own",
        ),
    ],
)
def test_hostile_archives(members: dict[str, bytes | str], match: str, tmp_path: Path) -> None:
    refused(tmp_path, archive(members), match, name="tune.mxl")


def test_archive_bomb_by_ratio(tmp_path: Path) -> None:
    blank = score(bar()).encode() + b" " * (10 * 1024 * 1024)
    data = archive({"META-INF/container.xml": CONTAINER.format("t.xml"), "t.xml": blank})
    refused(tmp_path, data, "swells more", name="tune.mxl")


def test_archive_bomb_by_size(tmp_path: Path) -> None:
    data = archive({"META-INF/container.xml": CONTAINER.format("t.xml"), "t.xml": b" " * (MAX_XML_BYTES + 1)})
    refused(tmp_path, data, "more than the 20 MB", name="tune.mxl")


def test_archive_that_lies_about_its_size(tmp_path: Path) -> None:
    """The declared size of the big member is 10 bytes; what is really read counts."""
    big = b" " * (2 * 1024 * 1024)
    data = archive({"META-INF/container.xml": CONTAINER.format("t.xml"), "t.xml": big}, compress=False)
    data = data.replace(struct.pack("<L", len(big)), struct.pack("<L", 10))
    refused(tmp_path, data, "damaged|empty|not XML", name="tune.mxl")


@pytest.mark.parametrize("cut", [10, 40, 120, -30, -4])
def test_truncated_archive(cut: int, tmp_path: Path) -> None:
    data = archive({"META-INF/container.xml": CONTAINER.format("t.xml"), "t.xml": score(bar())})
    refused(tmp_path, data[:cut], "damaged or cut short", name="tune.mxl")


# --- values that make no sense -------------------------------------------------------------------------------

NO_DIVISIONS = HEAD.replace("<divisions>4</divisions>", "")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (score(bar(), attributes=NO_DIVISIONS), r"line 2, bar 1: a duration stands before any <divisions>"),
        (score(bar(), attributes=HEAD.replace(">4</div", ">99999999999999</div")), "divisions '99999999999999'"),
        (score(bar(), attributes=HEAD.replace(">4</div", ">0</div")), "divisions '0'"),
        (score(bar(), attributes=HEAD.replace(">4</div", ">-4</div")), "divisions '-4'"),
        (score(bar(), attributes=HEAD.replace("<beats>4", "<beats>0")), "bar 1: a metre of '0' beats"),
        (score(bar(), attributes=HEAD.replace("<beats>4", "<beats>1000000")), "bar 1: a metre of '1000000' beats"),
        (score(bar(), attributes=HEAD.replace("beat-type>4", "beat-type>0", 1)), "bar 1: a beat type of '0'"),
        (score(bar(), attributes=HEAD + "<staves>100000</staves>"), "bar 1: a part with '100000' staves"),
        (score(bar(), bar(note("C4", -4))), r"bar 2: a duration of '-4' runs backwards"),
        (score(bar(), bar(note("C4", 7_777_777))), "bar 2: a duration of '7777777' is longer than 256"),
        (score(bar(), bar(note("C4").replace(">4<", ">four<"))), "bar 2: a duration of 'four' is not a number"),
        (score(bar(note("C4") + "<backup><duration>-8</duration></backup>")), "bar 1: a duration of '-8' runs backw"),
        (score(bar(note("C4").replace("<step>C", "<step>H"))), "bar 1: a note has a pitch that makes no sense"),
        (score(bar(note("C4").replace("<octave>4", "<octave>44"))), "bar 1: a note has a pitch"),
        (score(bar("<note><pitch><step>C</step><octave>4</octave></pitch></note>")), "neither a duration nor"),
        (score(bar("<note><rest/><duration>16</duration></note>")), "part 'Cello' has no notes"),
        (score(attributes=""), "part 'Cello' has no bars"),
        (
            score(bar("<note><unpitched/><duration>16</duration></note>")),
            "part 'Cello' has only unpitched",
        ),
        (
            score(bar(), attributes=HEAD + "<transpose><chromatic>999</chromatic></transpose>"),
            "a transposition of 999 semitones",
        ),
    ],
)
def test_values_that_make_no_sense(text: str, match: str, tmp_path: Path) -> None:
    refused(tmp_path, text, match)


def test_no_pitched_notes_in_any_part(tmp_path: Path) -> None:
    rest = "<note><rest/><duration>16</duration></note>"
    two = score(bar(rest)).replace("</score-partwise>", '<part id="P2"><measure number="1"/></part></score-partwise>')
    refused(tmp_path, two, "no part of the score has pitched notes")


def test_missing_divisions_are_found_from_a_note_value(tmp_path: Path) -> None:
    """The open suite has valid files without divisions; the note value says what is meant."""
    half = note("C4", 6, tail="<type>half</type>")
    part = read(tmp_path, score(bar(half + half), attributes=NO_DIVISIONS)).part
    assert [n.duration_quarters for n in part.notes] == [2, 2]
    assert any("divisions are missing" in remark for remark in part.remarks)


def test_overfull_and_short_bars_are_read_and_said(tmp_path: Path) -> None:
    part = read(tmp_path, score(bar(), bar(note("C4", 20)), bar(note("D4", 4)), bar())).part
    assert [bar.length_quarters for bar in part.bars] == [4, 5, 1, 4]
    assert "Longer than the metre and read as written: bar 2." in part.remarks
    assert "Shorter than the metre and read as written: bar 3." in part.remarks


def test_backup_beyond_the_bar_stops_at_its_start(tmp_path: Path) -> None:
    back = "<backup><duration>400</duration></backup>"
    part = read(tmp_path, score(bar(note("C4", 16) + back + note("E4", 16, voice="2")))).part
    assert [int(n.onset_quarters) for n in part.notes] == [0, 0]
    assert any("before the start of the bar" in remark for remark in part.remarks)


# --- which part, which voice ---------------------------------------------------------------------------------

PARTS = "".join(
    f'<score-part id="P{i}"><part-name>{name}</part-name></score-part>'
    for i, name in enumerate(["Violin", "Cello", "Cello", "Drums"], 1)
)


def ensemble() -> str:
    text = score(bar(note("C5", 16)), part_list=PARTS)
    more = "".join(
        f'<part id="P{i}"><measure number="1"><attributes>{HEAD}</attributes>{inside}</measure></part>'
        for i, inside in [
            (2, note("C3", 16)),
            (3, note("C2", 16)),
            (4, "<note><unpitched/><duration>16</duration></note>"),
        ]
    )
    return text.replace("</score-partwise>", more + "</score-partwise>")


def test_question_lists_the_parts(tmp_path: Path) -> None:
    text = refused(tmp_path, ensemble(), "which of the 3 parts with notes")
    assert "1 Violin, 2 Cello, 3 Cello" in text
    assert "--part" in text


@pytest.mark.parametrize(("wish", "octave"), [("Violin", 5), ("violin", 5), ("1", 5), ("P2", 3), ("2", 3), ("3", 2)])
def test_part_by_name_id_or_number(wish: str, octave: int, tmp_path: Path) -> None:
    assert read(tmp_path, ensemble(), part=wish).part.notes[0].pitch.octave == octave


@pytest.mark.parametrize(
    ("wish", "match"),
    [
        ("Viola", "there is no part 'Viola'; the score has 1 Violin, 2 Cello"),
        ("9", "there is no part '9'"),
        ("Cello", "2 parts are called 'Cello': 2 Cello, 3 Cello"),
        ("Drums", "only unpitched"),
    ],
)
def test_part_that_cannot_be_had(wish: str, match: str, tmp_path: Path) -> None:
    refused(tmp_path, ensemble(), match, part=wish)


def back(divisions: int = 16) -> str:
    return f"<backup><duration>{divisions}</duration></backup>"


def test_sixty_four_voices_are_a_question(tmp_path: Path) -> None:
    voices = back().join(
        note("C4", 8, voice=str(i)) + note("D4", 8 if i == 1 else 7, voice=str(i)) for i in range(1, 65)
    )
    text = refused(tmp_path, score(bar(voices)), "several voices that sound together")
    assert "1 (2 notes)" in text
    assert "52 more" in text
    assert "--voice" in text


def test_voice_can_be_chosen(tmp_path: Path) -> None:
    text = score(bar(note("C4", 16) + back() + note("E3", 8, voice="2") + note("F3", 8, voice="2")))
    assert [n.pitch.name for n in read(tmp_path, text, voice="2").part.notes] == ["E3", "F3"]
    assert [n.pitch.name for n in read(tmp_path, text, voice="all").part.notes] == ["C4", "E3", "F3"]
    refused(tmp_path, text, "no voice '3' with notes; it has 1 .1 notes., 2", voice="3")


def test_empty_second_voice_is_no_question(tmp_path: Path) -> None:
    rest = "<note><rest/><duration>16</duration><voice>2</voice></note>"
    part = read(tmp_path, score(bar(note("C4", 16) + back() + rest))).part
    assert [n.pitch.name for n in part.notes] == ["C4"]


def test_voice_that_only_doubles_is_read_as_double_stops(tmp_path: Path) -> None:
    upper = note("G3", 8) + note("A3", 8)
    lower = note("C3", 8, voice="2") + note("D3", 8, voice="2")
    part = read(tmp_path, score(bar(upper + back() + lower))).part
    assert [(n.pitch.name, n.chord) for n in part.notes] == [("G3", False), ("C3", True), ("A3", False), ("D3", True)]
    assert any("read as double stops" in remark for remark in part.remarks)


def test_voices_in_turn_are_one_line(tmp_path: Path) -> None:
    part = read(tmp_path, score(bar(note("G3", 16)), bar(note("C3", 16, voice="2")))).part
    assert [n.pitch.name for n in part.notes] == ["G3", "C3"]


def test_two_staves_are_a_question(tmp_path: Path) -> None:
    text = score(
        bar(note("G4", 16, tail="<staff>1</staff>") + back() + note("C3", 16, voice="2", tail="<staff>2</staff>")),
        attributes=HEAD + "<staves>2</staves>",
    )
    refused(tmp_path, text, r"2 \(1 notes, staff 2\)")
    assert read(tmp_path, text, voice="2").part.notes[0].staff == 2


# --- too much of something -----------------------------------------------------------------------------------


def test_too_many_bars(tmp_path: Path) -> None:
    refused(tmp_path, score(bar(), *["<measure/>"] * 20_000), "20,001 bars, more than the 20,000 read")


def test_too_many_notes(tmp_path: Path) -> None:
    grace = "<note><grace/><pitch><step>C</step><octave>4</octave></pitch></note>"
    refused(tmp_path, score(bar(grace * 100_001)), "bar 1: the part has more than 100,000 notes")


def test_too_many_parts(tmp_path: Path) -> None:
    more = "".join(f'<part id="Q{i}"><measure/></part>' for i in range(1000))
    refused(tmp_path, score(bar()).replace("</score-partwise>", more + "</score-partwise>"), "1,001 parts")


def test_endings_that_lead_nowhere(tmp_path: Path) -> None:
    """Passing over endings plays nothing, but must not take for ever."""
    opening = bar(left='<ending number="99" type="start"/>')
    closing = bar(right='<ending number="99" type="stop"/>')
    bars = [opening, *[bar()] * 3000, closing]
    again = bar(right='<repeat direction="backward" times="1000000"/>')
    start = bar(left='<repeat direction="forward"/>')
    refused(tmp_path, score(start, start, *bars, again), "the repeats and endings lead nowhere")


def test_thousands_of_voices_and_open_slurs(tmp_path: Path) -> None:
    """Must be refused or read at once, not after comparing every voice with every other."""
    slur = '<notations><slur type="start" number="{}"/><slur type="stop" number="{}"/></notations>'
    notes = back().join(note("C4", 16, voice=str(i), tail=slur.format(i, i + 1)) for i in range(3000))
    refused(tmp_path, score(bar(notes)), "several voices")
    part = read(tmp_path, score(bar(notes)), voice="all").part
    assert len(part.notes) == 3000
