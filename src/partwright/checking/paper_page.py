"""Pages to look at in a browser, of one file: the head they share, letters carried along, and places filled.

Nothing is fetched, and what is put in is never taken for a place of ours: the template is gone through once.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from importlib import resources

from partwright.engraving import SANS, SERIF
from partwright.engraving.typefaces import Face, font_face_css

__all__ = ["paper_page"]

_FACES = (Face(SERIF), Face(SANS), Face(SANS, bold=True))


def paper_page(
    template: str,
    values: Mapping[str, str],
    *,
    title: str,
    may: str = "img-src data:; font-src data:",
    faces: Sequence[Face] = _FACES,
    more_signs: str = "",
) -> str:
    """The page: `@@HEAD@@` in the template is the shared head, `@@NAME@@` the HTML that `values` has under NAME.

    `title` is plain text; `may` is what the page's own policy (Content Security Policy, W3C) allows beyond style sheets
    of its own; `faces` are carried along with the signs that occur on the page and `more_signs`.
    """
    shown = html.unescape("".join((template, title, more_signs, *values.values())))
    signs = "".join(sorted({sign for sign in shown if sign >= " "}))
    head = (resources.files("partwright.checking") / "data" / "head.html").read_text(encoding="utf-8").rstrip()
    fonts = font_face_css(dict.fromkeys(faces, signs))
    whole = {**values, "HEAD": _filled(head, {"TITLE": html.escape(title), "MAY": may, "FONTS": fonts})}
    return _filled(template, whole)


def _filled(template: str, values: Mapping[str, str]) -> str:
    """Every other piece between the signs is a name; one without a value stays as it is written."""
    pieces = template.split("@@")
    return "".join(piece if k % 2 == 0 else values.get(piece, f"@@{piece}@@") for k, piece in enumerate(pieces))
