"""Words under an ABC line: which syllable stands under which note. Source: the ABC standard 2.1, section 5.1."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from typing import Literal

from partwright.score.read_abc_event import AbcEvent
from partwright.score.read_abc_fields import read_text
from partwright.score.written import WrittenLyric

__all__ = ["set_lyrics"]

_SIGN = re.compile(r"\\-|[-_*|]|[^\s\-_*|\\]+(?:\\(?!-)[^\s\-_*|]*)*|\\|\s+")


def set_lyrics(events: Sequence[AbcEvent], text: str, *, verse: int) -> int:
    """Puts the syllables of `text` under the notes of `events`. Returns how many found no note.

    A hyphen parts syllables of a word, `_` holds the last one over a note, `*` skips a note, `~` is a space inside
    a syllable, `\\-` a printed hyphen, `|` goes on to the next bar. Rests and grace notes take no syllable.
    """
    notes = [event for event in events if event.sings]
    at = 0
    left = 0
    last: AbcEvent | None = None
    inside = False  # the next syllable continues a word
    pending = ""

    def place(syllable: str, ends_word: bool) -> None:
        nonlocal at, left, last, inside
        if at >= len(notes):
            left += 1
            return
        syllabic: Literal["single", "begin", "middle", "end"]
        syllabic = ("end" if ends_word else "middle") if inside else ("single" if ends_word else "begin")
        words = read_text(syllable.replace("~", " "))
        notes[at].lyrics.append(WrittenLyric(text=words, syllabic=syllabic, verse=verse))
        last = notes[at]
        at += 1
        inside = not ends_word

    previous = " "
    for match in _SIGN.finditer(text + " "):
        sign = match.group(0)
        if sign == "\\-":
            pending += "-"
        elif sign == "-":
            if pending:
                place(pending, ends_word=False)
                pending = ""
            elif previous in (" ", "-"):
                at += 1  # a blank syllable
        elif sign in ("_", "*", "|") or sign.isspace():
            if pending:
                place(pending, ends_word=True)
                pending = ""
            elif inside and not sign.isspace() and previous != "-":
                inside = False
            if sign == "_":
                if last is not None:
                    last.lyrics[-1] = dataclasses.replace(last.lyrics[-1], extends=True)
                at += 1
            elif sign == "*":
                at += 1
            elif sign == "|":
                at = _next_bar(notes, at)
        else:
            pending += sign
        previous = " " if sign.isspace() else sign[-1]
    return left


def _next_bar(notes: Sequence[AbcEvent], at: int) -> int:
    """The first note of the bar after the one the last syllable stands in."""
    if at == 0 or at > len(notes):
        return at
    bar = notes[at - 1].bar_index
    while at < len(notes) and notes[at].bar_index <= bar:
        at += 1
    return at
