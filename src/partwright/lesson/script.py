"""The words to say: one sentence after the other, each with its bars and with what it claims as data.

Sentences are filled from templates (`data/script_en.toml`) with the words of `saying`, out of the score and the plan
alone, so they are true when they are made; each carries its claims, so that a reader of the sentence can be checked
against them. Units: seconds, at the teacher's own rate of speaking.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from partwright.lesson.teaching import Teaching

__all__ = ["Claim", "Sentence", "make_script", "script_document", "spoken_seconds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One thing a sentence says. `kind` is note, bow, section, phrase, likeness, difference, landmark, tempo or spot;
    `values` holds what is said of it in the words of the JSON contract."""

    kind: str
    note_ids: tuple[str, ...] = ()
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """One sentence to say, of one step (0: before the first). `bars` as printed; empty where it is about none."""

    number: int
    episode: int
    step: int
    template: str
    text: str
    bars: tuple[str, str] | tuple[()] = ()
    claims: tuple[Claim, ...] = ()
    heading: str = ""  # stands before the sentence, where a new part of the script begins


def spoken_seconds(text: str, words_per_minute: float) -> float:
    """How long a sentence takes to say.

    >>> spoken_seconds("one two three", 60)
    3.0
    """
    return len(text.split()) * 60.0 / words_per_minute


def make_script(teaching: Teaching, *, language: str = "en") -> tuple[Sentence, ...]:
    """The whole script, all episodes in order."""
    from partwright.lesson.script_writer import ScriptWriter

    writer = ScriptWriter(teaching, language)
    for episode in teaching.episodes:
        writer.open_episode(episode.number)
        for number in episode.steps:
            writer.step(teaching.steps[number - 1])
        writer.close_episode(episode.number)
    return tuple(writer.sentences)


def script_document(teaching: Teaching, sentences: Sequence[Sentence]) -> dict[str, object]:
    """The cue list: `{"episodes": [...], "cues": [...], "uncovered_bars": [...]}`; times in seconds from an episode's
    start, spoken only."""
    wpm = teaching.lesson.speaking_wpm
    at: dict[int, float] = {}
    cues = []
    for sentence in sentences:
        start = at.get(sentence.episode, 0.0)
        lasts = spoken_seconds(sentence.text, wpm)
        at[sentence.episode] = start + lasts
        cues.append(
            {
                "cue": sentence.number,
                "episode": sentence.episode,
                "step": sentence.step,
                "text": sentence.text,
                "bars": list(sentence.bars),
                "start_s": round(start, 2),
                "end_s": round(start + lasts, 2),
                "claims": [{"kind": c.kind, "ids": list(c.note_ids), **c.values} for c in sentence.claims],
            }
        )
    return {
        "language": "en",
        "words_per_minute": wpm,
        "episodes": [
            {
                "number": e.number,
                "title": e.title,
                "sections": list(e.sections),
                "spoken_s": round(at.get(e.number, 0.0), 1),
                "practice_s": e.seconds,
            }
            for e in teaching.episodes
        ],
        "uncovered_bars": list(teaching.uncovered),
        "steps": [
            {
                "step": s.number,
                "episode": s.episode,
                "kind": s.kind,
                "section": s.section,
                "bars": [teaching.part.bars[s.first].number, teaching.part.bars[s.last].number],
                "percent": s.percent,
                "times": s.times,
                "seconds": s.seconds,
                "adds": s.adds,
            }
            for s in teaching.steps
        ],
        "cues": cues,
    }
