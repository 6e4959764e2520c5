"""What a transcript is: cues with their words, and every fault met while reading it.

Units: times in seconds from the start of the recording; None where the transcript gives none. Lines count from 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

__all__ = ["Cue", "Transcript", "TranscriptFault"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """One cue. `text` is what is shown, without markup; `marks` are inline times: (index into `text`, seconds).

    `recovered`: the cue's time line was not valid; its words are kept, with the time only where it could be told.
    """

    start_s: float | None
    end_s: float | None
    text: str
    line: int
    identifier: str = ""
    settings: str = ""
    marks: tuple[tuple[int, float], ...] = ()
    recovered: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TranscriptFault:
    """What is wrong with a line of the transcript, and what was done about it."""

    line: int
    what: str
    done: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.what}; {self.done}"


@dataclass(frozen=True, kw_only=True)
class Transcript:
    """A whole transcript in the order of the file. `kind` says which form it was read as."""

    cues: tuple[Cue, ...]
    kind: Literal["WebVTT", "SubRip", "stamped text", "plain text"]
    encoding: str
    faults: tuple[TranscriptFault, ...] = ()
    header: str = ""  # what a WebVTT file says above its first cue

    @cached_property
    def timed(self) -> bool:
        """Whether at least half of the cues have a time."""
        return 2 * sum(cue.start_s is not None for cue in self.cues) >= max(1, len(self.cues))

    @cached_property
    def seconds(self) -> float:
        """When the last cue ends; 0 where there are no times."""
        return max((cue.end_s or cue.start_s or 0.0 for cue in self.cues), default=0.0)
