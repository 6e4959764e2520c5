"""A finding: what is wrong, or may be, where, and why. A result, never an exception.

*wrong* is said only where the evidence is strong; *check* where it is not. `confidence` runs from 0 to 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "Verdict", "finding_document", "finding_lines", "findings_document", "findings_text"]

Verdict = Literal["wrong", "check", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding. `observed` is what was said, played or found; `right` what it should be, where that is known."""

    kind: str
    verdict: Verdict
    what: str
    why: str = ""
    bar: str = ""
    beat: str = ""
    time_s: float | None = None
    manner: Literal["said", "played", "found"] = "found"
    observed: str = ""
    right: str = ""
    against: Literal["score", "plan"] = "score"
    confidence: float = 1.0

    @property
    def place(self) -> str:
        """Bar and beat as printed, or "the whole"."""
        if not self.bar:
            return "the whole"
        return f"bar {self.bar}, beat {self.beat}" if self.beat else f"bar {self.bar}"


def finding_document(finding: Finding) -> dict[str, object]:
    """The finding with the fields others may lean on; what is not known is null."""
    return {
        "kind": finding.kind,
        "time_s": None if finding.time_s is None else round(finding.time_s, 3),
        "bar": finding.bar or None,
        "beat": finding.beat or None,
        finding.manner: finding.observed or finding.what,
        "right": finding.right or None,
        "verdict": finding.verdict,
        "against": finding.against,
        "confidence": finding.confidence,
        "what": finding.what,
        "why": finding.why,
    }


def findings_document(findings: Iterable[Finding]) -> dict[str, object]:
    """All findings and their sum."""
    listed = tuple(findings)
    return {
        "findings": [finding_document(finding) for finding in listed],
        "summary": {verdict: sum(f.verdict == verdict for f in listed) for verdict in ("wrong", "check")},
    }


_MARKS = {"wrong": "✗", "check": "?", "right": "✓"}


def finding_lines(rows: Iterable[tuple[Verdict, str, str, str]]) -> tuple[tuple[str, str], ...]:
    """Findings as text, the same columns everywhere: mark and word, then place, what and why.

    Each row is (verdict, place, what, why); each result is (mark and word, the rest of the line).

    >>> finding_lines([("wrong", "bar 12, beat 3", "the bar is overfull", "5 quarters in 4/4")])
    (('✗ wrong', 'bar 12, beat 3  the bar is overfull; 5 quarters in 4/4'),)
    """
    listed = tuple(rows)
    width = max((len(place) for _, place, _, _ in listed), default=0)
    return tuple(
        (f"{_MARKS[verdict]} {verdict}", f"{place:<{width}}  {what}{f'; {why}' if why else ''}")
        for verdict, place, what, why in listed
    )


def findings_text(findings: Iterable[Finding]) -> str:
    """All findings, one a line, and their sum."""
    listed = tuple(findings)
    rows = ((f.verdict, f.place, f.what, f.why) for f in listed)
    lines = [f"{mark}  {rest}" for mark, rest in finding_lines(rows)]
    wrong = sum(finding.verdict == "wrong" for finding in listed)
    lines.append(f"{wrong} wrong, {len(listed) - wrong} to check." if listed else "✓ right  nothing found.")
    return "\n".join(lines)
