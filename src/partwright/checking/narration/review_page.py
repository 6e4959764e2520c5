"""The review page: the transcript, the bars it speaks of, each finding, and what to decide about it. One file of HTML.

Everything shown from outside is escaped. The page writes nothing by itself: decisions are saved as a review file, which
`check narration --review FILE` takes over. Works without a network; without its script it is still readable.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib import resources

from partwright.checking.narration.narration import NarrationCheck, NarrationFinding
from partwright.checking.narration.places import Place
from partwright.checking.narration.review import finding_key, pin_offer
from partwright.checking.narration.wording import truth_words
from partwright.checking.paper_page import paper_page
from partwright.score import beat_text

__all__ = ["review_page"]

_MARKS = {"wrong": "✗", "check": "?", "right": "✓"}
_AROUND = 3  # places shown before and after the one spoken of

Excerpt = Callable[[int, int], str | None]  # first and last bar index → SVG, or None where it cannot be drawn


def review_page(
    title: str,
    check: NarrationCheck,
    located: Sequence[NarrationFinding],
    *,
    transcript_name: str,
    excerpt: Excerpt | None = None,
) -> str:
    """The page as HTML. `excerpt` draws bars; without it, or where it gives None, the notes stand in a table."""
    template = (resources.files("partwright.checking.narration") / "data" / "review.html").read_text(encoding="utf-8")
    findings = [_finding(number, check, item, excerpt) for number, item in enumerate(located, start=1)]
    wrong = sum(item.finding.verdict == "wrong" for item in located)
    sum_line = f"{wrong} wrong, {len(located) - wrong} to check" if located else "Nothing found"
    body = "\n".join(findings) or "<p>Every claim that could be placed is right.</p>"
    text = _transcript(check, located)
    values: Mapping[str, str] = {
        "TITLE": escape(title), "SUM": escape(sum_line), "FINDINGS": body, "TRANSCRIPT": text,
        "NAME": escape(json.dumps(transcript_name), quote=True), "FAULTS": _faults(check),
    }  # fmt: skip
    return paper_page(
        template, values, title=f"{title}: what was said",
        may="script-src 'unsafe-inline'; img-src data:; font-src data:",
    )  # fmt: skip


def _finding(number: int, check: NarrationCheck, item: NarrationFinding, excerpt: Excerpt | None) -> str:
    finding = item.finding
    key = finding_key(finding)
    when = f"{_clock(finding.time_s)}, " if finding.time_s is not None else ""
    offers = pin_offer(check, item)
    choices = [("accept", "Accept: correct it on screen"), ("right", "It’s right as said"), ("unsure", "Unsure")]
    if offers:
        pins = ", ".join(f"{offer.place} = {offer.value}" for offer in offers)
        choices.append(("pin", f"Pin it: {pins}"))
    buttons = "".join(
        f'<label><input type="radio" name="{key}" value="{value}"> {escape(words)}</label>' for value, words in choices
    )
    music = _music(check, item, excerpt)
    against = "the plan" if finding.against == "plan" else "the score"
    return (
        f'<section class="finding {finding.verdict}" id="finding-{number}">'
        f'<h3><span class="mark">{_MARKS[finding.verdict]} {finding.verdict}</span> '
        f"{escape(when)}{escape(finding.place)}</h3>"
        f"<p>{escape(_sentence(finding.what))}</p>"
        f'<p class="said">“{escape(finding.observed)}”</p>{music}'
        f'<p class="why">Against {against}; {escape(finding.why)}. Sure to {finding.confidence:.0%}.</p>'
        f"<fieldset><legend>Decide</legend>{buttons}</fieldset></section>"
    )


def _music(check: NarrationCheck, item: NarrationFinding, excerpt: Excerpt | None) -> str:
    if item.place < 0:
        return ""
    place = check.places[item.place]
    drawn = ""
    if excerpt is not None:
        first = max(0, place.first.bar_index - 1)
        last = min(len(check.part.bars) - 1, place.attacks[-1].notes[0].bar_index + 1)
        svg = excerpt(first, last)
        if svg is not None:
            ids = [note.id for attack in place.attacks for note in attack.notes]
            drawn = (
                f'<img alt="bars {escape(check.part.bars[first].number)} to '
                f'{escape(check.part.bars[last].number)}" src="{_highlighted(svg, ids)}">'
            )
    return drawn + _table(check, place)


def _highlighted(svg: str, ids: Sequence[str]) -> str:
    """The picture with these notes in the accent colour, as an address that carries it."""
    rules = "".join(f'[id="{_css(note_id)}"]{{fill:#0F5A8A;color:#0F5A8A;stroke:#0F5A8A}}' for note_id in ids)
    at = svg.index(">") + 1
    marked = f"{svg[:at]}<style>{rules}</style>{svg[at:]}"
    return "data:image/svg+xml;base64," + base64.b64encode(marked.encode("utf-8")).decode("ascii")


def _css(text: str) -> str:
    """A note's id as a CSS string; anything unusual as its code point, so that nothing ends the string or the rule."""
    return "".join(c if c.isalnum() or c in "-_." else f"\\{ord(c):x} " for c in text)


def _table(check: NarrationCheck, place: Place) -> str:
    from partwright.checking.narration.truth import Truth

    truth = Truth(check.part, check.places, check.instrument)
    around = check.places[max(0, place.index - _AROUND) : place.index + _AROUND + 1]
    rows = []
    for kind, name in (("", "place"), ("note", "note"), ("finger", "finger"), ("string", "string")):
        cells = []
        for one in around:
            words = f"{one.first.bar}:{beat_text(one.first.beat)}" if not kind else truth_words(kind, one, truth)
            if kind == "note" and one.count > 1:
                words += f" ×{one.count}"
            here = ' class="here"' if one.index == place.index else ""
            cells.append(f"<td{here}>{escape(words.replace(' finger', '').replace(' string', ''))}</td>")
        rows.append(f'<tr><th scope="row">{name}</th>{"".join(cells)}</tr>')
    return f'<div class="wide"><table>{"".join(rows)}</table></div>'


def _transcript(check: NarrationCheck, located: Sequence[NarrationFinding]) -> str:
    spans: dict[int, list[tuple[int, int, int, str]]] = {}
    for number, item in enumerate(located, start=1):
        for index in range(max(0, item.first_word), item.last_word + 1):
            word = check.words[index]
            spans.setdefault(word.cue, []).append((word.begin, word.end, number, item.finding.verdict))
    lines = []
    for index, cue in enumerate(check.transcript.cues):
        stamp = _clock(cue.start_s) if cue.start_s is not None else ""
        pieces, last = [], 0
        for begin, end, number, verdict in sorted(spans.get(index, ())):
            if begin < last:
                continue
            pieces.append(escape(cue.text[last:begin]))
            mark = _MARKS[verdict]
            pieces.append(
                f'<a class="{verdict}" href="#finding-{number}" title="{mark} {verdict}">'
                f"{escape(cue.text[begin:end])}</a>"
            )
            last = end
        pieces.append(escape(cue.text[last:]))
        lines.append(f"<p><time>{stamp}</time> {''.join(pieces)}</p>")
    return "\n".join(lines)


def _faults(check: NarrationCheck) -> str:
    if not check.transcript.faults:
        return ""
    rows = "".join(f"<li>{escape(str(fault))}</li>" for fault in check.transcript.faults[:50])
    more = len(check.transcript.faults) - 50
    rest = f"<li>and {more} more</li>" if more > 0 else ""
    heading = f"What was odd in the file ({len(check.transcript.faults)})"
    return f"<details><summary>{heading}</summary><ul>{rows}{rest}</ul></details>"


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else text + "."


def _clock(seconds: float | None) -> str:
    whole = int(seconds or 0)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"
