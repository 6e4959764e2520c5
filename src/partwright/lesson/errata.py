"""Errata: what is known to be wrong in what was released, where, what is right, when it was found and mended.

They live in the lesson's folder as `errata.toml`, one `[[errata]]` for each, so that they can be read, mended by hand
and carried with the folder. Dates are ISO 8601 calendar dates (2026-11-28). Reading and writing are in `errata_io`.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from partwright.errors import LessonError

__all__ = ["ERRATA_FILE", "ERRATUM_KINDS", "ERRATUM_STATES", "Erratum", "erratum_place", "erratum_words", "next_id"]

ERRATA_FILE = "errata.toml"

ERRATUM_KINDS = ("pitch", "rhythm", "finger", "string", "bow", "word", "sound", "other")
"""What is wrong: a note, its length, its finger, its string, its stroke, a word said or printed, a sound file."""

ERRATUM_STATES = ("draft", "confirmed", "fixed", "refused")
"""draft: proposed, to be decided. confirmed: told to buyers. fixed: mended in `fixed_in`. refused: no mistake."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Erratum:
    """One known mistake. `was` and `right` are as printed: "C3", "3/D", "down"; `words` say it to a reader.

    `bar` is the bar as printed, `beat` counts from 1 ("3", "2+1/2"); both may be empty where a mistake has no place in
    the music. `editions` are the numbers of the editions that have it; empty: those released before it was found.
    `where` is the product it stands in ("part", "video", "booklet", …); empty: wherever the place is shown.
    `reports` counts the viewers who told of it; nothing else about them is kept. `id` is empty until it is added.
    """

    kind: Literal["pitch", "rhythm", "finger", "string", "bow", "word", "sound", "other"]
    words: str
    bar: str = ""
    beat: str = ""
    was: str = ""
    right: str = ""
    where: str = ""
    why: str = ""
    state: Literal["draft", "confirmed", "fixed", "refused"] = "draft"
    origin: Literal["maker", "report"] = "maker"
    reports: int = 0
    editions: tuple[int, ...] = ()
    found: datetime.date | None = None
    fixed: datetime.date | None = None
    fixed_in: int | None = None
    time_s: float | None = None  # in the video or recording, where the mistake was heard or seen
    id: str = ""

    @property
    def open(self) -> bool:
        """Whether it is still to be decided or mended."""
        return self.state in ("draft", "confirmed")

    def same_mistake(self, other: Erratum) -> bool:
        """Whether the two tell of one mistake: the same thing wrong at the same place with the same remedy."""
        mine = (self.kind, self.bar, self.beat, self.right or self.words, self.where)
        return mine == (other.kind, other.bar, other.beat, other.right or other.words, other.where)

    def told_again(self, draft: Erratum) -> bool:
        """Whether the draft tells of this mistake where it stood, and not of its coming back after it was mended."""
        if self.fixed_in is None or draft.where == "video":
            return True
        return bool(draft.editions) and max(draft.editions) < self.fixed_in

    def affects(self, edition: int) -> bool:
        """Whether a holder of this edition has the mistake."""
        if self.state not in ("confirmed", "fixed"):
            return False
        if self.editions:
            return edition in self.editions
        return self.fixed_in is None or edition < self.fixed_in


def erratum_place(erratum: Erratum) -> str:
    """Where it is, as printed.

    >>> erratum_place(Erratum(kind="pitch", words="", bar="12", beat="3"))
    'bar 12, beat 3'
    """
    place = f"bar {erratum.bar}" if erratum.bar else ""
    if erratum.bar and erratum.beat:
        place += f", beat {erratum.beat}"
    if erratum.time_s is not None:
        minutes, seconds = divmod(int(erratum.time_s), 60)
        place += f"{' ' if place else ''}({minutes}:{seconds:02d})" if place else f"{minutes}:{seconds:02d}"
    return place or "the whole"


def erratum_words(erratum: Erratum) -> str:
    """The mistake in one sentence that begins with its place.

    >>> erratum_words(Erratum(kind="pitch", words="C sharp instead of C", bar="12", beat="3"))
    'Bar 12, beat 3: C sharp instead of C.'
    """
    place = erratum_place(erratum)
    text = erratum.words.strip().rstrip(".")
    return f"{place[:1].upper()}{place[1:]}: {text}." if place != "the whole" else f"{text[:1].upper()}{text[1:]}."


def next_id(errata: Sequence[Erratum]) -> str:
    """The next free id: "e1", "e2", …; a number that was ever used is not used again."""
    numbers = [int(e.id[1:]) for e in errata if e.id[:1] == "e" and e.id[1:].isdigit()]
    return f"e{max(numbers, default=0) + 1}"


def with_added(
    errata: Sequence[Erratum], draft: Erratum, *, today: datetime.date
) -> tuple[tuple[Erratum, ...], Erratum]:
    """The list with a draft added, and the erratum as it now stands in it.

    A mistake already listed is not listed twice: its reports are the larger of the two numbers, as the same file of
    comments may be read again. One that was mended in an edition and is back after it is a new one.
    """
    for index, known in enumerate(errata):
        if known.same_mistake(draft) and known.told_again(draft):
            told = replace(known, reports=max(known.reports, draft.reports))
            return (*errata[:index], told, *errata[index + 1 :]), told
    added = replace(draft, id=next_id(errata), found=draft.found or today)
    return (*errata, added), added


def with_changed(errata: Sequence[Erratum], erratum_id: str, **changes: object) -> tuple[tuple[Erratum, ...], Erratum]:
    """The list with one erratum changed, and that erratum. Raises LessonError for an id it does not hold."""
    for index, known in enumerate(errata):
        if known.id == erratum_id:
            changed = replace(known, **changes)  # type: ignore[arg-type]
            return (*errata[:index], changed, *errata[index + 1 :]), changed
    ids = ", ".join(e.id for e in errata) or "none yet"
    raise LessonError(f'there is no erratum "{erratum_id}"', f"Known are: {ids}.")
