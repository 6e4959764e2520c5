"""One claim: said of the note before it, kept waiting for the note to come, standing alone, or in place of the last."""

from __future__ import annotations

import math
from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.language import Value
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.form import form_word
from partwright.checking.narration.parsing.state import WEAK, Head, State, Waiting, claimed, group_of, put_away
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.values import claim_value
from partwright.checking.narration.parsing.waiting import behind, flushed

__all__ = ["take_claim"]

_SURE_DIGIT = 0.8  # a lone number is a finger only where it was heard as one
_DIGIT_GAP_WORDS = 4
_UNNAMED = 1.6  # price of a finger said of no named note
_UNNAMED_P = 0.9
_PLACE_COUNT = 1.0  # "section A is played twice": close by, or it is no count of the section
_ENDS_SENTENCE = -0.9  # a bare ordinal that ends a sentence is of the note before, if of any
_WEAK_LEFT, _LEFT = 0.4, -2.5  # least ties to the note before, for a bare word and for a whole phrase
_STRING_LETTER_LEFT = 0.9
_CORRECTED = 1.0
_DOTTED = 1.5
# "That's a half note.": of the note before, whatever was said since
_TOLD_AFTERWARDS = frozenset({"value", "beats", "whole_bar", "half_bar"})

_TELLS_AT_ONCE = frozenset({"is", "'s", "are"})
_UNDIVIDED = frozenset({"finger", "string", "position"})  # no comma stands within their words

Values = tuple[Value, ...]


def take_claim(ties: Ties, state: State, atom: Atom) -> list[State]:
    """The states after a claim, one for each note it may be of."""
    kind, values = claim_value(atom)
    if kind == "value" and ties.has(atom, "dotted"):
        values = (_DOTTED * float(values[0]),)
    if kind == "beats" and ties.has(atom, "half"):
        whole = ties.has(atom, "and")  # "a beat and a half", not "half a beat"
        values = (float(values[0]) + 0.5 if whole else 0.5,)
    group = group_of(kind)
    worth = atom.weight - atom.price
    if atom.hint == "back" and kind in _TOLD_AFTERWARDS and state.head is not None and state.head.kind == "note":
        state = replace(flushed(state), left=max(state.left, ties.none.left), stopped=False)
    if state.pending:
        state = replace(state, pending=tuple(replace(p, stopped=True) for p in state.pending))
    if state.correcting > 0 and state.last_group == group:
        corrected = _corrected(ties, state, atom, kind, values, worth)
        if corrected is not None:
            return [behind(ties, corrected, atom)]
    if _is_none(ties, state, atom):
        return []
    found = _of_note_before(ties, state, atom, kind, values, worth)
    if atom.kind in ("digit", "string_letter"):
        return found
    found.append(_of_note_to_come(ties, state, atom, kind, values, worth))
    if kind in ("finger", "bow") and atom.kind not in WEAK:
        found.append(_of_no_named_note(ties, state, atom, kind, values, worth))
    return found


def _is_none(ties: Ties, state: State, atom: Atom) -> bool:
    """Whether these words look like a claim and cannot be one here."""
    if atom.kind == "string_letter":
        if ties.form_behind(atom) in ties.sets["accidental"]:
            return True  # "the D on the F sharp": half a name, no string
        return state.last != "head" or bool(state.pending) or state.left < _STRING_LETTER_LEFT
    if atom.kind == "digit":
        return not _lone_digit(ties, state, atom)
    if atom.kind == "bow" and ties.words[atom.first_word].form in _TELLS_AT_ONCE and not ties.has(atom, "bow"):
        head = state.head  # "B flat's down": right behind the name, or it is no stroke
        return head is None or state.last != "head" or head.mention.last_word != atom.first_word - 1
    if atom.kind in _UNDIVIDED and any(ties.words[k].stop for k in range(atom.first_word, atom.last_word)):
        return True  # "open string, two beats" is no second string
    if atom.kind == "position" and atom.first_word and ties.words[atom.first_word].form == "position":
        return ties.words[atom.first_word - 1].form in ties.ordinals  # "in second position, four on A flat"
    return atom.kind == "finger" and _begins_a_run(ties, atom)


def _of_note_before(ties: Ties, state: State, atom: Atom, kind: str, values: Values, worth: float) -> list[State]:
    head, group = state.head, group_of(kind)
    if head is None or state.pending or (head.kind == "place" and kind != "count"):
        return []
    free = group not in head.groups or group in head.again
    leftward = state.left + ties.atom(atom, kind).left
    behind_claim = state.last == "claim" and head.mention.last_word == atom.first_word - 1
    if kind == "position" and behind_claim:
        leftward = state.left + ties.none.left  # "F, third finger, third position"
    if kind == "string" and behind_claim and state.last_group == "finger":
        leftward += ties.none.left  # "G, third finger, D string. Open A …"
    if head.kind == "place":
        free = free and leftward >= _PLACE_COUNT
    least = _WEAK_LEFT if atom.kind in WEAK and group in ("finger", "string") else _LEFT
    if atom.kind == "ordinal" and ties.words[atom.last_word].stop == 2:
        least = _ENDS_SENTENCE  # "G now, third." has no other note to be of
    if not free or leftward < least:
        return []
    mention = head.mention
    if group in head.groups:
        mention = replace(mention, claims=tuple(c for c in mention.claims if group_of(c.kind) != group))
    claim = claimed(kind, values, atom.first_word, atom.last_word)
    doubt = 0.5 if state.correcting > 0 else 1.0  # "D sharp, no wait, third finger": of which note?
    claim = replace(claim, p=doubt * claim.p * math.exp(-0.5 * atom.price))
    after = replace(state, score=state.score + worth + leftward, last="claim", last_group=group, light=False)
    if head.kind == "place":
        after.form = (state.form, form_word(state, kind, values, atom))
    after.head = Head(mention.with_claim(claim), head.kind, head.groups | {group}, head.again - {group})
    after.left, after.stopped = min(0.8, state.left + 0.4), False
    return [behind(ties, after, atom)]


def _of_note_to_come(ties: Ties, state: State, atom: Atom, kind: str, values: Values, worth: float) -> State:
    group = group_of(kind)
    base = state
    clash = next((p for p in state.pending if group_of(p.kind) == group), None)
    if clash is not None:
        base = flushed(replace(state, pending=(clash,)))
        base.pending = tuple(p for p in state.pending if p is not clash)
    name = kind if kind != "finger" or atom.kind not in WEAK else atom.kind
    right = ties.none.right + ties.atom(atom, kind).right
    waiting = Waiting(name, (values,), atom.first_word, atom.last_word, worth, right)
    after = replace(
        base, score=base.score + worth, pending=(*base.pending, waiting), last="pending", last_group=group, light=False
    )
    return behind(ties, after, atom)


def _of_no_named_note(ties: Ties, state: State, atom: Atom, kind: str, values: Values, worth: float) -> State:
    """ "Second finger here": of a note that nobody named."""
    group = group_of(kind)
    after = flushed(put_away(state))
    first, last = atom.first_word, atom.last_word
    claim = Claim(kind=kind, value=values, first_word=first, last_word=last, p=_UNNAMED_P)
    alone = Mention(note=None, first_word=first, last_word=last, claims=(claim,), cues=after.cues, p=_UNNAMED_P)
    after.cues = ()
    after.head = Head(alone, "finger", frozenset({group}))
    after.score += worth - _UNNAMED
    after.run, after.left, after.stopped, after.light = 0, 0.8, False, False
    after.last, after.last_group = "claim", group
    return behind(ties, after, atom)


def _corrected(ties: Ties, state: State, atom: Atom, kind: str, values: Values, worth: float) -> State | None:
    """The claim in place of the one before it that was taken back."""
    head = state.head
    if state.last in ("claim", "head") and head is not None and head.mention.claims:
        old = head.mention.claims[-1]
        if group_of(old.kind) != group_of(kind) or (state.last == "head" and head.mention.name_first < 0):
            return None
        claim = claimed(kind, values, atom.first_word, atom.last_word)
        mention = replace(head.mention, claims=(*head.mention.claims[:-1], claim), last_word=atom.last_word)
        after = replace(state, score=state.score + worth + _CORRECTED, correcting=0, left=0.8, stopped=False)
        after.head = replace(head, mention=mention)
        return after
    if state.last == "pending" and state.pending and group_of(state.pending[-1].kind) == group_of(kind):
        name = atom.kind if atom.kind in ("ordinal", "digit") else kind
        waiting = Waiting(name, (values,), atom.first_word, atom.last_word, worth, ties.none.right)
        return replace(
            state, score=state.score + worth - state.pending[-1].worth + _CORRECTED,
            pending=(*state.pending[:-1], waiting), correcting=0, last="pending",
        )  # fmt: skip
    return None


def _lone_digit(ties: Ties, state: State, atom: Atom) -> bool:
    """Whether one number alone can be a finger: plainly heard, right after a note, and not a count of something."""
    words = ties.words
    if atom.price > _SURE_DIGIT or state.head is None or state.last != "head":
        return False
    gap = range(state.head.mention.last_word + 1, atom.first_word)
    if len(gap) > _DIGIT_GAP_WORDS or any(words[k].form not in ties.sets["digit_gap"] for k in gap):
        return False
    before = words[atom.first_word - 1].form if atom.first_word else ""
    after = ties.form_behind(atom)
    if before in ties.digits or after in ties.digits:
        return False
    return not after or words[atom.last_word].stop > 0 or after in ties.sets["digit_end"]


def _begins_a_run(ties: Ties, atom: Atom) -> bool:
    """Whether "fingers four" goes on with more numbers: "fingers four three one" is said of three notes."""
    words, last, next_word = ties.words, ties.words[atom.last_word], atom.last_word + 1
    if next_word >= len(words) or last.stop == 2 or last.form not in ties.digits:
        return False
    after = words[next_word + 1].form if next_word + 1 < len(words) else ""
    return words[next_word].form in ties.digits - {"open", "oh"} and after not in ties.sets["digit_before"]
