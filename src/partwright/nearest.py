"""An unknown name is answered with the nearest known one."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["nearest", "nearest_sentence"]


def nearest(name: str, known: Iterable[str], *, likeness: float = 0.6) -> str | None:
    """The known name most like this one; None where none is like enough (1 = the same, 0 = nothing in common).

    >>> nearest("begginer", ["beginner", "advanced"])
    'beginner'
    """
    import difflib  # takes as long to load as all the rest here, and is wanted only when something is wrong

    found = difflib.get_close_matches(name.casefold(), list(known), n=1, cutoff=likeness)
    return found[0] if found else None


def nearest_sentence(name: str, known: Iterable[str], *, likeness: float = 0.6) -> str:
    """What to do about an unknown name: the nearest known one, or all of them.

    >>> nearest_sentence("fingre", ["finger", "new"])
    'Did you mean "finger"?'
    >>> nearest_sentence("xyz", ["finger", "new"])
    'Known are finger, new.'
    """
    names = list(known)
    near = nearest(name, names, likeness=likeness)
    return f'Did you mean "{near}"?' if near else f"Known are {', '.join(names)}."
