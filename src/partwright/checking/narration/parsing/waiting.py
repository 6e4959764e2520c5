"""What lies between atoms: words that are no claim, and claims that wait for the note they are said of."""

from __future__ import annotations

from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.hearing import Edge
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.state import WEAK, State, Waiting, claimed, group_of
from partwright.checking.narration.parsing.ties import LIGHT, Ties, bounded

__all__ = ["behind", "flushed", "pass_half", "pass_over", "settle"]

_FLUSHED = 2.0  # price of a claim that found no note and stands for one
_DIGITS_FOR = 1.5  # "one three four for E F sharp G": without such a word a run stands for itself
_ORDINAL_FOR = 1.3
_LEAST_TIE = -1.4  # a claim tied less than this to the next note is not said of it
_WEAK_TIE = 0.3  # … where the claim itself is a bare word


def pass_over(ties: Ties, state: State, first: int, last: int, *, gap: bool = True) -> State:
    """The state after words that are no atom of their own (or, with gap False, only what stands behind them)."""
    left = right = 0.0
    light = state.light
    parting = 0
    for k in range(first, last + 1):
        if gap:
            form = ties.words[k].form
            link = ties.link(form)
            left += link.left
            right += link.right
            light = light and form in LIGHT
        if gap or k == last:
            more_left, more_right, stop = ties.parting[k]
            left += more_left
            right += more_right
            parting = max(parting, stop)
    after = replace(state)
    after.left = bounded(state.left + (min(0.0, left) if state.stopped else left))
    after.stopped = state.stopped or parting == 2
    if state.pending:
        after.pending = tuple(_pulled(p, right, stopped=p.stopped or parting == 2) for p in state.pending)
    after.light = light and parting < 2
    if gap:
        after.correcting = max(0, state.correcting - (last - first + 1))
    if parting == 2:
        after.correcting = 0
    return _given_up(after)


def behind(ties: Ties, state: State, atom: Atom) -> State:
    """The state after what stands behind an atom: a comma, a full stop, a pause."""
    return pass_over(ties, state, atom.last_word, atom.last_word, gap=False)


def pass_half(ties: Ties, state: State, half: Edge) -> State:
    """The state after the first half of a word that is two run together."""
    link = ties.link(half.meant)
    left = min(0.0, link.left) if state.stopped else link.left
    return replace(
        state, score=state.score - half.price, left=bounded(state.left + left),
        pending=tuple(_pulled(p, link.right, stopped=p.stopped) for p in state.pending),
        light=state.light and half.meant in LIGHT,
    )  # fmt: skip


def settle(after: State, mention: Mention, score: float, none_right: float) -> tuple[Mention, State]:
    """Waiting claims go to this mention where their surroundings allow; fingers that cannot stand for a note.

    Returns the mention with its claims, and the state with its score and what still waits.
    """
    kept: list[Waiting] = []
    taken = {group_of(c.kind) for c in mention.claims}
    for waiting in after.pending:
        group = group_of(waiting.kind)
        if group not in taken and _ties_on(waiting):
            taken.add(group)
            score += waiting.right
            value, *more = waiting.values
            claim = claimed(waiting.kind, value, waiting.first, waiting.last)
            run = len(waiting.values) if waiting.kind == "digits" else 0
            mention = mention.with_claim(replace(claim, run=run))
            mention = replace(mention, first_word=min(mention.first_word, waiting.first))
            if more:
                kept.append(replace(waiting, values=tuple(more), right=none_right, worth=0.0))
        elif group == "finger" and waiting.kind not in WEAK:
            after, score = _stand_alone(after, waiting, score)
        else:
            score -= waiting.worth
    return mention, replace(after, score=score, pending=tuple(kept))


def flushed(state: State) -> State:
    """The state with nothing waiting: fingers stand for a note of no name, all else was not said of any."""
    after, score = replace(state, pending=()), state.score
    for waiting in state.pending:
        if group_of(waiting.kind) == "finger" and waiting.kind not in WEAK:
            after, score = _stand_alone(after, waiting, score)
        else:
            score -= waiting.worth
    after.score = score
    return after


def _given_up(state: State) -> State:
    """Claims that wait behind a full stop and are tied too loosely to any note to come wait no longer.

    Their worth must not be kept: a reading that only waits would else look better than one that hears the notes.
    """
    lost = tuple(p for p in state.pending if p.stopped and not _ties_on(p))
    if not lost:
        return state
    waiting = tuple(p for p in state.pending if p not in lost)
    after = flushed(replace(state, pending=lost))
    after.pending = waiting
    if state.last == "pending" and not waiting:
        after.last = "claim"
    return after


def _pulled(waiting: Waiting, right: float, *, stopped: bool) -> Waiting:
    """The claim with its tie to the note to come changed by so much; once it is stopped nothing ties it closer."""
    more = min(0.0, right) if waiting.stopped else right
    return replace(waiting, right=bounded(waiting.right + more), stopped=stopped)


def _stand_alone(after: State, waiting: Waiting, score: float) -> tuple[State, float]:
    if waiting.worth < _FLUSHED or waiting.kind == "same_finger":
        return after, score - waiting.worth
    for value in waiting.values:
        claim: Claim = claimed(waiting.kind, value, waiting.first, waiting.last)
        alone = Mention(note=None, first_word=waiting.first, last_word=waiting.last, claims=(claim,), p=0.8)
        after = replace(after, done=(after.done, alone), count=after.count + 1)
    return after, score - _FLUSHED


def _ties_on(waiting: Waiting) -> bool:
    """Whether a waiting claim is tied closely enough to be said of a note that comes now."""
    if waiting.kind == "digits":
        return waiting.right >= (_DIGITS_FOR if waiting.worth else 0.0)
    if waiting.kind == "ordinal":
        return waiting.right >= _ORDINAL_FOR
    return waiting.right >= (_WEAK_TIE if waiting.kind in WEAK else _LEAST_TIE)
