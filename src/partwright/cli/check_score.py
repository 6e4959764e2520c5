"""partwright check score: what in the score itself would trip a player."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument

if TYPE_CHECKING:
    from partwright.checking import Finding
    from partwright.lesson import Prepared

__all__ = ["command"]


@click.command("score")
@score_argument
@click.option(
    "--with",
    "others",
    multiple=True,
    type=click.Path(),
    metavar="FILE",
    help="Another version of the tune, to be played at the same time: form and clashes are compared. Repeatable.",
)
@hand_options
@json_option
def command(score: str, others: tuple[str, ...], as_json: bool, **hand: object) -> int:
    """Check the score itself: bars that are too full or too short, ties to nowhere, notes and chords out of reach,
    tempi nobody plays, what lies outside the level, and what the page does not say.

    \b
    partwright check score waltz.musicxml
    partwright check score waltz --level beginner --json
    partwright check score waltz.musicxml --with waltz-easy.musicxml

    Of a lesson with versions by level it is checked too that they can be played together.

    Exit code 0: nothing found. 1: findings. A finding is "wrong" where it is certain, "check" where it is not.
    """
    from partwright.checking import check_score, findings_document
    from partwright.cli.output import print_findings, print_json
    from partwright.cli.read_job import read_job

    job = read_job(score, **hand)
    part = replace(job.part, credits=job.credits)
    findings = check_score(part, job.instrument, level=job.level, pins=job.pins) + _together(job, others)
    document = findings_document(findings)
    if as_json:
        print_json({"score": score, "instrument": job.instrument.name, "level": job.level, **document})
    else:
        print_findings((f.verdict, f.place, f.what, f.why) for f in findings)
        wrong = sum(finding.verdict == "wrong" for finding in findings)
        if findings:
            click.echo(f"{wrong} wrong, {len(findings) - wrong} to check, in {len(part.bars)} bars.")
        else:
            click.echo(f"✓ right  {len(part.bars)} bars, {len(part.notes)} notes: nothing found.")
    return 1 if findings else 0


def _together(job: Prepared, others: tuple[str, ...]) -> tuple[Finding, ...]:
    """Whether the lesson's versions, or the files named, can be played with the tune."""
    if not others and not job.lesson.levels:
        return ()
    from partwright.checking import check_together
    from partwright.lesson import lesson_versions
    from partwright.score import read_tune

    versions = {Path(name).stem: read_tune(Path(name)).part for name in others}
    if not others:
        versions = {level: version.part for level, version in lesson_versions(job).items()}
    return check_together(job.part, versions)
