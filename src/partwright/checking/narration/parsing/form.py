"""Places and the form: "section B", "bar twelve", "the same as", and how often a section is played."""

from __future__ import annotations

from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.language import Value
from partwright.checking.narration.mentions import Mention, PlaceCue, StructureWord
from partwright.checking.narration.parsing.state import Head, State, put_away
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.waiting import behind, flushed

__all__ = ["FORM", "form_word", "take_form", "take_place"]

FORM = frozenset({"same_as", "note_for_note", "except_last_bar", "except_last_note", "except_one_note"})
_CUES_KEPT = 4


def take_place(ties: Ties, state: State, atom: Atom) -> State:
    """The state after words that say where in the piece the speaker goes."""
    value = _place_value(atom)
    cue = PlaceCue(kind=atom.kind, value=value, first_word=atom.first_word, last_word=atom.last_word)
    if _of_note_before(ties, state, atom):
        assert state.head is not None
        mention = replace(state.head.mention, cues=(*state.head.mention.cues, cue)[-_CUES_KEPT:])
        after = replace(state, score=state.score + atom.weight - atom.price, head=replace(state.head, mention=mention))
        return behind(ties, after, atom)
    after = flushed(put_away(state))
    blank = Mention(note=None, first_word=atom.first_word, last_word=atom.last_word)
    after.score += atom.weight - atom.price
    after.head = Head(blank, "place", frozenset())
    after.cues = (*after.cues, cue)[-_CUES_KEPT:]
    after.form = (after.form, form_word(after, atom.kind, value, atom))
    after.left, after.stopped, after.light, after.last, after.run = ties.none.left, False, False, "head", 0
    return behind(ties, after, atom)


def _of_note_before(ties: Ties, state: State, atom: Atom) -> bool:
    """Whether it tells where the note just named is: "the D in bar twenty-one is two beats long"."""
    head = state.head
    return (
        atom.kind in ("bar", "bar_of") and head is not None and head.kind == "note" and state.last == "head"
        and not state.pending and head.mention.name_last == atom.first_word - 1
        and ties.words[atom.first_word - 1].stop == 0 and ties.words[atom.first_word].form in ("in", "of", "at")
    )  # fmt: skip


def take_form(ties: Ties, state: State, atom: Atom) -> State:
    """The state after a piece of a sentence about the form."""
    after = replace(state, score=state.score + atom.weight - atom.price, left=-2.0, light=False)
    after.form = (state.form, form_word(state, atom.kind, (), atom))
    return behind(ties, after, atom)


def form_word(state: State, kind: str, value: tuple[Value, ...], atom: Atom) -> StructureWord:
    """The piece of a sentence about the form that these words are."""
    count = state.count + (state.head is not None and state.head.kind != "place")
    return StructureWord(kind=kind, value=value, first_word=atom.first_word, last_word=atom.last_word, mention=count)


def _place_value(atom: Atom) -> tuple[Value, ...]:
    if atom.kind == "section":
        return (str(atom.value("name")),)
    if atom.kind == "bar":
        return (_number(atom, "number"),)
    if atom.kind == "bar_of":
        return (int(atom.value("ordinal") or 1),)
    if atom.kind == "bars":
        return (_number(atom, "first"), _number(atom, "last"))
    if atom.kind == "end":
        return (atom.hint,)
    if atom.kind == "passage":
        ordinal = atom.value("ordinal")
        if atom.hint == "last":
            return (-1,)
        return () if ordinal is None else (int(ordinal),)
    return ()


def _number(atom: Atom, name: str) -> int:
    """Tens and units of a spoken number; captures of the form carry its own name or, alone in a phrase, their class."""
    parts = [int(v) for capture, cls, v in atom.captures if capture == name or name == "number"]
    return sum(parts)
