"""partwright check score: what in the score itself would trip a player."""

from __future__ import annotations

from dataclasses import replace

import click

from partwright.cli.options import hand_options, json_option, score_argument

__all__ = ["command"]


@click.command("score")
@score_argument
@hand_options
@json_option
def command(score: str, as_json: bool, **hand: object) -> int:
    """Check the score itself: bars that are too full or too short, ties to nowhere, notes and chords out of reach,
    tempi nobody plays, what lies outside the level, and what the page does not say.

    \b
    partwright check score waltz.musicxml
    partwright check score waltz --level beginner --json

    Exit code 0: nothing found. 1: findings. A finding is "wrong" where it is certain, "check" where it is not.
    """
    from partwright.checking import check_score, findings_document
    from partwright.cli.output import print_findings, print_json
    from partwright.cli.read_job import read_job

    job = read_job(score, **hand)
    part = replace(job.part, credits=job.credits)
    findings = check_score(part, job.instrument, level=job.level, pins=job.pins)
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
