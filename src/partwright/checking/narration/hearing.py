"""What was heard and what may have been meant: words as a lattice with prices.

Units: prices are negative natural logarithms of how likely a meaning is beside the plain one; 0 = as heard.
Shape: nodes in the order of speech; an edge leads from one node to a later one and carries one meant word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.checking.narration.language import Hearing, Language
from partwright.checking.narration.words import Word

__all__ = ["Edge", "Lattice", "hear"]

_LETTERS = ("a", "b", "c", "d", "e", "f", "g")
_PLAIN_LETTER = 0.02  # a letter written as such is one
_SMALL_LETTER = 0.4  # where capitals can be trusted, a small "a" is the article
_SPLIT, _JOINED = 0.5, 0.9
_SPLIT_LETTER, _SPLIT_SHORT = 0.35, 1.2
_SPLIT_ARTICLE = 1.5  # how much dearer the note A is than the article, in a word run together
_ACCIDENTALS = ("sharp", "flat", "natural")
_MOST_UNLIKELY = 3.0
_STARTING_A = 0.1
_ARTICLE_IN_CAPITALS = 2.5  # where capitals can be trusted, a large "A" within a sentence is no article
_LARGE_A_LESS = 1.2  # "A" at the start of a sentence
_SHORTEST_JOIN = 5


@dataclass(frozen=True, slots=True)
class Edge:
    """One meant word between two nodes."""

    meant: str
    to: int
    price: float


@dataclass(frozen=True, kw_only=True)
class Lattice:
    """Edges by node. `word_of[node]` is the index of the word that begins there (the last one for nodes within)."""

    edges: tuple[tuple[Edge, ...], ...]
    word_of: tuple[int, ...]
    node_of_word: tuple[int, ...]  # node at which each word begins; one more entry for the end


def hear(words: Sequence[Word], language: Language, *, trust_capitals: bool) -> Lattice:
    """The lattice of a transcript's words."""
    edges: list[list[Edge]] = [[] for _ in range(len(words) + 1)]
    extra: list[list[Edge]] = []
    extra_word: list[int] = []
    letters = [_is_letter(words, k) for k in range(len(words))]

    def between(start: int, end: int, first: str, second: str, price: float, index: int) -> None:
        extra.append([Edge(second, end, 0.0)])
        extra_word.append(index)
        edges[start].append(Edge(first, len(words) + len(extra), price))

    for k, word in enumerate(words):
        form = word.form
        named = trust_capitals and form == "a" and word.capital and not word.first
        edges[k].append(Edge(form, k + 1, _ARTICLE_IN_CAPITALS if named else 0.0))
        _letter_edges(edges[k], words, k, trust_capitals)
        if len(form) == 3 and form[1:] == "'s" and form[0] in _LETTERS:
            between(k, k + 1, f"N:{form[0]}", "'s", 0.03, k)
        for row in language.hearing.get(form, ()):
            size = len(row.heard)
            if size == 1 or tuple(w.form for w in words[k : k + size]) == row.heard:
                if row.meant.startswith("N:") and trust_capitals and form == "a" and not word.capital:
                    continue
                extra_price = (
                    0.5 if trust_capitals and not word.capital and row.meant.startswith("N:") and row.price > 3 else 0.0
                )
                if trust_capitals and form == "a" and word.capital and not word.first:
                    edges[k].append(Edge("N:a", k + 1, _PLAIN_LETTER))
                    continue
                if form == "a" and word.capital and _named_at_start(words, k, language):
                    edges[k].append(Edge("N:a", k + 1, _STARTING_A))
                    continue
                edges[k].append(Edge(row.meant, k + size, _price(row, words, letters, k, size) + extra_price))
        known = form in language.vocabulary or form in language.hearing or form in language.sets["whole_words"]
        if not known:
            for first, second, price in _splits(form, language):
                between(k, k + 1, first, second, price, k)
        if k + 1 < len(words) and word.stop < 2:
            joined = form + words[k + 1].form
            one_word = joined in language.vocabulary and len(joined) >= _SHORTEST_JOIN
            if one_word and not (form in language.vocabulary and words[k + 1].form in language.vocabulary):
                edges[k].append(Edge(joined, k + 2, _JOINED))
    return _in_order(edges, extra, extra_word, len(words))


def _named_at_start(words: Sequence[Word], k: int, language: Language) -> bool:
    """Whether a large "A" that begins a sentence is the note: a comma follows, or a word that stands behind a name."""
    after = words[k + 1].form if k + 1 < len(words) and words[k].stop < 2 else ""
    return words[k].stop == 1 or after in language.sets["behind_a_name"]


def _splits(form: str, language: Language) -> list[tuple[str, str, float]]:
    """Two meant words that may have run together in this one, each way with its price."""
    found = []
    if len(form) == 2 and form[0] in _LETTERS and form[1] in _LETTERS:
        found.append((f"N:{form[0]}", f"N:{form[1]}", _SPLIT_LETTER))  # "gd": G, D
    for cut in range(1, len(form)):
        left, right = form[:cut], form[cut:]
        if left in _LETTERS and right in language.sets["joins_after"]:
            price = 0.05 if right in _ACCIDENTALS else _SPLIT_LETTER if len(form) > 3 else _SPLIT_SHORT
            if left == "a" and right not in (*_ACCIDENTALS, "string"):
                found.append((left, right, price))  # "afinger": rather the article
                price += _SPLIT_ARTICLE
            found.append((f"N:{left}", right, price))
        elif right in _LETTERS and left in language.sets["joins_before"]:
            price = _SPLIT_LETTER if len(form) > 3 else _SPLIT_SHORT
            if right == "a":
                found.append((left, right, price))  # "isa": rather the article
                price += _SPLIT_ARTICLE
            found.append((left, f"N:{right}", price))
        elif min(len(left), len(right)) > 1 and _both_words(left, right, language):
            found.append((left, right, _SPLIT))
    return found


def _both_words(left: str, right: str, language: Language) -> bool:
    """Whether both are words of ours, at least one of them of a phrase."""
    known = (left in language.vocabulary, right in language.vocabulary)
    return any(known) and all(k or word in language.links for k, word in zip(known, (left, right), strict=True))


def _letter_edges(edges: list[Edge], words: Sequence[Word], k: int, trust_capitals: bool) -> None:
    form = words[k].form
    stem = form[0] if form else ""
    plural = len(form) in (2, 3) and form[1:] in ("s", "'s") and stem in _LETTERS
    if form in _LETTERS and len(form) == 1 and form != "a":
        small = trust_capitals and not words[k].capital
        edges.append(Edge(f"N:{form}", k + 1, _SMALL_LETTER if small else _PLAIN_LETTER))
    elif plural and form != "as":
        edges.append(Edge(f"N:{stem}s", k + 1, 0.03))
    elif form == "as" and trust_capitals and words[k].capital and words[k].text[:1] == "A" and not words[k].first:
        edges.append(Edge("N:as", k + 1, 0.1))


def _is_letter(words: Sequence[Word], k: int) -> bool:
    form = words[k].form
    return form in ("b", "c", "d", "e", "f", "g", "sharp", "flat")


def _price(row: Hearing, words: Sequence[Word], letters: Sequence[bool], k: int, size: int) -> float:
    before = words[k - 1].form if k and words[k - 1].stop < 2 else ""
    last = words[k + size - 1]
    after = words[k + size].form if k + size < len(words) and last.stop < 2 else ""
    price = row.price
    if before in row.before:
        price -= row.before_less
    letter_after = after in _LETTERS[1:] and bool(after)
    if after in row.after or (letter_after and "{letters}" in row.after):
        price -= row.after_less
    if after in row.not_after or (letter_after and "{letters}" in row.not_after):
        price += _MOST_UNLIKELY
    if row.meant == "N:a" and words[k].capital:
        price -= _LARGE_A_LESS
    if row.letters_less:
        letter_before = bool(before) and letters[k - 1]
        price -= row.letters_less * (letter_before + (letter_before and letter_after))
    return max(0.1, price)


def _in_order(edges: list[list[Edge]], extra: list[list[Edge]], extra_word: list[int], size: int) -> Lattice:
    """Nodes renumbered so that every edge leads forward: the nodes within a word come right after its own."""
    inside: dict[int, list[int]] = {}
    for number, word in enumerate(extra_word):
        inside.setdefault(word, []).append(size + 1 + number)
    order: list[int] = []
    word_of: list[int] = []
    for k in range(size + 1):
        order.append(k)
        word_of.append(min(k, max(0, size - 1)))
        for node in inside.get(k, ()):
            order.append(node)
            word_of.append(k)
    place = {node: position for position, node in enumerate(order)}
    renumbered = []
    for node in order:
        own = edges[node] if node <= size else extra[node - size - 1]
        renumbered.append(tuple(Edge(e.meant, place[e.to], e.price) for e in own))
    return Lattice(
        edges=tuple(renumbered), word_of=tuple(word_of), node_of_word=tuple(place[k] for k in range(size + 1))
    )
