"""Whether a known mistake is mended: by what stands at its place before and after."""

from __future__ import annotations

from fractions import Fraction

from partwright.catalogue.changes import State
from partwright.lesson import Erratum
from partwright.score import Note, beat_text

__all__ = ["mended"]


def mended(erratum: Erratum, before: State, now: State) -> bool:
    """True only where what is right stands there now and did not before; what cannot be told from notes is not."""
    if not erratum.bar or not erratum.right or erratum.where in ("video", "sound"):
        return False
    old, new = _right_there(erratum, before), _right_there(erratum, now)
    return new is True and old is not True


def _right_there(erratum: Erratum, state: State) -> bool | None:
    notes = [n for n in state.part.notes if n.bar == erratum.bar and (not erratum.beat or _at(n, erratum.beat))]
    if not notes:
        return None
    right = erratum.right.strip()
    match erratum.kind:
        case "pitch":
            names = {note.pitch.name for note in notes} | {note.pitch.name.rstrip("-0123456789") for note in notes}
            wanted = right.replace("♯", "#").replace("♭", "b").split()
            return all(name in names for name in wanted) and (
                not erratum.was or all(name not in names for name in erratum.was.split() if name not in wanted)
            )
        case "rhythm":
            return any(_quarters(right) == note.duration_quarters for note in notes)
        case "finger":
            finger, _, string = right.partition("/")
            return any(_fits(state.fingers.get(note.id), finger, string) for note in notes)
        case "string":
            return any(_fits(state.fingers.get(note.id), "", right.lstrip("/")) for note in notes)
        case "bow":
            return any(state.strokes.get(note.id, ("",))[0] == right for note in notes)
        case _:
            return None


def _at(note: Note, beat: str) -> bool:
    return beat_text(note.beat) == beat


def _fits(placed: tuple[object, ...] | None, finger: str, string: str) -> bool:
    return placed is not None and finger in ("", str(placed[0])) and string in ("", str(placed[1]))


def _quarters(text: str) -> Fraction | None:
    try:
        return Fraction(text)
    except (ValueError, ZeroDivisionError):
        return None
