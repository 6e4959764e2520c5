"""The reports as one HTML page: what viewers are right about first, each beside its bars; then wishes and questions.

Everything a viewer wrote is escaped, and the page allows no script at all. Works without a network.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape
from importlib import resources
from typing import Any

from partwright.checking.finding import Verdict
from partwright.checking.marked import marked_image
from partwright.checking.paper_page import paper_page
from partwright.checking.reports.answers import ANSWERED, state_words
from partwright.checking.reports.document import Kept, claim_key
from partwright.checking.reports.reports import Report, ReportsCheck, redacted
from partwright.lesson.saying import capital

__all__ = ["reports_page"]

_MARKS: dict[Verdict, str] = {"wrong": "✗", "check": "?", "right": "✓"}
_HEADINGS: dict[Verdict, str] = {
    "right": "The viewer is right", "check": "Please check", "wrong": "The lesson stands",
}  # fmt: skip
_MOST_PICTURES = 40

Excerpt = Callable[[int, int], str | None]  # first and last bar index → their picture, SVG


def reports_page(
    title: str, check: ReportsCheck, *, file_name: str, excerpt: Excerpt | None = None, kept: Kept | None = None
) -> str:
    """The page as HTML. `excerpt` draws bars; without it, or where it gives None, the words stand alone.

    `kept` tells what became of each report that the lesson keeps.
    """
    template = (resources.files("partwright.checking.reports") / "data" / "reports.html").read_text(encoding="utf-8")
    drawn = 0
    sections = []
    for verdict in ("right", "check", "wrong"):
        items = []
        for report in (r for r in check.reports if r.verdict == verdict):
            picture = ""
            if excerpt is not None and report.note is not None and drawn < _MOST_PICTURES:
                picture = _picture(report, check, excerpt)
                drawn += bool(picture)
            items.append(_item(report, picture, (kept or {}).get(claim_key(report), {})))
        if items:
            sections.append(f"<h2>{_HEADINGS[verdict]} ({len(items)})</h2>{''.join(items)}")
    values = {
        "TITLE": escape(title), "FILE": escape(file_name), "SUM": escape(_sum(check)),
        "REPORTS": "".join(sections) or "<p>No comment claims anything of a note.</p>", "WISHES": _wishes(check),
        "QUESTIONS": _listed("Questions", check, "question"), "VIDEO": _listed("Sound and picture", check, "video"),
    }  # fmt: skip
    return paper_page(template, values, title=f"{title}: what viewers reported")


def _sum(check: ReportsCheck) -> str:
    counts = {v: sum(r.verdict == v for r in check.reports) for v in _MARKS}
    right = f"{counts['right']} reports are right" if counts["right"] != 1 else "one report is right"
    return (
        f"{len(check.comments)} comments: {right}, {counts['check']} to check, "
        f"{counts['wrong']} where the lesson stands; {len(check.others('request'))} requests, "
        f"{len(check.others('question'))} questions, {len(check.others('thanks'))} thanks"
    )


def _item(report: Report, picture: str, row: Mapping[str, Any]) -> str:
    finding = report.finding
    when = "" if finding.time_s is None else f"{int(finding.time_s) // 60}:{int(finding.time_s) % 60:02}, "
    what = finding.what[:1].upper() + finding.what[1:]
    why = f'<p class="why">{escape(finding.why[:1].upper() + finding.why[1:])}.</p>' if finding.why else ""
    if row.get("state") == ANSWERED:
        why += f'<p class="why">{escape(capital(state_words(row)))}.</p>'
    return (
        f'<section class="finding {report.verdict}"><h3><span class="mark">{_MARKS[report.verdict]} {report.verdict}'
        f"</span> {escape(when)}{escape(finding.place)}</h3><p>{escape(what)}.</p>"
        f'<p class="said">“{escape(finding.observed)}”</p>{picture}{why}'
        f'<p class="why">Likely true: {report.weighed.likely:.0%}; place sure to {report.located.p:.0%}.</p></section>'
    )


def _picture(report: Report, check: ReportsCheck, excerpt: Excerpt) -> str:
    assert report.note is not None
    bars = check.grounds.check.part.bars
    first, last = max(0, report.note.bar_index - 1), min(len(bars) - 1, report.note.bar_index + 1)
    svg = excerpt(first, last)
    if svg is None:
        return ""
    address = marked_image(svg, [report.note.id])
    return f'<img alt="bars {escape(bars[first].number)} to {escape(bars[last].number)}" src="{address}">'


def _wishes(check: ReportsCheck) -> str:
    if not check.wishes:
        return ""
    rows = "".join(f"<tr><td>{len(w.viewers)}</td><td>{escape(w.tune)}</td></tr>" for w in check.wishes)
    head = '<tr><th scope="col">viewers</th><th scope="col">tune</th></tr>'
    return f"<h2>Wishes ({len(check.wishes)} tunes)</h2><table>{head}{rows}</table>"


def _listed(heading: str, check: ReportsCheck, sort: str) -> str:
    comments = check.others(sort)
    if not comments:
        return ""
    rows = "".join(f"<li>{escape(redacted(c.text))} <span>(line {c.row})</span></li>" for c in comments)
    return f"<h2>{heading} ({len(comments)})</h2><ul>{rows}</ul>"
