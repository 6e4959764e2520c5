"""A finding: what is wrong, or may be, where, and why. A result, never an exception.

*wrong* is said only where the evidence is strong; *check* where it is not. `confidence` runs from 0 to 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "Verdict", "finding_document", "findings_document"]

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
