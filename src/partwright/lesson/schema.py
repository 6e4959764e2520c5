"""What may stand in lesson.toml: one row per key. Adding a setting is adding a row and a field of `Lesson`.

Source: the format is this project's own; docs/lesson_folder.md describes it for the teacher.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["EPISODE_KEYS", "FREE_TABLES", "ROWS", "SECTION_KEYS", "Row"]

Kind = Literal["whole", "number", "text", "texts", "numbers", "date"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One key: the table it stands in ("" = top), the field it fills, its kind, and the values it may take."""

    table: str
    key: str
    field: str
    kind: Kind
    words: str
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


ROWS: tuple[Row, ...] = (
    Row(table="", key="format", field="format", kind="whole", words="the version of this folder's format"),
    Row(table="", key="title", field="title", kind="text", words="printed at the head of the page"),
    Row(table="", key="subtitle", field="subtitle", kind="text", words="printed below the title"),
    Row(table="", key="composer", field="composer", kind="text", words="printed at the right of the head"),
    Row(table="", key="arranger", field="arranger", kind="text", words="printed below the composer"),
    Row(table="", key="teacher", field="teacher", kind="text", words="who fingered and teaches it"),
    Row(table="", key="rights", field="rights", kind="texts", words="lines printed at the foot of the first page"),
    Row(table="tune", key="file", field="tune_file", kind="text", words="the music, in this folder"),
    Row(table="tune", key="part", field="part", kind="text", words="which part, where the tune has several"),
    Row(table="tune", key="voice", field="voice", kind="text", words="which voice, where the part has several"),
    Row(
        table="instrument",
        key="name",
        field="instrument",
        kind="text",
        words="cello, viola, violin, double_bass, or a table of your own (.toml)",
    ),
    Row(table="instrument", key="size", field="size", kind="text", words="size of the instrument, as in 3/4"),
    Row(table="instrument", key="level", field="level", kind="text", words="beginner, intermediate or advanced"),
    Row(
        table="instrument",
        key="levels_file",
        field="levels_file",
        kind="text",
        words="levels of your own, in this folder",
    ),
    Row(
        table="instrument",
        key="string_length_mm",
        field="string_length_mm",
        kind="number",
        words="from nut to bridge, in mm",
        low=150,
        high=1400,
    ),
    Row(table="instrument", key="tuning", field="tuning", kind="text", words="pitches of the strings, low to high"),
    Row(table="instrument", key="school", field="school", kind="text", words="who names the positions"),
    Row(
        table="fingering",
        key="taste",
        field="taste",
        kind="text",
        words="your own hand, learned by partwright learn: a file (.toml) in this folder",
    ),
    Row(
        table="tempo",
        key="performance_qpm",
        field="tempo_qpm",
        kind="number",
        words="quarter notes per minute",
        low=10,
        high=400,
    ),
    Row(
        table="tempo",
        key="practice_percent",
        field="practice_percent",
        kind="numbers",
        words="slower versions, in per cent of the performance",
        low=10,
        high=200,
    ),
    Row(table="video", key="links", field="links", kind="texts", words='lines under "More" in the text below a video'),
    Row(
        table="video",
        key="hands",
        field="hands_area",
        kind="numbers",
        words="where the hands are in the footage: left, top, right, bottom in per cent; nothing is put over it",
        low=0,
        high=100,
    ),
    Row(table="sound", key="a4_hz", field="a4_hz", kind="number", words="pitch of A4", low=415, high=466),
    Row(
        table="sound",
        key="temperament",
        field="temperament",
        kind="text",
        words="how intervals are tuned; just: pure above the key's first note",
        choices=("equal", "pythagorean", "just"),
    ),
    Row(
        table="sound",
        key="chords",
        field="chord_sound",
        kind="text",
        words="how chord symbols sound",
        choices=("plucked", "struck", "held"),
    ),
    Row(
        table="sound",
        key="format",
        field="sound_format",
        kind="text",
        words="kind of the files to practise with",
        choices=("flac", "mp3", "m4a", "opus"),
    ),
    Row(
        table="sound",
        key="font",
        field="sound_font",
        kind="text",
        words="a sound font of yours for the accompaniment, .sf2 or .sf3; needs the command fluidsynth",
    ),
    Row(
        table="sound",
        key="count",
        field="count",
        kind="text",
        words="how bars are counted in; spoken: with the click, needs the command espeak-ng",
        choices=("click", "spoken"),
    ),
    Row(table="page", key="paper", field="paper", kind="texts", words="sizes to print", choices=("a4", "letter")),
    Row(
        table="page",
        key="marks",
        field="marks",
        kind="text",
        words="which fingers are printed",
        choices=("every", "needed", "none"),
    ),
    Row(
        table="page",
        key="strings",
        field="strings",
        kind="text",
        words="how strings are named",
        choices=("letters", "roman"),
    ),
    Row(
        table="page",
        key="source_marks",
        field="source_marks",
        kind="text",
        words="whether the fingers already in the tune are decisions",
        choices=("keep", "ignore"),
    ),
    Row(
        table="arranging",
        key="levels",
        field="levels",
        kind="texts",
        words="levels that get a version of the tune of their own",
    ),
    Row(
        table="arranging",
        key="undo",
        field="undo",
        kind="texts",
        words='steps that shall not be made, as in "beginner: octave 18-23"',
    ),
    Row(
        table="arranging",
        key="second",
        field="second",
        kind="text",
        words="a second part for teacher or friend",
        choices=("bass", "counter", "drone"),
    ),
    Row(table="arranging", key="second_level", field="second_level", kind="text", words="the level of the second part"),
    Row(table="arranging", key="style", field="style", kind="text", words="of the accompaniment, or auto"),
    Row(
        table="teaching",
        key="order",
        field="teaching_order",
        kind="texts",
        words="names of sections in the order they are taught",
    ),
    Row(
        table="teaching",
        key="tries",
        field="tries",
        kind="whole",
        words="how often a step is played before the next one",
        low=1,
        high=20,
    ),
    Row(
        table="teaching",
        key="speaking_wpm",
        field="speaking_wpm",
        kind="number",
        words="words a minute on the prompter",
        low=60,
        high=260,
    ),
    Row(
        table="rights",
        key="status",
        field="rights_sheet.status",
        kind="text",
        words="may it be released, and why",
        choices=("public-domain", "own-work", "licensed", "fan-arrangement"),
    ),
    Row(
        table="rights",
        key="reason",
        field="rights_sheet.reason",
        kind="text",
        words="why it is in the public domain, or your own",
    ),
    Row(
        table="rights",
        key="countries",
        field="rights_sheet.countries",
        kind="texts",
        words='where that holds, as in "DE" (ISO 3166-1)',
    ),
    Row(table="rights", key="authors", field="rights_sheet.authors", kind="texts", words="who made the tune"),
    Row(table="rights", key="owners", field="rights_sheet.owners", kind="texts", words="whose it is"),
    Row(
        table="rights",
        key="licence",
        field="rights_sheet.licence",
        kind="text",
        words="the licence, as its letter says",
    ),
    Row(table="rights", key="granted", field="rights_sheet.granted", kind="date", words="when it was granted"),
    Row(table="rights", key="expires", field="rights_sheet.expires", kind="date", words="its last day"),
    Row(table="rights", key="scope", field="rights_sheet.scope", kind="text", words="what it allows"),
    Row(
        table="rights",
        key="copies",
        field="rights_sheet.copies",
        kind="whole",
        words="how many copies it allows",
        low=1,
        high=10_000_000,
    ),
    Row(
        table="rights",
        key="arrangement",
        field="rights_sheet.arrangement",
        kind="text",
        words="credit of the arrangement, printed",
    ),
    Row(
        table="rights",
        key="recording",
        field="rights_sheet.recording",
        kind="text",
        words="note on the sound recording, printed",
    ),
    Row(
        table="rights",
        key="sync",
        field="rights_sheet.sync",
        kind="text",
        words="note on music with pictures, printed",
    ),
    Row(table="rights", key="royalty", field="rights_sheet.royalty", kind="text", words="what is owed, and on what"),
    Row(
        table="rights",
        key="ismn",
        field="rights_sheet.ismn",
        kind="text",
        words="number of the printed music, ISO 10957",
    ),
    Row(table="rights", key="isrc", field="rights_sheet.isrc", kind="text", words="number of the recording, ISO 3901"),
    Row(
        table="rights",
        key="lines",
        field="rights",
        kind="texts",
        words="credit in your own words, printed instead of what is made from the status",
    ),
    Row(
        table="catalogue",
        key="id",
        field="catalogue_id",
        kind="text",
        words="what the lesson is known by, wherever its folder lies; given when it is added",
    ),
    Row(table="catalogue", key="price", field="price", kind="text", words='as in "6.50 EUR" (ISO 4217)'),
    Row(table="catalogue", key="summary", field="summary", kind="text", words="a sentence or two for the sales sheet"),
    Row(
        table="catalogue",
        key="language",
        field="language",
        kind="text",
        words='language of the words, as in "en" (ISO 639)',
    ),
    Row(table="catalogue", key="tags", field="tags", kind="texts", words="words to find it by"),
    Row(
        table="catalogue",
        key="sell",
        field="sell",
        kind="texts",
        words="products an edition holds, by name; none named: everything but video",
    ),
)

SECTION_KEYS: tuple[str, ...] = ("name", "first_bar", "last_bar", "remark")
"""Keys of one [[sections]] entry."""

EPISODE_KEYS: tuple[str, ...] = ("title", "sections")
"""Keys of one [[episodes]] entry."""

FREE_TABLES: tuple[str, ...] = ("pins", "sections", "episodes")
"""Tables that are not rows of keys but lists of the teacher's decisions."""
