"""Reading lesson.toml: every fault at once, each with its line and the nearest thing that would be right."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from partwright.errors import LessonError, NewerFormat, PartwrightError, Place
from partwright.lesson.lesson import FORMAT, LESSON_FILE, Episode, Lesson, PinEntry, Section
from partwright.lesson.rights import RightsSheet
from partwright.lesson.schema import EPISODE_KEYS, FREE_TABLES, ROWS, SECTION_KEYS, Row
from partwright.nearest import nearest, nearest_sentence

if TYPE_CHECKING:
    import datetime

__all__ = ["is_lesson", "parse_lesson", "raise_faults", "read_lesson"]

_LARGEST_BYTES = 2_000_000
_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z0-9_.\"'-]+)\s*\]?\]")
_KEY = re.compile(r"^\s*(?:\"([^\"]*)\"|'([^']*)'|([A-Za-z0-9_-]+))\s*=")


def is_lesson(path: Path) -> bool:
    """Whether the path is a folder; whether it is a good lesson is for `read_lesson` to say."""
    return path.is_dir()


def read_lesson(folder: Path) -> Lesson:
    """The lesson in this folder. Raises LessonError with every fault of its lesson.toml, or NewerFormat."""
    path = folder / LESSON_FILE
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise LessonError(
                "is far too large for a lesson's settings", "Keep pins and settings only.", place=Place(file=str(path))
            )
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError as error:
        missing = "holds no lesson.toml" if folder.is_dir() else "is not there"
        raise LessonError(
            missing, "Start a lesson with: partwright new DIR --from TUNE.", place=Place(file=str(folder))
        ) from error
    except UnicodeDecodeError as error:
        raise LessonError("is not UTF-8 text", "Save it again as UTF-8.", place=Place(file=str(path))) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise LessonError(f"cannot be read ({reason})", "Check the path.", place=Place(file=str(path))) from error
    return parse_lesson(text, file=str(path))


def parse_lesson(text: str, *, file: str = LESSON_FILE) -> Lesson:
    """A lesson from the text of its lesson.toml."""
    import tomllib

    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(error, file) from error
    _refuse_newer(data, text, file)
    faults: list[PartwrightError] = []
    lines = _Lines(text)

    def fault(what: str, todo: str, table: str, key: str | None = None, entry: int = 0) -> None:
        faults.append(LessonError(what, todo, place=Place(file=file, line=lines.find(table, key, entry))))

    values: dict[str, Any] = {}
    tables = {row.table for row in ROWS if row.table}
    for name, content in data.items():
        if name in FREE_TABLES:
            continue
        if name in tables and (isinstance(content, dict) or not _is_top(name)):
            if isinstance(content, dict):
                for key, value in content.items():
                    _take(name, key, value, values, fault)
            else:
                fault(f'"{name}" is a table of settings', f"Write [{name}] on a line of its own.", "", name)
        elif isinstance(content, dict):
            near = nearest_sentence(name, [*tables, *FREE_TABLES])
            fault(f"there is no table [{name}]", near, name)
        else:
            _take("", name, content, values, fault)
    values["sections"] = _sections(data.get("sections", []), lines, fault)
    values["episodes"] = _episodes(data.get("episodes", []), lines, fault)
    _check_section_names(values, lines, fault)
    values["pins"] = _pins(data.get("pins", {}), lines, fault)
    raise_faults(faults, file)
    return Lesson(**_gathered(values))


def _is_top(name: str) -> bool:
    """Whether a table's name is that of a setting at the top too: `rights = [...]` is short for [rights] lines."""
    return any(row.key == name and not row.table for row in ROWS)


def _gathered(values: dict[str, Any]) -> dict[str, Any]:
    """Values of fields like "rights_sheet.status" as the field of a sheet."""
    sheet = {key.partition(".")[2]: values.pop(key) for key in list(values) if key.startswith("rights_sheet.")}
    return {**values, "rights_sheet": RightsSheet(**sheet)}


def raise_faults(faults: Iterable[PartwrightError], file: str) -> None:
    """Nothing for no faults; the fault itself for one; all of them in one LessonError for more."""
    found = list(faults)
    if len(found) == 1:
        raise found[0]
    if found:
        listed = "\n".join(f"  {fault}" for fault in found)
        raise LessonError(f"has {len(found)} faults:\n{listed}", place=Place(file=file))


def _take(table: str, key: str, value: object, values: dict[str, Any], fault: Any) -> None:
    row = next((row for row in ROWS if row.table == table and row.key == key), None)
    if row is None:
        fault(f'there is no setting "{key}"{_within(table)}', _where_it_belongs(table, key), table, key)
        return
    try:
        values[row.field] = _convert(row, value)
    except ValueError as error:
        fault(f'"{key}" {error}', "", table, key)


def _convert(row: Row, value: object) -> object:
    match row.kind:
        case "whole":
            if isinstance(value, bool) or not isinstance(value, int):
                raise ValueError(f"is a whole number ({row.words})")
            _number(row, value)
            return value
        case "number":
            return _number(row, value)
        case "text":
            if isinstance(value, int) and not isinstance(value, bool):
                value = str(value)
            if not isinstance(value, str):
                raise ValueError(f"is a text in quotes ({row.words})")
            _choice(row, value)
            return value
        case "texts":
            items = [value] if isinstance(value, str) else value
            if not isinstance(items, list) or not all(isinstance(item, str) for item in items):
                raise ValueError(f"is a list of texts in quotes ({row.words})")
            for item in items:
                _choice(row, item)
            return tuple(cast(list[str], items))
        case "date":
            return _date(row, value)
        case "numbers":
            if not isinstance(value, list):
                raise ValueError(f"is a list of numbers ({row.words})")
            return tuple(_number(row, item) for item in value)


def _date(row: Row, value: object) -> datetime.date:
    """An ISO 8601 calendar date, as TOML writes it or in quotes."""
    import datetime

    if type(value) is datetime.date:
        return value
    try:
        if isinstance(value, str) and len(value) == len("2026-11-28"):
            return datetime.date.fromisoformat(value)
    except ValueError:
        pass
    raise ValueError(f"is a date like 2026-11-28 ({row.words})")


def _number(row: Row, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"is a number ({row.words})")
    low, high = row.low, row.high
    if (low is not None and value < low) or (high is not None and value > high) or value != value:
        raise ValueError(f"is {value:g}, but must lie between {low:g} and {high:g} ({row.words})")
    return float(value)


def _choice(row: Row, value: str) -> None:
    if row.choices and value not in row.choices:
        near = nearest(value, row.choices)
        hint = f'; did you mean "{near}"?' if near else ""
        raise ValueError(f'is "{value}", but must be one of {", ".join(row.choices)}{hint}')


def _sections(data: object, lines: _Lines, fault: Any) -> tuple[Section, ...]:
    if not isinstance(data, list) or not all(isinstance(entry, dict) for entry in data):
        fault("sections are a list", "Write [[sections]] before each one.", "", "sections")
        return ()
    sections = []
    for index, entry in enumerate(data):
        complete = True
        for key, value in entry.items():
            if key not in SECTION_KEYS:
                fault(
                    f'there is no setting "{key}" in [[sections]]',
                    nearest_sentence(key, SECTION_KEYS),
                    "sections",
                    key,
                    index,
                )
            elif isinstance(value, bool) or not isinstance(value, str | int):
                fault(f'"{key}" is a text in quotes', "", "sections", key, index)
                complete = False
        for key in SECTION_KEYS[:3]:
            if key not in entry:
                fault(f'this section has no "{key}"', "Add it, as on the printed page.", "sections", None, index)
                complete = False
        if complete:
            texts = {key: str(value) for key, value in entry.items() if key in SECTION_KEYS}
            sections.append(Section(line=lines.find("sections", None, index), **texts))
    return tuple(sections)


def _episodes(data: object, lines: _Lines, fault: Any) -> tuple[Episode, ...]:
    if not isinstance(data, list) or not all(isinstance(entry, dict) for entry in data):
        fault("episodes are a list", "Write [[episodes]] before each one.", "", "episodes")
        return ()
    episodes = []
    for index, entry in enumerate(data):
        for key in entry:
            if key not in EPISODE_KEYS:
                todo = nearest_sentence(key, EPISODE_KEYS)
                fault(f'there is no setting "{key}" in [[episodes]]', todo, "episodes", key, index)
        title, names = entry.get("title", f"Episode {index + 1}"), entry.get("sections")
        if not isinstance(title, str):
            fault('"title" is a text in quotes', "", "episodes", "title", index)
        elif not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
            todo = 'Write sections = ["A", "B"], the names of sections.'
            fault("this episode does not say which sections it teaches", todo, "episodes", None, index)
        else:
            episodes.append(Episode(title=title, sections=tuple(names), line=lines.find("episodes", None, index)))
    return tuple(episodes)


def _check_section_names(values: Mapping[str, Any], lines: _Lines, fault: Any) -> None:
    """Names in the teaching order and in episodes are those of sections, where sections are named here."""
    known = [section.name for section in values["sections"]]
    if not known:
        return
    for name in values.get("teaching_order", ()):
        if name not in known:
            fault(f'the teaching order names a section "{name}"', nearest_sentence(name, known), "teaching", "order")
    for index, episode in enumerate(values["episodes"]):
        for name in episode.sections:
            if name not in known:
                what = f'episode "{episode.title}" names a section "{name}"'
                fault(what, nearest_sentence(name, known), "episodes", "sections", index)


def _pins(data: object, lines: _Lines, fault: Any) -> tuple[PinEntry, ...]:
    if not isinstance(data, dict):
        fault("pins are a table", 'Write [pins], and below it lines like "13:1" = "3/D".', "", "pins")
        return ()
    pins = []
    for place, value in data.items():
        values = value if isinstance(value, list) else [value]
        if all(isinstance(item, str | int) and not isinstance(item, bool) for item in values) and values:
            pins += [PinEntry(text=f"{place}={item}", line=lines.find("pins", place)) for item in values]
        else:
            fault(f'the pin at "{place}" is a text', 'Write it as "13:1" = "3/D".', "pins", place)
    return tuple(pins)


class _Lines:
    """Finds the line on which a table or a key stands, for messages; None where the spelling hides it."""

    def __init__(self, text: str) -> None:
        self._text = text

    def find(self, table: str, key: str | None, entry: int = 0) -> int | None:
        current, seen = "", -1
        header_line: int | None = None
        for number, line in enumerate(self._text.splitlines(), start=1):
            if header := _HEADER.match(line):
                current = header[1].strip("\"'")
                if current == table:
                    seen += 1
                    header_line = number if seen == entry else header_line
            elif key is not None and current == table and (not table or seen == entry):
                found = _KEY.match(line)
                if found and next(group for group in found.groups() if group is not None) == key:
                    return number
        return header_line


def _refuse_newer(data: Mapping[str, object], text: str, file: str) -> None:
    version = data.get("format", FORMAT)
    if isinstance(version, int) and version > FORMAT:
        raise NewerFormat(
            f"was made by a newer partwright (format {version}; this one knows up to {FORMAT})",
            "Install the newer partwright; nothing was changed.",
            place=Place(file=file, line=_Lines(text).find("", "format")),
        )
    if isinstance(version, int) and not isinstance(version, bool) and version < 1:
        raise LessonError(
            f"has no format {version}",
            f"Write format = {FORMAT}.",
            place=Place(file=file, line=_Lines(text).find("", "format")),
        )


def _not_toml(error: ValueError, file: str) -> LessonError:
    text = str(error)
    found = re.search(r"^(.*) \(at line (\d+), column (\d+)\)$", text)
    if found:
        what, line = f"{found[1][0].lower()}{found[1][1:]} (column {found[3]})", int(found[2])
    else:
        what, line = f"{text[0].lower()}{text[1:]}", None
    if "overwrite a value" in what:
        what = "this key stands twice"
    return LessonError(what, "Mend that line.", place=Place(file=file, line=line))


def _within(table: str) -> str:
    return f" in [{table}]" if table else ""


def _where_it_belongs(table: str, key: str) -> str:
    elsewhere = [row for row in ROWS if row.key == key]
    if elsewhere:
        home = elsewhere[0].table
        return f"It belongs in [{home}]." if home else "It belongs at the top of the file, above the first table."
    here = [row.key for row in ROWS if row.table == table]
    if near := nearest(key, here):
        return f'Did you mean "{near}"?'
    if anywhere := nearest(key, [row.key for row in ROWS]):
        home = next(row.table for row in ROWS if row.key == anywhere)
        return f'Did you mean "{anywhere}"{_within(home)}?'
    return f"Known are {', '.join(here)}."
