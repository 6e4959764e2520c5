"""One sentence of the script, checked against score and plan while it is written."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from partwright.checking.narration import NarrationCheck, check_narration, parse_transcript
from partwright.checking.narration.judged import Judged
from partwright.errors import InputError
from partwright.lesson import Section
from partwright.score import Part, beat_text
from partwright.studio.plan_state import PlanState

__all__ = ["said_findings"]

_MOST_KNOWN = 1000

_BARS = re.compile(r"\b[Bb]ars?\s+\d+(?:(?:\s*(?:to|and|–|-|,)\s*)+\d+)*")


def said_findings(state: PlanState, text: str, bars: Sequence[str]) -> dict[str, Any]:
    """What is wrong with a sentence about these bars (none: about no place in particular), and what it claims."""
    key = (" ".join(text.split()), tuple(bars))
    if key not in state.said:
        if len(state.said) > _MOST_KNOWN:
            state.said.clear()
        state.said[key] = _checked(state, *key)
    return state.said[key]


def _checked(state: PlanState, text: str, bars: tuple[str, ...]) -> dict[str, Any]:
    before = f"We are in bar {bars[0]}. " if bars and bars[0] in {bar.number for bar in state.part.bars} else ""
    if not any(c.isalnum() for c in text):
        return {"findings": [], "claims": []}
    try:
        transcript = parse_transcript(f"{before}{text}\n".encode(), file="sentence")
    except InputError:
        return {"findings": [], "claims": []}
    sections = tuple(Section(name=s.name, first_bar=s.first_bar, last_bar=s.last_bar) for s in state.outline.sections)
    part = state.part if _speaks_beyond(text, bars) else _only(state.part, bars)
    check = check_narration(
        transcript, part, state.job.instrument, plan=state.plan, bowing=state.bowing, sections=sections
    )
    if part is not state.part:
        check = replace(check, judged=_taken_at_their_word(check))
    return {"findings": _findings(state, check, len(before)), "claims": _claims(check, len(before))}


def _taken_at_their_word(check: NarrationCheck) -> tuple[Judged, ...]:
    """Claims as written, not as heard: a finger or string a listener would let pass as misheard is wrong in a script.

    Only where its note is named with it and stands there; a comparison with an open string is no claim about the note.
    """
    named = {
        item.mention for item in check.judged
        if item.kind == "note" and item.verdict == "right" and (not item.evidence or item.right == item.claimed)
    }  # fmt: skip
    compared = {item.mention for item in check.judged if item.claimed == "open string" and item.evidence}
    return tuple(
        replace(item, verdict="wrong", confidence=0.95, why="")
        if item.evidence and item.right and item.kind in ("finger", "string") and item.mention in named - compared
        else item
        for item in check.judged
    )


def _only(part: Part, bars: Sequence[str]) -> Part:
    """The part with the notes of these bars alone: what a sentence of the script is about is known, not looked for."""
    at = [bar.index for bar in part.bars if bar.number in bars]
    notes = tuple(note for note in part.notes if at and at[0] <= note.bar_index <= at[-1])
    return replace(part, notes=notes) if notes else part


def _speaks_beyond(text: str, bars: Sequence[str]) -> bool:
    """Whether a sentence names a bar outside those it is about."""
    named = {number for found in _BARS.finditer(text) for number in re.findall(r"\d+", found[0])}
    numbers = [int(bar) for bar in bars if bar.isdecimal()]
    return any(not numbers or not min(numbers) <= int(number) <= max(numbers) for number in named)


def _findings(state: PlanState, check: NarrationCheck, skipped: int) -> list[dict[str, Any]]:
    found = []
    if check.misfit:
        return []
    for item in check.located:
        finding = item.finding
        if item.first_word < 0 or check.words[item.first_word].begin < skipped:
            continue
        note = next(
            (
                n for n in state.part.notes
                if n.bar == finding.bar and beat_text(n.beat) == finding.beat and not n.grace
            ),
            None,
        )  # fmt: skip
        found.append(
            {
                # A harmonic is also a landmark to find a place by: never called wrong for it.
                "verdict": "check" if finding.kind == "harmonic" else finding.verdict,
                "kind": finding.kind,
                "bar": finding.bar or None,
                "beat": finding.beat or None,
                "n": None if note is None else note.index,
                "what": finding.what,
                "said": finding.observed,
                "right": finding.right or None,
                "why": finding.why,
                "first_char": check.words[item.first_word].begin - skipped,
                "last_char": check.words[max(item.first_word, item.last_word)].end - skipped,
            }
        )
    return found


def _claims(check: NarrationCheck, skipped: int) -> list[dict[str, Any]]:
    return [
        {"words": item.claimed, "kind": item.kind, "verdict": item.verdict}
        for item in check.judged
        if check.words[item.first_word].begin >= skipped
    ]
