"""Atoms: the smallest stretches of speech that mean something, found in the lattice by the grammar's phrases.

Every stretch that could be an atom is one here; `parse` chooses among them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partwright.checking.narration.hearing import Lattice
from partwright.checking.narration.language import Language, Node, Value

__all__ = ["NAMED_OPEN", "Atom", "Capture", "find_atoms"]

Capture = tuple[str, str, Value]  # capture name, class, value

_MOST_STEPS = 16
_DEAREST = 5.0  # what an atom's mishearings may cost together
_LONGEST_RUN = 16
_PLAIN = 0.1
_DOUBTFUL = 0.5
_FINGER = frozenset({"finger"})
NAMED_OPEN = "named open"
_NAMED = 0.5  # each number of a run that is called a finger
_REMARK = 3.0  # worth of each word
_LEAST_PAIRS = 3
_MOST_PAIRS = 8  # a longer list is taken in pieces: nobody says more in one breath, and time stays linear
_IN_PAIR, _SHARP = 2.0, 0.8  # worth of a number of a list of pairs, of an accidental
_TIED, _OPEN = 1.6, 1.3  # more worth where "is" stands between, and for an open string
_IN_A_LIST = 0.4  # what hearing "a" as the note costs at most there
_NUMBERS = ("digit_open", "fingerth_open")
_BETWEEN_PAIRS = frozenset({"and", "then", "um", "uh", "er", "so", "the"})
_TIES_NUMBER = frozenset({"is", "'s", "with", "are", "gets", "on"})
_COUNTED_THINGS = frozenset(
    ["finger", "fingers", "beat", "beats", "time", "times", "note", "notes", "position", "string", "sharp", "flat",
     "bar", "bars", "more", "of", "bow", "counts", "hundred", "minutes", "natural"]
)  # fmt: skip
_LIGHT_WORDS = 2  # so many light words may stand between two numbers of a run: "open and then three"
_LIGHT = frozenset({"and", "then", "um", "uh", "er"})


@dataclass(frozen=True, slots=True)
class Atom:
    """One possible atom: from node to node (and the words in between), what it says, how dear its hearing is."""

    kind: str
    hint: str
    start: int
    end: int
    first_word: int
    last_word: int
    weight: float
    price: float
    captures: tuple[Capture, ...]
    parts: tuple[Atom, ...] = ()  # of pairs: a note, its number, the next note …

    def value(self, name: str) -> Value | None:
        """The first captured value of this capture name or class."""
        for capture, class_name, value in self.captures:
            if name in (capture, class_name):
                return value
        return None


def find_atoms(
    lattice: Lattice,
    language: Language,
    stops: tuple[int, ...],
    remarks: Sequence[tuple[int, int]] = (),
    bars: Sequence[tuple[int, int, int]] = (),
) -> tuple[tuple[Atom, ...], ...]:
    """The atoms that begin at each node. `stops` tells for each word what stands after it (2 = end of a sentence).

    `remarks`: stretches of words, first and last, in which nothing is said of a note. `bars`: stretches that are the
    number of a bar by itself, and the number.
    """
    arcs = [_arcs(lattice, language, node) for node in range(len(lattice.edges))]
    passed = {lattice.node_of_word[first]: _remark(lattice, first, last) for first, last in remarks}
    passed |= {lattice.node_of_word[first]: _bar(lattice, first, last, number) for first, last, number in bars}
    return tuple(
        (
            *_phrases_at(lattice, language, arcs, node, stops),
            *_runs_at(lattice, arcs, node, stops),
            *_pairs_at(lattice, arcs, node, stops),
            *((passed[node],) if node in passed else ()),
        )
        for node in range(len(lattice.edges))
    )


def _remark(lattice: Lattice, first: int, last: int) -> Atom:
    """The atom of a remark: it outweighs whatever else its words may be."""
    start, end = lattice.node_of_word[first], lattice.node_of_word[last + 1]
    return Atom("other", "", start, end, first, last, _REMARK * (last - first + 1), 0.0, ())


def _bar(lattice: Lattice, first: int, last: int, number: int) -> Atom:
    """The atom of a bar called by its number alone."""
    start, end = lattice.node_of_word[first], lattice.node_of_word[last + 1]
    return Atom("bar", "", start, end, first, last, _REMARK * (last - first + 1), 0.0, (("number", "number", number),))


Arc = tuple[int, float, str, tuple[tuple[str, Value], ...]]  # to, price, meant, classes


def _arcs(lattice: Lattice, language: Language, node: int) -> tuple[Arc, ...]:
    """Edges out of a node with the classes their words belong to, and members of classes that span several words."""
    found: list[Arc] = [
        (edge.to, edge.price, edge.meant, language.class_of.get(edge.meant, ())) for edge in lattice.edges[node]
    ]
    for edge in lattice.edges[node]:
        for words, class_name, value in language.long_members.get(edge.meant, ()):
            at, price = edge.to, edge.price
            for word in words[1:]:
                step = (
                    next((e for e in lattice.edges[at] if e.meant == word), None) if at < len(lattice.edges) else None
                )
                if step is None:
                    break
                at, price = step.to, price + step.price
            else:
                found.append((at, price, "", ((class_name, value),)))
    return tuple(found)


def _phrases_at(
    lattice: Lattice, language: Language, arcs: list[tuple[Arc, ...]], start: int, stops: tuple[int, ...]
) -> list[Atom]:
    best: dict[tuple[str, str, int, tuple[Capture, ...]], tuple[float, float]] = {}
    todo: list[tuple[int, float, tuple[Capture, ...], tuple[Node, ...], int]] = []
    for to, price, meant, classes in arcs[start]:
        if meant and meant in language.starts:
            todo += [(to, price, (), node.then, 1) for node in language.starts[meant]]
        for class_name, value in classes:
            for node in language.class_starts.get(class_name, ()):
                todo.append((to, price, ((node.label[2], class_name, value),), node.then, 1))
    while todo:
        at, price, captures, following, steps = todo.pop()
        deeper = False
        for node in following:
            if node.ends is not None:
                key = (node.ends.kind, node.ends.hint, at, captures)
                if key not in best or best[key][0] > price:
                    best[key] = (price, node.ends.weight)
            else:
                deeper = True
        if not deeper or at >= len(arcs) or steps >= _MOST_STEPS or price > _DEAREST:
            continue
        if stops[lattice.word_of[at - 1]] == 2 and lattice.word_of[at - 1] != lattice.word_of[at]:
            continue
        here = arcs[at]
        for node in following:
            kind, text, capture = node.label
            if kind == "word":
                for to, more, meant, _ in here:
                    if meant == text:
                        todo.append((to, price + more, captures, node.then, steps + 1))
            elif kind == "class":
                for to, more, _, classes in here:
                    for class_name, value in classes:
                        if class_name == text:
                            todo.append(
                                (to, price + more, (*captures, (capture, class_name, value)), node.then, steps + 1)
                            )
    return [
        Atom(kind, hint, start, end, lattice.word_of[start], _last_word(lattice, end), weight, price, captures)
        for (kind, hint, end, captures), (price, weight) in best.items()
        if price <= _DEAREST
    ]


def _runs_at(lattice: Lattice, arcs: list[tuple[Arc, ...]], start: int, stops: tuple[int, ...]) -> list[Atom]:
    """Runs of finger numbers: "one three four", "first finger, third, open"; never part of a longer one."""
    atoms: list[Atom] = []
    for class_name in ("digit_open", "fingerth_open"):
        if start and stops[lattice.word_of[start - 1]] < 2:
            before = _cheapest(arcs[start - 1], class_name)
            if before is not None and before[0] == start and before[1] < _PLAIN and before[2]:
                continue
        at, price = start, 0.0
        values: list[int] = []
        plain = named = 0
        hint = ""
        while at < len(arcs) and len(values) < _LONGEST_RUN:
            step = _step(arcs, at, class_name, first=not values)
            if step is None or (step[2] == 0 and not values and not _goes_on(arcs, step[0], class_name)):
                break
            at, more, value = step
            price += more
            plain += more < _PLAIN
            if class_name == "fingerth_open" and value and at < len(arcs) and stops[_last_word(lattice, at)] < 2:
                said = _cheapest_word(arcs[at], _FINGER)
                if said is not None:
                    at, named = said, named + 1
            values.append(value)
            last_word = _last_word(lattice, at)
            ended = stops[last_word] == 2
            onward = None if ended or at >= len(arcs) else _step(arcs, at, class_name, first=False)
            whole = onward is None or onward[1] > _DOUBTFUL
            name = _letter(arcs[at]) if value == 0 and at < len(arcs) and not ended else None
            if name is not None:  # "one, open A": a run only where it is dealt to names said before
                at, price, hint = name[0], price + name[1], NAMED_OPEN
                last_word = _last_word(lattice, at)
                ended = stops[last_word] == 2
                onward = None if ended or at >= len(arcs) else _step(arcs, at, class_name, first=False)
                whole = onward is None or onward[1] > _DOUBTFUL
            if len(values) >= 2 and plain and price <= _DEAREST and any(values) and whole:
                captures = tuple(("run", "run", v) for v in values)
                weight = 0.9 * len(values) - (1.0 if class_name == "fingerth_open" else 0.4) + _NAMED * named
                word = lattice.word_of[start]
                atoms.append(Atom("digits", hint, start, at, word, last_word, weight, price, captures))
            if ended:
                break
    return atoms


def _pairs_at(lattice: Lattice, arcs: list[tuple[Arc, ...]], start: int, stops: tuple[int, ...]) -> list[Atom]:
    """The longest list of notes each with a bare number: "D four, B one, C sharp two", "C is one and E is four and …".

    Who says several in a row in one breath says each number of the note before it.
    """
    if start >= len(arcs) or start != lattice.node_of_word[lattice.word_of[start]]:
        return []
    before = lattice.word_of[start] - 1
    if before >= 0 and stops[before] < 2 and any(_number(arcs, lattice.node_of_word[before], _NUMBERS)):
        return []  # "one D, four B": rather the numbers before their notes
    parts: list[Atom] = []
    at = end = start
    while (pair := _pair(lattice, arcs, at, stops)) is not None:
        parts += pair
        at = end = pair[1].end
        if stops[pair[1].last_word] == 2 or len(parts) == 2 * _MOST_PAIRS:
            break
        for _ in range(_LIGHT_WORDS):
            passed = _cheapest_word(arcs[at], _BETWEEN_PAIRS) if at < len(arcs) else None
            if passed is None or stops[lattice.word_of[at]] == 2:
                break
            at = passed
    if len(parts) < 2 * _LEAST_PAIRS:
        return []
    weight = sum(part.weight for part in parts)
    price = sum(part.price for part in parts)
    return [Atom("pairs", "", start, end, parts[0].first_word, parts[-1].last_word, weight, price, (), tuple(parts))]


def _pair(
    lattice: Lattice, arcs: list[tuple[Arc, ...]], start: int, stops: tuple[int, ...]
) -> tuple[Atom, Atom] | None:  # fmt: skip
    """A note and the number right behind it; None where there are none, or the number counts something."""
    name = _letter(arcs[start]) if start < len(arcs) else None
    if name is None or stops[_last_word(lattice, name[0])] == 2:
        return None
    at, price = name
    letter = next(v for to, p, _, classes in arcs[start] for n, v in classes if n == "letter" and (to, p) == name)
    captures: tuple[Capture, ...] = (("letter", "letter", letter),)
    accidental = _cheapest(arcs[at], "accidental") if at < len(arcs) else None
    if accidental is not None and accidental[1] < _PLAIN:
        captures = (*captures, ("accidental", "accidental", accidental[2]))
        at = accidental[0]
    named = at
    if stops[_last_word(lattice, named)] == 2 or at >= len(arcs):
        return None
    tied = _cheapest_word(arcs[at], _TIES_NUMBER)
    at = at if tied is None else tied
    number = next((found for found in _number(arcs, at, _NUMBERS)), None)
    if number is None:
        return None
    end, value = number
    last = _last_word(lattice, end)
    if stops[last] < 2 and end < len(arcs) and _cheapest_word(arcs[end], _COUNTED_THINGS) is not None:
        return None
    words = lattice.word_of
    heard = min(price, _IN_A_LIST)
    sharp = _SHARP * (len(captures) - 1)
    note = Atom("note", "", start, named, words[start], _last_word(lattice, named), 1.0 + sharp, heard, captures)
    worth = _IN_PAIR + _TIED * (tied is not None) + _OPEN * (value == 0)
    finger = Atom("digit", "", at, end, words[at], last, worth, 0.0, (("digit", "digit", value),))
    return note, finger


def _number(arcs: list[tuple[Arc, ...]], at: int, classes: tuple[str, ...]) -> list[tuple[int, int]]:
    """The bare numbers heard for certain here: where they end, and their values."""
    if at >= len(arcs):
        return []
    found = [_cheapest(arcs[at], name) for name in classes]
    return [(step[0], step[2]) for step in found if step is not None and step[1] < _PLAIN]


def _goes_on(arcs: list[tuple[Arc, ...]], at: int, class_name: str) -> bool:
    """Whether a run that begins with an open string goes on: "open one three", "open D first third"."""
    if _step(arcs, at, class_name, first=False) is not None:
        return True
    name = _letter(arcs[at]) if at < len(arcs) else None
    return name is not None and _step(arcs, name[0], class_name, first=False) is not None


def _step(arcs: list[tuple[Arc, ...]], at: int, class_name: str, *, first: bool) -> tuple[int, float, int] | None:
    """The next number of a run, with light words before it passed over."""
    if at >= len(arcs):
        return None
    step = _cheapest(arcs[at], class_name)
    if first:
        return step
    for _ in range(_LIGHT_WORDS):
        if step is not None:
            break
        passed = _cheapest_word(arcs[at], _LIGHT)
        if passed is None or passed >= len(arcs):
            break
        at = passed
        step = _cheapest(arcs[at], class_name)
    return step


def _cheapest(arcs: tuple[Arc, ...], class_name: str) -> tuple[int, float, int] | None:
    best: tuple[int, float, int] | None = None
    for to, price, _, classes in arcs:
        for name, value in classes:
            if name == class_name and (best is None or price < best[1]):
                best = (to, price, int(value))
    return best


def _letter(arcs: tuple[Arc, ...]) -> tuple[int, float] | None:
    """The cheapest way to hear the name of a note here."""
    heard = [(price, to) for to, price, _, classes in arcs if any(name == "letter" for name, _ in classes)]
    return (min(heard)[1], min(heard)[0]) if heard else None


def _cheapest_word(arcs: tuple[Arc, ...], words: frozenset[str]) -> int | None:
    return next((to for to, _, meant, _ in arcs if meant in words), None)


def _last_word(lattice: Lattice, end: int) -> int:
    return lattice.word_of[end - 1]


def captured(atom: Atom) -> Mapping[str, Value]:
    """All captures by name; a name captured twice keeps its last value."""
    return {name: value for name, _, value in atom.captures}
