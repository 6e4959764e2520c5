"""From a lesson's settings to what the engines take: the tune, the instrument, the level and the pins.

A tune given on the command line is prepared the same way, as a lesson with nothing but settings.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partwright.errors import InputError, LessonError, NoPlan, PartwrightError, Place
from partwright.fingering import FingeringPlan, Pin, parse_pin, pins_from_source
from partwright.instrument import Instrument, load_instrument, load_instrument_file, parse_tuning
from partwright.lesson.lesson import LESSON_FILE, Lesson
from partwright.lesson.read_settings import raise_faults
from partwright.lesson.rights import credit_lines
from partwright.nearest import nearest_sentence
from partwright.score import Credits, Part, Tune, beat_text, read_tune

if TYPE_CHECKING:
    from partwright.bowing import BowPin
    from partwright.fingering import HandTaste, Taste

__all__ = ["Prepared", "lesson_taste", "prepare", "prepare_instrument", "refuse_out_of_range"]


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """A tune ready to be planned. `remarks` say what was assumed or left aside, each with its place."""

    lesson: Lesson
    tune_path: Path
    tune: Tune
    instrument: Instrument
    pins: tuple[Pin, ...]
    remarks: tuple[str, ...]
    bow_pins: tuple[BowPin, ...] = ()  # without those of the source, which the bowing reads itself
    taste: Taste | None = None  # the teacher's own hand; the instrument's weights hold it already

    @property
    def part(self) -> Part:
        return self.tune.part

    @property
    def credits(self) -> Credits:
        """Who made what: as the lesson says, and where it is silent as the tune says."""
        lesson, printed = self.lesson, self.part.credits
        sheet = lesson.rights_sheet
        return Credits(
            title=lesson.title or printed.title,
            subtitle=lesson.subtitle or printed.subtitle,
            composer=lesson.composer or printed.composer,
            arranger=lesson.arranger or printed.arranger,
            lyricist=printed.lyricist,
            rights=credit_lines(sheet, lesson.rights or (() if sheet.status else printed.rights)),
        )

    @property
    def level(self) -> str:
        return self.lesson.level

    @property
    def hand_taste(self) -> HandTaste | None:
        """The taste for this instrument; None where the lesson names none, or it does not know the instrument."""
        return self.taste.hand(self.instrument.name) if self.taste is not None else None


def prepare(lesson: Lesson, folder: Path, *, like: Prepared | None = None) -> Prepared:
    """Read the lesson's tune and instrument, and turn its pins into those of the notes they name.

    `like`: what was prepared from the same folder a moment ago; its tune and instrument are used again where the
    settings they depend on are the same. Raises InputError with every fault of the lesson's pins and sections at once.
    """
    taste = lesson_taste(lesson, folder)
    if like is not None and like.taste == taste and _same(lesson, like.lesson, _HAND):
        instrument = like.instrument
    else:
        instrument = prepare_instrument(lesson, folder, taste=taste)
    tune_path = folder / lesson.tune_file
    if like is not None and like.tune_path == tune_path and _same(lesson, like.lesson, _WHICH_NOTES):
        tune = like.tune
    else:
        tune = read_tune(tune_path, part=lesson.part or None, voice=lesson.voice or None)
    part = tune.part
    faults: list[PartwrightError] = [*_section_faults(lesson, part)]
    pins: list[Pin] = []
    bow_pins: list[BowPin] = []
    if lesson.pins:
        from partwright.bowing import is_bow_pin, parse_bow_pin
    for entry in lesson.pins:
        where = Place(file=str(folder / LESSON_FILE) if entry.origin == "lesson" else "--pin", line=entry.line)
        try:
            if is_bow_pin(entry.text):
                bow_pins.append(parse_bow_pin(entry.text, part, origin=entry.origin))
            else:
                pins.append(parse_pin(entry.text, part, instrument, origin=entry.origin))
        except InputError as fault:
            faults.append(fault.at(where))
    raise_faults(faults, str(folder / LESSON_FILE) if (folder / LESSON_FILE).is_file() else tune_path.name)
    remarks = list(part.remarks)
    if taste is not None:
        remarks += _taste_remarks(lesson, folder, instrument, taste)
    if lesson.source_marks == "keep":
        source_pins, source_remarks = pins_from_source(part, instrument)
        pins[:0] = source_pins
        remarks += source_remarks
    return Prepared(
        lesson=lesson,
        tune_path=tune_path,
        tune=tune,
        instrument=instrument,
        pins=tuple(pins),
        remarks=tuple(remarks),
        bow_pins=tuple(bow_pins),
        taste=taste,
    )


def lesson_taste(lesson: Lesson, folder: Path) -> Taste | None:
    """The taste the lesson names; None where it names none. Raises InputError where it cannot be read."""
    if not lesson.taste:
        return None
    from partwright.fingering import read_taste

    return read_taste(folder / lesson.taste)


def _taste_remarks(lesson: Lesson, folder: Path, instrument: Instrument, taste: Taste) -> tuple[str, ...]:
    from partwright.fingering import table_mark

    hand = taste.hand(instrument.name)
    if hand is None:
        return (f"the taste in {lesson.taste} says nothing of the {instrument.name}; the usual costs are used.",)
    if hand.table and hand.table != table_mark(prepare_instrument(lesson, folder)):
        return (
            f"the taste in {lesson.taste} was learned beside other costs than today's; learn it again when you can.",
        )
    return ()


_WHICH_NOTES = ("tune_file", "part", "voice")
_HAND = ("instrument", "size", "level", "string_length_mm", "tuning", "school", "levels_file")


def _same(one: Lesson, two: Lesson, fields: Iterable[str]) -> bool:
    return all(getattr(one, name) == getattr(two, name) for name in fields)


def prepare_instrument(lesson: Lesson, folder: Path, *, taste: Taste | None = None) -> Instrument:
    """The lesson's instrument: the player's own size, string length, tuning, school and levels, and this taste."""
    own_table = lesson.instrument.casefold().endswith(".toml")

    def load(tuning_midi: tuple[int, ...] | None) -> Instrument:
        settings = {
            "size": lesson.size or None,
            "string_length_mm": lesson.string_length_mm,
            "tuning_midi": tuning_midi,
            "school": lesson.school or None,
            "levels_file": folder / lesson.levels_file if lesson.levels_file else None,
        }
        if own_table:
            return load_instrument_file(folder / lesson.instrument, **settings)  # type: ignore[arg-type]
        return load_instrument(lesson.instrument, **settings)  # type: ignore[arg-type]

    instrument = load(None)
    if lesson.tuning:
        instrument = load(parse_tuning(lesson.tuning, instrument))
    if lesson.level not in instrument.levels:
        todo = nearest_sentence(lesson.level, instrument.levels)
        raise InputError(f'the {instrument.name} has no level "{lesson.level}"', todo)
    if taste is None:
        return instrument
    from partwright.fingering import with_taste

    try:
        return with_taste(instrument, taste)
    except InputError as error:
        raise error.at(Place(file=str(folder / lesson.taste))) from error


def refuse_out_of_range(job: Prepared, plan: FingeringPlan) -> None:
    """NoPlan where a note of the tune lies below the lowest string: a page with holes helps nobody.

    A chord that no hand can reach is another matter: the plan lists it, and the rest is fingered.
    """
    lowest = job.instrument.strings[0]
    below = [note for note in job.part.notes if note.midi < lowest.midi and note.id not in plan.by_id]
    if not below:
        return
    first, more = below[0], len(below) - 1
    others = f", and so do {more} more notes" if more > 1 else ", and so does one more note" if more else ""
    raise NoPlan(
        f"{first.pitch.name} lies below the {job.instrument.name}'s lowest string, {lowest.letter}{others}",
        "Choose another octave, instrument or tuning.",
        place=Place(file=str(job.tune_path), bar=first.bar, beat=beat_text(first.beat)),
    )


def _section_faults(lesson: Lesson, part: Part) -> Iterable[LessonError]:
    numbers = [bar.number for bar in part.bars]
    for section in lesson.sections:
        place = Place(file=LESSON_FILE, line=section.line)
        missing = [bar for bar in (section.first_bar, section.last_bar) if bar not in numbers]
        if missing:
            yield LessonError(
                f'section "{section.name}" names bar {missing[0]}',
                f"The tune has bars {numbers[0]} to {numbers[-1]}.",
                place=place,
            )
        elif numbers.index(section.first_bar) > numbers.index(section.last_bar):
            yield LessonError(
                f'section "{section.name}" ends (bar {section.last_bar}) before it begins (bar {section.first_bar})',
                "Exchange the two.",
                place=place,
            )
