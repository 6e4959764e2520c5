"""What one atom claims: the kind of claim and its value."""

from __future__ import annotations

import math

from partwright.checking.narration.atoms import Atom
from partwright.checking.narration.language import Value
from partwright.checking.narration.mentions import Claim

__all__ = ["claim_value", "said_claim"]


def said_claim(kind: str, value: tuple[Value, ...], atom: Atom) -> Claim:
    """A claim made by exactly the words of this atom, as sure as they were heard."""
    return Claim(
        kind=kind, value=value, first_word=atom.first_word, last_word=atom.last_word, p=math.exp(-0.5 * atom.price)
    )


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
        return kind, (float(number) if number is not None else 1.0,)  # halves are added where the words are known
    if kind == "value":
        return kind, (float(values[0]),)
    if kind == "on_beat":
        return kind, (int(values[0]),)
    if kind == "articulation":
        return kind, (str(values[0]),)
    return kind, tuple(values)
