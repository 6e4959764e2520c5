"""partwright reports: viewers' comments brought back to bars, checked, and turned into errata and a wish list."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from partwright.cli.options import json_option
from partwright.cli.spoken import check_words, clock, drawn_bars, takes_transcripts, write_told

if TYPE_CHECKING:
    from partwright.checking.narration import NarrationCheck
    from partwright.checking.reports import Comments, Grounds, Kept, ReportsCheck
    from partwright.lesson import Prepared

__all__ = ["command"]

_MOST_SHOWN = 200


@click.command("reports")
@click.argument("lesson", type=click.Path(), metavar="LESSON")
@click.argument("file", type=click.Path(), metavar="[FILE]", required=False)
@click.option(
    "--transcript", type=click.Path(), metavar="FILE",
    help="What was said in the video the comments are under.  [default: the first in LESSON/takes]",
)  # fmt: skip
@click.option(
    "--chapters", type=click.Path(), metavar="FILE",
    help="Its chapters, named after sections: WebVTT, or lines with a time and a name.",
)  # fmt: skip
@click.option("--played", is_flag=True, help="Times are those of the demonstration video, which only plays.")
@click.option(
    "--page", type=click.Path(), metavar="FILE", help="Page with each report beside its bars to write (.html)."
)
@click.option(
    "--csv", "table", type=click.Path(), metavar="FILE", help="Reports, wishes and questions as a table (.csv)."
)
@click.option("--names", is_flag=True, help="Show who wrote what. Otherwise only a short id is kept of a viewer.")
@click.option("--dry-run", is_flag=True, help="Write neither errata nor reports into the lesson.")
@click.option("--answered", multiple=True, metavar="ID", help="You have answered this report, as in r3. Repeatable.")
@click.option("--reopen", multiple=True, metavar="ID", help="It waits for an answer after all. Repeatable.")
@json_option
def command(
    lesson: str, file: str | None, transcript: str | None, chapters: str | None, played: bool, page: str | None,
    table: str | None, names: bool, dry_run: bool, answered: tuple[str, ...], reopen: tuple[str, ...], as_json: bool,
) -> int:  # fmt: skip
    """Bring viewers' reports back to bars.

    FILE holds comments: CSV, JSON lines, or plain text with one a line. Those that claim something of a note are placed
    by time, bar, section, name or finger, and checked against score and plan. "right" means that the viewer is right:
    an erratum is drafted in LESSON/errata.toml. Requests are tallied by tune; questions and thanks are set apart.

    Without FILE, the reports kept in the lesson are listed, each with what became of it: one whose erratum is mended in
    a released edition is answered by that edition.

    \b
    partwright reports waltz comments.csv
    partwright reports waltz comments.csv --page reports.html
    partwright reports waltz --answered r3

    Exit code 0: nothing waits. 1: something to mend, to check or to answer.
    """
    from partwright.checking.reports import (
        check_reports,
        claim_key,
        read_comments,
        reports_csv,
        reports_document,
        sold_notes,
    )
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import read_job
    from partwright.lesson import is_lesson

    folder = Path(lesson)
    if answered or reopen or file is None:
        given = [transcript, chapters, page, table, *(True for flag in (played, names, dry_run) if flag)]
        return _list_kept(folder, file, answered, reopen, given, as_json=as_json)
    comments = read_comments(Path(file), keep_names=names)
    for fault in comments.faults[:20]:
        remark(f"remark: {file}, {fault}")
    job = read_job(lesson)
    grounds = _grounds(job, folder, transcript, chapters, played=played)
    check = check_reports(
        comments.comments, grounds, editions_at=sold_notes(folder, told=lambda words: remark(f"remark: {words}"))
    )
    kept = _kept(folder, check, write=not dry_run) if is_lesson(folder) else {}
    write_told(page, lambda: _page(job, check, Path(file).name, kept))
    write_told(table, lambda: reports_csv(check, kept=kept))
    if as_json:
        read_as = {"file": file, "read_as": comments.kind, "encoding": comments.encoding}
        print_json({"lesson": lesson, **read_as, **reports_document(check, names=names, kept=kept)})
    else:
        _print(check, comments, kept, names=names)
    told = [report for report in check.reports if kept.get(claim_key(report), {}).get("state") != "answered"]
    return 1 if any(report.verdict != "wrong" for report in told) else 0


def _list_kept(
    folder: Path, file: str | None, answered: Sequence[str], reopen: Sequence[str], given: Sequence[object], *,
    as_json: bool,
) -> int:  # fmt: skip
    """The reports kept in the lesson, after what the maker says of them."""
    from partwright.checking.reports import answer_reports, read_kept
    from partwright.cli.output import print_json, remark, table_lines
    from partwright.errors import InputError
    from partwright.lesson import read_lesson

    if file is not None:
        raise InputError("--answered and --reopen speak of reports that are kept", "Say it without a FILE.")
    if any(item is not None for item in given):
        raise InputError("no FILE of comments is named", "Name it, or say only LESSON to list what is kept.")
    read_lesson(folder)
    if answered:
        answer_reports(folder, answered, today=_today())
    if reopen:
        answer_reports(folder, reopen, today=_today(), answered=False)
    rows = read_kept(folder, today=_today())
    waiting = sum(_waits(row) for row in rows)
    if as_json:
        print_json({"lesson": str(folder), "reports": list(rows), "summary": {"reports": len(rows), "open": waiting}})
        return 1 if waiting else 0
    listed = [_kept_cells(row) for row in rows if row.get("kind") in ("claim", "question", "other")]
    for line in table_lines(["report", "viewers", "place", "what became of it", "words"], listed) if listed else ():
        click.echo(line)
    remark(f"{len(listed)} kept, {waiting} to answer." if listed else "No report is kept.")
    return 1 if waiting else 0


def _waits(row: Mapping[str, Any]) -> bool:
    return row.get("kind") in ("claim", "question") and row.get("state", "open") == "open"


def _kept_cells(row: Mapping[str, Any]) -> list[str]:
    from partwright.checking.reports import state_words

    place = f"bar {row['bar']}" if row.get("bar") else ""
    place += f", beat {row['beat']}" if place and row.get("beat") else ""
    words = " ".join(str(row.get("words") or "").split())
    verdict = {"right": "✓ ", "check": "? ", "wrong": "✗ "}.get(str(row.get("verdict") or ""), "")
    return [str(row.get("id")), str(row.get("count", 1)), place, state_words(row), f"{verdict}{words}"]


def _grounds(job: Prepared, folder: Path, transcript: str | None, chapters: str | None, *, played: bool) -> Grounds:
    from partwright.checking.reports import Grounds
    from partwright.cli.output import remark

    found = takes_transcripts(folder)
    path = Path(transcript) if transcript else found[0] if found and not played else None
    if path is not None and not transcript and len(found) > 1:
        remark(f"remark: times are taken as those of {path}; name another with --transcript.")
    check = _narration(job, path)
    times: list[tuple[float, str]] = []
    if played:
        from partwright.sound import make_timing

        tempo = job.lesson.tempo_qpm or job.part.tempo_marks[0].tempo_qpm
        times = [(n.start_seconds, n.id) for n in make_timing(job.part, tempo_qpm=tempo, count_in_bars=1).notes]
    return Grounds.of(check, played=times, chapters=_chapters(Path(chapters)) if chapters else ())


def _narration(job: Prepared, path: Path | None) -> NarrationCheck:
    from partwright.checking.narration import Transcript, read_transcript
    from partwright.cli.output import remark

    silent = Transcript(cues=(), kind="plain text", encoding="utf-8")
    check = check_words(job, silent if path is None else read_transcript(path))
    if path is None or not check.misfit:
        return check
    remark(f"remark: {path} does not seem to be about this score, so times cannot be brought back to bars by it.")
    return check_words(job, silent)


def _chapters(path: Path) -> tuple[tuple[float, float, str], ...]:
    """Chapters as (start, end, section's name); "Section B: low and dark" is named B."""
    from partwright.checking.narration import read_transcript

    cues = [cue for cue in read_transcript(path).cues if cue.start_s is not None]
    rows = []
    for k, cue in enumerate(cues):
        end = cues[k + 1].start_s if k + 1 < len(cues) else float("inf")
        name = cue.text.strip()
        words = name.split()
        if len(words) > 1 and words[0].casefold() in ("section", "part", "letter"):
            name = words[1].strip(":,.–-")
        rows.append((float(cue.start_s or 0.0), float(end or 0.0), name))
    return tuple(rows)


def _kept(folder: Path, check: ReportsCheck, *, write: bool) -> Kept:
    """What became of these reports in the lesson: written into it, or only looked up."""
    from partwright.checking.reports import keep_reports, kept_by_claim, read_kept
    from partwright.cli.output import remark
    from partwright.lesson import erratum_words

    if not write:
        return kept_by_claim(read_kept(folder, today=_today()))
    kept = keep_reports(folder, check, today=_today())
    for added in kept.errata:
        remark(f"{folder / 'errata.toml'}: {added.id}, {added.state}: {erratum_words(added)}")
    return kept.by_claim


def _today() -> datetime.date:
    return datetime.datetime.now(tz=datetime.UTC).date()


def _page(job: Prepared, check: ReportsCheck, name: str, kept: Kept) -> str:
    from partwright.checking.reports import reports_page

    with drawn_bars(job) as excerpt:
        return reports_page(
            job.credits.title or "The lesson", check, file_name=name, excerpt=excerpt, kept=kept
        )  # fmt: skip


def _print(check: ReportsCheck, comments: Comments, kept: Kept, *, names: bool) -> None:
    from partwright.checking.reports import claim_key, state_words
    from partwright.cli.output import print_findings, table_lines

    writers = {c.row: c.name for c in check.comments}
    rows = []
    for report in check.reports[:_MOST_SHOWN]:
        f = report.finding
        who = ", ".join(dict.fromkeys(writers[r] for r in report.rows if writers.get(r))) if names else ""
        quote = f" (“{f.observed}”{f', {who}' if who else ''})"
        place = f.place if report.note is not None else "no place"
        row = kept.get(claim_key(report), {})
        became = [state_words(row)] if row.get("state") == "answered" else []
        rows.append((f.verdict, f"{clock(f.time_s)}{place}", f"{f.what}{quote}", "; ".join([f.why, *became])))
    print_findings(rows)
    if len(check.reports) > _MOST_SHOWN:
        click.echo(f"… and {len(check.reports) - _MOST_SHOWN} more; --json and --csv have all.")
    if check.wishes:
        click.echo("")
        for line in table_lines(["viewers", "wish"], [[str(len(w.viewers)), w.tune] for w in check.wishes[:20]]):
            click.echo(line)
    for sort, heading in (("question", "questions"), ("video", "on sound and picture")):
        listed = check.others(sort)
        if listed:
            from partwright.checking.reports import redacted

            click.echo(f"\n{heading}")
            for comment in listed[:20]:
                click.echo(f"line {comment.row}  {redacted(comment.text)}")
            if len(listed) > 20:
                click.echo(f"… and {len(listed) - 20} more")
    click.echo("")
    click.echo(_sum(check, comments))


def _sum(check: ReportsCheck, comments: Comments) -> str:
    verdicts = {v: sum(r.verdict == v for r in check.reports) for v in ("right", "check", "wrong")}
    sorts = {s: len(check.others(s)) for s in ("request", "question", "thanks", "video", "other")}
    return (
        f"{len(comments.comments)} comments: {verdicts['right']} right, {verdicts['check']} to check, "
        f"{verdicts['wrong']} where the lesson stands; {sorts['request']} requests, {sorts['question']} questions, "
        f"{sorts['thanks']} thanks, {sorts['video']} on sound and picture, {sorts['other']} others."
    )
