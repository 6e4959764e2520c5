"""From lessons and fingered tunes to a learned taste, and the taste into lessons and out of them again.

One hand is learned for each instrument. What is learned from: the pins of a lesson, and the notes its teacher let
stand; of a tune with fingers printed in it, those fingers alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from partwright.errors import LessonError, PartwrightError, Place
from partwright.files import file_hash, write_atomic
from partwright.fingering import HandTaste, Pin, Planning, Taste, hand_taste, taste_lines, taste_text
from partwright.fingering import prepare as lay_out
from partwright.fingering.learning import (
    LET_STAND,
    Judged,
    Learned,
    Said,
    Standing,
    judge,
    learn_weights,
    read_standing,
    standing,
    standing_text,
)
from partwright.instrument import Instrument
from partwright.lesson.lesson import Lesson
from partwright.lesson.lock_io import folder_lock
from partwright.lesson.prepare_io import Prepared, prepare, prepare_instrument
from partwright.lesson.read_settings import read_lesson
from partwright.lesson.write_lesson import edit_settings
from partwright.score import beat_text

__all__ = [
    "TASTE_FILE",
    "HandLearned",
    "Source",
    "forget_taste",
    "hand_document",
    "hand_lines",
    "learn_hands",
    "read_source",
    "use_taste",
]

TASTE_FILE = "taste.toml"
_GOOD_START = 20  # corrections


@dataclass(frozen=True, kw_only=True)
class Source:
    """One lesson or tune to learn from: as it is planned now, and its instrument without any taste."""

    job: Prepared
    plain: Instrument


@dataclass(frozen=True, kw_only=True)
class HandLearned:
    """What came of one instrument: the new taste (None: the old one stays), and what was learned from."""

    instrument: str
    learned: Learned | None  # None: there was no decision, or none that the taste in force has not seen
    hand: HandTaste | None
    lessons: int
    nothing_new: bool = False

    @property
    def more_would_help(self) -> int:
        """About how many more corrections would help: up to a good start, then as many again."""
        known = self.learned.pins if self.learned is not None else 0
        return _GOOD_START - known if known < _GOOD_START else known


def read_source(lesson: Lesson, folder: Path) -> Source:
    """One lesson's tune, instrument and pins. Raises InputError for what is not as it should be."""
    return Source(job=prepare(lesson, folder), plain=prepare_instrument(replace(lesson, taste=""), folder))


def learn_hands(
    sources: Sequence[Source], *, let_stand: float = LET_STAND, seed: int = 0, said: Said | None = None
) -> tuple[HandLearned, ...]:
    """A taste for each instrument among the sources. `let_stand`: how much a note let stand counts beside a pin."""
    by_name: dict[str, list[Source]] = {}
    for source in sources:
        by_name.setdefault(source.plain.name, []).append(source)
    return tuple(_learn(name, found, let_stand, seed, said) for name, found in sorted(by_name.items()))


def _learn(name: str, sources: Sequence[Source], let_stand: float, seed: int, said: Said | None) -> HandLearned:
    judged: list[Judged] = []
    learned_from: dict[str, tuple[str, ...]] = {}
    stood: dict[str, str] = {}
    plannings: list[Planning] = []
    for source in sources:
        job = source.job
        if not job.pins:
            continue
        planning = _planned(job, plannings)
        plannings.append(planning)
        tune = file_hash(job.tune_path)[:12]
        places = {pin.note_id: _place_of(job, pin.note_id) for pin in job.pins}
        learned_from[tune] = tuple(dict.fromkeys((*learned_from.get(tune, ()), *places.values())))
        known = job.hand_taste.learned_from.get(tune) if job.hand_taste is not None else None
        seen = None if known is None else {note_id for note_id, place in places.items() if place in known}
        reviewed = any(pin.origin == "lesson" for pin in job.pins)
        stands = standing(planning) if reviewed else {}
        if reviewed and seen is not None and seen == places.keys():
            then = _stood(job, tune)
            if all(_as_pinned(then.get(pin.note_id), pin) for pin in job.pins):
                stands = then  # no pin is new: nobody has gone through what the taste has since made of the lesson
        if stands:
            stood[tune] = standing_text(stands, job.part, job.instrument)
        judged.append(judge(planning, reviewed=reviewed, let_stand=let_stand, seen=seen, stands=stands))
    decided = [lesson for lesson in judged if lesson.pinned]
    if not decided:
        return HandLearned(instrument=name, learned=None, hand=None, lessons=0)
    if not any(lesson.fresh for lesson in decided):
        return HandLearned(instrument=name, learned=None, hand=None, lessons=len(decided), nothing_new=True)
    plain = sources[0].plain
    learned = learn_weights(judged, plain, seed=seed, said=said)
    hand = None
    if learned.fitted is not None:
        hand = hand_taste(
            plain,
            [float(value) for value in learned.fitted.times],
            [float(value) for value in learned.fitted.added],
            decisions=learned.pins,
            corrections=learned.corrections,
            lessons=len(decided),
            learned_from=learned_from,
            let_stand=stood,
        )
    return HandLearned(instrument=name, learned=learned, hand=hand, lessons=len(decided))


def _stood(job: Prepared, tune: str) -> dict[str, Standing]:
    """How the lesson stood when the taste in force was learned from it; nothing where that is not known."""
    if job.hand_taste is None:
        return {}
    return read_standing(job.hand_taste.let_stand.get(tune, ""), job.part, job.instrument) or {}


def _as_pinned(stood: Standing | None, pin: Pin) -> bool:
    """Whether a note stood as this pin has it, as far as that is known."""
    if stood is None or pin.banned:
        return True
    return all(asked in (None, was) for asked, was in ((pin.finger, stood.finger), (pin.string, stood.string)))


def _planned(job: Prepared, before: Sequence[Planning]) -> Planning:
    """The plan as the teacher sees it now; what an earlier one knows of the same instrument and level is used again."""
    like = next((p for p in reversed(before) if p.instrument == job.instrument and p.level.name == job.level), None)
    try:
        return lay_out(job.part, job.instrument, level=job.level, pins=job.pins, like=like)
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error


def _place_of(job: Prepared, note_id: str) -> str:
    note = job.part.by_id[note_id]
    return f"{note.bar}:{beat_text(note.beat)}"


# In and out of lessons -----------------------------------------------------------------------------------------------


def use_taste(folder: Path, taste: Taste) -> None:
    """Put the taste into a lesson: taste.toml, named in lesson.toml. Its comments stay."""
    with folder_lock(folder):
        lesson = read_lesson(folder)
        name = lesson.taste or TASTE_FILE
        if (folder / name).resolve().parent != folder.resolve():
            name = TASTE_FILE  # a taste that lies elsewhere is not this lesson's to change
        write_atomic(folder / name, taste_text(taste))
        if lesson.taste != name:
            edit_settings(folder, "fingering", {"taste": name})


def forget_taste(folder: Path) -> bool:
    """Take the taste out of a lesson, so that the usual costs hold again. False where it had none."""
    with folder_lock(folder):
        lesson = read_lesson(folder)
        if not lesson.taste:
            return False
        edit_settings(folder, "fingering", {"taste": None})
        own = folder / TASTE_FILE
        if lesson.taste == TASTE_FILE:
            try:
                own.unlink(missing_ok=True)
            except OSError as error:
                raise LessonError(
                    "cannot be removed, but is no longer used", "Remove it yourself.", place=Place(file=str(own))
                ) from error
        return True


# In words ------------------------------------------------------------------------------------------------------------


def hand_lines(result: HandLearned) -> tuple[str, ...]:
    """What was learned on one instrument, and from how much."""
    learned, more = result.learned, result.more_would_help
    if learned is None:
        if result.nothing_new:
            return (f"{result.instrument}: nothing new since the taste was learned; it stays as it is.",)
        return (
            f"{result.instrument}: there are no pins and no printed fingers to learn from; about {more} corrections "
            f"are a good start.",
        )
    tried = learned.agreement
    confirmed = learned.pins - learned.corrections
    known = (
        f"{_count(learned.pins, 'decision')} in {_count(result.lessons, 'lesson')}: {learned.corrections} corrected "
        f"the plan, {confirmed} agreed with it; {_count(learned.stood, 'other note')} let stand"
    )
    held = f"Held back and tried on: {tried.pins_new} of {_count(tried.pins, 'decision')} as you want, "
    held += f"{tried.pins_old} before"
    if tried.stood:
        held += f"; of {_count(tried.stood, 'note')} let stand {tried.stood_new}, {tried.stood_old} before"
    if result.hand is None:
        return (
            f"{result.instrument}: the old taste stays. {known[0].upper()}{known[1:]}.",
            f"  {held}: not enough to change anything.",
            f"  About {_count(more, 'more correction')} would help.",
        )
    lines = taste_lines(result.hand)
    return (
        f"{result.instrument}: learned from {known}.",
        f"  {held}.",
        *(f"    {line}" for line in lines),
        *([] if lines else ["    nothing that differs visibly from the usual"]),
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def hand_document(result: HandLearned) -> dict[str, object]:
    """The same as plain values."""
    learned, hand = result.learned, result.hand
    tried = learned.agreement if learned is not None else None
    return {
        "instrument": result.instrument,
        "learned": hand is not None,
        "nothing_new": result.nothing_new,
        "lessons": result.lessons,
        "decisions": learned.pins if learned else 0,
        "corrections": learned.corrections if learned else 0,
        "let_stand": learned.stood if learned else 0,
        "held_back": {
            "decisions": tried.pins, "as_wanted": tried.pins_new, "as_wanted_before": tried.pins_old,
            "let_stand": tried.stood, "kept": tried.stood_new, "kept_before": tried.stood_old,
        } if tried else None,
        "rounds": learned.rounds if learned else 0,
        "comparisons": learned.comparisons if learned else 0,
        "more_would_help": 0 if hand is not None else result.more_would_help,
        "times": dict(hand.times) if hand else {},
        "added": dict(hand.added) if hand else {},
        "words": list(taste_lines(hand)) if hand else [],
    }  # fmt: skip
