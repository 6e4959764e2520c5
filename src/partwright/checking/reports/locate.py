"""Where in the tune is a comment about? A probability for every note struck.

Everything that points counts together, as factors: the time stamp (through what was said around it, or what was
played), bar, beat, section, "the second G", the note's name, the finger, and whether what the viewer heard or wants
there is so.
Units: seconds; shapes (strokes,), one entry for every note or chord struck, in written order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from partwright.checking.narration import NarrationCheck
from partwright.checking.narration.answers import UNSURE
from partwright.checking.narration.judged import Judged
from partwright.checking.narration.places import Place
from partwright.checking.narration.truth import Truth
from partwright.checking.reports.understand import Said, Understood
from partwright.score import Note

__all__ = ["Grounds", "Located", "locate"]

Floats = NDArray[np.float64]

# How far from a stamp people speak of a note, in seconds: they stop the video a little after it was said, or note the
# second before. Guesses, checked on the evaluation set; no source.
_AFTER_SECONDS, _BEFORE_SECONDS = 4.0, 3.0
_FAR = 1e-4  # said nowhere near
_QUIET_SECONDS = 12.0  # nothing said so near: it was played there
_SAID_SO = 4.0  # what the viewer says he heard was said there
_SLIPPED = 5.0  # the narration check doubts what was said there
_NEXT_BAR = 0.02  # who counts the pick-up is a bar off
_OTHER_BEAT, _SAME_WHOLE_BEAT = 0.02, 0.3
_NOT_NTH, _NTH_RUN = 0.02, 0.5
_NAMED, _NAMED_HALF, _NAMED_OTHERWISE = 1.0, 0.6, 0.04
_WANTED, _WANTED_NEAR, _WANTED_FAR = 0.8, 0.3, 0.08
_CLAIM_FITS, _CLAIM_MAY_FIT, _CLAIM_ELSE = 1.0, 0.6, 0.3
_SLACK_SECONDS = 20.0
_SAME_NOTES = 0.999


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """Where a comment is about. `stroke` is the likeliest note struck, -1 where nothing points anywhere.

    `p` is the probability of its place (the run of equal notes it is in); `missing` says why there is no place.
    """

    stroke: int = -1
    place: int = -1
    p: float = 0.0
    by_place: Floats | None = None
    missing: str = ""


@dataclass(frozen=True, kw_only=True)
class Grounds:
    """What comments are laid against: a lesson's places, what was said of them, and what was played when.

    `played`: (seconds, note id) of a video that only plays; `chapters`: (start, end, section's name).
    """

    check: NarrationCheck
    truth: Truth
    place_of: NDArray[np.int64]
    notes: tuple[Note, ...]
    bars: NDArray[np.int64]
    beats: Floats
    said_at: Floats  # of each mention, seconds; nan where not known
    slips: tuple[tuple[float, Judged], ...]
    played: tuple[tuple[float, str], ...] = ()
    chapters: tuple[tuple[float, float, str], ...] = ()

    @classmethod
    def of(
        cls,
        check: NarrationCheck,
        *,
        played: Sequence[tuple[float, str]] = (),
        chapters: Sequence[tuple[float, float, str]] = (),
    ) -> Grounds:
        """The grounds of a checked lesson; without a transcript the check is one of no words."""
        strokes = [(place.index, attack.notes[0]) for place in check.places for attack in place.attacks]
        times = [check.words[m.first_word].start_s for m in check.mentions]
        slips = tuple(
            (check.words[j.first_word].start_s or 0.0, j)
            for j in check.judged
            if j.verdict in ("wrong", "check") and j.place >= 0
        )
        return cls(
            check=check, truth=Truth(check.part, check.places, check.instrument),
            place_of=np.array([p for p, _ in strokes], dtype=np.int64), notes=tuple(n for _, n in strokes),
            bars=np.array([n.bar_index for _, n in strokes], dtype=np.int64),
            beats=np.array([float(n.beat) for _, n in strokes]),
            said_at=np.array([np.nan if t is None else t for t in times]), slips=slips,
            played=tuple(played), chapters=tuple(chapters),
        )  # fmt: skip

    @property
    def places(self) -> tuple[Place, ...]:
        return self.check.places

    @property
    def timed(self) -> bool:
        """Whether a time stamp can be brought back to the tune at all."""
        return bool(self.played or self.chapters or (self.said_at.size and not np.isnan(self.said_at).all()))


def locate(report: Understood, grounds: Grounds) -> Located:
    """The likeliest note struck, and how the probability lies over the places."""
    size = len(grounds.notes)
    if size == 0:
        return Located(missing="the tune has no note")
    points = report.pointers
    weight = np.ones(size)
    inside = np.ones(size, dtype=bool)
    pointed = False
    if points.bars:
        by_bar, missing = _bars(report, grounds)
        if missing:
            return Located(missing=missing)
        weight *= by_bar
        inside &= by_bar > 0.5
        pointed = True
    if points.sections:
        by_section = _sections(report, grounds)
        if by_section is not None:
            weight *= np.where(by_section, 1.0, 0.005)
            inside &= by_section
            pointed = True
    if points.times_s and grounds.timed:
        weight *= _times(report, grounds)
        pointed = True
    elif points.times_s and not pointed:
        return Located(missing="there is no transcript and no chapter list to say what stands at that time")
    if points.beats:
        exact = np.isin(grounds.beats, points.beats)
        whole = np.isin(np.floor(grounds.beats), points.beats)
        weight *= np.where(exact, 1.0, np.where(whole, _SAME_WHOLE_BEAT, _OTHER_BEAT))
    if points.nth:
        pointed = pointed or points.nth < 0 or bool(inside.all())
        weight *= _nth(report, grounds, inside)
    if not pointed:
        return Located(missing="it does not say where")
    weight *= _content(report, grounds)
    weight *= _slipped(report, grounds)
    total = weight.sum()
    if total <= 0:
        return Located(missing="nothing in the tune fits")
    weight = weight / total
    by_place = np.asarray(
        np.bincount(grounds.place_of, weights=weight, minlength=len(grounds.places)), dtype=np.float64
    )
    place = int(by_place.argmax())
    stroke = int(np.where(grounds.place_of == place, weight, -1.0).argmax())
    return Located(stroke=stroke, place=place, p=float(min(1.0, by_place[place])), by_place=by_place)


def _bars(report: Understood, grounds: Grounds) -> tuple[Floats, str]:
    numbers = [bar.number for bar in grounds.check.part.bars]
    weight = np.zeros(len(grounds.notes))
    known = False
    for first, last in report.pointers.bars:
        if first not in numbers:
            continue
        known = True
        start = numbers.index(first)
        end = len(numbers) - 1 - numbers[::-1].index(last) if last in numbers and last != first else start
        repeated = [k for k, number in enumerate(numbers) if number == first]
        end = max(end, repeated[-1])
        weight += (grounds.bars >= start) & (grounds.bars <= end)
        weight += _NEXT_BAR * ((grounds.bars == start - 1) | (grounds.bars == end + 1))
    if not known:
        return weight, f"there is no bar {report.pointers.bars[0][0]}"
    return np.minimum(weight, 1.0), ""


def _sections(report: Understood, grounds: Grounds) -> NDArray[np.bool_] | None:
    """The strokes of the sections named, or of one bar of them; None where no such section is known."""
    found = np.zeros(len(grounds.notes), dtype=bool)
    known = False
    for section in grounds.check.sections:
        if section.name.casefold() not in {name.casefold() for name in report.pointers.sections}:
            continue
        known = True
        first, last = section.first_bar_index, section.last_bar_index
        nth = report.pointers.bar_in_section
        if nth:
            first = last if nth < 0 else min(last, first + nth - 1)
            last = first
        found |= (grounds.bars >= first) & (grounds.bars <= last)
    return found if known and found.any() else None


def _times(report: Understood, grounds: Grounds) -> Floats:
    weight = np.full(len(grounds.notes), _FAR)
    for time_s in report.pointers.times_s:
        if grounds.played:
            weight += _by_played(time_s, grounds)
            continue
        by_place = _by_said(report, time_s, grounds)
        if by_place is not None:
            weight += by_place[grounds.place_of]
        for start, end, name in grounds.chapters:
            if start <= time_s < end:
                for section in grounds.check.sections:
                    if section.name.casefold() == name.casefold():
                        here = (grounds.bars >= section.first_bar_index) & (grounds.bars <= section.last_bar_index)
                        weight += 0.02 * here
    return weight


def _by_played(time_s: float, grounds: Grounds) -> Floats:
    weight = np.zeros(len(grounds.notes))
    index = {note.id: k for k, note in enumerate(grounds.notes)}
    for at, note_id in grounds.played:
        if note_id in index:
            weight[index[note_id]] += _nearness(time_s - at) ** 2
    return weight


def _by_said(report: Understood, time_s: float, grounds: Grounds) -> Floats | None:
    """By what was said around that time; where nothing was, the notes between what was said before and after."""
    check = grounds.check
    near = np.flatnonzero(np.abs(grounds.said_at - time_s) < 4 * _SLACK_SECONDS)
    if not near.size:
        return None
    by_place = np.zeros(len(grounds.places))
    for k in near:
        nearness = _nearness(time_s - float(grounds.said_at[k]))
        boost = _SAID_SO if _said_so(report, int(k), grounds) else 1.0
        by_place += nearness * boost * check.following.posterior[k]
    gaps = np.abs(grounds.said_at[near] - time_s)
    if gaps.min() > _QUIET_SECONDS:
        before = [int(k) for k in near if grounds.said_at[k] <= time_s and check.following.real[k] > 0.5]
        after = [int(k) for k in near if grounds.said_at[k] > time_s and check.following.real[k] > 0.5]
        if before and after:
            one = int(check.following.posterior[before[-1]].argmax())
            two = int(check.following.posterior[after[0]].argmax())
            if one <= two:
                by_place[one : two + 1] += 0.2
    return by_place


def _nearness(later_s: float) -> float:
    """How likely a stamp lies so many seconds after what it is about."""
    return float(np.exp(-later_s / _AFTER_SECONDS if later_s >= 0 else later_s / _BEFORE_SECONDS))


def _said_so(report: Understood, k: int, grounds: Grounds) -> bool:
    """Whether this mention says what the viewer says he heard, or names the note he speaks of."""
    mention = grounds.check.mentions[k]
    for said in report.said:
        if said.kind == "note" and mention.note is not None and said.role in ("-", "0", "weak"):
            step, alter = mention.note
            if step == said.value[0] and (said.value[1] == 9 or alter is None or alter == said.value[1]):
                return report.kind == "note" or not report.observed or _claims(mention.claims, report.observed)
    return _claims(mention.claims, report.observed)


def _claims(claims: Sequence[object], observed: Sequence[Said]) -> bool:
    return any(
        getattr(c, "kind", "") == s.claim and getattr(c, "value", ()) == s.value for c in claims for s in observed
    )


def _nth(report: Understood, grounds: Grounds, inside: NDArray[np.bool_]) -> Floats:
    """The second G of the stretch, or its last note."""
    points = report.pointers
    eligible = inside.copy()
    if points.nth_name is not None:
        eligible &= grounds.truth.note(*points.nth_name)[grounds.place_of] > 0
    weight = np.full(len(grounds.notes), _NOT_NTH)
    strokes = np.flatnonzero(eligible)
    if not strokes.size:
        return np.ones(len(grounds.notes))
    runs = list(dict.fromkeys(int(p) for p in grounds.place_of[strokes]))
    nth = points.nth - 1 if points.nth > 0 else points.nth
    if -len(runs) <= nth < len(runs):
        weight[(grounds.place_of == runs[nth]) & eligible] = _NTH_RUN
    if -strokes.size <= nth < strokes.size:
        weight[strokes[nth]] = 1.0
    return weight


def _content(report: Understood, grounds: Grounds) -> Floats:
    """How well what the comment says of the note itself fits each stroke."""
    truth, place_of = grounds.truth, grounds.place_of
    weight = np.ones(len(grounds.places))
    described = [(step, alter) for step, alter in report.names]
    proposed = [s for s in report.proposed if s.kind == "note"]
    observed = [s for s in report.observed if s.kind == "note"]
    if report.kind == "note":
        names = described + [_named(s) for s in observed]
        fits = np.zeros(len(grounds.places))
        for name in names:
            fits = np.maximum(fits, _graded(truth.note(*name), _NAMED, _NAMED_HALF, _NAMED_OTHERWISE))
        for said in proposed:
            wanted = _graded(truth.note(*_named(said)), _WANTED, _WANTED_NEAR, 0.0)
            near = np.array([_WANTED_NEAR if _steps_apart(p, str(said.value[0])) <= 1 else 0.0 for p in grounds.places])
            fits = np.maximum(fits, np.maximum(wanted, near if not names else 0.0))
        if names or proposed:
            weight *= np.maximum(fits, _NAMED_OTHERWISE if names else _WANTED_FAR)
        for finger in report.fingers:
            weight *= _graded(truth.claim("finger", (finger,)), 1.0, 0.5, 0.15)
        return weight[place_of]
    for name in described:
        weight *= _graded(truth.note(*name), _NAMED, _NAMED_HALF, _NAMED_OTHERWISE)
    claims = [*report.proposed, *report.observed]
    if claims:
        fits = np.full(len(grounds.places), _CLAIM_ELSE)
        for said in claims:
            fits = np.maximum(
                fits, _graded(truth.claim(said.claim, said.value), _CLAIM_FITS, _CLAIM_MAY_FIT, _CLAIM_ELSE)
            )
        weight *= fits
    return weight[place_of]


def _named(said: Said) -> tuple[str, int | None]:
    return str(said.value[0]), None if said.value[1] == 9 else int(said.value[1])


def _steps_apart(place: Place, step: str) -> int:
    letters = "CDEFGAB"
    gap = min((letters.index(s) - letters.index(step)) % 7 for s, _ in place.names)
    return min(gap, 7 - gap)


def _graded(true: Floats, yes: float, half: float, no: float) -> Floats:
    return np.asarray(np.where(true == 1.0, yes, np.where(true == UNSURE, half, no)))


def _slipped(report: Understood, grounds: Grounds) -> Floats:
    """Where the narration check doubts what was said of this kind, a viewer is likelier to have something to say."""
    weight = np.ones(len(grounds.places))
    for at, slip in grounds.slips:
        if not same_kind(slip.kind, report.kind):
            continue
        times = report.pointers.times_s
        near = max((_nearness(t - at) for t in times), default=0.5)
        weight[slip.place] = max(weight[slip.place], 1.0 + _SLIPPED * near)
    return weight[grounds.place_of]


def same_kind(judged: str, kind: str) -> bool:
    """Whether a claim of the narration check is of this kind of report."""
    family = {
        "note": ("note", "order", "alternate"), "finger": ("finger", "same_finger", "substitute"),
        "string": ("string", "string_letter"), "bow": ("bow", "slur", "separate", "retake", "articulation"),
        "rhythm": ("beats", "value", "count", "count_loose", "rest", "on_beat", "rhythm"),
    }  # fmt: skip
    return judged in family.get(kind, (kind,))
