"""The way through the lattice: the best few understandings at every node, each taken on by words and by atoms.

A beam search: linear in the number of words, as the beam is narrow and nothing looks back beyond one run of notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.hearing import Lattice
from partwright.checking.narration.parsing.claims import take_claim
from partwright.checking.narration.parsing.form import FORM, take_form, take_place
from partwright.checking.narration.parsing.notes import take_alternation, take_note, take_pairs
from partwright.checking.narration.parsing.runs import take_run
from partwright.checking.narration.parsing.state import NOTES, PLACES, State, put_away
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.waiting import flushed, pass_half, pass_over

__all__ = ["best_state"]

_BEAM = 8
_CORRECTING_WORDS, _WEAKLY_CORRECTING_WORDS = 5, 2
_STAY = 0.1

_Beams = list[dict[tuple[object, ...], State] | None]


def best_state(lattice: Lattice, atoms: Sequence[Sequence[Atom]], ties: Ties) -> State:
    """The best understanding of all words, with nothing left open."""
    starts = set(lattice.node_of_word)
    size = len(lattice.edges)
    beams: _Beams = [None] * size
    beams[0] = {(): State(0.0)}
    for node in range(size - 1):
        states = beams[node]
        beams[node] = None
        if not states:
            continue
        edges = lattice.edges[node]
        halves = [edge for edge in edges if edge.to not in starts]
        word = lattice.word_of[node]
        plain = node == lattice.node_of_word[word]
        for state in sorted(states.values(), key=lambda s: -s.score)[:_BEAM]:
            if plain:
                _put(beams, lattice.node_of_word[word + 1], pass_over(ties, state, word, word))
                for half in halves:  # "thed": past the "the", so that the D can be a note
                    _put(beams, half.to, pass_half(ties, state, half))
            else:
                _put(beams, edges[0].to, state)
            for atom in atoms[node]:
                for after in _take(ties, state, atom):
                    _put(beams, atom.end, after)
    final = max((beams[size - 1] or {}).values(), key=lambda s: s.score)
    return flushed(put_away(final))


def _put(beams: _Beams, node: int, state: State) -> None:
    here = beams[node]
    if here is None:
        here = beams[node] = {}
    key = state.key()
    if key not in here or here[key].score < state.score:
        here[key] = state


def _take(ties: Ties, state: State, atom: Atom) -> list[State]:
    """The states after an atom; none where it cannot stand here."""
    kind = atom.kind
    if kind in NOTES:
        return take_note(ties, state, atom)
    if kind in PLACES:
        return [take_place(ties, state, atom)]
    if kind in FORM:
        return [take_form(ties, state, atom)]
    if kind == "other":
        after = replace(state, score=state.score + atom.weight - atom.price)
        after = pass_over(ties, after, atom.first_word, atom.last_word)
        after.light = False
        return [after]
    if kind in ("correction", "weak_correction"):
        if state.head is None and not state.pending:
            return []
        after = replace(state, score=state.score + atom.weight - atom.price)
        after.correcting = _CORRECTING_WORDS if kind == "correction" else _WEAKLY_CORRECTING_WORDS
        return [after]
    if kind == "stay":
        return [pass_over(ties, replace(state, score=state.score + _STAY), atom.first_word, atom.last_word)]
    if kind == "alternate":
        return [take_alternation(ties, state, atom)]
    if kind == "pairs":
        return take_pairs(ties, state, atom)
    if kind == "digits":
        return take_run(ties, state, atom)
    return take_claim(ties, state, atom)
