"""Findings: what is wrong, or may be, in a score; later in what was said and played.

>>> from partwright.checking import Finding
>>> Finding(kind="tie", verdict="wrong", what="the tie leads nowhere", bar="12", beat="3").place
'bar 12, beat 3'
"""

from partwright.checking.finding import (
    Finding,
    Verdict,
    finding_document,
    finding_lines,
    findings_document,
    findings_text,
)
from partwright.checking.marked import marked_image
from partwright.checking.score_check import check_score
from partwright.checking.versions_check import check_together

__all__ = [
    "Finding",
    "Verdict",
    "check_score",
    "check_together",
    "finding_document",
    "finding_lines",
    "findings_document",
    "findings_text",
    "marked_image",
]
