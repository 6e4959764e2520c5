"""Reading viewers' comments: CSV, JSON lines (or one JSON list), or plain text.

The form is told by the content. CSV after RFC 4180, with comma, semicolon or tab; its columns are known by the usual
names, and where there is no header the column with the longest texts is taken. In plain text a comment is a line, or
a block between empty lines where at least a quarter of the lines are empty. Names are turned into short ids at once.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from partwright.checking.reports.comments import Comment, CommentFault, Comments
from partwright.errors import InputError, Place
from partwright.files import content_hash

__all__ = ["parse_comments", "read_comments"]

_LARGEST_BYTES = 100_000_000
_LONGEST = 4000  # characters of a comment that are looked at: nobody reports a finger in more
_MOST_FAULTS = 50
_TEXT = ("comment", "text", "message", "body", "content", "comment text", "snippet", "comments")
_NAME = ("author", "name", "user", "username", "viewer", "from", "author name", "email", "e-mail", "author_id", "id")
_DATE = ("date", "published", "published at", "publishedat", "created", "created_at", "timestamp", "posted", "day")
_DAY = re.compile(r"\s*(\d{4}-\d\d-\d\d)")

Row = tuple[int, str, str, str]  # line, text, name, date


def read_comments(path: Path, *, keep_names: bool = False) -> Comments:
    """The comments in this file. Raises InputError where it cannot be read, is no text, or holds no comment."""
    where = Place(file=str(path))
    try:
        if path.is_dir():
            raise InputError("is a folder", "Name the file with the comments.", place=where)
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise InputError(f"has {size / 1e6:.0f} MB", "Split it into smaller files.", place=where)
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError("is not there", "Check the path.", place=where) from error
    except OSError as error:
        raise InputError(f"cannot be read ({(error.strerror or str(error)).lower()})", place=where) from error
    return parse_comments(data, file=str(path), keep_names=keep_names)


def parse_comments(data: bytes, *, file: str = "comments", keep_names: bool = False) -> Comments:
    """The comments in these bytes. Raises InputError for binary data, an empty file, and one without comments."""
    where = Place(file=file)
    faults: list[CommentFault] = []
    text, encoding = _decode(data, where, faults)
    start = text.lstrip()[:1]
    if start in ("{", "[") and (rows := _json_rows(text, faults)) is not None:
        kind = "JSON lines"
    elif (table := _table(text)) is not None:
        kind, rows = "CSV", _csv_rows(table, faults)
    else:
        kind, rows = "plain text", list(_plain_rows(text))
    comments = []
    for row, body, name, date in rows:
        body = _printable(body)
        if not body.strip():
            continue
        if len(body) > _LONGEST:
            faults.append(
                CommentFault(
                    row=row, what=f"has {len(body)} characters", done=f"only the first {_LONGEST} were looked at"
                )
            )
        day = _DAY.match(date)
        comments.append(
            Comment(
                row=row, text=body[:_LONGEST].strip(), viewer=_short_id(name, row), name=name if keep_names else "",
                date=day[1] if day else "",
            )
        )  # fmt: skip
    if not comments:
        raise InputError("holds no comment", "Give CSV, JSON lines, or plain text with a comment a line.", place=where)
    return Comments(comments=tuple(comments), kind=kind, encoding=encoding, faults=tuple(faults[:_MOST_FAULTS]))


def _decode(data: bytes, where: Place, faults: list[CommentFault]) -> tuple[str, str]:
    if not data.strip(b"\0 \t\r\n"):
        raise InputError("is empty", "Give it the viewers' comments.", place=where)
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, errors="replace"), encoding
    try:
        text, encoding = data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        sample = data[:4096]
        if len(sample) >= 8 and sample[1::2].count(0) > 0.4 * len(sample[1::2]):
            return data.decode("utf-16-le", errors="replace"), "utf-16-le"
        text, encoding = data.decode("cp1252", errors="replace"), "windows-1252"
        line = data[: error.start].count(b"\n") + 1
        faults.append(CommentFault(row=line, what="not UTF-8", done="read as Windows-1252 (Latin-1)"))
    control = sum(ord(c) < 32 and c not in "\t\n\r\f\x0b" for c in text[:20000])
    if control > 0.02 * min(len(text), 20000):
        raise InputError("is no text but binary data", "Give it the viewers' comments.", place=where)
    return text, encoding


def _json_rows(text: str, faults: list[CommentFault]) -> list[Row] | None:
    """Rows of JSON lines or of one JSON list; None where the text is no JSON at all."""
    if text.lstrip().startswith("["):
        try:
            listed = json.loads(text)
        except (ValueError, RecursionError):
            return None
        return [row for k, item in enumerate(listed, start=1) if (row := _json_row(k, item, faults)) is not None]
    rows: list[Row] = []
    read = 0
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            item = json.loads(line)
        except (ValueError, RecursionError):
            faults.append(CommentFault(row=number, what="is no JSON", done="passed over"))
            continue
        read += 1
        row = _json_row(number, item, faults)
        if row is not None:
            rows.append(row)
    return rows if read else None


def _json_row(number: int, item: object, faults: list[CommentFault]) -> Row | None:
    if isinstance(item, str):
        return number, item, "", ""
    if isinstance(item, dict):
        fields = {str(key).strip().casefold(): str(value) for key, value in item.items() if value is not None}
        text = _first(fields, _TEXT)
        if text:
            return number, text, _first(fields, _NAME), _first(fields, _DATE)
    faults.append(CommentFault(row=number, what="holds no comment's text", done="passed over"))
    return None


def _first(fields: Mapping[str, str], names: Sequence[str]) -> str:
    return next((fields[name] for name in names if fields.get(name)), "")


def _table(text: str) -> list[tuple[int, list[str]]] | None:
    """The rows of a CSV text, each with its line; None where it does not look like a table."""
    first = text.lstrip("\r\n").split("\n", 1)[0]
    csv.field_size_limit(max(csv.field_size_limit(), _LARGEST_BYTES))
    for delimiter in (",", ";", "\t"):
        head = [cell.strip().casefold() for cell in next(csv.reader([first], delimiter=delimiter), [])]
        if len(head) >= 1 and any(cell in _TEXT for cell in head) and (len(head) > 1 or head[0] in _TEXT):
            return _split(text, delimiter)
    quoted = [line for line in text.splitlines()[:20] if line.strip()]
    for delimiter in (",", ";", "\t"):
        counts = [len(next(csv.reader([line], delimiter=delimiter), [])) for line in quoted]
        quoted_share = sum('"' in line for line in quoted)
        if len(quoted) > 1 and counts[0] > 1 and len(set(counts)) == 1 and (quoted_share or delimiter == "\t"):
            return _split(text, delimiter)
    return None


def _split(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text.replace("\0", ""), newline=""), delimiter=delimiter)
    rows: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((line, cells))
            line = reader.line_num + 1
    except csv.Error:  # the rest cannot be split; what was read stands
        pass
    return rows


def _csv_rows(table: list[tuple[int, list[str]]], faults: list[CommentFault]) -> list[Row]:
    head = [cell.strip().casefold() for cell in table[0][1]]
    named = any(cell in _TEXT for cell in head)
    body = table[1:] if named else table

    def column(names: Sequence[str]) -> int:
        return next((head.index(name) for name in names if name in head), -1) if named else -1

    text_at, name_at, date_at = column(_TEXT), column(_NAME), column(_DATE)
    if text_at < 0:
        width = max(len(cells) for _, cells in body)
        lengths = [sum(len(cells[k]) for _, cells in body if k < len(cells)) for k in range(width)]
        text_at = lengths.index(max(lengths))
    rows = []
    for line, cells in body:
        if text_at >= len(cells):
            faults.append(CommentFault(row=line, what="has too few columns", done="passed over"))
            continue
        pick = [cells[k] if 0 <= k < len(cells) else "" for k in (text_at, name_at, date_at)]
        rows.append((line, pick[0], pick[1], pick[2]))
    return rows


def _plain_rows(text: str) -> Iterator[Row]:
    lines = text.splitlines()
    blank = sum(not line.strip() for line in lines)
    if blank < max(1, len(lines)) / 4:
        for number, line in enumerate(lines, start=1):
            yield number, line, "", ""
        return
    block: list[str] = []
    for number, line in enumerate([*lines, ""], start=1):
        if line.strip():
            block.append(line)
        elif block:
            yield number - len(block), "\n".join(block), "", ""
            block = []


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() or c in "\n\t" else " " for c in text)


def _short_id(name: str, row: int) -> str:
    """Six hex digits that stand for a writer: the same for the same name, and no way back from them to it."""
    return content_hash("viewer", name.strip().casefold() or f"row {row}")[:6]
