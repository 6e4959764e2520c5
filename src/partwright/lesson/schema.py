"""What may stand in lesson.toml, table by table as a teacher meets them: one row per key.

Adding a setting is adding a row and a field of `Lesson`. A row names its field only where it is not the key.
Source: the format is this project's own; docs/lesson_folder.md describes it for the teacher.
"""

from __future__ import annotations

from functools import partial
from typing import Literal, NamedTuple

__all__ = ["EPISODE_KEYS", "FREE_TABLES", "ROWS", "SECTION_KEYS", "Row"]

Kind = Literal["whole", "number", "text", "texts", "numbers", "date"]


class Row(NamedTuple):
    """One key: the table it stands in ("" = top), the field it fills, its kind, and the values it may take."""

    table: str
    key: str
    field: str
    kind: Kind
    words: str
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


def _row(
    kind: Kind,
    key: str,
    words: str,
    *,
    field: str = "",
    choices: tuple[str, ...] = (),
    low: float | None = None,
    high: float | None = None,
) -> Row:
    return Row("", key, field, kind, words, choices, low, high)


_whole = partial(_row, "whole")
_number = partial(_row, "number")
_numbers = partial(_row, "numbers")
_text = partial(_row, "text")
_texts = partial(_row, "texts")
_date = partial(_row, "date")


def _table(name: str, *rows: Row, sheet: str = "") -> tuple[Row, ...]:
    """The rows of one table; one that names no field fills that of its own name, in the lesson or in its `sheet`."""
    return tuple(Row(name, row.key, row.field or sheet + row.key, *row[3:]) for row in rows)


# What is taught: the heading, and where the music is

_LESSON = _table(
    "",
    _whole("format", "the version of this folder's format"),
    _text("title", "printed at the head of the page"),
    _text("subtitle", "printed below the title"),
    _text("composer", "printed at the right of the head"),
    _text("arranger", "printed below the composer"),
    _text("teacher", "who fingered and teaches it"),
    _texts("rights", "lines printed at the foot of the first page"),
)

_TUNE = _table(
    "tune",
    _text("file", "the music, in this folder", field="tune_file"),
    _text("part", "which part, where the tune has several"),
    _text("voice", "which voice, where the part has several"),
)

# The hand that plays it

_INSTRUMENT = _table(
    "instrument",
    _text("name", "cello, viola, violin, double_bass, or a table of your own (.toml)", field="instrument"),
    _text("size", "size of the instrument, as in 3/4"),
    _text("level", "beginner, intermediate or advanced"),
    _text("levels_file", "levels of your own, in this folder"),
    _number("string_length_mm", "from nut to bridge, in mm", low=150, high=1400),
    _text("tuning", "pitches of the strings, low to high"),
    _text("school", "who names the positions"),
)

_FINGERING = _table(
    "fingering",
    _text("taste", "your own hand, learned by partwright learn: a file (.toml) in this folder"),
)

# What it is played with: speeds, pictures, sounds

_TEMPO = _table(
    "tempo",
    _number("performance_qpm", "quarter notes per minute", field="tempo_qpm", low=10, high=400),
    _numbers("practice_percent", "slower versions, in per cent of the performance", low=10, high=200),
)

_VIDEO = _table(
    "video",
    _texts("links", 'lines under "More" in the text below a video'),
    _numbers(
        "hands",
        "where the hands are in the footage: left, top, right, bottom in per cent; nothing is put over it",
        field="hands_area",
        low=0,
        high=100,
    ),
)

_SOUND = _table(
    "sound",
    _number("a4_hz", "pitch of A4", low=415, high=466),
    _text(
        "temperament",
        "how intervals are tuned; just: pure above the key's first note",
        choices=("equal", "pythagorean", "just"),
    ),
    _text("chords", "how chord symbols sound", field="chord_sound", choices=("plucked", "struck", "held")),
    _text("format", "kind of the files to practise with", field="sound_format", choices=("flac", "mp3", "m4a", "opus")),
    _text(
        "font",
        "a sound font of yours for the accompaniment, .sf2 or .sf3; needs the command fluidsynth",
        field="sound_font",
    ),
    _text(
        "count",
        "how bars are counted in; spoken: with the click, needs the command espeak-ng",
        choices=("click", "spoken"),
    ),
)

# What is printed and what is taught

_PAGE = _table(
    "page",
    _texts("paper", "sizes to print", choices=("a4", "letter")),
    _text("marks", "which fingers are printed", choices=("every", "needed", "none")),
    _text("strings", "how strings are named", choices=("letters", "roman")),
    _text(
        "clefs",
        "player: the tune's own, or others where these are not read; source: its own; or one throughout",
        choices=("player", "source", "bass", "tenor", "alto", "treble"),
    ),
    _text("source_marks", "whether the fingers already in the tune are decisions", choices=("keep", "ignore")),
)

_ARRANGING = _table(
    "arranging",
    _texts("levels", "levels that get a version of the tune of their own"),
    _texts("undo", 'steps that shall not be made, as in "beginner: octave 18-23"'),
    _text("second", "a second part for teacher or friend", choices=("bass", "counter", "drone")),
    _text("second_level", "the level of the second part"),
    _text("style", "of the accompaniment, or auto"),
)

_TEACHING = _table(
    "teaching",
    _texts("order", "names of sections in the order they are taught", field="teaching_order"),
    _whole("tries", "how often a step is played before the next one", low=1, high=20),
    _number("speaking_wpm", "words a minute on the prompter", low=60, high=260),
)

# Leave to use it, and selling it

_RIGHTS = _table(
    "rights",
    _text(
        "status",
        "may it be released, and why",
        choices=("public-domain", "own-work", "licensed", "fan-arrangement"),
    ),
    _text("reason", "why it is in the public domain, or your own"),
    _texts("countries", 'where that holds, as in "DE" (ISO 3166-1)'),
    _texts("authors", "who made the tune"),
    _texts("owners", "whose it is"),
    _text("licence", "the licence, as its letter says"),
    _date("granted", "when it was granted"),
    _date("expires", "its last day"),
    _text("scope", "what it allows"),
    _whole("copies", "how many copies it allows", low=1, high=10_000_000),
    _text("arrangement", "credit of the arrangement, printed"),
    _text("recording", "note on the sound recording, printed"),
    _text("sync", "note on music with pictures, printed"),
    _text("royalty", "what is owed, and on what"),
    _text("ismn", "number of the printed music, ISO 10957"),
    _text("isrc", "number of the recording, ISO 3901"),
    _texts("lines", "credit in your own words, printed instead of what is made from the status", field="rights"),
    sheet="rights_sheet.",
)

_CATALOGUE = _table(
    "catalogue",
    _text("id", "what the lesson is known by, wherever its folder lies; given when it is added", field="catalogue_id"),
    _text("price", 'as in "6.50 EUR" (ISO 4217)'),
    _text("summary", "a sentence or two for the sales sheet"),
    _text("language", 'language of the words, as in "en" (ISO 639)'),
    _texts("tags", "words to find it by"),
    _texts("sell", "products an edition holds, by name; none named: everything but video"),
)

ROWS: tuple[Row, ...] = (
    *_LESSON,
    *_TUNE,
    *_INSTRUMENT,
    *_FINGERING,
    *_TEMPO,
    *_VIDEO,
    *_SOUND,
    *_PAGE,
    *_ARRANGING,
    *_TEACHING,
    *_RIGHTS,
    *_CATALOGUE,
)

SECTION_KEYS: tuple[str, ...] = ("name", "first_bar", "last_bar", "remark")
"""Keys of one [[sections]] entry."""

EPISODE_KEYS: tuple[str, ...] = ("title", "sections")
"""Keys of one [[episodes]] entry."""

FREE_TABLES: tuple[str, ...] = ("pins", "sections", "episodes")
"""Tables that are not rows of keys but lists of the teacher's decisions."""
