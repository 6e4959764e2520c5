"""The narration check: what was said in a recording against the score and its plan.

>>> from partwright.checking.narration import parse_transcript
>>> parse_transcript(b"[0:05] the D is first finger").cues[0].start_s
5.0
"""

from partwright.checking.narration.document import narration_document
from partwright.checking.narration.narration import (
    NarrationCheck,
    NarrationFinding,
    check_narration,
    coverage_findings,
)
from partwright.checking.narration.products import (
    CorrectionCard,
    cards_document,
    corrected_captions,
    correction_cards,
    say_instead,
)
from partwright.checking.narration.read_transcript import parse_transcript, read_transcript
from partwright.checking.narration.review import Decision, PinOffer, decided, finding_key, pin_offer
from partwright.checking.narration.review_io import apply_pins, keep_said, read_review
from partwright.checking.narration.review_page import review_page
from partwright.checking.narration.transcript import Cue, Transcript, TranscriptFault

__all__ = [
    "CorrectionCard",
    "Cue",
    "Decision",
    "NarrationCheck",
    "NarrationFinding",
    "PinOffer",
    "Transcript",
    "TranscriptFault",
    "apply_pins",
    "cards_document",
    "check_narration",
    "corrected_captions",
    "correction_cards",
    "coverage_findings",
    "decided",
    "finding_key",
    "keep_said",
    "narration_document",
    "parse_transcript",
    "pin_offer",
    "read_review",
    "read_transcript",
    "review_page",
    "say_instead",
]
