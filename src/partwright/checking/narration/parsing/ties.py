"""How closely what lies between a claim and a note ties the two: every word speaks for the note before or after it.

Units: sums of the weights in the table (`links`, `ties`), kept between -6 and 2.6; above 0 rather tied than not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.language import Language, Link
from partwright.checking.narration.words import Word

__all__ = ["LIGHT", "Ties", "bounded", "share"]

LIGHT = frozenset({"and", "then", "um", "uh", "er", "the", "a", "to", "so", "okay", "like", "an", "now", "you", "know"})
_PAUSE_S = 1.5
_PAUSE_SHARE = 0.5  # a pause parts as much as this share of a full stop
_AFTER_CLAIM = 0.8  # a claim that follows another one is tied to their note anew
_LEAST, _MOST = -6.0, 2.6
_NO_TIE = Link(0.0, 0.0)


class Ties:
    """The words of a transcript and what the table says of each as a tie."""

    def __init__(self, words: Sequence[Word], language: Language) -> None:
        self.words = words
        self.sets = language.sets
        self.digits = frozenset(language.classes["digit_open"])
        self.ordinals = frozenset(language.classes["ordinal"])
        self.none, self._other = language.link_kinds[""], language.link_kinds["other"]
        self._comma, self._stop = language.link_kinds["comma"], language.link_kinds["stop"]
        self._links, self._ties = language.links, language.ties
        self.parting = [self._parting(k) for k in range(len(words))]

    def link(self, form: str) -> Link:
        """What this word speaks for."""
        return self._links.get(form, self._other)

    def kind(self, name: str) -> Link:
        """Whether claims of this kind rather follow their note or rather stand before it."""
        return self._ties.get(name, _NO_TIE)

    def atom(self, atom: Atom, kind: str) -> Link:
        """How this claim leans by its kind: "second finger on that one" is said of the note before."""
        hinted = self._ties.get(f"{kind}_{atom.hint}") if atom.hint else None
        return hinted or self._ties.get(atom.kind, self.kind(kind))

    def between(self, start: int, end: int, taken: set[int], *, left: bool) -> float:
        """How the words between `start` and `end` (both left out) tie what stands on their two sides."""
        tie = self.none.left if left else self.none.right
        stopped = False
        for k in range(start, end):
            if k > start and k in taken:
                tie, stopped = min(tie, _AFTER_CLAIM), not left
            elif k > start:
                link = self.link(self.words[k].form)
                more = link.left if left else link.right
                tie += min(0.0, more) if stopped else more
            part_left, part_right, stop = self.parting[k]
            tie += part_left if left else part_right
            stopped = stopped or stop == 2
        return bounded(tie)

    def form_behind(self, atom: Atom) -> str:
        """The word right behind an atom; "" where there is none."""
        behind = atom.last_word + 1
        return self.words[behind].form if behind < len(self.words) else ""

    def has(self, atom: Atom, *forms: str) -> bool:
        """Whether one of these words is among those of the atom."""
        return any(self.words[k].form in forms for k in range(atom.first_word, atom.last_word + 1))

    def _parting(self, k: int) -> tuple[float, float, int]:
        """What stands after word k: how much it unties to the left and right, and how strong it is."""
        stop = self.words[k].stop
        left = self._comma.left if stop == 1 else self._stop.left if stop == 2 else 0.0
        right = self._comma.right if stop == 1 else self._stop.right if stop == 2 else 0.0
        if k + 1 < len(self.words) and self.words[k + 1].pause_s > _PAUSE_S:
            left = min(left, self._stop.left * _PAUSE_SHARE)
            right = min(right, self._stop.right * _PAUSE_SHARE)
            stop = max(stop, 1)
        return left, right, stop


def bounded(tie: float) -> float:
    """The tie within its bounds: nothing ties, or unties, for ever."""
    return max(_LEAST, min(tie, _MOST))


def share(one: float, two: float, gain: float = 2.0) -> float:
    """How much of the likelihood of two ties the first one has."""
    return 1.0 / (1.0 + math.exp(gain * (two - one)))
