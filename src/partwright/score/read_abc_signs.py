"""ABC's decorations and what they are in MusicXML. Source: the ABC standard 2.1, section 4.14 (Decorations).

The standard's own names come first; below them a few that are common in files (no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["DEFAULT_LETTERS", "SIGNS", "Sign"]

_Where = Literal[
    "articulation",
    "ornament",
    "technical",
    "finger",
    "fermata",
    "arpeggio",
    "dynamic",
    "wedge",
    "words",
    "jump",
    "none",
]


@dataclass(frozen=True, slots=True)
class Sign:
    """Where a decoration goes on a written event, and its value there."""

    where: _Where
    value: str = ""


SIGNS: dict[str, Sign] = {
    "trill": Sign("ornament", "trill-mark"),
    "lowermordent": Sign("ornament", "mordent"),
    "uppermordent": Sign("ornament", "inverted-mordent"),
    "mordent": Sign("ornament", "mordent"),
    "pralltriller": Sign("ornament", "inverted-mordent"),
    "turn": Sign("ornament", "turn"),
    "turnx": Sign("ornament", "turn"),
    "invertedturn": Sign("ornament", "inverted-turn"),
    "invertedturnx": Sign("ornament", "inverted-turn"),
    "roll": Sign("ornament", "turn"),
    "arpeggio": Sign("arpeggio"),
    ">": Sign("articulation", "accent"),
    "accent": Sign("articulation", "accent"),
    "emphasis": Sign("articulation", "accent"),
    "fermata": Sign("fermata"),
    "invertedfermata": Sign("fermata"),
    "tenuto": Sign("articulation", "tenuto"),
    "staccato": Sign("articulation", "staccato"),
    "wedge": Sign("articulation", "staccatissimo"),
    "marcato": Sign("articulation", "strong-accent"),
    "^": Sign("articulation", "strong-accent"),
    "breath": Sign("articulation", "breath-mark"),
    "slide": Sign("articulation", "scoop"),
    "0": Sign("finger", "0"),
    "1": Sign("finger", "1"),
    "2": Sign("finger", "2"),
    "3": Sign("finger", "3"),
    "4": Sign("finger", "4"),
    "5": Sign("finger", "5"),
    "+": Sign("technical", "stopped"),
    "plus": Sign("technical", "stopped"),
    "snap": Sign("technical", "snap-pizzicato"),
    "upbow": Sign("technical", "up-bow"),
    "downbow": Sign("technical", "down-bow"),
    "open": Sign("technical", "open-string"),
    "thumb": Sign("technical", "thumb-position"),
    "harmonic": Sign("technical", "harmonic"),
    "tremolo1": Sign("ornament", "tremolo-1"),
    "/": Sign("ornament", "tremolo-1"),
    "//": Sign("ornament", "tremolo-2"),
    "///": Sign("ornament", "tremolo-3"),
    "crescendo(": Sign("wedge", "crescendo"),
    "<(": Sign("wedge", "crescendo"),
    "diminuendo(": Sign("wedge", "diminuendo"),
    ">(": Sign("wedge", "diminuendo"),
    "crescendo)": Sign("wedge", "stop"),
    "<)": Sign("wedge", "stop"),
    "diminuendo)": Sign("wedge", "stop"),
    ">)": Sign("wedge", "stop"),
    "trill(": Sign("ornament", "trill-mark"),
    "trill)": Sign("none"),
    "segno": Sign("jump", "segno"),
    "coda": Sign("jump", "coda"),
    "fine": Sign("jump", "fine"),
    "dacoda": Sign("jump", "to-coda"),
    "tocoda": Sign("jump", "to-coda"),
    "dacapo": Sign("jump", "D.C."),
    "D.C.": Sign("jump", "D.C."),
    "D.C.alfine": Sign("jump", "D.C. al Fine"),
    "D.C.alcoda": Sign("jump", "D.C. al Coda"),
    "D.S.": Sign("jump", "D.S."),
    "D.S.alfine": Sign("jump", "D.S. al Fine"),
    "D.S.alcoda": Sign("jump", "D.S. al Coda"),
    **{name: Sign("dynamic", name) for name in ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")},
    **{name: Sign("dynamic", name) for name in ("sfz", "sf", "fp", "fz", "rfz", "sfp")},
    "pizz": Sign("words", "pizz."),
    "arco": Sign("words", "arco"),
    "nil": Sign("none"),
    "beam-accel": Sign("none"),
    "beam-rall": Sign("none"),
    "shortphrase": Sign("articulation", "caesura"),
    "mediumphrase": Sign("articulation", "caesura"),
    "longphrase": Sign("articulation", "caesura"),
}
"""Decoration name, as between exclamation marks, to its sign."""

DEFAULT_LETTERS = {
    ".": "staccato",
    "~": "roll",
    "H": "fermata",
    "L": "accent",
    "M": "lowermordent",
    "O": "coda",
    "P": "uppermordent",
    "S": "segno",
    "T": "trill",
    "u": "upbow",
    "v": "downbow",
}
"""Single letters before a note and the decorations they stand for."""
