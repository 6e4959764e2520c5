"""Chord symbols as people type them ("Am7", "F#dim", "G7b9/B"), in MusicXML's own terms.

Kinds are MusicXML 4.0 kind-value names; the spellings accepted are common practice (no source).
"""

from __future__ import annotations

import re

from partwright.score.written import WrittenChord

__all__ = ["chord_from_text"]

_KINDS = {
    "": "major",
    "M": "major",
    "maj": "major",
    "major": "major",
    "m": "minor",
    "min": "minor",
    "minor": "minor",
    "mi": "minor",
    "-": "minor",
    "7": "dominant",
    "dom7": "dominant",
    "M7": "major-seventh",
    "maj7": "major-seventh",
    "ma7": "major-seventh",
    "j7": "major-seventh",
    "Δ": "major-seventh",
    "Δ7": "major-seventh",
    "m7": "minor-seventh",
    "min7": "minor-seventh",
    "mi7": "minor-seventh",
    "-7": "minor-seventh",
    "mM7": "major-minor",
    "mmaj7": "major-minor",
    "m(maj7)": "major-minor",
    "m(M7)": "major-minor",
    "dim": "diminished",
    "o": "diminished",
    "°": "diminished",
    "dim7": "diminished-seventh",
    "o7": "diminished-seventh",
    "°7": "diminished-seventh",
    "m7b5": "half-diminished",
    "m7(b5)": "half-diminished",
    "ø": "half-diminished",
    "ø7": "half-diminished",
    "aug": "augmented",
    "+": "augmented",
    "aug7": "augmented-seventh",
    "+7": "augmented-seventh",
    "7+": "augmented-seventh",
    "6": "major-sixth",
    "M6": "major-sixth",
    "maj6": "major-sixth",
    "m6": "minor-sixth",
    "min6": "minor-sixth",
    "9": "dominant-ninth",
    "M9": "major-ninth",
    "maj9": "major-ninth",
    "m9": "minor-ninth",
    "min9": "minor-ninth",
    "11": "dominant-11th",
    "maj11": "major-11th",
    "m11": "minor-11th",
    "13": "dominant-13th",
    "maj13": "major-13th",
    "m13": "minor-13th",
    "sus4": "suspended-fourth",
    "sus": "suspended-fourth",
    "sus2": "suspended-second",
    "5": "power",
}
_LONGEST_FIRST = sorted(_KINDS, key=len, reverse=True)
_ALTERS = {"#": 1, "♯": 1, "b": -1, "♭": -1, "": 0, "x": 2, "##": 2, "bb": -2}
_CHORD = re.compile(r"([A-G])(##|bb|[#b♯♭x]?)([^/]*(?:/9[^/]*)?)(?:/([A-G])(##|bb|[#b♯♭]?))?")
_CHANGE = re.compile(r"[( ,]*(add|no|omit|sus|[#♯+]|[b♭-])?(2|4|5|6|7|9|10|11|13)[) ]*")


def chord_from_text(text: str) -> WrittenChord | None:
    """The chord symbol that `text` names, or None where it names none.

    >>> chord_from_text("Bbm7/Eb").kind, chord_from_text("hello")
    ('minor-seventh', None)
    """
    match = _CHORD.fullmatch(text.strip())
    if match is None:
        return None
    step, sign, suffix, bass, bass_sign = match.groups()
    found = _kind(suffix.strip())
    if found is None:
        return None
    kind, degrees = found
    return WrittenChord(
        text=text.strip(),
        root_step=step,
        root_alter=_ALTERS[sign],
        kind=kind,
        kind_text=suffix.strip(),
        bass_step=bass or "",
        bass_alter=_ALTERS[bass_sign or ""],
        degrees=degrees,
    )


def _kind(suffix: str) -> tuple[str, tuple[tuple[int, int, str], ...]] | None:
    """The kind and degrees of what follows the root: the longest known kind, then single changes."""
    for known in _LONGEST_FIRST:
        if suffix.startswith(known):
            degrees = _changes(suffix[len(known) :])
            if degrees is not None:
                return _KINDS[known], degrees
    return None


def _changes(rest: str) -> tuple[tuple[int, int, str], ...] | None:
    degrees: list[tuple[int, int, str]] = []
    position = 1 if rest.startswith("/") else 0  # "6/9"
    while position < len(rest):
        match = _CHANGE.match(rest, position)
        if match is None:
            return None
        what, value = match.group(1) or "", int(match.group(2))
        if what in ("no", "omit"):
            degrees.append((value, 0, "subtract"))
        elif what == "sus":
            degrees += [(3, 0, "subtract"), (value, 0, "add")]
        elif what in ("", "add"):
            degrees.append((value, 0, "add"))
        else:
            alter = 1 if what in "#♯+" else -1
            degrees.append((value, alter, "alter" if value == 5 else "add"))
        position = match.end()
    return tuple(degrees)
