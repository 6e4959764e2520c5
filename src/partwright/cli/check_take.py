"""partwright check take: what was played in a recording, against the score."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument

if TYPE_CHECKING:
    from collections.abc import Sequence

    from partwright.checking.take import TakeCheck
    from partwright.fingering import FingeringPlan
    from partwright.lesson import Prepared, Teaching

__all__ = ["command"]

_TAKES = "takes"
_KINDS = frozenset(
    (
        ".wav", ".flac", ".mp3", ".m4a", ".aac", ".ogg", ".opus", ".wma", ".aif", ".aiff", ".caf",
        ".mp4", ".mov", ".mkv", ".webm", ".avi", ".m4v", ".3gp",
    )
)  # fmt: skip
_STEPS = 5


@click.command("take")
@score_argument
@click.argument("recording", type=click.Path(), metavar="[AUDIO]", required=False)
@click.option("--page", type=click.Path(), metavar="FILE", help="Report to read in the browser (.html).")
@click.option(
    "--log",
    type=click.Path(),
    metavar="FILE",
    help="Practice log to add a row to and to compare with.  [default: the lesson folder's own]",
)
@click.option("--no-log", is_flag=True, help="Add no row to the practice log; still compare with it.")
@hand_options
@json_option
def command(
    score: str, recording: str | None, page: str | None, log: str | None, no_log: bool, as_json: bool, **hand: object
) -> int:
    """Check what was played: a recording against the score, note by note, in its own tuning and tempo.

    AUDIO is any common audio or video file. It may hold the whole tune or a part of it, talk before and after,
    passages begun again, repeats taken or not. Without it, the newest recording in a lesson folder's takes/ is checked.

    \b
    partwright check take waltz waltz/takes/tuesday.m4a --page report.html
    partwright check take waltz.musicxml take.mp4 --json

    "wrong" is said only where the evidence is strong; what is too short or too unclear is not judged. Exit code 0:
    nothing found. 1: findings.
    """
    from partwright.checking.take import (
        LOG_FILE,
        add_row,
        check_take,
        drill_bars,
        earlier_takes,
        log_row,
        phrase_ends,
        read_log,
        read_recording,
        take_document,
        take_report,
    )
    from partwright.cli.output import print_findings, print_json, progress, remark
    from partwright.cli.read_job import planning_for, read_job
    from partwright.errors import NoPlan
    from partwright.files import write_atomic
    from partwright.fingering import plan_of

    path = Path(recording) if recording else _newest(Path(score))
    job = read_job(score, **hand)
    teaching: Teaching | None = None
    plan: FingeringPlan | None = None
    with progress(_STEPS, quiet=as_json) as shown:
        shown.start(f"reading {path.name}", 1, _STEPS)
        read = read_recording(path)
        try:
            planning = planning_for(job)
            plan = plan_of(planning)
            teaching = _teaching(job, planning)
        except NoPlan as error:
            remark(f"remark: {error} The take is checked without fingers.")
        check = check_take(
            read, job.part, instrument=job.instrument, plan=plan, drills=drill_bars(teaching),
            phrases=phrase_ends(teaching),
            told=lambda words, number: shown.start(words, number + 1, _STEPS),
        )  # fmt: skip
    log_path = Path(log) if log else Path(score) / LOG_FILE if Path(score).is_dir() else None
    order = {bar.number: bar.index for bar in job.part.bars}
    rows = read_log(log_path) if log_path else ()
    earlier = earlier_takes(rows, bars=check.covered, name=path.name, order=order)
    if page is not None:
        html = take_report(
            job, check, plan=plan, teaching=teaching, earlier=earlier, drill_links=_links(Path(page), score, teaching)
        )
        write_atomic(Path(page), html)
        remark(f"{page}: written.")
    if log_path is not None and not no_log:
        row = log_row(check, when=_now(), score=job.credits.title or Path(score).name)
        if add_row(log_path, row):
            remark(f"{log_path}: a row added.")
    if as_json:
        document = take_document(check)
        print_json(
            {
                "score": score,
                "instrument": job.instrument.name,
                "level": job.level,
                **document,
                "earlier": list(earlier),
            }
        )
    else:
        for line in check.remarks:
            remark(f"remark: {line}")
        print_findings((f.verdict, f"{_clock(f.time_s)}  {f.place}", f.what, f.why) for f in check.findings)
        _print_sum(check, earlier, page)
    return 1 if check.findings else 0


def _newest(score: Path) -> Path:
    from partwright.errors import InputError, Place

    folder = score / _TAKES
    found = [p for p in folder.iterdir() if p.suffix.casefold() in _KINDS] if folder.is_dir() else []
    if not found:
        raise InputError(
            "holds no recording" if score.is_dir() else "is no lesson folder, so a recording must be named",
            f"Name one, or put it into {_TAKES}/ of the lesson folder.", place=Place(file=str(score)),
        )  # fmt: skip
    return max(found, key=lambda p: (p.stat().st_mtime, p.name))


def _teaching(job: Prepared, planning: object) -> Teaching | None:
    from partwright.errors import PartwrightError
    from partwright.fingering import Planning, plan_of
    from partwright.lesson import lesson_bowing, plan_teaching

    assert isinstance(planning, Planning)
    try:
        return plan_teaching(job.lesson, planning, bowing=lesson_bowing(job, plan_of(planning)))
    except PartwrightError:
        return None  # the check stands without drills


def _links(page: Path, score: str, teaching: Teaching | None) -> dict[str, str]:
    """Where the page finds the lesson's drills, for those that were built."""
    import os

    folder = Path(score) / "build" / "drills"
    found: dict[str, str] = {}
    for drill in teaching.drills if teaching is not None else ():
        file = folder / f"drill-{drill.id}.musicxml"
        if file.is_file():
            found[drill.id] = Path(os.path.relpath(file, page.parent)).as_posix()
    return found


def _print_sum(check: TakeCheck, earlier: Sequence[object], page: str | None) -> None:
    for sentence in check.sentences:
        click.echo(sentence)
    for habit in check.habits[:2]:
        click.echo(f"{habit.words} (bars {', '.join(habit.bars)}).")
    tempo = f", at {check.tempo_qpm:.0f} quarter notes a minute" if check.tempo_qpm else ""
    click.echo(f"Judged at A = {check.reference_hz:.1f} Hz{tempo}.")
    if earlier:
        count = len(earlier)
        click.echo(f"{count} earlier take{'s' if count > 1 else ''} of these bars in the practice log.")
    if page is None:
        click.echo("Add --page report.html to see it note by note.")


def _now() -> str:
    from datetime import datetime

    return datetime.now().astimezone().isoformat(timespec="seconds")


def _clock(seconds: float | None) -> str:
    whole = int(seconds or 0)
    return f"{whole // 60}:{whole % 60:02}"
