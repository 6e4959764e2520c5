"""Where in the score is the speaker? A hidden Markov model over places, solved exactly.

States: the places of the part in written order. A mention either is spoken of a place, or of none (chatter, a word
misheard), in which case the speaker stays where he was. Between mentions the speaker goes on to the next place, stays,
passes some over, goes back a little, or jumps.

The prices of these, as probabilities, are the table `PACE`. What they must keep: going elsewhere and coming back to
make a wrong word true costs more than taking the word for wrong. A wrong note has the weight `wrong` of its row in
`CLAIMS` against `right`, about 1 : 320; a jump there and back without a word that announces it costs about 1 : 10^6,
passing over one place and coming back 1 : 3000. Announced jumps ("section B", "bar twelve", "from the top") are cheap.

Exact Viterbi and forward-backward in NumPy. Shape: (mentions, places). Linear in the number of mentions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration.mentions import Mention, PlaceCue
from partwright.checking.narration.places import Section
from partwright.checking.narration.truth import UNSURE, Truth

__all__ = ["BARE", "CLAIMS", "PACE", "Following", "follow"]

Floats = NDArray[np.float64]


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
    "bow": ClaimRow(0.85, 0.50, 0.15, 0.5),
    "articulation": ClaimRow(0.85, 0.50, 0.08, 0.3),
    "harmonic": ClaimRow(0.85, 0.50, 0.06, 0.2),
}
_OTHER = ClaimRow(0.80, 0.50, 0.15, 0.4)
_NOT_FOLLOWED = frozenset(
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
    "again": Pace((0.6, 0.08, 0.04, 0.02, 0.012, 0.008, 0.005, 0.003), 0.14, 0.2, (0.01, 0.005, 0.003), 6e-4),
    "looking back": Pace((0.35, 0.05, 0.03, 0.02, 0.012, 0.008), 0.1, 0.1, (0.14, 0.12, 0.08, 0.04, 0.02), 6e-4),
    "going on": Pace((0.45, 0.14, 0.11, 0.06, 0.04, 0.02), 0.05, 0.1, (0.003, 0.002, 0.001), 6e-4),
    "rested": Pace((0.62, 0.08, 0.05, 0.03, 0.02, 0.015, 0.01, 0.01), 0.05, 0.1, (0.01, 0.008, 0.006, 0.004), 8e-3),
}
_REST_WORDS = 14  # so many words about other things, and the speaker may go on anywhere near
_ANNOUNCED = {"section": 0.97, "bar": 0.97, "bars": 0.9, "restart": 0.6, "recap": 0.35, "passage": 0.25, "bar_of": 0.5}
_LIKELIEST = 0.5  # so much of the posterior must be of some place
_ENDS = {"section": 0.85, "tune": 0.5}  # "that section finishes on": at an end, and not at the next place
_AT_END = (0.7, 0.1, 0.2)  # the next end, the one after it, the very last place
_STRAY = {"named": 0.004, "bare": 0.01, "unnamed": 0.06}  # spoken of no place at all


@dataclass(frozen=True, kw_only=True)
class Following:
    """Where each mention is: `posterior` (mentions, places) with `real` its sum, and the best path (-1: no place)."""

    posterior: NDArray[np.float32]
    real: Floats
    path: NDArray[np.int64]
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
            posterior=np.zeros((size, states), np.float32), real=np.zeros(size), path=np.full(size, -1), gain=0.0
        )
    model = _Model(truth, sections)
    steps = [model.step(mention, mentions[k - 1] if k else None) for k, mention in enumerate(mentions)]
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
    return Following(posterior=posterior, real=real, path=model.best_path(steps), gain=(log_z - log_stray) / size)


@dataclass(frozen=True, slots=True)
class _Step:
    emission: Floats
    stray: float
    anywhere: float
    pace: Pace
    jump: float
    target: Floats | None
    local: float
    to_end: float = 0.0


class _Model:
    def __init__(self, truth: Truth, sections: Sequence[Section]) -> None:
        self.truth = truth
        self.size = len(truth)
        self.runs = np.array([place.count > 1 for place in truth.places])
        self.sections = sections
        self.section_of = np.array([place.section for place in truth.places])
        self.bar_of = np.array([place.first.bar_index for place in truth.places])
        self.bar_starts = np.r_[True, self.bar_of[1:] != self.bar_of[:-1]]
        self.section_starts = np.r_[True, self.section_of[1:] != self.section_of[:-1]]
        self.jump_to = _normal(0.55 * _normal(self.section_starts) + 0.25 * _normal(self.bar_starts) + 0.2 / self.size)
        self.ends = _ends(truth, self.section_starts)
        self.links = _repeat_links(truth)
        numbers = [bar.number for bar in truth.part.bars]
        self.bars_by_number = {number: index for index, number in reversed(list(enumerate(numbers)))}

    def start(self) -> Floats:
        """Before the first mention the speaker stands before the first place, or before a section."""
        return np.asarray(0.7 * np.eye(1, self.size)[0] + 0.3 * self.jump_to)

    def step(self, mention: Mention, before: Mention | None) -> _Step:
        emission, anywhere = self._emission(mention)
        named = mention.note is not None
        stray = _STRAY["named" if named and mention.claims else "bare" if named else "unnamed"]
        if named:  # a name that was hardly heard leaves what was claimed of it
            claimed = max((claim.p for claim in mention.claims), default=0.0)
            said = max((1.0 - stray) * mention.p, (1.0 - _STRAY["unnamed"]) * claimed)
            stray = 1.0 - said
        else:
            stray = max(stray, 1.0 - mention.p)
        gap = mention.first_word - before.last_word if before is not None else 0
        if mention.tight:
            pace = PACE["breath"]
        elif not named:
            pace = PACE["unnamed"]
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
        if before is None:
            pace = Pace(pace.onward, 0.6, 0.6, pace.back, pace.jump)
        jump, target, local, to_end = pace.jump, None, 1.0, 0.0
        for cue in mention.cues:
            if cue.kind == "end":
                to_end = _ENDS[str(cue.value[0])]
                jump, target, local = pace.jump, None, 1.0 - to_end
                continue
            found = self._target(cue)
            if found is not None and _ANNOUNCED[cue.kind] >= (jump if target is not None else 0.0):
                jump, target = _ANNOUNCED[cue.kind], found
                local, to_end = 1.0 - jump, 0.0
        return _Step(emission * (1.0 - stray), stray * anywhere, anywhere, pace, jump, target, local, to_end)

    def _emission(self, mention: Mention) -> tuple[Floats, float]:
        weight = np.ones(self.size)
        anywhere = 1.0
        if mention.note is not None:
            weight *= _weights(self.truth.note(*mention.note), CLAIMS["note"], mention.p)
            anywhere *= CLAIMS["note"].anywhere
        for claim in mention.claims:
            if claim.kind in _NOT_FOLLOWED:
                continue
            row = CLAIMS.get(claim.kind, _OTHER)
            weight *= _weights(self.truth.claim(claim.kind, claim.value), row, claim.p)
            anywhere *= row.anywhere
        return weight, anywhere

    def _target(self, cue: PlaceCue) -> Floats | None:
        if cue.kind == "section":
            names = [s.name.casefold() for s in self.sections]
            wanted = str(cue.value[0]).casefold()
            if wanted in names:
                return self._inside(self.section_of == names.index(wanted))
            return None
        if cue.kind == "bar_of":
            starts = {int(self.bar_of[self.section_of == s].min()) for s in set(self.section_of.tolist())}
            inside = [self.bar_of == first + int(cue.value[0]) - 1 for first in sorted(starts)]
            found = [self._inside(row) for row in inside if row.any()]
            return _normal(np.sum(found, axis=0)) if found else None
        if cue.kind in ("bar", "bars"):
            index = self.bars_by_number.get(str(cue.value[0]))
            if index is None:
                return None
            inside = self.bar_of == index
            return self._inside(inside) if inside.any() else None
        if cue.kind == "passage":
            if cue.value == (-1,):
                return _normal(self._inside(self.section_of == self.section_of.max()) + self.jump_to)
            if cue.value and int(cue.value[0]) <= len(self.sections):
                return _normal(self._inside(self.section_of == int(cue.value[0]) - 1) + self.jump_to)
            return self.jump_to
        if cue.kind == "restart":
            return _normal(self._inside(self.section_of == self.section_of[0]) + self.jump_to)
        return self.jump_to

    def _inside(self, inside: NDArray[np.bool_]) -> Floats:
        """Most likely the first place of a stretch, then the second, then any."""
        found = np.zeros(self.size)
        indices = np.flatnonzero(inside)
        if not len(indices):
            return self.jump_to
        found[indices] = 0.15 / len(indices)
        found[indices[0]] += 0.7
        found[indices[min(1, len(indices) - 1)]] += 0.15
        return found

    def move(self, now: Floats, step: _Step) -> Floats:
        """Probability of being at each place after one step."""
        pace = step.pace
        out = np.where(self.runs, pace.stay_on_run, pace.stay) * now
        for distance, weight in enumerate(pace.onward, start=1):
            if distance < self.size:
                out[distance:] += weight * now[:-distance]
        for distance, weight in enumerate(pace.back, start=1):
            if distance < self.size:
                out[:-distance] += weight * now[distance:]
        for origin, goal in self.links:
            out[goal] += pace.onward[0] * now[origin]
        target = self.jump_to if step.target is None else step.target
        moved = step.local * out + step.jump * now.sum() * target
        if step.to_end:
            for share, ends in zip(_AT_END, self.ends, strict=True):
                moved += step.to_end * share * np.bincount(ends, weights=now, minlength=self.size)
        return np.asarray(moved)

    def move_back(self, later: Floats, step: _Step) -> Floats:
        """The same step, seen from its end."""
        pace = step.pace
        out = np.where(self.runs, pace.stay_on_run, pace.stay) * later
        for distance, weight in enumerate(pace.onward, start=1):
            if distance < self.size:
                out[:-distance] += weight * later[distance:]
        for distance, weight in enumerate(pace.back, start=1):
            if distance < self.size:
                out[distance:] += weight * later[:-distance]
        for origin, goal in self.links:
            out[origin] += pace.onward[0] * later[goal]
        target = self.jump_to if step.target is None else step.target
        seen = step.local * out + step.jump * float(target @ later)
        if step.to_end:
            for share, ends in zip(_AT_END, self.ends, strict=True):
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
            best = now + np.log(np.where(self.runs, pace.stay_on_run, pace.stay)) + local
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
            for start, goal in self.links:
                score = now[start] + np.log(pace.onward[0]) + local
                if score > best[goal]:
                    best[goal], came[goal] = score, start
            for share, ends in zip(_AT_END if step.to_end else (), self.ends, strict=False):
                for goal in np.unique(ends):
                    origins = np.flatnonzero(ends == goal)
                    start = int(origins[now[origins].argmax()])
                    score = now[start] + np.log(step.to_end * share)
                    if score > best[goal]:
                        best[goal], came[goal] = score, start
            source = int(now.argmax())
            target = self.jump_to if step.target is None else step.target
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


def _weights(true: Floats, row: ClaimRow, p: float) -> Floats:
    sure = np.where(true == 1.0, row.right, np.where(true == UNSURE, row.unsure, row.wrong))
    return np.asarray(p * sure + (1.0 - p) * row.anywhere)


def _normal(weights: NDArray[np.generic] | Floats) -> Floats:
    values = np.asarray(weights, dtype=np.float64)
    return np.asarray(values / max(1e-300, float(values.sum())))


def _ends(truth: Truth, section_starts: NDArray[np.bool_]) -> tuple[NDArray[np.int64], ...]:
    """For every place: the end of its section (or repeat), the end after that one, the end of all."""
    size = len(truth)
    bars = truth.part.bars
    last = size - 1
    ends = [
        k for k in range(size)
        if k == last
        or section_starts[k + 1]
        or any(
            bars[b].repeat_end or bars[b].double_bar
            for b in range(truth.places[k].first.bar_index, truth.places[k + 1].first.bar_index)
        )
    ]  # fmt: skip
    at = np.searchsorted(ends, np.arange(size))
    known = np.array(ends, dtype=np.int64)
    return known[at], known[np.minimum(at + 1, len(ends) - 1)], np.full(size, last, dtype=np.int64)


def _repeat_links(truth: Truth) -> tuple[tuple[int, int], ...]:
    """Where the played order goes from one place to another that does not follow it on the page."""
    place_of: dict[int, int] = {}
    for place in truth.places:
        for attack in place.attacks:
            for note in attack.notes:
                place_of[note.index] = place.index
    last: int | None = None
    found: set[tuple[int, int]] = set()
    for index in truth.part.played_order():
        here = place_of.get(index)
        if here is None:
            continue
        if last is not None and here not in (last, last + 1):
            found.add((last, here))
        last = here
    return tuple(sorted(found))
