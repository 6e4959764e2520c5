"""Writing lesson.toml: a fresh one with guidance, and small edits after which every comment still stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from partwright.errors import LessonError, Place
from partwright.files import write_atomic
from partwright.lesson.lesson import FORMAT, LESSON_FILE, Episode, Lesson, Section
from partwright.lesson.read_settings import parse_lesson

__all__ = ["edit_pin", "edit_settings", "lesson_text"]


def lesson_text(lesson: Lesson) -> str:
    """The text of a fresh lesson.toml: every setting with a word on what it does; unused ones stand as comments."""
    parts = [
        "# What you decided for this lesson. Change a line, then run: partwright build FOLDER",
        "# Comments are kept. Every setting is explained in docs/lesson_folder.md.",
        f"format = {FORMAT}",
        "",
        f"title = {_text(lesson.title)}",
        f"subtitle = {_text(lesson.subtitle)}",
        f"composer = {_text(lesson.composer)}",
        f"arranger = {_text(lesson.arranger)}",
        f"teacher = {_text(lesson.teacher)}",
        "",
        "[tune]",
        f"file = {_text(lesson.tune_file)}  # never rewritten",
        _setting("part", lesson.part, "which part, where the tune has several", example="P1"),
        _setting("voice", lesson.voice, "which voice, where the part has several", example="1"),
        "",
        "[instrument]",
        f"name = {_text(lesson.instrument)}",
        _setting("size", lesson.size, "where it is not a full-size one", example="3/4"),
        f"level = {_text(lesson.level)}  # beginner, intermediate or advanced",
        _setting("levels_file", lesson.levels_file, "levels of your own, in this folder", example="levels.toml"),
        (
            f"string_length_mm = {lesson.string_length_mm:g}"
            if lesson.string_length_mm
            else "# string_length_mm = 690  # nut to bridge, in mm, where yours differs from the usual"
        ),
        (
            f"tuning = {_text(lesson.tuning)}"
            if lesson.tuning
            else '# tuning = "C2 G2 D3 A3"  # low to high, where yours differs from the usual'
        ),
        _setting("school", lesson.school, "who names the positions", example="c-major"),
        "",
        "[fingering]",
        _setting("taste", lesson.taste, "your own hand, made by: partwright learn FOLDER --use", example="taste.toml"),
        "",
        "[tempo]",
        (
            f"performance_qpm = {lesson.tempo_qpm:g}  # quarter notes per minute"
            if lesson.tempo_qpm
            else "# performance_qpm = 96  # quarter notes per minute, where it differs from the tune"
        ),
        f"practice_percent = [{', '.join(f'{speed:g}' for speed in lesson.practice_percent)}]",
        "",
        "[page]",
        f"paper = {_texts(lesson.paper)}  # a4, letter",
        f"marks = {_text(lesson.marks)}  # needed: what a player needs; every; none",
        f"strings = {_text(lesson.strings)}  # letters or roman (I = the highest string)",
        f"clefs = {_text(lesson.clefs)}  # player: others where the tune's own are not read; source; or bass, tenor …",
        f"source_marks = {_text(lesson.source_marks)}  # keep: fingers in the tune are decisions; ignore",
        "",
        *_arranging_parts(lesson),
        *_teaching_parts(lesson),
        *_rights_parts(lesson),
        *_section_parts(lesson.sections),
        *_episode_parts(lesson.episodes),
        '# Pins: what you insist on. "BAR:BEAT" = "FINGER", "FINGER/STRING" or "/STRING".',
        "# The plan is the best one around them; what cannot be played is said, never dropped.",
        "[pins]",
        *(_pin_line(pin.text) for pin in lesson.pins),
        *([] if lesson.pins else ['# "13:1" = "3/D"  # third finger on the D string']),
        "",
    ]
    return "\n".join(parts)


def edit_pin(folder: Path, place: str, value: str | None) -> None:
    """Set the pin at "BAR:BEAT", or take it out with None. Call it under `folder_lock`."""
    import tomlkit
    from tomlkit.items import Table

    path = folder / LESSON_FILE
    text = path.read_bytes().decode("utf-8")
    parse_lesson(text, file=str(path))
    document = tomlkit.parse(text)
    if "pins" not in document:
        document["pins"] = tomlkit.table()
    pins = document["pins"]
    if not isinstance(pins, Table):
        raise LessonError("pins are a table", "Write [pins] on a line of its own.", place=Place(file=str(path)))
    if value is None:
        pins.pop(place, None)
    else:
        pins[place] = value
    changed = tomlkit.dumps(document)
    parse_lesson(changed, file=str(path))
    write_atomic(path, changed)


def edit_settings(folder: Path, table: str, values: Mapping[str, object]) -> None:
    """Set keys of one table of lesson.toml, or take them out with None; comments stay. Call it under `folder_lock`.

    Nothing is written where the result would not be a lesson: LessonError tells every fault.
    """
    import tomlkit
    from tomlkit.items import Item, Table

    path = folder / LESSON_FILE
    text = path.read_bytes().decode("utf-8")
    parse_lesson(text, file=str(path))
    document = tomlkit.parse(text)
    kept: dict[str, object] = {}
    if table in document and not isinstance(document[table], Table):  # `rights = [...]` at the top: now a table
        kept = {"lines": document.pop(table)}
        if not kept["lines"]:
            kept = {}
    if table not in document:
        document[table] = tomlkit.table()
    target = document[table]
    assert isinstance(target, Table)
    body = target.value.body
    after: list[Item] = []  # comments below the last key often belong to what follows; new keys go before them
    while body and body[-1][0] is None:
        after.insert(0, body.pop()[1])
    for key, value in {**kept, **values}.items():
        if value is None:
            target.pop(key, None)
        else:
            target[key] = value
    for item in after:
        target.value.append(None, item)
    changed = tomlkit.dumps(document)
    parse_lesson(changed, file=str(path))
    write_atomic(path, changed)


def _rights_parts(lesson: Lesson) -> list[str]:
    sheet, lines = lesson.rights_sheet, lesson.rights
    reason = "why it is in the public domain, or yours"
    return [
        "# Whose tune it is. Nothing is released without a status; what is allowed differs from country to country.",
        "[rights]",
        f"lines = {_texts(lines)}  # printed at the foot of the first page"
        if lines
        else "# lines = []  # your own words",
        _setting("status", sheet.status, "public-domain, own-work, licensed, fan-arrangement", example="own-work"),
        _setting("reason", sheet.reason, reason, example="I wrote it."),
        '# countries = ["DE", "AT"]  # where that holds',
        '# licence = ""  # with owners, granted, expires, scope, copies: docs/rights.md',
        "",
    ]


def _arranging_parts(lesson: Lesson) -> list[str]:
    levels = f"levels = {_texts(lesson.levels)}" if lesson.levels else '# levels = ["beginner", "advanced"]'
    undo = f"undo = {_texts(lesson.undo)}" if lesson.undo else '# undo = ["beginner: octave 18-23"]'
    return [
        "[arranging]",
        f"{levels}  # a version of the tune for each",
        f"{undo}  # steps that shall not be made",
        _setting("second", lesson.second, "a second part: bass, counter or drone", example="bass"),
        _setting("second_level", lesson.second_level, "who plays it", example="intermediate"),
        _setting("style", lesson.style, "an accompaniment from the chord symbols; auto = by the metre", example="auto"),
        "",
    ]


def _teaching_parts(lesson: Lesson) -> list[str]:
    order = f"order = {_texts(lesson.teaching_order)}  # sections in the order you teach them"
    return [
        "[teaching]",
        order if lesson.teaching_order else '# order = ["B", "A"]  # sections in the order you teach them',
        f"tries = {lesson.tries}  # how often a step is played before the next one",
        f"speaking_wpm = {lesson.speaking_wpm:g}  # words a minute, for the prompter",
        "",
    ]


def _episode_parts(episodes: Sequence[Episode]) -> list[str]:
    parts = ["# Episodes: recordings that tell the lesson in parts; without them it is one recording."]
    for episode in episodes:
        parts += ["[[episodes]]", f"title = {_text(episode.title)}", f"sections = {_texts(episode.sections)}", ""]
    return parts if episodes else [*parts, "# [[episodes]]", '# title = "The first part"', '# sections = ["A"]', ""]


def _section_parts(sections: Sequence[Section]) -> list[str]:
    parts = ["# Sections as you teach them; bars as printed."]
    for section in sections:
        parts += [
            "[[sections]]",
            f"name = {_text(section.name)}",
            f"first_bar = {_text(section.first_bar)}",
            f"last_bar = {_text(section.last_bar)}",
            *([f"remark = {_text(section.remark)}"] if section.remark else []),
            "",
        ]
    return parts


def _pin_line(text: str) -> str:
    place, _, value = text.partition("=")
    return f"{_text(place)} = {_text(value)}"


def _setting(key: str, value: str, words: str, *, example: str) -> str:
    return f"{key} = {_text(value)}  # {words}" if value else f"# {key} = {_text(example)}  # {words}"


def _text(value: str) -> str:
    """A TOML basic string.

    Source: TOML 1.0.0, String: quotation mark, backslash and control characters are escaped.
    """
    named = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
    escaped = "".join(named.get(c, f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else c) for c in value)
    return f'"{escaped}"'


def _texts(values: Sequence[str]) -> str:
    return f"[{', '.join(_text(value) for value in values)}]"
