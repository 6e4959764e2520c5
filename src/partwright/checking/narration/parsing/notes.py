"""Names of notes: a new mention, or another name for the last one after a correction."""

from __future__ import annotations

import math
from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.parsing.state import Head, State, group_of, put_away
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.values import said_claim
from partwright.checking.narration.parsing.waiting import behind, settle

__all__ = ["take_alternation", "take_note", "take_pairs"]

_LONGER = 0.8  # each further word of a note's name: "F sharp" is one name, not "F" and a remark
_PAIRED_P = 0.97
_REPLACES_WORDS = 8  # so soon after the last words of a note a correction may give it another name
_REPLACED = 0.6
_UNUSUAL_HEARD = 0.5  # "E sharp": rather the accidental of a letter that was lost

Name = tuple[str, int | None]


def take_note(ties: Ties, state: State, atom: Atom) -> list[State]:
    """The state after the name of a note, of several ("two Ds"), or after an article whose name was lost."""
    if atom.kind == "note" and _names_a_string(ties, atom):
        return []
    note = _name(atom)
    heard = math.exp(-atom.price)
    if note is not None and f"{note[0]}{note[1]}" in ties.sets["unusual"]:
        heard *= _UNUSUAL_HEARD
    claims = _own_claims(ties, atom)
    head = state.head
    if (
        state.correcting > 0 and head is not None and head.kind == "note" and state.last != "pending"
        and note is not None and atom.first_word - head.mention.last_word <= _REPLACES_WORDS
    ):  # fmt: skip
        return [_renamed(ties, state, head, atom, note, heard, claims)]
    tight = state.light and head is not None and head.kind == "note" and state.last == "head"
    after = put_away(state)
    mention = Mention(
        note=note, first_word=atom.first_word, last_word=atom.last_word, p=heard, hint=atom.hint,
        name_first=atom.first_word, name_last=atom.last_word, tight=tight,
        plural=atom.kind.startswith("plural"), claims=claims, cues=after.cues,
    )  # fmt: skip
    after.cues = ()
    longer = 0.0 if atom.kind == "lost" else _LONGER * (atom.last_word - atom.first_word)
    mention, after = settle(after, mention, after.score + atom.weight - atom.price + longer, ties.none.right)
    groups = frozenset(group_of(c.kind) for c in mention.claims)
    after.head = Head(mention, "lost" if atom.kind == "lost" else "note", groups)
    after.run = state.run + 1 if tight else 1
    after.left, after.stopped, after.light, after.last, after.correcting = ties.none.left, False, True, "head", 0
    return [behind(ties, after, atom)]


def take_alternation(ties: Ties, state: State, atom: Atom) -> State:
    """The state after "back and forth between E and F sharp": two mentions at once."""
    one_note, two_note = (_named(atom, name) for name in ("one", "two"))
    after = put_away(state)
    p = math.exp(-atom.price / 2)
    one, two = atom.first_word, atom.last_word
    blank = Mention(note=None, first_word=one, last_word=two, name_first=one, name_last=two, p=p)
    first = replace(blank, note=one_note, cues=after.cues)
    after.cues = ()
    worth = atom.weight - atom.price + _LONGER * sum(alter is not None for _, alter in (one_note, two_note))
    first, after = settle(after, first, after.score + worth, ties.none.right)
    claim = said_claim("alternate", (one_note[0], one_note[1] if one_note[1] is not None else 9), atom)
    second = replace(blank, note=two_note, tight=True, claims=(claim,))
    after.done, after.count = (after.done, first), after.count + 1
    after.head = Head(second, "note", frozenset({"alternate"}))
    after.run, after.left, after.stopped, after.light, after.last = 2, ties.none.left, False, False, "head"
    return behind(ties, after, atom)


def take_pairs(ties: Ties, state: State, atom: Atom) -> list[State]:
    """The state after "D four, B one, C sharp two": each note with the number behind it."""
    if state.correcting > 0 or any(group_of(p.kind) == "finger" for p in state.pending):
        return []
    after = put_away(state)
    after.score += atom.weight - atom.price
    for k in range(0, len(atom.parts), 2):
        name, number = atom.parts[k], atom.parts[k + 1]
        claim = replace(
            said_claim("finger", (int(number.captures[0][2]),), number), listed=atom.first_word, p=_PAIRED_P
        )
        mention = Mention(
            note=_name(name), first_word=name.first_word, last_word=number.last_word, p=math.exp(-name.price),
            name_first=name.first_word, name_last=name.last_word, tight=k > 0, claims=(claim,),
            cues=() if k else after.cues,
        )  # fmt: skip
        if k == 0:
            after.cues = ()
            mention, after = settle(after, mention, after.score, ties.none.right)
        if k + 2 < len(atom.parts):
            after.done, after.count = (after.done, mention), after.count + 1
        else:
            groups = frozenset(group_of(c.kind) for c in mention.claims)
            after.head = Head(mention, "note", groups)
    after.run, after.left, after.stopped, after.light, after.correcting = 1, ties.none.left, False, False, 0
    after.last, after.last_group = "claim", "finger"
    return [behind(ties, after, atom)]


def _renamed(
    ties: Ties, state: State, head: Head, atom: Atom, note: Name, heard: float, claims: tuple[Claim, ...]
) -> State:
    """The note before it under its right name; what was claimed of it stays, but may be said anew."""
    new = {group_of(claim.kind) for claim in claims}
    kept = tuple(claim for claim in head.mention.claims if group_of(claim.kind) not in new)
    mention = replace(
        head.mention, note=note, last_word=atom.last_word, name_first=atom.first_word,
        name_last=atom.last_word, p=heard, hint=atom.hint, claims=(*kept, *claims),
    )  # fmt: skip
    groups = frozenset(group_of(c.kind) for c in mention.claims)
    after = replace(
        state, score=state.score + atom.weight - atom.price + _REPLACED, left=ties.none.left, stopped=False,
        light=True, last="head", head=Head(mention, "note", groups, groups), correcting=0,
    )  # fmt: skip
    return behind(ties, after, atom)


def _name(atom: Atom) -> Name | None:
    letter = atom.value("letter") or atom.value("letters")
    accidental = atom.value("accidental")
    if accidental is None:
        accidental = atom.value("accidentals")
    return None if letter is None else (str(letter), None if accidental is None else int(accidental))


def _named(atom: Atom, name: str) -> Name:
    """One of the two notes of an alternation."""
    step = next(str(v) for capture, cls, v in atom.captures if capture == name and cls == "letter")
    alter = next((int(v) for capture, cls, v in atom.captures if capture == name and cls == "accidental"), None)
    return step, alter


def _own_claims(ties: Ties, atom: Atom) -> tuple[Claim, ...]:
    """What the name itself says: "open D" of finger and string, "three Ds" of how often."""
    claims: list[Claim] = []
    if atom.kind == "note_open":
        claims.append(said_claim("finger", (0,), atom))
        if ties.has(atom, "string"):
            claims.append(said_claim("string", ("letter", str(atom.value("letter") or atom.value("letters"))), atom))
    if atom.kind in ("plural", "plural_loose"):
        count = atom.value("count")
        said = int(count) if count is not None else 2
        claims.append(said_claim("count" if atom.kind == "plural" else "count_loose", (said,), atom))
    return tuple(claims)


def _names_a_string(ties: Ties, atom: Atom) -> bool:
    """Whether "string" comes right after the letter: then it is no note, unless it is an open one."""
    return ties.words[atom.last_word].stop == 0 and ties.form_behind(atom) in ties.sets["string_words"]
