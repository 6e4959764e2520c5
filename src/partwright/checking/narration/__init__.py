"""The narration check: what was said in a recording against the score and its plan.

>>> from partwright.checking.narration import parse_transcript
>>> parse_transcript(b"[0:05] the D is first finger").cues[0].start_s
5.0
"""

from partwright.checking.narration.narration import (
    NarrationCheck,
    NarrationFinding,
    check_narration,
    coverage_findings,
)
from partwright.checking.narration.read_transcript import parse_transcript, read_transcript
from partwright.checking.narration.transcript import Cue, Transcript, TranscriptFault

__all__ = [
    "Cue",
    "NarrationCheck",
    "NarrationFinding",
    "Transcript",
    "TranscriptFault",
    "check_narration",
    "coverage_findings",
    "parse_transcript",
    "read_transcript",
]
