"""Files of comments: forms, encodings, and what is odd in them."""

from __future__ import annotations

import csv
import io
import json

import pytest

from partwright.checking.reports import parse_comments, safe_cell
from partwright.errors import InputError


def test_csv_is_read_by_its_header_whatever_the_delimiter() -> None:
    for delimiter in (",", ";", "\t"):
        text = (
            delimiter.join(["Author", "Comment"]) + "\n" + delimiter.join(["Wren", '"two\nlines, ""quoted"""']) + "\n"
        )
        read = parse_comments(text.encode())
        assert read.kind == "CSV"
        assert [c.text for c in read.comments] == ['two\nlines, "quoted"']


def test_json_lines_and_a_json_list_are_read() -> None:
    rows = [{"author": "Wren", "text": "one", "published": "2026-11-20T10:00:00Z"}, {"text": "two"}, "three"]
    lines = "\n".join(json.dumps(row) for row in rows)
    for text in (lines, json.dumps(rows)):
        read = parse_comments(text.encode())
        assert [c.text for c in read.comments] == ["one", "two", "three"]
        assert read.comments[0].date == "2026-11-20"


def test_a_broken_json_line_is_told_and_the_others_are_kept() -> None:
    read = parse_comments(b'{"text": "one"}\n{"text": \n{"text": "three"}\n{"other": 1}\n')
    assert [c.text for c in read.comments] == ["one", "three"]
    assert [fault.row for fault in read.faults] == [2, 4]


def test_plain_text_is_a_comment_a_line_or_a_block() -> None:
    assert len(parse_comments(b"one\ntwo\nthree\n").comments) == 3
    assert [c.text for c in parse_comments(b"one\nmore\n\ntwo\n\nthree").comments] == ["one\nmore", "two", "three"]


def test_names_are_kept_only_where_asked_for() -> None:
    data = b"author,comment\nWren Hollis,one\nWren Hollis,two\nTam,three\n"
    read = parse_comments(data)
    assert {c.name for c in read.comments} == {""}
    assert read.comments[0].viewer == read.comments[1].viewer != read.comments[2].viewer
    assert all(len(c.viewer) == 6 and "wren" not in c.viewer for c in read.comments)
    assert parse_comments(data, keep_names=True).comments[0].name == "Wren Hollis"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_any_usual_encoding_is_read(encoding: str) -> None:
    read = parse_comments("naïve: bar 3 should be C sharp\nzweite Zeile\n".encode(encoding))
    assert read.comments[0].text == "naïve: bar 3 should be C sharp"


@pytest.mark.parametrize("data", [b"", b" \n\n", b"\0\0\0", bytes(range(256)) * 40, b"author,comment\n"])
def test_what_holds_no_comment_is_refused(data: bytes) -> None:
    with pytest.raises(InputError):
        parse_comments(data)


def test_a_megabyte_of_comment_is_cut_and_said() -> None:
    read = parse_comments(b"author,comment\nx," + b"word " * 250_000 + b"\n")
    assert len(read.comments[0].text) <= 4000
    assert "characters" in read.faults[0].what


@pytest.mark.parametrize("text", ["=1+2", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =cmd|' /C calc'!A0", "\n=1"])
def test_no_cell_is_a_formula(text: str) -> None:
    """The characters a spreadsheet takes a formula to begin with: OWASP, "CSV Injection" (from memory)."""
    assert safe_cell(text).startswith("'")
    row = next(csv.reader(io.StringIO(safe_cell(text).replace("\r", " ").replace("\n", " "))))
    assert row[0][0] == "'"
