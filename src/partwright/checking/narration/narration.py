"""The narration check: a transcript against a score and its plan.

Words, then claims, then places, then verdicts; each step is a pure function in a module of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from partwright.bowing import BowingPlan
from partwright.checking.narration.follow import Following, follow
from partwright.checking.narration.judge import Judged, judge
from partwright.checking.narration.language import load_language
from partwright.checking.narration.mentions import Mention, Spoken
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.places import Place, Section, find_places
from partwright.checking.narration.transcript import Transcript
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import Word, spoken_words, trusts_capitals
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.lesson import Section as LessonSection
from partwright.lesson import make_outline
from partwright.score import Part

__all__ = ["NarrationCheck", "check_narration"]


@dataclass(frozen=True, kw_only=True)
class NarrationCheck:
    """What came of one transcript. Indices in `judged` count `spoken.mentions`, `places` and `words`."""

    transcript: Transcript
    part: Part
    instrument: Instrument
    words: tuple[Word, ...]
    spoken: Spoken
    places: tuple[Place, ...]
    sections: tuple[Section, ...]
    following: Following
    judged: tuple[Judged, ...]
    fits: bool

    @cached_property
    def mentions(self) -> tuple[Mention, ...]:
        return self.spoken.mentions


def check_narration(
    transcript: Transcript,
    part: Part,
    instrument: Instrument,
    *,
    plan: FingeringPlan | None = None,
    bowing: BowingPlan | None = None,
    sections: Sequence[LessonSection] = (),
) -> NarrationCheck:
    """Every claim of the transcript judged against score and plan. Pure; raises nothing for what is said."""
    outline = make_outline(part, sections=sections)
    stretches = tuple(Section(name=s.name, first_bar_index=s.first, last_bar_index=s.last) for s in outline.sections)
    places = find_places(part, plan, bowing, stretches)
    truth = Truth(part, places, instrument)
    words = spoken_words(transcript)
    spoken = parse_words(words, load_language())
    following = follow(spoken.mentions, truth, stretches)
    clean = trusts_capitals(words)
    judged = judge(spoken.mentions, following, truth, words, clean=clean)
    return NarrationCheck(
        transcript=transcript, part=part, instrument=instrument, words=words, spoken=spoken, places=places,
        sections=stretches, following=following, judged=judged, fits=True,
    )  # fmt: skip
