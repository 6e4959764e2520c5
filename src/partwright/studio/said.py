"""One sentence of the script, checked against score and plan while it is written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from partwright.checking.narration import NarrationCheck, check_narration, parse_transcript
from partwright.errors import InputError
from partwright.lesson import Section
from partwright.score import beat_text
from partwright.studio.plan_state import PlanState

__all__ = ["said_findings"]

_MOST_KNOWN = 1000


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
    check = check_narration(
        transcript, state.part, state.job.instrument, plan=state.plan, bowing=state.bowing, sections=sections
    )
    return {"findings": _findings(state, check, len(before)), "claims": _claims(check, len(before))}


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
                "verdict": finding.verdict,
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
