"""A <harmony> element as a chord symbol: the text as printed and MusicXML's own terms for its parts."""

from __future__ import annotations

from dataclasses import dataclass

from lxml import etree

from partwright.score.ticks import number_of

__all__ = ["RawChord", "read_harmony"]

_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
# How the kinds are printed when the file does not say; common practice, no source.
_SUFFIXES = {
    "major": "",
    "minor": "m",
    "augmented": "+",
    "diminished": "dim",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "m7",
    "diminished-seventh": "dim7",
    "augmented-seventh": "+7",
    "half-diminished": "m7b5",
    "major-minor": "m(maj7)",
    "major-sixth": "6",
    "minor-sixth": "m6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "m9",
    "dominant-11th": "11",
    "major-11th": "maj11",
    "minor-11th": "m11",
    "dominant-13th": "13",
    "major-13th": "maj13",
    "minor-13th": "m13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "Neapolitan": "N6",
    "Italian": "It6",
    "French": "Fr6",
    "German": "Ger6",
    "pedal": "ped",
    "power": "5",
    "Tristan": "Tristan",
}


@dataclass(frozen=True, slots=True)
class RawChord:
    """A chord symbol before it is given its place in quarters."""

    tick: int
    bar_index: int
    text: str
    root_step: str
    root_alter: float
    kind: str
    bass_step: str
    bass_alter: float
    degrees: tuple[tuple[int, float, str], ...]


def read_harmony(element: etree._Element, tick: int, bar_index: int) -> RawChord | None:
    """The chord symbol, or None where there is neither a root nor "no chord". Further roots in one element are left."""
    kind_element = element.find("kind")
    kind = (kind_element.text or "").strip() if kind_element is not None else ""
    printed = kind_element.get("text") if kind_element is not None else None
    if kind == "none":
        return RawChord(tick, bar_index, printed or "N.C.", "", 0, "none", "", 0, ())
    root = _step(element.findtext("root/root-step"))
    if not root:
        return None
    root_alter = _alter(element.findtext("root/root-alter"))
    bass = _step(element.findtext("bass/bass-step"))
    bass_alter = _alter(element.findtext("bass/bass-alter"))
    degrees = tuple(_degrees(element))
    suffix = printed if printed is not None else _SUFFIXES.get(kind, "")
    text = root + _SIGNS.get(round(root_alter), "") + suffix
    if printed is None:
        text += "".join(_degree_text(degree) for degree in degrees)
    if bass:
        text += "/" + bass + _SIGNS.get(round(bass_alter), "")
    return RawChord(tick, bar_index, text, root, root_alter, kind, bass, bass_alter, degrees)


def _degrees(element: etree._Element) -> list[tuple[int, float, str]]:
    found = []
    for degree in element.iterfind("degree"):
        value = number_of(degree.findtext("degree-value"))
        what = (degree.findtext("degree-type") or "").strip()
        if value is not None and 1 <= value <= 99 and what in ("add", "alter", "subtract"):
            found.append((round(value), _alter(degree.findtext("degree-alter")), what))
    return found


def _degree_text(degree: tuple[int, float, str]) -> str:
    value, alter, what = degree
    if what == "subtract":
        return f"(no{value})"
    sign = _SIGNS.get(round(alter), "")
    return f"{sign}{value}" if sign else f"add{value}"


def _step(text: str | None) -> str:
    letter = (text or "").strip()
    return letter if len(letter) == 1 and letter in "ABCDEFG" else ""


def _alter(text: str | None) -> float:
    value = number_of(text)
    if value is None or not -4 <= value <= 4:
        return 0
    return int(value) if value.denominator == 1 else float(value)
