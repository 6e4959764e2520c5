"""What the teacher decides about each finding, and what follows from it.

A decision belongs to a finding by its key, a hash of what was said, where, and when; so it still belongs when the
check is run again. The four decisions: *accept* (the finding is right: correct it on screen), *right* (what was said
is right), *unsure*, *pin* (the plan shall follow what was said).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from partwright.checking.finding import Finding
from partwright.checking.narration.narration import NarrationCheck, NarrationFinding
from partwright.files import content_hash
from partwright.instrument import finger_text
from partwright.score import beat_text

__all__ = ["DECISIONS", "Decision", "PinOffer", "decided", "finding_key", "pin_offer"]

Decision = Literal["accept", "right", "unsure", "pin"]
DECISIONS: tuple[Decision, ...] = ("accept", "right", "unsure", "pin")


@dataclass(frozen=True, slots=True)
class PinOffer:
    """A pin that would make the plan follow what was said: "BAR:BEAT" and its value in lesson.toml."""

    place: str
    value: str


def finding_key(finding: Finding) -> str:
    """Twelve hex digits that name a finding for as long as the transcript says the same there."""
    when = "" if finding.time_s is None else f"{finding.time_s:.1f}"
    return content_hash(finding.kind, finding.bar, finding.beat, finding.what, when)[:12]


def pin_offer(check: NarrationCheck, located: NarrationFinding) -> tuple[PinOffer, ...]:
    """The pins to offer for a finding against the plan: a finger or a string, on every note of the place."""
    if located.finding.against != "plan" or located.place < 0:
        return ()
    judged = next(
        (
            j for j in check.judged
            if j.place == located.place and j.first_word == located.first_word and j.claimed == located.claimed
        ),
        None,
    )  # fmt: skip
    if judged is None:
        return ()
    claim = next(
        (
            c for c in check.mentions[judged.mention].claims
            if c.first_word == judged.first_word and c.kind in ("finger", "string")
        ),
        None,
    )  # fmt: skip
    if claim is None:
        return ()
    if claim.kind == "finger":
        value = finger_text(int(claim.value[0]))
    elif claim.value[0] == "letter":
        value = f"/{claim.value[1]}"
    else:
        return ()
    attacks = check.places[located.place].attacks
    if any(len(attack.notes) > 1 for attack in attacks):
        return ()
    return tuple(PinOffer(f"{attack.notes[0].bar}:{beat_text(attack.notes[0].beat)}", value) for attack in attacks)


def decided(located: tuple[NarrationFinding, ...], decisions: Mapping[str, Decision]) -> tuple[NarrationFinding, ...]:
    """The findings that are left once the decisions are taken: settled ones go, unsure ones become *check*."""
    left: list[NarrationFinding] = []
    for item in located:
        decision = decisions.get(finding_key(item.finding))
        if decision in ("right", "pin"):
            continue
        if decision == "unsure":
            item = replace(item, finding=replace(item.finding, verdict="check", why="you were not sure yourself"))
        left.append(item)
    return tuple(left)
