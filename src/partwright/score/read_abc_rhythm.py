"""Tuplets and broken rhythm of ABC: what changes the length of the notes that follow.

Source: the ABC standard 2.1, sections 4.4 (broken rhythm) and 4.13 (tuplets).
"""

from __future__ import annotations

import dataclasses
from fractions import Fraction

from partwright.score.read_abc_event import AbcEvent, Remark
from partwright.score.read_abc_tokens import BadMusic, Token
from partwright.score.written import Tuplet, WrittenMetre

__all__ = ["AbcRhythm"]

_NORMAL_OF = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}


class AbcRhythm:
    """The tuplet that is open and the half of a broken pair that is to come."""

    def __init__(self, remark: Remark) -> None:
        self._remark = remark
        self._broken = Fraction(1)
        self._tuplet: tuple[int, int, int, bool] | None = None  # p, q, how many are left, first

    def open_tuplet(self, token: Token, line: int, metre: WrittenMetre | None, last: AbcEvent | None) -> None:
        """`last` is the note before it. Raises BadMusic for numbers that make no tuplet."""
        p, q, r = token.numbers
        q = q or _NORMAL_OF.get(p) or _normal_by_metre(metre)
        r = r or p
        if not 1 <= p <= 64 or not 1 <= q <= 64 or not 1 <= r <= 64:
            raise BadMusic(
                token.column, f"a tuplet of {p} in the time of {q} cannot be read", "Write it as (3 or (3:2:3."
            )
        if self._tuplet is not None:
            self._remark(
                "tuplet in tuplet", "a tuplet begins inside another, which was ended there", line, token.column
            )
            self.end_tuplet(last)
        if p != q:
            self._tuplet = (p, q, r, True)

    def end_tuplet(self, last: AbcEvent | None) -> None:
        """The open tuplet ends with the note before, whether or not it is full."""
        self._tuplet = None
        if last is not None and last.tuplet is not None:
            last.tuplet = dataclasses.replace(last.tuplet, stop=True)

    @property
    def in_tuplet(self) -> bool:
        """Whether notes of a tuplet are still to come."""
        return self._tuplet is not None

    def break_pair(self, token: Token, last: AbcEvent) -> None:
        """ ">" lengthens the note before it and shortens the one after it, "<" the other way."""
        short = Fraction(1, 2 ** len(token.text))
        long = 2 - short
        first, second = (long, short) if token.text[0] == ">" else (short, long)
        last.duration *= first
        self._broken = second

    def whole_again(self) -> None:
        """A broken pair does not reach over a bar line or into another voice."""
        self._broken = Fraction(1)

    def shape(self, event: AbcEvent) -> None:
        """Gives an event the length it has here, and its place in the tuplet."""
        event.duration *= self._broken
        self._broken = Fraction(1)
        if self._tuplet is not None:
            p, q, left, first = self._tuplet
            event.duration *= Fraction(q, p)
            event.tuplet = Tuplet(actual=p, normal=q, start=first, stop=left == 1)
            self._tuplet = (p, q, left - 1, False) if left > 1 else None


def _normal_by_metre(metre: WrittenMetre | None) -> int:
    """5, 7 and 9 notes go in the time of three in a compound metre, else of two."""
    compound = metre is not None and metre.beat_type >= 8 and sum(metre.beats) % 3 == 0 and sum(metre.beats) > 3
    return 3 if compound else 2
