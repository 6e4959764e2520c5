"""How a speaker moves from one mention to the next, and how likely he is to say what he says: two tables.

What the prices must keep: going elsewhere and coming back to make a wrong word true costs more than taking the word for
wrong. A wrong note has the weight `wrong` of its row in `CLAIMS` against `right`, about 1 : 320; a jump there and back
without a word that announces it costs about 1 : 10^6, passing over one place and coming back 1 : 3000.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from partwright.checking.narration.mentions import Mention

__all__ = ["BARE", "CLAIMS", "NOT_FOLLOWED", "OTHER", "ClaimRow", "Pace", "pace_between"]


@dataclass(frozen=True, slots=True)
class ClaimRow:
    """How likely a claim of this kind is said where it is right, where it may be, where it is wrong, and anywhere."""

    right: float
    unsure: float
    wrong: float
    anywhere: float


BARE = 0.3  # how often an accidental is left out, while the speaker's habit is not known
# Guesses from how lessons go, checked on synthetic lessons (bench/bench_narration.py); no source.
CLAIMS: Mapping[str, ClaimRow] = {
    "note": ClaimRow(0.97, BARE, 0.003, 0.11),
    "finger": ClaimRow(0.95, 0.50, 0.015, 0.23),
    "position": ClaimRow(0.90, 0.60, 0.04, 0.20),
    "string": ClaimRow(0.93, 0.50, 0.02, 0.25),
    "count": ClaimRow(0.90, 0.40, 0.10, 0.3),
    "alternate": ClaimRow(0.95, 0.50, 0.02, 0.08),
    "beats": ClaimRow(0.90, 0.50, 0.06, 0.3),
    "value": ClaimRow(0.90, 0.50, 0.06, 0.3),
    "whole_bar": ClaimRow(0.90, 0.50, 0.06, 0.3),
    "half_bar": ClaimRow(0.90, 0.50, 0.06, 0.3),
    "bow": ClaimRow(0.85, 0.50, 0.15, 0.5),
    "articulation": ClaimRow(0.85, 0.50, 0.08, 0.3),
    "harmonic": ClaimRow(0.85, 0.50, 0.06, 0.2),
}
OTHER = ClaimRow(0.80, 0.50, 0.15, 0.4)
NOT_FOLLOWED = frozenset(
    {
        "same_finger",
        "not_finger",
        "offer_finger",
        "offer_open",
        "offer_harmonic",
        "count_loose",
        "string_letter",
        "stay",
    }
)


@dataclass(frozen=True, slots=True)
class Pace:
    """How a speaker moves between two mentions: probabilities of steps by places, staying, jumping."""

    onward: tuple[float, ...]  # 1, 2, 3 … places on
    stay: float
    stay_on_run: float  # where the place is a run of several notes
    back: tuple[float, ...]  # 1, 2, 3 places back
    jump: float


PACE: Mapping[str, Pace] = {
    "breath": Pace((0.90, 0.03, 0.012, 0.006, 0.003, 0.001), 0.002, 0.30, (1e-4, 5e-5, 5e-5), 2e-6),
    "usual": Pace((0.72, 0.08, 0.04, 0.02, 0.012, 0.008, 0.005, 0.003), 0.03, 0.10, (0.003, 0.002, 0.001), 6e-4),
    "flowing": Pace(
        (0.22, 0.12, 0.12, 0.1, 0.1, 0.08, 0.06, 0.05, 0.04, 0.03, 0.02, 0.02), 0.02, 0.04, (0.002, 0.001), 6e-4
    ),
    "unnamed": Pace((0.55, 0.06, 0.03, 0.01), 0.22, 0.3, (0.01, 0.005), 6e-4),
    "again": Pace((0.56, 0.06, 0.02, 0.008, 0.004, 0.002, 0.001), 0.2, 0.3, (0.01, 0.005, 0.003), 6e-4),
    "looking back": Pace((0.35, 0.05, 0.03, 0.02, 0.012, 0.008), 0.1, 0.1, (0.14, 0.12, 0.08, 0.04, 0.02), 6e-4),
    "going on": Pace((0.45, 0.14, 0.11, 0.06, 0.04, 0.02), 0.05, 0.1, (0.003, 0.002, 0.001), 6e-4),
    "rested": Pace((0.62, 0.08, 0.05, 0.03, 0.02, 0.015, 0.01, 0.01), 0.05, 0.1, (0.01, 0.008, 0.006, 0.004), 8e-3),
}
_ALL_AGAIN, _NEARLY, _FAR_BACK = 0.12, 0.03, 0.002  # the fingers of all the notes just named, of one more or fewer
_REST_WORDS = 14  # so many words about other things, and the speaker may go on anywhere near


@cache
def _told_again(run: int) -> Pace:
    """How a speaker comes to so many numbers of no named notes: new ones, or those of the notes just gone through."""
    usual = PACE["unnamed"]
    back = [*usual.back, *[_FAR_BACK] * (run - len(usual.back))]
    for distance, weight in ((run - 2, _NEARLY), (run, _NEARLY), (run - 1, _ALL_AGAIN)):
        if distance > 0:
            back[distance - 1] = weight
    return Pace(usual.onward, usual.stay, usual.stay_on_run, tuple(back), usual.jump)


def pace_between(before: Mention | None, mention: Mention) -> Pace:
    """How the speaker comes to a mention from the one before it; None: it is the first."""
    gap = mention.first_word - before.last_word if before is not None else 0
    if mention.tight:
        pace = PACE["breath"]
    elif mention.note is None:
        run = max((claim.run for claim in mention.claims), default=0)
        pace = _told_again(run) if run > 1 else PACE["unnamed"]
    elif before is None or gap > _REST_WORDS:
        pace = PACE["rested"]
    elif any(c.kind == "alternate" for c in before.claims) or mention.flow:
        pace = PACE["flowing"]
    elif mention.recalls and mention.note == before.note:
        pace = PACE["again"]
    elif mention.recalls:
        pace = PACE["looking back"]
    elif before.recalls:
        pace = PACE["going on"]
    else:
        pace = PACE["usual"]
    return pace if before is not None else Pace(pace.onward, 0.6, 0.6, pace.back, pace.jump)
