"""From atoms to mentions: which words are meant, and which claim belongs to which note. A weighted grammar, best parse.

Method: a beam search over the lattice. A claim between two notes goes to the one its surroundings tie it to: every word
in between speaks for the note before or the note after (`links` in the table), commas and full stops speak too. A note
takes one claim of a kind. After a correction ("sorry", "I mean") the new word takes the place of the old one.
Linear in the number of words: the beam is narrow and nothing looks back further than one run of notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from partwright.checking.narration.atoms import NAMED_OPEN, Atom, find_atoms
from partwright.checking.narration.hearing import Edge, Lattice, hear
from partwright.checking.narration.language import Language, Link, Value
from partwright.checking.narration.lists import lists_meet, whole_runs
from partwright.checking.narration.mentions import Claim, Mention, PlaceCue, Spoken, StructureWord
from partwright.checking.narration.words import Word, trusts_capitals

__all__ = ["claim_value", "parse_words"]

_BEAM = 8
_SURE_DIGIT = 0.8  # a lone number is a finger only where it was heard as one
_UNNAMED = 1.6  # price of a finger said of no named note
_LONGER = 0.8  # each further word of a note's name: "F sharp" is one name, not "F" and a remark
_FLUSHED = 2.0  # price of a claim that found no note and stands for one
_TIE_NOBODY = -1.2  # a claim tied to its note by less than this is more likely of a note that was not heard …
_TIE_NOBODY_NOISY = -0.3  # … where the words came without capitals and stops, and notes are lost more easily
_PAUSE_S = 1.5
_PAUSE_SHARE = 0.5  # a pause parts as much as this share of a full stop
_LIGHT = frozenset(
    {"and", "then", "um", "uh", "er", "the", "a", "to", "so", "okay", "like", "an", "now", "you", "know"}
)
_CORRECTING_WORDS = 5
_HEARD_CORRECTION = 0.5  # what its mishearings may cost
_DIGITS_FOR = 1.5  # "one three four for E F sharp G": without such a word a run stands for itself
_ORDINAL_FOR = 1.3
_NAME_INSIDE = 2.5  # "open D, first, third": the name is a part of the run, no note of its own
_LIST_ENDS = 0.5
_PLACE_COUNT = 1.0  # "section A is played twice": close by, or it is no count of the section
_AFTER_CLAIM = 0.8  # a claim that follows another one is tied to their note anew
_ENDS_SENTENCE = -0.9  # a bare ordinal that ends a sentence is of the note before, if of any
_SHARPER = 3.5  # between two notes the better tie decides more clearly than between a note and none
_LEAST_TIE = -1.4  # a claim tied less than this to the next note is not said of it
_WEAK_TIE = 0.3  # … where the claim itself is a bare word
_TAKEN = 0.1  # a note that has a claim of the kind already hardly takes another

_NOTES = frozenset({"note", "note_hint", "note_open", "plural", "plural_loose", "plural_bare", "lost"})
_WEAK = frozenset({"ordinal", "digit", "string_letter", "extension", "rest", "slur"})
_PLACES = frozenset({"section", "bar", "bars", "passage", "restart", "recap"})
_FORM = frozenset({"same_as", "note_for_note", "except_last_bar", "except_last_note", "except_one_note"})
_GROUP = {
    "ordinal": "finger", "digit": "finger", "open": "finger", "same_finger": "finger", "digits": "finger",
    "string_letter": "string", "string_below": "string", "string_above": "string", "string_same": "string",
    "no_extension": "extension", "not_harmonic": "harmonic", "times": "count", "separate": "slur",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Pending:
    """A claim that waits for its note; its worth is in the score already and is given back if it finds none."""

    kind: str
    values: tuple[tuple[Value, ...], ...]  # several only for a run of finger numbers
    first: int
    last: int
    worth: float
    right: float
    stopped: bool = False  # a sentence has ended since, or another claim came between: nothing ties it any closer


@dataclass(frozen=True, slots=True)
class _Head:
    mention: Mention
    kind: str  # note, finger, lost, place
    groups: frozenset[str]
    again: frozenset[str] = frozenset()  # groups a correction may still replace


@dataclass(slots=True)
class _State:
    """One way to understand the words so far."""

    score: float
    done: Any = None  # (state before, Mention) pairs, last first
    count: int = 0
    head: _Head | None = None
    pending: tuple[_Pending, ...] = ()
    left: float = 0.0
    stopped: bool = False  # a sentence has ended since the last note or claim
    run: int = 0
    light: bool = False
    last: str = ""  # head, claim, pending
    last_group: str = ""
    correcting: int = 0
    cues: tuple[PlaceCue, ...] = ()
    form: Any = None  # (before, StructureWord)

    def key(self) -> tuple[object, ...]:
        head = self.head
        return (
            None if head is None else (head.kind, head.groups),
            tuple((p.kind, len(p.values)) for p in self.pending),
            min(self.run, 8), self.last, self.correcting > 0, self.light,
        )  # fmt: skip


def parse_words(words: Sequence[Word], language: Language) -> Spoken:
    """Everything these words say of notes, in the order in which it is said."""
    if not words:
        return Spoken(mentions=(), structure=())
    lattice = hear(words, language, trust_capitals=trusts_capitals(words))
    stops = tuple(word.stop for word in words)
    atoms = find_atoms(lattice, language, stops)
    return _Parser(words, language, lattice, atoms).best()


class _Parser:
    def __init__(
        self, words: Sequence[Word], language: Language, lattice: Lattice, atoms: Sequence[Sequence[Atom]]
    ) -> None:
        self.words = words
        self.links = language.links
        self.none, self.other = language.link_kinds[""], language.link_kinds["other"]
        self.comma, self.stop = language.link_kinds["comma"], language.link_kinds["stop"]
        self.ties, self.none_tie = language.ties, Link(0.0, 0.0)
        self.lattice = lattice
        self.atoms = atoms
        self.sets = language.sets
        self.nobody = _TIE_NOBODY if trusts_capitals(words) else _TIE_NOBODY_NOISY
        self.digits = frozenset(language.classes["digit_open"])
        starts = set(lattice.node_of_word)
        self.halves = [tuple(e for e in edges if e.to not in starts) for edges in lattice.edges]
        self.parting = [self._parting(k) for k in range(len(words))]

    def best(self) -> Spoken:
        size = len(self.lattice.edges)
        beams: list[dict[tuple[object, ...], _State] | None] = [None] * size
        beams[0] = {(): _State(0.0)}
        for node in range(size - 1):
            states = beams[node]
            beams[node] = None
            if not states:
                continue
            kept = sorted(states.values(), key=lambda s: -s.score)[:_BEAM]
            edge = self.lattice.edges[node][0]
            word = self.lattice.word_of[node]
            plain = node == self.lattice.node_of_word[word]
            for state in kept:
                if plain:
                    self._put(beams, self.lattice.node_of_word[word + 1], self._pass(state, word, word))
                    for half in self.halves[node]:  # "thed": past the "the", so that the D can be a note
                        self._put(beams, half.to, self._pass_half(state, half))
                else:
                    self._put(beams, edge.to, state)
                for atom in self.atoms[node]:
                    for after in self._take(state, atom):
                        self._put(beams, atom.end, after)
        final = max((beams[size - 1] or {}).values(), key=lambda s: s.score)
        return self._spoken(final)

    @staticmethod
    def _put(beams: list[dict[tuple[object, ...], _State] | None], node: int, state: _State) -> None:
        here = beams[node]
        if here is None:
            here = beams[node] = {}
        key = state.key()
        if key not in here or here[key].score < state.score:
            here[key] = state

    def _pass_half(self, state: _State, half: Edge) -> _State:
        """The state after the first half of a word that is two run together."""
        link = self.links.get(half.meant, self.other)
        left = min(0.0, link.left) if state.stopped else link.left
        pending = tuple(
            replace(p, right=max(-6.0, min(p.right + (min(0.0, link.right) if p.stopped else link.right), 2.6)))
            for p in state.pending
        )
        return replace(
            state, score=state.score - half.price, left=max(-6.0, min(state.left + left, 2.6)), pending=pending,
            light=state.light and half.meant in _LIGHT,
        )  # fmt: skip

    def _parting(self, k: int) -> tuple[float, float, int]:
        """What stands after word k: how much it unties to the left and right, and how strong it is."""
        stop = self.words[k].stop
        left = self.comma.left if stop == 1 else self.stop.left if stop == 2 else 0.0
        right = self.comma.right if stop == 1 else self.stop.right if stop == 2 else 0.0
        if k + 1 < len(self.words) and self.words[k + 1].pause_s > _PAUSE_S:
            left = min(left, self.stop.left * _PAUSE_SHARE)
            right = min(right, self.stop.right * _PAUSE_SHARE)
            stop = max(stop, 1)
        return left, right, stop

    def _pass(self, state: _State, first: int, last: int, *, gap: bool = True) -> _State:
        """The state after words that are no atom of their own (or, with gap False, only what stands behind them)."""
        left = right = 0.0
        light = state.light
        parting = 0
        for k in range(first, last + 1):
            if gap:
                form = self.words[k].form
                link = self.links.get(form, self.other)
                left += link.left
                right += link.right
                light = light and form in _LIGHT
            if gap or k == last:
                more_left, more_right, stop = self.parting[k]
                left += more_left
                right += more_right
                parting = max(parting, stop)
        after = replace(state)
        after.left = max(-6.0, min(state.left + (min(0.0, left) if state.stopped else left), 2.6))
        after.stopped = state.stopped or parting == 2
        if state.pending:
            after.pending = tuple(
                replace(
                    p, right=max(-6.0, min(p.right + (min(0.0, right) if p.stopped else right), 2.6)),
                    stopped=p.stopped or parting == 2,
                )
                for p in state.pending
            )  # fmt: skip
        after.light = light and parting < 2
        if gap:
            after.correcting = max(0, state.correcting - (last - first + 1))
        if parting == 2:
            after.correcting = 0
        return self._given_up(after)

    def _given_up(self, state: _State) -> _State:
        """Claims that wait behind a full stop and are tied too loosely to any note to come wait no longer.

        Their worth must not be kept: a reading that only waits would else look better than one that hears the notes.
        """
        lost = tuple(p for p in state.pending if p.stopped and not _ties_on(p))
        if not lost:
            return state
        waiting = tuple(p for p in state.pending if p not in lost)
        after = self._flushed(replace(state, pending=lost))
        after.pending = waiting
        if state.last == "pending" and not waiting:
            after.last = "claim"
        return after

    def _take(self, state: _State, atom: Atom) -> list[_State]:
        kind = atom.kind
        if kind in _NOTES:
            return [] if kind == "note" and self._names_a_string(atom) else [self._note(state, atom)]
        if kind in _PLACES:
            return [self._place(state, atom)]
        if kind in _FORM:
            after = replace(state, score=state.score + atom.weight - atom.price, left=-2.0, light=False)
            after.form = (state.form, self._form_word(state, kind, (), atom))
            return [self._behind(after, atom)]
        if kind == "other":
            after = self._pass(
                replace(state, score=state.score + atom.weight - atom.price), atom.first_word, atom.last_word
            )
            after.light = False
            return [after]
        if kind in ("correction", "weak_correction"):
            if state.head is None and not state.pending:
                return []
            after = replace(state, score=state.score + atom.weight - atom.price)
            after.correcting = _CORRECTING_WORDS if kind == "correction" else 2
            return [after]
        if kind == "stay":
            return [self._pass(replace(state, score=state.score + 0.1), atom.first_word, atom.last_word)]
        if kind == "alternate":
            return [self._alternate(state, atom)]
        if kind == "digits":
            return self._digits(state, atom)
        return self._claim(state, atom)

    def _names_a_string(self, atom: Atom) -> bool:
        """Whether "string" comes right after the letter: then it is no note, unless it is an open one."""
        behind = atom.last_word + 1
        return (
            behind < len(self.words)
            and self.words[atom.last_word].stop == 0
            and self.words[behind].form in self.sets["string_words"]
        )

    def _names_an_accidental(self, atom: Atom) -> bool:
        behind = atom.last_word + 1
        return behind < len(self.words) and self.words[behind].form in self.sets["accidental"]

    def _behind(self, state: _State, atom: Atom) -> _State:
        return self._pass(state, atom.last_word, atom.last_word, gap=False)

    # Notes and places

    def _note(self, state: _State, atom: Atom) -> _State:
        letter, accidental = atom.value("letter") or atom.value("letters"), atom.value("accidental")
        if accidental is None:
            accidental = atom.value("accidentals")
        note = None if letter is None else (str(letter), None if accidental is None else int(accidental))
        heard = math.exp(-atom.price)
        if note is not None and f"{note[0]}{note[1]}" in self.sets["unusual"]:
            heard *= 0.5  # rather the accidental of a letter that was lost
        claims: list[Claim] = []
        if atom.kind == "note_open":
            claims.append(self._made("finger", (0,), atom))
            if any(self.words[k].form == "string" for k in range(atom.first_word, atom.last_word + 1)):
                claims.append(self._made("string", ("letter", str(letter)), atom))
        count = atom.value("count")
        if atom.kind in ("plural", "plural_loose"):
            said = int(count) if count is not None else 2
            kind = "count" if atom.kind == "plural" else "count_loose"
            claims.append(self._made(kind, (said,), atom))
        head = state.head
        replaces = (
            state.correcting > 0 and head is not None and head.kind == "note" and state.last != "pending"
            and note is not None and atom.first_word - head.mention.last_word <= 8
        )  # fmt: skip
        if replaces and head is not None:
            new = {_group(claim.kind) for claim in claims}
            kept = tuple(claim for claim in head.mention.claims if _group(claim.kind) not in new)
            mention = replace(
                head.mention, note=note, last_word=atom.last_word, name_first=atom.first_word,
                name_last=atom.last_word, p=heard, hint=atom.hint, claims=(*kept, *claims),
            )  # fmt: skip
            groups = frozenset(_group(c.kind) for c in mention.claims)
            after = replace(
                state, score=state.score + atom.weight - atom.price + 0.6, left=self.none.left, stopped=False,
                light=True, last="head", head=_Head(mention, "note", groups, groups), correcting=0,
            )  # fmt: skip
            return self._behind(after, atom)
        tight = state.light and head is not None and head.kind == "note" and state.last == "head"
        after = self._pushed(state)
        mention = Mention(
            note=note, first_word=atom.first_word, last_word=atom.last_word, p=heard, hint=atom.hint,
            name_first=atom.first_word, name_last=atom.last_word, tight=tight,
            plural=atom.kind.startswith("plural"), claims=tuple(claims), cues=after.cues,
        )  # fmt: skip
        after.cues = ()
        longer = 0.0 if atom.kind == "lost" else _LONGER * (atom.last_word - atom.first_word)
        score = after.score + atom.weight - atom.price + longer
        mention, pending, score, after = self._settle(after, mention, score)
        groups = frozenset(_group(c.kind) for c in mention.claims)
        after.score = score
        after.head = _Head(mention, "lost" if atom.kind == "lost" else "note", groups)
        after.pending = pending
        after.run = state.run + 1 if tight else 1
        after.left, after.stopped, after.light, after.last, after.correcting = self.none.left, False, True, "head", 0
        return self._behind(after, atom)

    def _settle(
        self, after: _State, mention: Mention, score: float
    ) -> tuple[Mention, tuple[_Pending, ...], float, _State]:
        """Waiting claims go to this mention where their surroundings allow; fingers that cannot stand for a note."""
        kept: list[_Pending] = []
        taken = {_group(c.kind) for c in mention.claims}
        for waiting in after.pending:
            group = _group(waiting.kind)
            if group not in taken and _ties_on(waiting):
                taken.add(group)
                score += waiting.right
                value, *more = waiting.values
                claim = self._claimed(waiting.kind, value, waiting.first, waiting.last)
                run = len(waiting.values) if waiting.kind == "digits" else 0
                mention = mention.with_claim(replace(claim, run=run))
                mention = replace(mention, first_word=min(mention.first_word, waiting.first))
                if more:
                    kept.append(replace(waiting, values=tuple(more), right=self.none.right, worth=0.0))
            elif group == "finger" and waiting.kind not in _WEAK:
                after, score = self._stand_alone(after, waiting, score)
            else:
                score -= waiting.worth
        return mention, tuple(kept), score, after

    def _stand_alone(self, after: _State, waiting: _Pending, score: float) -> tuple[_State, float]:
        if waiting.worth < _FLUSHED or waiting.kind == "same_finger":
            return after, score - waiting.worth
        for value in waiting.values:
            claim = self._claimed(waiting.kind, value, waiting.first, waiting.last)
            alone = Mention(note=None, first_word=waiting.first, last_word=waiting.last, claims=(claim,), p=0.8)
            after = replace(after, done=(after.done, alone), count=after.count + 1)
        return after, score - _FLUSHED

    def _ends_a_finger(self, word: int) -> bool:
        """Whether a finger was said right before: "third, no, fourth"."""
        form = self.words[word].form
        return form in self.digits or form in ("finger", "first", "second", "third", "fourth")

    def _pushed(self, state: _State) -> _State:
        """The state with its head put away among the finished mentions."""
        if state.head is None or state.head.kind == "place":
            return replace(state, head=None)
        return replace(state, done=(state.done, state.head.mention), count=state.count + 1, head=None)

    def _place(self, state: _State, atom: Atom) -> _State:
        after = self._flushed(self._pushed(state))
        value = _place_value(atom)
        cue = PlaceCue(kind=atom.kind, value=value, first_word=atom.first_word, last_word=atom.last_word)
        blank = Mention(note=None, first_word=atom.first_word, last_word=atom.last_word)
        after.score += atom.weight - atom.price
        after.head = _Head(blank, "place", frozenset())
        after.cues = (*after.cues, cue)[-4:]
        after.form = (after.form, self._form_word(after, atom.kind, value, atom))
        after.left, after.stopped, after.light, after.last, after.run = self.none.left, False, False, "head", 0
        return self._behind(after, atom)

    def _form_word(self, state: _State, kind: str, value: tuple[Value, ...], atom: Atom) -> StructureWord:
        count = state.count + (state.head is not None and state.head.kind != "place")
        return StructureWord(
            kind=kind, value=value, first_word=atom.first_word, last_word=atom.last_word, mention=count
        )

    def _flushed(self, state: _State) -> _State:
        after, score = replace(state, pending=()), state.score
        for waiting in state.pending:
            if _group(waiting.kind) == "finger" and waiting.kind not in _WEAK:
                after, score = self._stand_alone(after, waiting, score)
            else:
                score -= waiting.worth
        after.score = score
        return after

    def _alternate(self, state: _State, atom: Atom) -> _State:
        notes = []
        for name in ("one", "two"):
            step = next(str(v) for capture, cls, v in atom.captures if capture == name and cls == "letter")
            alter = next((int(v) for capture, cls, v in atom.captures if capture == name and cls == "accidental"), None)
            notes.append((step, alter))
        after = self._pushed(state)
        p = math.exp(-atom.price / 2)
        one, two = atom.first_word, atom.last_word
        blank = Mention(note=None, first_word=one, last_word=two, name_first=one, name_last=two, p=p)
        first = replace(blank, note=notes[0], cues=after.cues)
        after.cues = ()
        worth = atom.weight - atom.price + _LONGER * sum(alter is not None for _, alter in notes)
        first, pending, score, after = self._settle(after, first, after.score + worth)
        claim = self._made("alternate", (notes[0][0], notes[0][1] if notes[0][1] is not None else 9), atom)
        second = replace(blank, note=notes[1], tight=True, claims=(claim,))
        after.done, after.count = (after.done, first), after.count + 1
        after.score, after.pending = score, pending
        after.head = _Head(second, "note", frozenset({"alternate"}))
        after.run, after.left, after.stopped, after.light, after.last = 2, self.none.left, False, False, "head"
        return self._behind(after, atom)

    # Claims

    def _digits(self, state: _State, atom: Atom) -> list[_State]:
        values = tuple((v,) for _, _, v in atom.captures)
        size = len(values)
        found: list[_State] = []
        worth = atom.weight - atom.price
        if (
            state.run >= 2
            and state.run >= size
            and state.head is not None
            and state.last == "head"
            and not state.pending
        ):
            recent, rest = self._recent(state, size)
            if self._said_of_one(atom):
                recent = None
            exact = size == state.run
            apart = state.stopped  # a sentence ended in between: hardly the fingers of these notes
            if recent is not None and (exact or not apart):
                bonus = -0.5 if apart or not exact else 1.5
                if exact and atom.hint == NAMED_OPEN:
                    bonus += _NAME_INSIDE
                score = state.score + worth + max(-1.0, state.left) + bonus
                broken = self._broken_run(atom)
                certainty = 0.5 if broken or apart else 1.0 if exact else 0.9
                done = rest
                given = [
                    mention.with_claim(
                        Claim(
                            kind="finger",
                            value=v,
                            first_word=atom.first_word,
                            last_word=atom.last_word,
                            p=certainty,
                            run=size,
                        )
                    )
                    for mention, v in zip(recent, values, strict=True)
                ]
                for mention in given[:-1]:
                    done = (done, mention)
                after = replace(state, score=score, done=done, last="claim", last_group="finger", run=0, light=False)
                after.head = replace(state.head, mention=given[-1], groups=state.head.groups | {"finger"})
                after.left, after.stopped = 0.5, False
                found.append(self._behind(after, atom))
        if atom.hint == NAMED_OPEN:
            return found
        if 2 <= state.run < size and state.head is not None and state.last == "head" and state.left >= _LIST_ENDS:
            found += self._two_runs(state, atom, values, worth)
        waiting = _Pending("digits", values, atom.first_word, atom.last_word, worth, self.none.right)
        if not any(_group(p.kind) == "finger" for p in state.pending):
            after = replace(
                state, score=state.score + worth, pending=(*state.pending, waiting), last="pending", last_group="finger"
            )
            found.append(self._behind(after, atom))
        after = self._flushed(self._pushed(state))
        words = range(atom.first_word, atom.last_word + 1)
        for k, value in enumerate(values):
            at = words[min(k, len(words) - 1)] if len(words) == size else atom.first_word
            sure = 0.5 if self._broken_run(atom) else 0.93
            claim = Claim(
                kind="finger", value=value, first_word=atom.first_word, last_word=atom.last_word, p=sure, run=size
            )
            alone = Mention(
                note=None, first_word=at, last_word=atom.last_word if at == atom.first_word else at, tight=k > 0,
                claims=(claim,), p=0.95, cues=after.cues if k == 0 else (),
            )  # fmt: skip
            if k < size - 1:
                after.done, after.count = (after.done, alone), after.count + 1
            else:
                after.head = _Head(alone, "finger", frozenset({"finger"}))
        after.cues = ()
        after.score += worth - 0.8
        after.run, after.left, after.stopped, after.light, after.last = 0, -0.5, False, False, "claim"
        after.last_group = "finger"
        found.append(self._behind(after, atom))
        return found

    def _said_of_one(self, atom: Atom) -> bool:
        """Whether a run of named fingers begins as a claim of one note: "F sharp is second finger, then …"."""
        named = atom.hint == NAMED_OPEN or "finger" in (
            self.words[k].form for k in range(atom.first_word, atom.last_word + 1)
        )
        return named and atom.first_word > 0 and self.words[atom.first_word - 1].form in self.sets["ties_one"]

    def _two_runs(self, state: _State, atom: Atom, values: tuple[tuple[Value, ...], ...], worth: float) -> list[_State]:
        """A run longer than the list before it: the list takes its own, the rest is the beginning of another run."""
        recent, done = self._recent(state, state.run)
        if recent is None or state.head is None:
            return []
        given = [
            mention.with_claim(
                Claim(
                    kind="finger",
                    value=v,
                    first_word=atom.first_word,
                    last_word=atom.last_word,
                    p=0.85,
                    run=state.run,
                )
            )
            for mention, v in zip(recent, values, strict=False)
        ]
        for mention in given[:-1]:
            done = (done, mention)
        after = replace(state, score=state.score + worth + 1.0, done=done, last="claim", last_group="finger", run=0)
        after.head = replace(state.head, mention=given[-1], groups=state.head.groups | {"finger"})
        after.left, after.stopped, after.light = 0.0, False, False
        rest = values[len(given) :]
        waiting = _Pending("digits", rest, atom.first_word, atom.last_word, 0.5, self.none.right)
        if len(rest) > 1 and not any(_group(p.kind) == "finger" for p in state.pending):
            after.pending = (*state.pending, waiting)
        return [self._behind(after, atom)]

    def _broken_run(self, atom: Atom) -> bool:
        """Whether more numbers stand close by: then a word in between hides where the run begins or ends."""
        near = [*range(atom.first_word - 3, atom.first_word), *range(atom.last_word + 1, atom.last_word + 4)]
        return any(0 <= k < len(self.words) and self.words[k].form in self.digits - {"open"} for k in near)

    @staticmethod
    def _recent(state: _State, size: int) -> tuple[list[Mention] | None, Any]:
        """The last `size` mentions, oldest first, if none of them has a finger; and what came before them."""
        assert state.head is not None
        found = [state.head.mention]
        rest = state.done
        while len(found) < size and rest is not None:
            found.append(rest[1])
            rest = rest[0]
        if len(found) < size or any(_group(c.kind) == "finger" for m in found for c in m.claims):
            return None, rest
        return found[::-1], rest

    def _claim(self, state: _State, atom: Atom) -> list[_State]:
        kind, values = claim_value(atom)
        if kind == "value" and any(self.words[k].form == "dotted" for k in range(atom.first_word, atom.last_word + 1)):
            values = (1.5 * float(values[0]),)
        group = _group(kind)
        worth = atom.weight - atom.price
        head = state.head
        found: list[_State] = []
        if state.pending:
            state = replace(state, pending=tuple(replace(p, stopped=True) for p in state.pending))
        if state.correcting > 0 and state.last_group == group:
            corrected = self._corrected(state, atom, kind, values, worth)
            if corrected is not None:
                return [self._behind(corrected, atom)]
        weak = atom.kind in _WEAK
        if atom.kind == "string_letter" and self._names_an_accidental(atom):
            return []  # "the D on the F sharp": half a name, no string
        if atom.kind == "string_letter" and (state.last != "head" or state.pending or state.left < 0.9):
            return []
        if atom.kind == "digit" and not self._lone_digit(state, atom):
            return []
        if atom.kind == "finger" and self._begins_a_run(atom):
            return []
        tie = self._tie_of(atom, kind)
        if head is not None and not state.pending and (head.kind != "place" or kind == "count"):
            free = group not in head.groups or group in head.again
            leftward = state.left + tie.left
            if head.kind == "place":
                free = free and leftward >= _PLACE_COUNT
            least = 0.4 if weak and group in ("finger", "string") else -2.5
            if atom.kind == "ordinal" and self.words[atom.last_word].stop == 2:
                least = _ENDS_SENTENCE  # "G now, third." has no other note to be of
            if free and leftward >= least:
                mention = head.mention
                if group in head.groups:
                    mention = replace(mention, claims=tuple(c for c in mention.claims if _group(c.kind) != group))
                claim = self._claimed(kind, values, atom.first_word, atom.last_word)
                doubt = 0.5 if state.correcting > 0 else 1.0  # "D sharp, no wait, third finger": of which note?
                claim = replace(claim, p=doubt * claim.p * math.exp(-0.5 * atom.price))
                after = replace(
                    state, score=state.score + worth + leftward, last="claim", last_group=group, light=False
                )
                if head.kind == "place":
                    after.form = (state.form, self._form_word(state, kind, values, atom))
                after.head = _Head(mention.with_claim(claim), head.kind, head.groups | {group}, head.again - {group})
                after.left, after.stopped = min(0.8, state.left + 0.4), False
                found.append(self._behind(after, atom))
        if atom.kind in ("digit", "string_letter"):
            return found
        base = state
        clash = next((p for p in state.pending if _group(p.kind) == group), None)
        if clash is not None:
            base = self._flushed(replace(state, pending=(clash,)))
            base.pending = tuple(p for p in state.pending if p is not clash)
        waiting = _Pending(
            kind if kind != "finger" or not weak else atom.kind,
            (values,),
            atom.first_word,
            atom.last_word,
            worth,
            self.none.right + tie.right,
        )
        after = replace(
            base,
            score=base.score + worth,
            pending=(*base.pending, waiting),
            last="pending",
            last_group=group,
            light=False,
        )
        found.append(self._behind(after, atom))
        if kind in ("finger", "bow") and not weak:
            after = self._flushed(self._pushed(state))
            claim = Claim(kind=kind, value=values, first_word=atom.first_word, last_word=atom.last_word, p=0.9)
            alone = Mention(
                note=None, first_word=atom.first_word, last_word=atom.last_word, claims=(claim,), cues=after.cues, p=0.9
            )
            after.cues = ()
            after.head = _Head(alone, "finger", frozenset({group}))
            after.score += worth - _UNNAMED
            after.run, after.left, after.stopped, after.light = 0, 0.8, False, False
            after.last, after.last_group = "claim", group
            found.append(self._behind(after, atom))
        return found

    def _lone_digit(self, state: _State, atom: Atom) -> bool:
        """Whether one number alone can be a finger: plainly heard, right after a note, and not a count of something."""
        if atom.price > _SURE_DIGIT or state.head is None or state.last != "head":
            return False
        gap = range(state.head.mention.last_word + 1, atom.first_word)
        if len(gap) > 4 or any(self.words[k].form not in self.sets["digit_gap"] for k in gap):
            return False
        around = (atom.first_word - 1, atom.last_word + 1)
        forms = [self.words[k].form if 0 <= k < len(self.words) else "" for k in around]
        if any(form in self.digits for form in forms):
            return False
        return not forms[1] or self.words[atom.last_word].stop > 0 or forms[1] in self.sets["digit_end"]

    def _begins_a_run(self, atom: Atom) -> bool:
        """Whether "fingers four" goes on with more numbers: "fingers four three one" is said of three notes."""
        last, behind = self.words[atom.last_word], atom.last_word + 1
        if behind >= len(self.words) or last.stop == 2 or last.form not in self.digits:
            return False
        after = self.words[behind + 1].form if behind + 1 < len(self.words) else ""
        return self.words[behind].form in self.digits - {"open", "oh"} and after not in self.sets["digit_before"]

    def _tie_of(self, atom: Atom, kind: str) -> Link:
        """How this claim leans by its kind: "second finger on that one" is said of the note before."""
        hinted = self.ties.get(f"{kind}_{atom.hint}") if atom.hint else None
        return hinted or self.ties.get(atom.kind, self.ties.get(kind, self.none_tie))

    def _corrected(
        self, state: _State, atom: Atom, kind: str, values: tuple[Value, ...], worth: float
    ) -> _State | None:
        """The claim in place of the one before it that was taken back."""
        head = state.head
        if state.last in ("claim", "head") and head is not None and head.mention.claims:
            old = head.mention.claims[-1]
            if _group(old.kind) != _group(kind) or (state.last == "head" and head.mention.name_first < 0):
                return None
            claim = self._claimed(kind, values, atom.first_word, atom.last_word)
            mention = replace(head.mention, claims=(*head.mention.claims[:-1], claim), last_word=atom.last_word)
            after = replace(state, score=state.score + worth + 1.0, correcting=0, left=0.8, stopped=False)
            after.head = replace(head, mention=mention)
            return after
        if state.last == "pending" and state.pending and _group(state.pending[-1].kind) == _group(kind):
            name = atom.kind if atom.kind in ("ordinal", "digit") else kind
            waiting = _Pending(name, (values,), atom.first_word, atom.last_word, worth, self.none.right)
            return replace(
                state, score=state.score + worth - state.pending[-1].worth + 1.0,
                pending=(*state.pending[:-1], waiting), correcting=0, last="pending",
            )  # fmt: skip
        return None

    def _made(self, kind: str, value: tuple[Value, ...], atom: Atom) -> Claim:
        return Claim(
            kind=kind, value=value, first_word=atom.first_word, last_word=atom.last_word, p=math.exp(-0.5 * atom.price)
        )

    @staticmethod
    def _claimed(kind: str, value: tuple[Value, ...], first: int, last: int) -> Claim:
        name = {"ordinal": "finger", "digit": "finger", "digits": "finger"}.get(kind, kind)
        return Claim(kind=name, value=value, first_word=first, last_word=last)

    def _spoken(self, state: _State) -> Spoken:
        state = self._flushed(self._pushed(state))
        mentions: list[Mention] = []
        done = state.done
        while done is not None:
            mentions.append(done[1])
            done = done[0]
        words: list[StructureWord] = []
        form = state.form
        while form is not None:
            words.append(form[1])
            form = form[0]
        return Spoken(
            mentions=self._second_thoughts(mentions[::-1]),
            structure=tuple(words[::-1]),
            corrections=self._corrections(),
        )

    def _corrections(self) -> tuple[int, ...]:
        """Where words that take something back begin, whether or not what is right was understood after them."""
        found = {
            atom.first_word
            for here in self.atoms
            for atom in here
            if atom.kind == "correction"
            and atom.price < _HEARD_CORRECTION
            and self.words[atom.first_word].form != "but"
        }
        found |= {
            atom.first_word
            for here in self.atoms
            for atom in here
            if atom.kind == "weak_correction" and atom.first_word and self._ends_a_finger(atom.first_word - 1)
        }
        return tuple(sorted(found))

    def _second_thoughts(self, mentions: list[Mention]) -> tuple[Mention, ...]:
        """The mentions, each claim with the neighbour it may belong to instead, and how likely that is."""
        taken = {w for m in mentions for c in m.claims for w in range(c.first_word, c.last_word + 1)}
        taken |= {w for m in mentions for w in range(m.name_first, m.name_last + 1)}
        mentions = whole_runs(mentions)
        found = []
        for k, mention in enumerate(mentions):
            claims = tuple(self._doubted(mentions, k, claim, taken) for claim in mention.claims)
            found.append(replace(mention, claims=claims))
        return tuple(lists_meet(found))

    def _doubted(self, mentions: list[Mention], k: int, claim: Claim, taken: set[int]) -> Claim:
        mention = mentions[k]
        if mention.name_first < 0 or mention.name_first <= claim.first_word <= mention.name_last:
            return claim
        follows = claim.first_word > mention.name_last
        other = k + 1 if follows else k - 1
        name = "open" if claim.kind == "finger" and claim.value == (0,) else claim.kind
        if claim.kind == "finger" and self._points_back(claim):
            name = "finger_back"
        tie = self.ties.get(name, self.none_tie)
        if not 0 <= other < len(mentions) or mentions[other].name_first < 0:
            start, end = (mention.name_last, claim.first_word) if follows else (claim.last_word, mention.name_first)
            own = self._tie(start, end, taken, left=follows) + (tie.left if follows else tie.right)
            return replace(claim, p=claim.p * _share(own, self.nobody))
        beside = mentions[other]
        if follows:
            own = self._tie(mention.name_last, claim.first_word, taken, left=True)
            else_ = self._tie(claim.last_word, beside.name_first, taken, left=False)
        else:
            own = self._tie(claim.last_word, mention.name_first, taken, left=False)
            else_ = self._tie(beside.name_last, claim.first_word, taken, left=True)
        own += tie.left if follows else tie.right
        else_ += tie.right if follows else tie.left
        p_other = _share(else_, own, _SHARPER)
        if any(_group(c.kind) == _group(claim.kind) for c in beside.claims):
            p_other *= _TAKEN
        return replace(claim, p=claim.p * _share(own, self.nobody), other=other - k, p_other=p_other)

    def _points_back(self, claim: Claim) -> bool:
        forms = [self.words[k].form for k in range(claim.first_word, claim.last_word + 1)]
        return len(forms) > 2 and forms[-1] in self.sets["points_back"] and ("on" in forms or "for" in forms)

    def _tie(self, start: int, end: int, taken: set[int], *, left: bool) -> float:
        """How the words between `start` and `end` (both left out) tie what stands on their two sides."""
        tie = self.none.left if left else self.none.right
        stopped = False
        for k in range(start, end):
            if k > start and k in taken:
                tie, stopped = min(tie, _AFTER_CLAIM), not left
            elif k > start:
                link = self.links.get(self.words[k].form, self.other)
                more = link.left if left else link.right
                tie += min(0.0, more) if stopped else more
            part_left, part_right, stop = self.parting[k]
            tie += part_left if left else part_right
            stopped = stopped or stop == 2
        return max(-6.0, min(tie, 2.6))


def _share(one: float, two: float, gain: float = 2.0) -> float:
    """How much of the likelihood of two ties the first one has."""
    return 1.0 / (1.0 + math.exp(gain * (two - one)))


def _ties_on(waiting: _Pending) -> bool:
    """Whether a waiting claim is tied closely enough to be said of a note that comes now."""
    if waiting.kind == "digits":
        return waiting.right >= (_DIGITS_FOR if waiting.worth else 0.0)
    if waiting.kind == "ordinal":
        return waiting.right >= _ORDINAL_FOR
    return waiting.right >= (_WEAK_TIE if waiting.kind in _WEAK else _LEAST_TIE)


def _group(kind: str) -> str:
    return _GROUP.get(kind, kind)


def _place_value(atom: Atom) -> tuple[Value, ...]:
    if atom.kind == "section":
        return (str(atom.value("name")),)
    if atom.kind == "bar":
        return (_number(atom, "number"),)
    if atom.kind == "bars":
        return (_number(atom, "first"), _number(atom, "last"))
    if atom.kind == "passage":
        ordinal = atom.value("ordinal")
        return () if ordinal is None else (int(ordinal),)
    return ()


def _number(atom: Atom, name: str) -> int:
    """Tens and units of a spoken number; captures of the form carry its own name or, alone in a phrase, their class."""
    parts = [int(v) for capture, cls, v in atom.captures if capture == name or name == "number"]
    return sum(parts)


def claim_value(atom: Atom) -> tuple[str, tuple[Value, ...]]:
    """The claim an atom makes: its kind in `Claim` and its value."""
    kind = atom.kind
    values = [v for _, _, v in atom.captures]
    if kind in ("finger", "ordinal", "digit"):
        return "finger", (int(values[0]) if values else 5,)
    if kind == "open":
        return "finger", (0,)
    if kind == "substitute":
        old = next((int(v) for name, _, v in atom.captures if name == "old"), 0)
        new = next((int(v) for name, _, v in atom.captures if name == "new"), 0)
        return kind, (old, new)
    if kind in ("not_finger", "offer_finger"):
        return kind, (int(values[0]),)
    if kind == "position":
        ordinal = atom.value("ordinal")
        digit = atom.value("digit")
        raised = atom.value("raised")
        number = ordinal if ordinal is not None else digit
        return kind, (atom.hint or int(number or 0), int(raised or 0))
    if kind == "string":
        letter = atom.value("letter")
        number = atom.value("ordinal") or atom.value("digit")
        return kind, ("letter", str(letter)) if letter is not None else ("number", int(number or 0))
    if kind == "string_letter":
        return "string_letter", ("letter", str(atom.value("letter")))
    if kind in ("string_below", "string_above", "string_same"):
        return "string", (kind.removeprefix("string_"),)
    if kind in ("extension", "no_extension"):
        return "extension", (int(kind == "extension"),)
    if kind in ("harmonic", "not_harmonic"):
        return "harmonic", (int(kind == "harmonic"),)
    if kind == "times":
        number = next((v for _, cls, v in atom.captures if cls in ("times", "count", "cardinal")), 2)
        return "count", (int(number),)
    if kind == "bow":
        return kind, (str(values[0]) if values else "",)
    if kind == "beats":
        number = atom.value("cardinal")
        return kind, (float(number) if number is not None else 1.0,)
    if kind == "value":
        return kind, (float(values[0]),)
    if kind == "on_beat":
        return kind, (int(values[0]),)
    if kind == "articulation":
        return kind, (str(values[0]),)
    return kind, tuple(values)
