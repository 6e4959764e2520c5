"""Runs of finger numbers: for the list of names before them, for the list to come, or standing for notes themselves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from partwright.checking.narration.atoms import NAMED_OPEN, Atom
from partwright.checking.narration.language import Value
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.state import Head, State, Waiting, group_of, put_away
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.waiting import behind, flushed

__all__ = ["take_run"]

_NAME_INSIDE = 2.5  # "open D, first, third": the name is a part of the run, no note of its own
_LIST_ENDS = 0.5
_UNNAMED = 0.8  # price of a run said of no named notes
_LONGER_RUN_P = 0.85
_BROKEN_WORDS = 3

Values = tuple[tuple[Value, ...], ...]


def take_run(ties: Ties, state: State, atom: Atom) -> list[State]:
    """The states after a run, one for each list of notes it may be of."""
    values = tuple((v,) for _, _, v in atom.captures)
    worth = atom.weight - atom.price
    found = _of_list_before(ties, state, atom, values, worth)
    if atom.hint == NAMED_OPEN:
        return found
    found += _of_shorter_list_before(ties, state, atom, values, worth)
    if not _finger_waits(state):
        waiting = Waiting("digits", values, atom.first_word, atom.last_word, worth, ties.none.right)
        after = replace(
            state, score=state.score + worth, pending=(*state.pending, waiting), last="pending", last_group="finger"
        )
        found.append(behind(ties, after, atom))
    found.append(_of_no_named_notes(ties, state, atom, values, worth))
    return found


def _of_list_before(ties: Ties, state: State, atom: Atom, values: Values, worth: float) -> list[State]:
    size = len(values)
    if not (state.run >= max(2, size) and state.head and state.last == "head" and not state.pending):
        return []
    recent, rest = _recent(state, size)
    exact = size == state.run
    apart = state.stopped  # a sentence ended in between: hardly the fingers of these notes
    if recent is None or _said_of_one(ties, atom) or (apart and not exact):
        return []
    bonus = -0.5 if apart or not exact else 1.5
    if exact and atom.hint == NAMED_OPEN:
        bonus += _NAME_INSIDE
    certainty = 0.5 if _is_broken(ties, atom) or apart else 1.0 if exact else 0.9
    after = replace(state, score=state.score + worth + max(-1.0, state.left) + bonus)
    return [_dealt(ties, after, atom, recent, rest, values, p=certainty, run=size, left=0.5)]


def _of_shorter_list_before(ties: Ties, state: State, atom: Atom, values: Values, worth: float) -> list[State]:
    """A run longer than the list before it: the list takes its own, the rest is the beginning of another run."""
    if not (2 <= state.run < len(values) and state.head and state.last == "head" and state.left >= _LIST_ENDS):
        return []
    recent, rest = _recent(state, state.run)
    if recent is None:
        return []
    pending = state.pending
    others = values[len(recent) :]
    if len(others) > 1 and not _finger_waits(state):
        pending = (*pending, Waiting("digits", others, atom.first_word, atom.last_word, 0.5, ties.none.right))
    after = replace(state, score=state.score + worth + 1.0, pending=pending)
    return [_dealt(ties, after, atom, recent, rest, values, p=_LONGER_RUN_P, run=state.run, left=0.0)]


def _of_no_named_notes(ties: Ties, state: State, atom: Atom, values: Values, worth: float) -> State:
    size = len(values)
    after = flushed(put_away(state))
    words = range(atom.first_word, atom.last_word + 1)
    sure = 0.5 if _is_broken(ties, atom) else 0.93
    for k, value in enumerate(values):
        at = words[min(k, len(words) - 1)] if len(words) == size else atom.first_word
        claim = _number(atom, value, p=sure, run=size)
        alone = Mention(
            note=None, first_word=at, last_word=atom.last_word if at == atom.first_word else at, tight=k > 0,
            claims=(claim,), p=0.95, cues=after.cues if k == 0 else (),
        )  # fmt: skip
        if k < size - 1:
            after.done, after.count = (after.done, alone), after.count + 1
        else:
            after.head = Head(alone, "finger", frozenset({"finger"}))
    after.cues = ()
    after.score += worth - _UNNAMED
    after.run, after.left, after.stopped, after.light, after.last = 0, -0.5, False, False, "claim"
    after.last_group = "finger"
    return behind(ties, after, atom)


def _dealt(
    ties: Ties, after: State, atom: Atom, names: list[Mention], done: Any, values: Values, *,
    p: float, run: int, left: float,
) -> State:  # fmt: skip
    """The state in which each of these names has its finger. `done`: what was finished before them."""
    assert after.head is not None
    given = [name.with_claim(_number(atom, v, p=p, run=run)) for name, v in zip(names, values, strict=False)]
    for mention in given[:-1]:
        done = (done, mention)
    after.done, after.last, after.last_group, after.run, after.light = done, "claim", "finger", 0, False
    after.head = replace(after.head, mention=given[-1], groups=after.head.groups | {"finger"})
    after.left, after.stopped = left, False
    return behind(ties, after, atom)


def _number(atom: Atom, value: tuple[Value, ...], *, p: float, run: int) -> Claim:
    return Claim(kind="finger", value=value, first_word=atom.first_word, last_word=atom.last_word, p=p, run=run)


def _finger_waits(state: State) -> bool:
    return any(group_of(p.kind) == "finger" for p in state.pending)


def _said_of_one(ties: Ties, atom: Atom) -> bool:
    """Whether a run of named fingers begins as a claim of one note: "F sharp is second finger, then …"."""
    named = atom.hint == NAMED_OPEN or ties.has(atom, "finger")
    return named and atom.first_word > 0 and ties.words[atom.first_word - 1].form in ties.sets["ties_one"]


def _is_broken(ties: Ties, atom: Atom) -> bool:
    """Whether more numbers stand close by: then a word in between hides where the run begins or ends."""
    near = [
        *range(atom.first_word - _BROKEN_WORDS, atom.first_word),
        *range(atom.last_word + 1, atom.last_word + 1 + _BROKEN_WORDS),
    ]
    return any(0 <= k < len(ties.words) and ties.words[k].form in ties.digits - {"open"} for k in near)


def _recent(state: State, size: int) -> tuple[list[Mention] | None, Any]:
    """The last `size` mentions, oldest first, if none of them has a finger; and what came before them."""
    assert state.head is not None
    found = [state.head.mention]
    rest = state.done
    while len(found) < size and rest is not None:
        found.append(rest[1])
        rest = rest[0]
    if len(found) < size or any(group_of(c.kind) == "finger" for m in found for c in m.claims):
        return None, rest
    return found[::-1], rest
