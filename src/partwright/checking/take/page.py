"""The report of a take: one file of HTML, readable without its script and without a network.

First what to be glad of and what to do, then the two spots, then the pictures, then every finding and every note.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib import resources

from partwright.checking.paper_page import paper_page
from partwright.checking.take.accuracy import accuracy_words
from partwright.checking.take.note import Spot, TakeCheck, TakeNote
from partwright.checking.take.pictures import intonation_systems, timing_systems
from partwright.checking.take.sums import GroupSum, bar_sums, phrase_sums
from partwright.score import beat_text

__all__ = ["take_page"]

_MARKS = {"wrong": "✗", "check": "?", "right": "✓"}
Excerpt = Callable[[int, int, Sequence[str]], str | None]


def take_page(
    title: str,
    check: TakeCheck,
    *,
    earlier: Sequence[Mapping[str, object]] | None = None,
    drill_words: Mapping[str, str] | None = None,
    drill_links: Mapping[str, str] | None = None,
    excerpt: Excerpt | None = None,
) -> str:
    """The page as HTML. `earlier` are rows of the practice log (None: not looked into); `drill_words` and `drill_links`
    name and locate drills; `excerpt` draws bars as an image's address (first and last bar index, notes to mark)."""
    template = (resources.files("partwright.checking.take") / "data" / "take.html").read_text(encoding="utf-8")
    values: dict[str, str] = {
        "TITLE": escape(title),
        "FACTS": escape(_facts(check)),
        "SENTENCES": "".join(f"<p>{escape(s)}</p>" for s in check.sentences),
        "REMARKS": "".join(f'<p class="remark">{escape(r)}</p>' for r in check.remarks),
        "SPOTS": _spots(check, drill_words or {}, drill_links or {}, excerpt),
        "HABITS": _habits(check),
        "PICTURES": _pictures(check),
        "FINDINGS": _findings(check),
        "PHRASES": _phrases(check),
        "BARS": _groups("Bar", bar_sums(check)),
        "SPOTS_TITLE": _spots_title(check),
        "PROGRESS": _progress(check, earlier),
        "NOTES": _notes(check),
        "CAUTION": "".join(f"<p>{escape(words)}</p>" for words in accuracy_words()),
    }
    return paper_page(template, values, title=f"{title}: what was played", more_signs="♯♭")


def _facts(check: TakeCheck) -> str:
    pieces = [
        f"{check.name}, {_clock(check.seconds)}",
        f"played from {_clock(check.starts_s)} to {_clock(check.ends_s)}",
        f"tuned to A = {check.reference_hz:.1f} Hz",
    ]
    if check.tempo_qpm is not None and check.tempo_range_qpm is not None:
        low, high = check.tempo_range_qpm
        pieces.append(f"at {check.tempo_qpm:.0f} quarter notes a minute, from {low:.0f} to {high:.0f}")
    return "; ".join(pieces) + "."


def _spots(check: TakeCheck, words: Mapping[str, str], links: Mapping[str, str], excerpt: Excerpt | None) -> str:
    if not check.spots:
        return "<p>No bar stands out. Play it once more for pleasure.</p>"
    return "".join(_spot(check, spot, words, links, excerpt) for spot in check.spots)


def _spot(
    check: TakeCheck, spot: Spot, words: Mapping[str, str], links: Mapping[str, str], excerpt: Excerpt | None
) -> str:
    bars = f"Bar {spot.first_bar}" if spot.first_bar == spot.last_bar else f"Bars {spot.first_bar} to {spot.last_bar}"
    marked = [
        n.note_id
        for n in check.counted
        if spot.first_index <= n.bar_index <= spot.last_index and (n.kind or n.timing == "check")
    ]
    picture = excerpt(spot.first_index, spot.last_index, marked) if excerpt is not None else None
    image = f'<img alt="{escape(bars)}, the notes in question marked" src="{picture}">' if picture else ""
    drills = ""
    if spot.drills:
        rows = "".join(
            f'<li><a href="{escape(links[name], quote=True)}">{escape(words.get(name, name))}</a></li>'
            if name in links
            else f"<li>{escape(words.get(name, name))}</li>"
            for name in spot.drills[:4]
        )
        drills = f"<p>Drills for it:</p><ul>{rows}</ul>"
    else:
        drills = "<p>Play it at half the tempo three times, then with the bar before it.</p>"
    why = spot.why[:1].upper() + spot.why[1:]
    said = f"<p>{escape(why)}. At {_clock(spot.time_s)} in the take.</p>"
    return f'<section class="spot"><h3>{escape(bars)}</h3>{said}{image}{drills}</section>'


def _spots_title(check: TakeCheck) -> str:
    return {0: "Nothing to practise apart", 1: "Practise this spot"}.get(len(check.spots), "Practise these two spots")


def _habits(check: TakeCheck) -> str:
    if not check.habits:
        return ""
    rows = "".join(f"<li>{escape(h.words)} (bars {escape(', '.join(h.bars))})</li>" for h in check.habits[:4])
    return f"<h2>The same finger, the same way</h2><ul>{rows}</ul><p>One correction of the hand mends all of them.</p>"


def _pictures(check: TakeCheck) -> str:
    rows = []
    for cents, time in zip(intonation_systems(check), timing_systems(check), strict=True):
        rows.append(f'<div class="system">{cents}{time}</div>')
    return "".join(rows)


def _findings(check: TakeCheck) -> str:
    if not check.findings:
        return "<p>✓ right: nothing was found.</p>"
    rows = []
    for finding in check.findings:
        what = finding.what[:1].upper() + finding.what[1:]
        rows.append(
            f'<tr class="{finding.verdict}"><td class="mark">{_MARKS[finding.verdict]} {finding.verdict}</td>'
            f"<td>{_clock(finding.time_s or 0)}</td><td>{escape(finding.place)}</td><td>{escape(what)}</td>"
            f'<td class="why">{escape(finding.why)}; sure to {finding.confidence:.0%}</td></tr>'
        )
    return (
        '<div class="wide findings"><table><thead><tr><th>Verdict</th><th>Time</th><th>Place</th><th>What</th>'
        f"<th>Why</th></tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _groups(heading: str, rows: Sequence[GroupSum]) -> str:
    cells = []
    for row in rows:
        cents = row.median_cents
        tune = (
            "–"
            if cents is None
            else f"{'▲' if cents > 10 else '▼' if cents < -10 else '●'} {round(cents) or 0:+d} cents"
        )
        trouble = [
            f"{count} {words}"
            for count, words in (
                (row.wrong_or_missed, "wrong or missed"),
                (row.out_of_tune, "out of tune"),
                (row.early_or_late, "early or late"),
            )
            if count
        ]
        place = row.first if row.first == row.last else f"{row.first} to {row.last}"
        late = "–" if row.median_late_s is None else f"{1000 * row.median_late_s:.0f} ms"
        cells.append(
            f'<tr><th scope="row">{escape(place)}</th><td>{row.notes}</td><td>{tune}</td><td>{late}</td>'
            f"<td>{', '.join(trouble)}</td></tr>"
        )
    return (
        f'<div class="wide"><table><thead><tr><th>{heading}</th><th>Notes</th><th>Median pitch</th>'
        f"<th>Median from the beat</th><th>To look at</th></tr></thead><tbody>{''.join(cells)}</tbody></table></div>"
    )


def _phrases(check: TakeCheck) -> str:
    rows = phrase_sums(check)
    return f"<h2>Phrase by phrase</h2>{_groups('Bar:beat', rows)}" if rows else ""


def _progress(check: TakeCheck, earlier: Sequence[Mapping[str, object]] | None) -> str:
    if earlier is None:
        return ""
    if not earlier:
        return "<h2>Progress on these bars</h2><p>This is the first take of these bars in the practice log.</p>"
    rows = []
    sums = check.sums
    now: Mapping[str, object] = {"when": "this take", "file": check.name, **sums, "tempo_qpm": check.tempo_qpm}
    for row in [*earlier[-8:], now]:
        judged, tune = row.get("pitch_judged"), row.get("in_tune")
        share = f"{100 * tune / judged:.0f} %" if isinstance(judged, int) and isinstance(tune, int) and judged else "–"
        tempo = row.get("tempo_qpm")
        cells = [
            str(row.get("when", ""))[:10],
            str(row.get("file", "")),
            share,
            _amount(row.get("median_abs_cents"), "cents"),
            _amount(row.get("median_abs_late_ms"), "ms"),
            str(_whole(row.get("wrong_notes")) + _whole(row.get("missed"))),
            f"{tempo:.0f}" if isinstance(tempo, int | float) else "–",
        ]
        rows.append("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>")
    return (
        '<h2>Progress on these bars</h2><div class="wide"><table><thead><tr><th>When</th><th>Take</th>'
        "<th>In tune</th><th>Median out by</th>"
        "<th>Median from the beat</th><th>Wrong or missed</th><th>Quarters a minute</th></tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _amount(value: object, unit: str) -> str:
    return f"{value:.0f} {unit}" if isinstance(value, int | float) else "–"


def _whole(value: object) -> int:
    return value if isinstance(value, int) else 0


def _notes(check: TakeCheck) -> str:
    rows = "".join(_note_row(note) for note in check.counted)
    return (
        '<div class="wide"><table><thead><tr><th>Bar, beat</th><th>Note</th><th>Time</th><th>Pitch</th><th>Cents</th>'
        f"<th>Vibrato</th><th>From the beat</th></tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _note_row(note: TakeNote) -> str:
    cents = "–" if note.cents is None else f"{note.cents:+.0f} ±{note.uncertainty_cents or 0:.0f}"
    vibrato = (
        "–"
        if note.vibrato is None
        else f"{note.vibrato.rate_hz:.1f} a second, ±{note.vibrato.half_width_cents:.0f} cents"
    )
    late = "–" if note.late_s is None else f"{1000 * note.late_s:+.0f} ms"
    words = note.pitch if note.pitch != "not judged" else f"not judged: {note.why_not or 'thin evidence'}"
    if note.kind:
        words += f", {note.kind}" + (f" ({note.played})" if note.kind != "intonation" else "")
    return (
        f"<tr><td>{escape(note.bar)}:{beat_text(note.beat)}</td><td>{escape(note.name)}</td><td>{_clock(note.time_s)}</td>"
        f"<td>{note.shape} {escape(words)}</td><td>{cents}</td><td>{vibrato}</td><td>{late}</td></tr>"
    )


def _clock(seconds: float) -> str:
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"
