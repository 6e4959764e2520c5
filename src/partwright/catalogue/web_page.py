"""The catalogue as one static HTML page to put on a site: no script, nothing fetched, our letters carried along.

Every text of a lesson is escaped; the page's own policy forbids scripts, so nothing in a title can run.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from functools import cache
from importlib import resources

from partwright.catalogue.entry import Entry
from partwright.checking.paper_page import paper_page
from partwright.engraving import SANS, SERIF, Face
from partwright.lesson import RIGHTS_CAUTION
from partwright.lesson.saying import count_words

__all__ = ["catalogue_page"]

_FACES = (Face(SERIF), Face(SERIF, bold=True), Face(SERIF, italic=True), Face(SANS), Face(SANS, bold=True))
_LEVELS = ("beginner", "intermediate", "advanced")


def catalogue_page(entries: Sequence[Entry], *, title: str = "Catalogue", today: str = "") -> str:
    """The page. `today` (ISO 8601) is printed as the day it was made; the same input gives the same page."""
    levels = [level for level in _LEVELS if any(e.level == level for e in entries)]
    levels += sorted({e.level for e in entries} - set(_LEVELS))
    many = count_words(len(entries), "lesson", "lessons")
    parts = [f"<h1>{_text(title)}</h1>", f"<p class=count>{_text(many[:1].upper() + many[1:])}.</p>"]
    if len(levels) > 1:
        links = "".join(
            f'<li><a href="#{_anchor(level)}">{_text(_capital(level) or "Any level")}</a></li>' for level in levels
        )
        parts.append(f'<nav aria-label="Levels"><ul>{links}</ul></nav>')
    for level in levels:
        shelf = [entry for entry in entries if entry.level == level]
        name, anchor = _text(_capital(level) or "Any level"), _anchor(level)
        parts.append(f'<section aria-labelledby="{anchor}"><h2 id="{anchor}">{name}</h2>')
        parts += [_lesson(entry) for entry in shelf]
        parts.append("</section>")
    made = f"Made on {today}. " if today else ""
    foot = f"<footer><p>{_text(made + RIGHTS_CAUTION)}</p></footer>"
    body = "".join(parts)
    values = {"BODY": body, "FOOT": foot}
    return paper_page(_template(), values, title=_plain(title), may="font-src data:", faces=_FACES)


def _lesson(entry: Entry) -> str:
    latest = entry.editions[-1] if entry.editions else None
    names = (
        entry.composer,
        f"arranged by {entry.arranger}" if entry.arranger else "",
        f"taught by {entry.teacher}" if entry.teacher and entry.teacher != entry.composer else "",
    )
    by = " · ".join(name for name in names if name)
    hardest = f"{entry.hardest} (bar {entry.hardest_bar})" if entry.hardest and entry.hardest_bar else entry.hardest
    hand = [
        words
        for count, words in (
            (entry.extensions, "extensions"), (entry.harmonics, "harmonics"), (entry.thumb, "thumb position"),
            (entry.double_stops, "double stops"),
        )
        if count
    ]  # fmt: skip
    price = "not for sale" if entry.rights.status == "fan-arrangement" else entry.price
    facts = (
        ("Instrument", entry.instrument.replace("_", " ")),
        ("Key", entry.key),
        ("Range", entry.range_words),
        ("Length", f"{entry.duration} min" if entry.duration else ""),
        ("Positions", ", ".join(entry.positions)),
        ("The hand", ", ".join(hand) or ("no extensions, harmonics or thumb" if entry.extensions == 0 else "")),
        ("Hardest spot", hardest),
        ("Edition", f"{latest.number}, {latest.date.isoformat()}" if latest else "not yet released"),
        ("Price", price),
    )
    rows = "".join(f"<dt>{_text(name)}</dt><dd>{_text(value)}</dd>" for name, value in facts if value)
    changes = ""
    if latest is not None and latest.number > 1:
        items = "".join(f"<li>{_text(change)}</li>" for change in latest.changes[:8])
        changes = f"<details><summary>What changed in edition {latest.number}</summary><ul>{items}</ul></details>"
    subtitle = f" <span>{_text(entry.subtitle)}</span>" if entry.subtitle else ""
    credit = "".join(f"<p class=credit>{_text(line)}</p>" for line in entry.credit)
    summary = f"<p>{_text(entry.summary)}</p>" if entry.summary else ""
    return (
        f'<article id="{_anchor(entry.id)}"><h3>{_text(entry.title)}{subtitle}</h3>'
        f"<p class=by>{_text(by)}</p>{summary}<dl>{rows}</dl>{changes}{credit}</article>"
    )


def _text(value: str) -> str:
    """A text as it stands between tags or in a quoted attribute; control signs are left out."""
    return html.escape(_plain(value), quote=True)


def _plain(value: str) -> str:
    return "".join(sign for sign in value if sign >= " ")


def _anchor(value: str) -> str:
    return "at-" + "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in value)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


@cache
def _template() -> str:
    return (resources.files("partwright.catalogue") / "data" / "catalogue.html").read_text(encoding="utf-8")
