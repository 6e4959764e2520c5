"""The narration check: a transcript against a score and its plan.

Words, then claims, then places, then verdicts; each step is a pure function in a module of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from partwright.bowing import BowingPlan
from partwright.checking.finding import Finding
from partwright.checking.narration.asides import find_asides
from partwright.checking.narration.comebacks import check_comebacks
from partwright.checking.narration.coverage import contradictions, taught_bars, untaught_stretches
from partwright.checking.narration.follow import Following, follow
from partwright.checking.narration.habits import tied_by_habit
from partwright.checking.narration.judge import judge
from partwright.checking.narration.judged import Judged
from partwright.checking.narration.language import load_language
from partwright.checking.narration.likeness import StructureFinding
from partwright.checking.narration.mentions import Mention, Spoken
from partwright.checking.narration.parse import parse_words
from partwright.checking.narration.places import Place, Section, find_places
from partwright.checking.narration.returns import bar_contents
from partwright.checking.narration.structure import check_structure
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.transcript import Transcript
from partwright.checking.narration.truth import Truth
from partwright.checking.narration.words import Word, spoken_words, trusts_capitals
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.lesson import Section as LessonSection
from partwright.lesson import make_outline, suggest_sections
from partwright.score import Part, beat_text

__all__ = ["NarrationCheck", "NarrationFinding", "check_narration", "coverage_findings"]

_MOST_BARS_TAKEN_APART = 300  # longer tunes are cut only where the page shows it: finding more takes too long
_FIT_LEAST_NOTES = 12
_FIT_GAIN = 1.0
_FIT_RIGHT = 0.75
_ENGLISH_WORDS = 40
_ENGLISH_LEAST = 0.12
_COMMON = frozenset(
    [
        "the",
        "a",
        "and",
        "to",
        "of",
        "is",
        "it",
        "in",
        "that",
        "you",
        "on",
        "with",
        "we",
        "for",
        "this",
        "so",
        "then",
        "now",
        "it's",
        "here",
        "be",
        "have",
        "your",
        "first",
        "second",
        "i",
        "not",
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NarrationFinding:
    """A finding with the words that led to it: indices into the words, -1 for none; `place` into the places."""

    finding: Finding
    first_word: int = -1
    last_word: int = -1
    place: int = -1
    claimed: str = ""


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
    structure: tuple[StructureFinding, ...]
    misfit: str = ""  # why the transcript does not seem to be about this score; empty where it does

    @property
    def mentions(self) -> tuple[Mention, ...]:
        return self.spoken.mentions

    def words_between(self, first: int, last: int) -> str:
        """The transcript's own words, as they stand."""
        pieces: list[str] = []
        seen: tuple[int, int] | None = None
        for word in self.words[max(0, first) : last + 1]:
            if (word.cue, word.begin) != seen:
                pieces.append(word.text)
            seen = (word.cue, word.begin)
        return " ".join(pieces)

    @cached_property
    def located(self) -> tuple[NarrationFinding, ...]:
        """All findings on what was said, in the order in which it was said."""
        if self.misfit:
            first = self.words[0].start_s if self.words else None
            finding = Finding(
                kind="score", verdict="check", what="this does not seem to be about this score", why=self.misfit,
                time_s=first, manner="said", observed=self.words_between(0, 11), confidence=0.9,
            )  # fmt: skip
            return (NarrationFinding(finding=finding),)
        found = [self._of_claim(item) for item in self.judged if item.verdict in ("wrong", "check")]
        found += [self._of_structure(item) for item in self.structure if item.verdict in ("wrong", "check")]
        found += [self._of_contradiction(one, two) for one, two in contradictions(self.judged, self.places)]
        found += self._ambiguous_strings()
        return tuple(sorted(found, key=lambda f: f.first_word))

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(located.finding for located in self.located)

    def _of_claim(self, item: Judged) -> NarrationFinding:
        mention = self.mentions[item.mention]
        first = min(item.first_word, mention.first_word) if item.kind not in ("note", "order") else item.first_word
        last = max(item.last_word, _name_end(mention)) if item.kind not in ("note", "order") else item.last_word
        if last - first > 24:
            first, last = item.first_word, item.last_word
        note = self.places[item.place].attacks[item.attack].notes[0]
        why = item.why or ("the plan has another" if item.against == "plan" else "the score has another")
        finding = Finding(
            kind=item.kind, verdict=item.verdict, what=f"said {item.claimed}; {_has(item.against)} {item.right}",  # type: ignore[arg-type]
            why=why, bar=note.bar, beat=beat_text(note.beat), time_s=self._time(item.first_word), manner="said",
            observed=self.words_between(first, last), right=item.right, against=item.against,
            confidence=round(min(0.99, item.confidence), 3),
        )  # fmt: skip
        return NarrationFinding(
            finding=finding,
            first_word=item.first_word,
            last_word=item.last_word,
            place=item.place,
            claimed=item.claimed,
        )

    def _of_structure(self, item: StructureFinding) -> NarrationFinding:
        bar = self.part.bars[item.bar_index]
        has = "" if item.kind == "structure" else "the score has "
        finding = Finding(
            kind=item.kind, verdict=item.verdict, what=f"said {item.claimed}; {has}{item.right}", why=item.why,
            bar=bar.number, beat="1", time_s=self._time(item.first_word), manner="said",
            observed=self.words_between(item.first_word, item.last_word), right=item.right, confidence=item.confidence,
        )  # fmt: skip
        return NarrationFinding(
            finding=finding, first_word=item.first_word, last_word=item.last_word, claimed=item.claimed
        )

    def _of_contradiction(self, one: Judged, two: Judged) -> NarrationFinding:
        note = self.places[two.place].first
        when = self._time(one.first_word)
        earlier = f"at {_clock(when)} " if when is not None else "earlier "
        finding = Finding(
            kind="contradiction", verdict="check", what=f"said {two.claimed}; {earlier}it was {one.claimed}",
            why="neither the score nor the plan tells which", bar=note.bar, beat=beat_text(note.beat),
            time_s=self._time(two.first_word), manner="said",
            observed=self.words_between(two.first_word, two.last_word), confidence=0.7,
        )  # fmt: skip
        return NarrationFinding(finding=finding, first_word=two.first_word, last_word=two.last_word, place=two.place)

    def _ambiguous_strings(self) -> list[NarrationFinding]:
        """Strings named by number: one finding for the whole transcript, as two players count them differently."""
        for k, mention in enumerate(self.mentions):
            for claim in mention.claims:
                if claim.kind == "string" and claim.value[0] == "number":
                    judged = next((j for j in self.judged if j.mention == k and j.kind == "string"), None)
                    if judged is None or judged.place < 0 or judged.verdict != "right":
                        continue
                    note = self.places[judged.place].first
                    letters = [s.letter for s in self.instrument.strings]
                    number = int(claim.value[1])
                    if not 1 <= number <= len(letters) or letters[number - 1] == letters[-number]:
                        continue
                    finding = Finding(
                        kind="string", verdict="check",
                        what=f"{judged.claimed} is {letters[-number]} to some and {letters[number - 1]} to others",
                        why="say the string's letter", bar=note.bar, beat=beat_text(note.beat),
                        time_s=self._time(claim.first_word), manner="said",
                        observed=self.words_between(claim.first_word, claim.last_word), confidence=0.6, against="plan",
                    )  # fmt: skip
                    return [
                        NarrationFinding(
                            finding=finding, first_word=claim.first_word, last_word=claim.last_word, place=judged.place
                        )
                    ]
        return []

    def _time(self, word: int) -> float | None:
        return self.words[word].start_s if 0 <= word < len(self.words) else None


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
    stretches = _stretches(part, sections)
    places = find_places(part, plan, bowing, stretches)
    truth = Truth(part, places, instrument)
    words = spoken_words(transcript)
    language = load_language()
    spoken = parse_words(words, language)
    following = follow(spoken.mentions, truth, stretches)
    clean = trusts_capitals(words)
    if not clean:  # where there are full stops, they tell what belongs together
        spoken = replace(spoken, mentions=tied_by_habit(spoken.mentions, following.likeliest, truth, words))
        following = follow(spoken.mentions, truth, stretches)
    telling = Telling(
        spoken=spoken, following=following, truth=truth, words=words, language=language, sections=stretches, clean=clean
    )
    judged = judge(telling, asides=find_asides(words, language))
    contents = bar_contents(part)
    structure = check_structure(spoken.structure, spoken.bar_statements, part, contents, stretches, words)
    structure = tuple(sorted([*structure, *check_comebacks(telling, contents)], key=lambda item: item.first_word))
    return NarrationCheck(
        transcript=transcript, part=part, instrument=instrument, words=words, spoken=spoken, places=places,
        sections=stretches, following=following, judged=judged, structure=structure,
        misfit=_misfit(words, spoken, following, judged),
    )  # fmt: skip


def _stretches(part: Part, sections: Sequence[LessonSection]) -> tuple[Section, ...]:
    """The sections a speaker may name: the teacher's, or those `partwright sections` shows."""
    if not sections and len(part.bars) <= _MOST_BARS_TAKEN_APART:
        outline = make_outline(part)
        return tuple(Section(name=s.name, first_bar_index=s.first, last_bar_index=s.last) for s in outline.sections)
    index_of = {bar.number: bar.index for bar in reversed(part.bars)}
    last_of = {bar.number: bar.index for bar in part.bars}
    found = [
        Section(name=s.name, first_bar_index=index_of[s.first_bar], last_bar_index=last_of[s.last_bar])
        for s in sections or suggest_sections(part)
        if s.first_bar in index_of and s.last_bar in last_of
    ]
    if found and all(bar.pickup for bar in part.bars[: found[0].first_bar_index]):
        found[0] = replace(found[0], first_bar_index=0)
    return tuple(found)


def coverage_findings(checks: Iterable[NarrationCheck]) -> tuple[Finding, ...]:
    """Bars of which no transcript of the lesson speaks; bars said to be like taught ones count as taught."""
    listed = tuple(check for check in checks if not check.misfit)
    if not listed or not any(check.mentions for check in listed):
        return ()
    part, places = listed[0].part, listed[0].places
    taught = set(taught_bars(places, [check.following for check in listed]))
    for check in listed:
        for item in check.structure:
            if item.verdict == "right" and item.likened is not None:
                taught |= set(range(item.likened[0], item.likened[1] + 1))
    found = []
    for first, last in untaught_stretches(part, frozenset(taught)):
        one, two = part.bars[first], part.bars[last]
        found.append(
            Finding(
                kind="coverage", verdict="check", what=f"bars {one.number} to {two.number} are never spoken of",
                why="no note in them is named", bar=one.number, beat="1", confidence=0.8,
            )
        )  # fmt: skip
    return tuple(found)


def _misfit(words: Sequence[Word], spoken: Spoken, following: Following, judged: Sequence[Judged]) -> str:
    """Why this transcript is not about this score, or "": another language, or another tune."""
    if len(words) >= _ENGLISH_WORDS:
        common = sum(word.form in _COMMON for word in words) / len(words)
        if common < _ENGLISH_LEAST and len(spoken.mentions) < 0.2 * len(words):
            return f"only {common:.0%} of its words are common English ones; the check understands English only"
    notes = [j for j in judged if j.kind == "note"]
    if len(notes) < _FIT_LEAST_NOTES:
        return ""
    right = sum(j.verdict == "right" for j in notes)
    if following.gain < _FIT_GAIN and right < _FIT_RIGHT * len(notes):
        return f"of {len(notes)} notes named only {right} are where a speaker going through this score would name them"
    return ""


def _name_end(mention: Mention) -> int:
    return mention.last_word


def _has(against: str) -> str:
    return "the plan has" if against == "plan" else "the score has"


def _clock(seconds: float) -> str:
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02}"
