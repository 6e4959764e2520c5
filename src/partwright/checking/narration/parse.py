"""From words to mentions: which words are meant, and which claim belongs to which note. A weighted grammar, best parse.

A claim between two notes goes to the one its surroundings tie it to: every word in between speaks for the note before
or the note after (`links` in the table), commas and full stops speak too. A note takes one claim of a kind. After a
correction ("sorry", "I mean") the new word takes the place of the old one. The steps are in `parsing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from partwright.checking.narration.atoms import find_atoms
from partwright.checking.narration.bar_statements import find_bar_statements
from partwright.checking.narration.hearing import hear
from partwright.checking.narration.language import Language
from partwright.checking.narration.mentions import Spoken
from partwright.checking.narration.numbered_bars import find_numbered_bars
from partwright.checking.narration.parsing.afterthoughts import corrections, second_thoughts
from partwright.checking.narration.parsing.ties import Ties
from partwright.checking.narration.parsing.values import claim_value
from partwright.checking.narration.parsing.walk import best_state
from partwright.checking.narration.recalls import find_recalls
from partwright.checking.narration.remarks import find_remarks
from partwright.checking.narration.words import Word, trusts_capitals

__all__ = ["claim_value", "parse_words"]

_NOBODY = -1.2  # a claim tied to its note by less than this is more likely of a note that was not heard …
_NOBODY_NOISY = -0.3  # … where the words came without capitals and stops, and notes are lost more easily


def parse_words(words: Sequence[Word], language: Language) -> Spoken:
    """Everything these words say of notes, in the order in which it is said."""
    if not words:
        return Spoken(mentions=(), structure=())
    capitals = trusts_capitals(words)
    lattice = hear(words, language, trust_capitals=capitals)
    stops = tuple(word.stop for word in words)
    recalls = find_recalls(words, language)
    statements = find_bar_statements(words, language, recalls)
    likened = [(said.first_word, said.last_word) for said in statements if said.kind == "alike"]
    bars = find_numbered_bars(words, language, (*recalls, *likened))
    atoms = find_atoms(lattice, language, stops, (*find_remarks(words, language), *recalls), bars)
    ties = Ties(words, language)
    state = best_state(lattice, atoms, ties)
    mentions = second_thoughts(ties, _in_order(state.done), _NOBODY if capitals else _NOBODY_NOISY)
    return Spoken(
        mentions=mentions,
        structure=tuple(_in_order(state.form)),
        bar_statements=statements,
        corrections=corrections(ties, atoms, mentions),
    )


def _in_order(chain: Any) -> list[Any]:
    """The items of a chain of (what came before, item), first one first."""
    found = []
    while chain is not None:
        chain, item = chain
        found.append(item)
    return found[::-1]
