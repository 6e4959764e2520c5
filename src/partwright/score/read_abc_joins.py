"""Ties and slurs of ABC: what joins one event to a later one, settled when that one has come.

Source: the ABC standard 2.1, section 4.11 (ties and slurs).
"""

from __future__ import annotations

from partwright.score.read_abc_event import AbcEvent, Remark, drop_ties
from partwright.score.read_abc_tokens import Token

__all__ = ["AbcJoins"]


class AbcJoins:
    """The tie that is open, the slurs that are open, and those that wait for the note they begin on."""

    def __init__(self, remark: Remark) -> None:
        self.tied: AbcEvent | None = None
        self._remark = remark
        self._waiting: list[tuple[str, int, int]] = []  # name, line, column
        self._open: list[tuple[str, AbcEvent]] = []
        self._count = 0

    def _new_name(self) -> str:
        self._count += 1
        return f"slur{self._count}"

    # Slurs

    def open_slur(self, token: Token, line: int) -> None:
        """A slur begins on the next note."""
        self._waiting.append((self._new_name(), line, token.column))

    def begin_slurs(self, event: AbcEvent) -> None:
        """The slurs that waited for an event begin on this one."""
        for name, line, column in self._waiting:
            if event.pitches:
                event.slur_starts.append(name)
                self._open.append((name, event))
            else:
                self._remark("slur on rest", "a slur that begins on a rest was left out", line, column)
        self._waiting = []

    def close_slur(self, token: Token, line: int, target: AbcEvent | None) -> None:
        """The slur opened last ends on `target`."""
        if not self._open or target is None or not target.pitches:
            self._remark("slur end", "a slur ends here that never began; it was left out", line, token.column)
            return
        name, start = self._open.pop()
        if start is target:
            start.slur_starts.remove(name)
            self._remark("slur one note", "a slur over a single note was left out", line, token.column)
            return
        target.slur_stops.append(name)

    # Ties

    def tie(self, event: AbcEvent) -> None:
        """Every note of the event is held over into the next."""
        event.ties = [True] * len(event.pitches)
        self.tied = event

    def resolve(self, event: AbcEvent) -> None:
        """Settles a tie from the event before: to the same pitch it is a tie, to another a slur, to a rest nothing."""
        tied, self.tied = self.tied, None
        if tied is None:
            return
        if not event.pitches:
            drop_ties(tied)
            self._remark("tie to rest", "a tie leads into a rest and was left out", tied.line, tied.column)
            return
        kept = [tie and pitch in event.pitches for tie, pitch in zip(tied.ties, tied.pitches, strict=True)]
        if not any(kept):
            name = self._new_name()
            tied.slur_starts.append(name)
            event.slur_stops.append(name)
            self._remark(
                "tie as slur", "a tie joins two different notes and was read as a slur", tied.line, tied.column
            )
        tied.ties = kept

    def drop_tie(self) -> None:
        """Another voice begins in the bar: a tie does not lead into it."""
        if self.tied is not None:
            drop_ties(self.tied)
            self.tied = None

    # The end

    def drop_last_tie(self) -> None:
        """The tune is over and a tie is still open."""
        if self.tied is not None:
            drop_ties(self.tied)
            self._remark(
                "tie to end", "a tie leads beyond the last note and was left out", self.tied.line, self.tied.column
            )

    def drop_open_slurs(self) -> None:
        """The tune is over and slurs are still open."""
        for name, start in self._open:
            start.slur_starts.remove(name)
            self._remark("slur open", "a slur never ends and was left out", start.line, start.column)
