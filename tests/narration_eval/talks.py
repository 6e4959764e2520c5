"""Free talks: teachers written by hands that had not seen the grammar, with slips planted and every other statement
checked against the plan by machine. What is told of them, and what is called wrong though it is right.

A *wrong* counts for a slip where it stands within `WITHIN_S` of it; one that stands near none is false. The folders
`hand_*` were used to mend the check, `kept_*` never.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from partwright.checking import Finding
from partwright.checking.narration import NarrationCheck, read_transcript
from partwright.cli.read_job import read_job
from partwright.cli.spoken import check_words

__all__ = ["Slip", "Talk", "check_talk", "outcome", "talks"]

FREE = Path(__file__).resolve().parents[1] / "narration_talks" / "free"
WITHIN_S = 5.0


@dataclass(frozen=True)
class Slip:
    """One planted mistake."""

    time_s: float
    bar: str
    beat: str
    kind: str
    said: str


@dataclass(frozen=True)
class Talk:
    """One talk over one tune, whose fingers are printed in the score."""

    hand: str
    transcript: Path
    score: Path
    instrument: str
    level: str
    slips: tuple[Slip, ...]

    @property
    def name(self) -> str:
        return f"{self.hand}/{self.transcript.stem}"

    @property
    def clear(self) -> bool:
        """Whether the captions have capitals and stops."""
        text = self.transcript.read_text(encoding="utf-8")
        return text.count(". ") + text.count(".\n") > 20


def talks(hands: str) -> Iterator[Talk]:
    """The talks of the hands whose names begin so: "hand" or "kept"."""
    for folder in sorted(FREE.glob(f"{hands}*")):
        for row in tomllib.loads((folder / "talks.toml").read_text(encoding="utf-8"))["talk"]:
            slips = tuple(Slip(_seconds(s["time"]), s["bar"], s["beat"], s["kind"], s["said"]) for s in row["slips"])
            yield Talk(
                folder.name, folder / row["transcript"], folder / row["score"], row["instrument"], row["level"], slips
            )


def check_talk(talk: Talk) -> NarrationCheck:
    job = read_job(str(talk.score), instrument=talk.instrument, level=talk.level)
    return check_words(job, read_transcript(talk.transcript))


def outcome(check: NarrationCheck, talk: Talk) -> tuple[list[Slip], list[Finding]]:
    """The slips that were told, and the findings that call wrong what is right."""
    left, false = list(talk.slips), []
    for finding in check.findings:
        if finding.verdict != "wrong" or finding.time_s is None:
            continue
        near = [slip for slip in talk.slips if abs(slip.time_s - finding.time_s) <= WITHIN_S]
        if not near:
            false.append(finding)
        for slip in near:
            if slip in left:
                left.remove(slip)
                break
    return [slip for slip in talk.slips if slip not in left], false


def _seconds(clock: str) -> float:
    minutes, seconds = clock.split(":")
    return 60 * int(minutes) + float(seconds)
