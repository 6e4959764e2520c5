"""partwright reports: viewers' comments brought back to bars, checked, and turned into errata and a wish list."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from partwright.cli.options import json_option

if TYPE_CHECKING:
    from partwright.checking.narration import NarrationCheck
    from partwright.checking.reports import Comments, EditionNote, Grounds, ReportsCheck
    from partwright.lesson import Prepared
    from partwright.score import Note

__all__ = ["command"]

_TAKES = "takes"
_ENDINGS = (".vtt", ".srt", ".sbv", ".txt")
_MOST_SHOWN = 200


@click.command("reports")
@click.argument("lesson", type=click.Path(), metavar="LESSON")
@click.argument("file", type=click.Path(), metavar="FILE")
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
@json_option
def command(
    lesson: str, file: str, transcript: str | None, chapters: str | None, played: bool, page: str | None,
    table: str | None, names: bool, dry_run: bool, as_json: bool,
) -> int:  # fmt: skip
    """Bring viewers' reports back to bars.

    FILE holds comments: CSV, JSON lines, or plain text with one a line. Those that claim something of a note are placed
    by time, bar, section, name or finger, and checked against score and plan. "right" means that the viewer is right:
    an erratum is drafted in LESSON/errata.toml. Requests are tallied by tune; questions and thanks are set apart.

    \b
    partwright reports waltz comments.csv
    partwright reports waltz comments.csv --page reports.html

    Exit code 0: no viewer is right, nothing to check. 1: something to mend or to check.
    """
    from partwright.checking.reports import check_reports, read_comments, reports_csv, reports_document
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import read_job
    from partwright.files import write_atomic
    from partwright.lesson import is_lesson

    comments = read_comments(Path(file), keep_names=names)
    for fault in comments.faults[:20]:
        remark(f"remark: {file}, {fault}")
    job = read_job(lesson)
    grounds = _grounds(job, Path(lesson), transcript, chapters, played=played)
    check = check_reports(comments.comments, grounds, editions_at=_editions(Path(lesson)))
    if is_lesson(Path(lesson)) and not dry_run:
        _keep(Path(lesson), check)
    if page is not None:
        write_atomic(Path(page), _page(job, check, Path(file).name))
        remark(f"{page}: written.")
    if table is not None:
        write_atomic(Path(table), reports_csv(check))
        remark(f"{table}: written.")
    if as_json:
        read_as = {"file": file, "read_as": comments.kind, "encoding": comments.encoding}
        print_json({"lesson": lesson, **read_as, **reports_document(check, names=names)})
    else:
        _print(check, comments, names=names)
    return 1 if any(report.verdict != "wrong" for report in check.reports) else 0


def _grounds(job: Prepared, folder: Path, transcript: str | None, chapters: str | None, *, played: bool) -> Grounds:
    from partwright.checking.reports import Grounds
    from partwright.cli.output import remark

    found = sorted(p for p in (folder / _TAKES).glob("*") if p.suffix.casefold() in _ENDINGS) if folder.is_dir() else []
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
    from partwright.checking.narration import Transcript, check_narration, read_transcript
    from partwright.cli.output import remark
    from partwright.cli.read_job import plan_prepared
    from partwright.errors import PinConflict
    from partwright.lesson import lesson_bowing

    plan = plan_prepared(job)
    try:
        bowing = lesson_bowing(job, plan)
    except PinConflict as conflict:
        bowing = None
        remark(f"remark: strokes are checked by the printed signs only: {conflict}")
    silent = Transcript(cues=(), kind="plain text", encoding="utf-8")
    transcript = silent if path is None else read_transcript(path)
    check = check_narration(
        transcript, job.part, job.instrument, plan=plan, bowing=bowing, sections=job.lesson.sections
    )
    if path is None or not check.misfit:
        return check
    remark(f"remark: {path} does not seem to be about this score, so times cannot be brought back to bars by it.")
    return check_narration(silent, job.part, job.instrument, plan=plan, bowing=bowing, sections=job.lesson.sections)


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


def _editions(folder: Path) -> Callable[[Note, str], list[EditionNote]]:
    """What the editions that were sold have at a place; their plans are made only where a finger is asked for."""
    from functools import cache

    from partwright.checking.reports import EditionNote
    from partwright.cli.output import remark
    from partwright.cli.read_job import plan_prepared, read_job
    from partwright.errors import PartwrightError

    numbers = sorted(int(p.name) for p in (folder / "editions").glob("*") if p.name.isdigit() and p.is_dir())

    @cache
    def job_of(number: int) -> Prepared | None:
        source = folder / "editions" / str(number) / "source"
        try:
            return read_job(str(source))
        except PartwrightError as error:
            remark(f"remark: edition {number} was not looked into: {error}")
            return None

    @cache
    def fingers_of(number: int) -> dict[str, int]:
        job = job_of(number)
        return {} if job is None else {n: p.placement.finger for n, p in plan_prepared(job).by_id.items()}

    def at(note: Note, kind: str) -> list[EditionNote]:
        found = []
        for number in numbers:
            job = job_of(number)
            notes = () if job is None else job.part.notes
            for old in notes:
                if (old.bar, old.beat, old.grace) != (note.bar, note.beat, note.grace):
                    continue
                finger = fingers_of(number).get(old.id) if kind == "finger" else None
                alter = round(old.pitch.alter)
                found.append(EditionNote(number=number, step=old.pitch.step, alter=alter, finger=finger))
        return found

    return at


def _keep(folder: Path, check: ReportsCheck) -> None:
    """Draft errata and reports.json, under the folder's lock."""
    import datetime

    from partwright.checking.reports import keep_reports
    from partwright.cli.output import remark

    today = datetime.datetime.now(tz=datetime.UTC).date()
    for added in keep_reports(folder, check, today=today):
        where = _place(added.bar, added.beat)
        remark(f"{folder / 'errata.toml'}: {added.id}, {added.state}: {where} {added.words}.")


def _page(job: Prepared, check: ReportsCheck, name: str) -> str:
    from functools import cache

    from partwright.checking import marked_image
    from partwright.checking.reports import reports_page
    from partwright.cli.read_job import plan_prepared
    from partwright.engraving import EngravingProcess, engrave_excerpt_svg
    from partwright.errors import EngravingError
    from partwright.lesson import plan_marks

    with EngravingProcess() as process:
        marks = plan_marks(job, plan_prepared(job))

        @cache
        def svg(first: int, last: int) -> str | None:
            try:
                return engrave_excerpt_svg(
                    job.tune, marks, first_bar_index=first, last_bar_index=last, width_mm=150,
                    instrument=job.instrument, process=process,
                )  # fmt: skip
            except EngravingError:
                return None

        def excerpt(first: int, last: int, ids: Any) -> str | None:
            drawn = svg(first, last)
            return None if drawn is None else marked_image(drawn, ids)

        return reports_page(job.credits.title or "The lesson", check, file_name=name, excerpt=excerpt)


def _place(bar: str, beat: str) -> str:
    return f"bar {bar}, beat {beat}:" if bar and beat else f"bar {bar}:" if bar else ""


def _print(check: ReportsCheck, comments: Comments, *, names: bool) -> None:
    from partwright.cli.output import print_findings, table_lines

    writers = {c.row: c.name for c in check.comments}
    rows = []
    for report in check.reports[:_MOST_SHOWN]:
        f = report.finding
        who = ", ".join(dict.fromkeys(writers[r] for r in report.rows if writers.get(r))) if names else ""
        quote = f" (“{f.observed}”{f', {who}' if who else ''})"
        clock = "" if f.time_s is None else f"{int(f.time_s) // 60}:{int(f.time_s) % 60:02}  "
        place = f.place if report.note is not None else "no place"
        rows.append((f.verdict, f"{clock}{place}", f"{f.what}{quote}", f.why))
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
