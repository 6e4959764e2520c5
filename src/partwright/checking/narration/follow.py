"""Where in the score is the speaker? A hidden Markov model over places, solved exactly.

States: the places of the part in written order. A mention either is spoken of a place, or of none (chatter, a word
misheard), in which case the speaker stays where he was. Between mentions the speaker goes on to the next place, stays,
passes some over, goes back a little, or jumps.

The prices of these, as probabilities, are in `pace`; announced jumps (`landmarks`) are cheap.

Exact Viterbi and forward-backward in NumPy. Shape: (mentions, places). Linear in the number of mentions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.answers import UNSURE
from partwright.checking.narration.landmarks import ANNOUNCED, Landmarks
from partwright.checking.narration.mentions import Mention
from partwright.checking.narration.pace import CLAIMS, NOT_FOLLOWED, OTHER, ClaimRow, Pace, pace_between
from partwright.checking.narration.places import Section
from partwright.checking.narration.truth import Truth

__all__ = ["Following", "follow"]

Floats = NDArray[np.float64]


_LIKELIEST = 0.5  # so much of the posterior must be of some place
_ENDS = {"section": 0.85, "tune": 0.5}  # "that section finishes on": at an end, and not at the next place
_AT_END = (0.7, 0.1, 0.2)  # the next end, the one after it, the very last place
_WRONG_NATURAL = 0.02  # "C natural" where C sharp is: a slip much more common than another letter
_STRAY = {"named": 0.004, "bare": 0.01, "unnamed": 0.06}  # spoken of no place at all


@dataclass(frozen=True, kw_only=True)
class Following:
    """Where each mention is: `posterior` (mentions, places) with `real` its sum, and the best path (-1: no place)."""

    posterior: NDArray[np.float32]
    real: Floats
    path: NDArray[np.int64]
    likely: Sequence[Floats | None]  # how likely each place is by the bars announced around a mention (`Landmarks`)
    gain: float  # how much better the part explains the mentions than none, per mention, natural logarithm

    @cached_property
    def likeliest(self) -> tuple[int, ...]:
        """The likeliest place of every mention; -1 where it is rather of none."""
        if not len(self.real):
            return ()
        best = self.posterior.argmax(axis=1)
        return tuple(int(at) if real >= _LIKELIEST else -1 for at, real in zip(best, self.real, strict=True))


def follow(mentions: Sequence[Mention], truth: Truth, sections: Sequence[Section]) -> Following:
    """The posterior place of every mention, and the best path."""
    size, states = len(mentions), len(truth)
    if size == 0 or states == 0:
        return Following(
            posterior=np.zeros((size, states), np.float32), real=np.zeros(size), path=np.full(size, -1), gain=0.0,
            likely=[None] * size,
        )  # fmt: skip
    model = _Model(truth, sections)
    steps = model.steps(mentions)
    alpha = np.empty((size, states), dtype=np.float32)
    arrived = np.empty((size, states), dtype=np.float32)  # what came by moving, before it is said to be real
    now = model.start()
    log_z = 0.0
    log_stray = 0.0
    for k, step in enumerate(steps):
        moved = model.move(now, step) * step.emission
        now = moved + step.stray * now
        total = now.sum()
        now = now / total
        log_z += float(np.log(total))
        log_stray += float(np.log(step.anywhere))
        alpha[k] = now
        arrived[k] = moved / total
    posterior = np.empty((size, states), dtype=np.float32)
    real = np.empty(size)
    beta = np.ones(states)
    for k in range(size - 1, -1, -1):
        here = arrived[k] * beta
        whole = float((alpha[k] * beta).sum())
        posterior[k] = here / whole
        real[k] = float(posterior[k].sum())
        step = steps[k]
        beta = model.move_back(step.emission * beta, step) + step.stray * beta
        beta = beta / beta.max()
    return Following(
        posterior=posterior,
        real=real,
        path=model.best_path(steps),
        likely=[step.likely for step in steps],
        gain=(log_z - log_stray) / size,
    )


@dataclass(frozen=True, slots=True)
class _Step:
    emission: Floats
    stray: float
    anywhere: float
    pace: Pace
    jump: float
    target: Floats | None
    local: float
    to_end: float
    likely: Floats | None  # each place by the bars announced around the mention; already in the emission


class _Model:
    def __init__(self, truth: Truth, sections: Sequence[Section]) -> None:
        self.truth = truth
        self.size = len(truth)
        self.marks = Landmarks(truth, sections)

    def start(self) -> Floats:
        """Before the first mention the speaker stands before the first place, or before a section."""
        return np.asarray(0.7 * np.eye(1, self.size)[0] + 0.3 * self.marks.anywhere)

    def steps(self, mentions: Sequence[Mention]) -> list[_Step]:
        """How the speaker comes to each mention."""
        rows = zip(mentions, [None, *mentions], self.marks.stretches(mentions), strict=False)
        return [self._step(mention, before, likely) for mention, before, likely in rows]

    def _step(self, mention: Mention, before: Mention | None, likely: Floats | None) -> _Step:
        emission, anywhere = self._emission(mention)
        if likely is not None:
            emission = emission * likely
        named = mention.note is not None
        stray = _STRAY["named" if named and mention.claims else "bare" if named else "unnamed"]
        if named:  # a name that was hardly heard leaves what was claimed of it
            claimed = max((claim.p for claim in mention.claims), default=0.0)
            said = max((1.0 - stray) * mention.p, (1.0 - _STRAY["unnamed"]) * claimed)
            stray = 1.0 - said
        else:
            stray = max(stray, 1.0 - mention.p)
        pace = pace_between(before, mention)
        jump, target, local, to_end = pace.jump, None, 1.0, 0.0
        for cue in mention.cues:
            if cue.kind == "end":
                to_end = _ENDS[str(cue.value[0])]
                jump, target, local = pace.jump, None, 1.0 - to_end
                continue
            found = self.marks.target(cue)
            if found is not None and ANNOUNCED[cue.kind] >= (jump if target is not None else 0.0):
                jump, target = ANNOUNCED[cue.kind], found
                local, to_end = 1.0 - jump, 0.0
        return _Step(emission * (1.0 - stray), stray * anywhere, anywhere, pace, jump, target, local, to_end, likely)

    def _emission(self, mention: Mention) -> tuple[Floats, float]:
        weight = np.ones(self.size)
        anywhere = 1.0
        if mention.note is not None:
            weight *= _weights(self.truth.note(*mention.note), CLAIMS["note"], mention.p, self._letter_of(mention.note))
            anywhere *= CLAIMS["note"].anywhere
        for claim in mention.claims:
            if claim.kind in NOT_FOLLOWED:
                continue
            row = CLAIMS.get(claim.kind, OTHER)
            weight *= _weights(self.truth.claim(claim.kind, claim.value), row, claim.p)
            anywhere *= row.anywhere
        return weight, anywhere

    def _letter_of(self, note: tuple[str, int | None]) -> NDArray[np.bool_] | None:
        """Where the letter of a natural is, whatever its accidental; None for any other note."""
        return self.truth.note(note[0], None) > 0.0 if note[1] == 0 else None

    def move(self, now: Floats, step: _Step) -> Floats:
        """Probability of being at each place after one step."""
        pace = step.pace
        out = np.where(self.marks.runs, pace.stay_on_run, pace.stay) * now
        for distance, weight in enumerate(pace.onward, start=1):
            if distance < self.size:
                out[distance:] += weight * now[:-distance]
        for distance, weight in enumerate(pace.back, start=1):
            if distance < self.size:
                out[:-distance] += weight * now[distance:]
        for origin, goal in self.marks.leaps:
            out[goal] += pace.onward[0] * now[origin]
        target = self.marks.anywhere if step.target is None else step.target
        moved = step.local * out + step.jump * now.sum() * target
        if step.to_end:
            for share, ends in zip(_AT_END, self.marks.ends, strict=True):
                moved += step.to_end * share * np.bincount(ends, weights=now, minlength=self.size)
        return np.asarray(moved)

    def move_back(self, later: Floats, step: _Step) -> Floats:
        """The same step, seen from its end."""
        pace = step.pace
        out = np.where(self.marks.runs, pace.stay_on_run, pace.stay) * later
        for distance, weight in enumerate(pace.onward, start=1):
            if distance < self.size:
                out[:-distance] += weight * later[distance:]
        for distance, weight in enumerate(pace.back, start=1):
            if distance < self.size:
                out[distance:] += weight * later[:-distance]
        for origin, goal in self.marks.leaps:
            out[origin] += pace.onward[0] * later[goal]
        target = self.marks.anywhere if step.target is None else step.target
        seen = step.local * out + step.jump * float(target @ later)
        if step.to_end:
            for share, ends in zip(_AT_END, self.marks.ends, strict=True):
                seen += step.to_end * share * later[ends]
        return np.asarray(seen)

    def best_path(self, steps: Sequence[_Step]) -> NDArray[np.int64]:
        """The single most likely course (Viterbi); -1 where a mention is of no place."""
        now = np.log(self.start() + 1e-300)
        size = len(steps)
        origin = np.empty((size, self.size), dtype=np.int32)
        stays_put = np.empty((size, self.size), dtype=bool)
        everyone = np.arange(self.size)
        for k, step in enumerate(steps):
            pace = step.pace
            local = np.log(step.local + 1e-12)
            best = now + np.log(np.where(self.marks.runs, pace.stay_on_run, pace.stay)) + local
            came = everyone.copy()
            moves = [(d, w) for d, w in enumerate(pace.onward, start=1)]
            moves += [(-d, w) for d, w in enumerate(pace.back, start=1)]
            for distance, weight in moves:
                if abs(distance) >= self.size:
                    continue
                moved = np.full(self.size, -np.inf)
                if distance > 0:
                    moved[distance:] = now[:-distance] + (np.log(weight) + local)
                else:
                    moved[:distance] = now[-distance:] + (np.log(weight) + local)
                better = moved > best
                best[better] = moved[better]
                came[better] = everyone[better] - distance
            for start, goal in self.marks.leaps:
                score = now[start] + np.log(pace.onward[0]) + local
                if score > best[goal]:
                    best[goal], came[goal] = score, start
            for share, ends in zip(_AT_END if step.to_end else (), self.marks.ends, strict=False):
                for goal in np.unique(ends):
                    origins = np.flatnonzero(ends == goal)
                    start = int(origins[now[origins].argmax()])
                    score = now[start] + np.log(step.to_end * share)
                    if score > best[goal]:
                        best[goal], came[goal] = score, start
            source = int(now.argmax())
            target = self.marks.anywhere if step.target is None else step.target
            jumped = now[source] + np.log(step.jump) + np.log(target + 1e-300)
            better = jumped > best
            best[better] = jumped[better]
            came[better] = source
            best = best + np.log(step.emission + 1e-300)
            idle = now + np.log(step.stray + 1e-300)
            stays = idle > best
            now = np.where(stays, idle, best)
            origin[k] = np.where(stays, everyone, came)
            stays_put[k] = stays
        path = np.full(size, -1, dtype=np.int64)
        at = int(now.argmax())
        for k in range(size - 1, -1, -1):
            if not stays_put[k, at]:
                path[k] = at
            at = int(origin[k, at])
        return path


def _weights(true: Floats, row: ClaimRow, p: float, letter: NDArray[np.bool_] | None = None) -> Floats:
    wrong = row.wrong if letter is None else np.where(letter, _WRONG_NATURAL, row.wrong)
    sure = np.where(true == 1.0, row.right, np.where(true == UNSURE, row.unsure, wrong))
    return np.asarray(p * sure + (1.0 - p) * row.anywhere)
