"""partwright finger: fingers and strings for a whole tune."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, label_options, marks_option, out_option, score_argument

if TYPE_CHECKING:
    from partwright.checking import Verdict
    from partwright.fingering import FingeringPlan
    from partwright.lesson import Prepared

__all__ = ["command"]


@click.command("finger")
@score_argument
@out_option(required=False, words="MusicXML file to write (.musicxml, .xml, .mxl); without it the plan is printed.")
@hand_options
@marks_option
@label_options
@json_option
def command(score: str, out: str | None, marks: str | None, roman: bool | None, as_json: bool, **hand: object) -> int:
    """Add fingers and strings to a tune.

    SCORE is a tune or a lesson folder. The tune itself is never changed: the marks go into a copy of it.

    \b
    partwright finger waltz.musicxml --out waltz-fingered.musicxml
    partwright finger waltz.musicxml --level beginner --pin 13:1=3/D --out easy.musicxml
    partwright finger waltz.musicxml --json > plan.json

    Exit code 1 says that some notes cannot be played on the instrument; they are listed and left without a finger.
    """
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import plan_prepared, read_job, refuse_source
    from partwright.lesson import plan_document

    job = read_job(score, **hand)
    if out is not None:
        refuse_source(Path(out), job.tune_path)
    plan = plan_prepared(job)
    if out is not None:
        from partwright.lesson import fingered_tree
        from partwright.score import write_musicxml

        write_musicxml(fingered_tree(job, plan, marks=marks, roman=roman), Path(out))
    for text in (*job.remarks, *plan.remarks):
        remark(f"remark: {text}")
    if as_json:
        document = plan_document(job.part, plan, job.instrument)
        if job.taste is not None and job.hand_taste is not None:
            document["taste"] = job.taste.name
        print_json({**document, "file": out} if out is not None else document)
    elif out is not None:
        click.echo(f"{out}: {_sum(job, plan)}")
    else:
        _print_plan(job, plan)
    if not as_json:
        _print_findings(plan)
    return 1 if plan.unplayable else 0


def _sum(job: Prepared, plan: FingeringPlan) -> str:
    pinned = sum(note.pinned for note in plan.notes)
    kept = f", {pinned} of them pinned" if pinned else ""
    own = f", as {job.taste.name} has it" if job.taste is not None and job.hand_taste is not None else ""
    return f"{len(plan.notes)} notes fingered for {job.instrument.name}, {plan.level}{kept}{own}."


def _print_plan(job: Prepared, plan: FingeringPlan) -> None:
    from partwright.cli.output import table_lines
    from partwright.lesson import placement_fields
    from partwright.score import beat_text

    rows = []
    for fingered in plan.notes:
        note = job.part.by_id[fingered.note_id]
        fields = placement_fields(fingered.placement, job.instrument)
        words = ", ".join(
            word
            for word, true in (
                ("harmonic", fields["harmonic"]),
                (str(fields["shape"]), fingered.placement.finger != 0 and _is_opened(job, str(fields["shape"]))),
                ("pinned", fingered.pinned),
            )
            if true
        )
        rows.append(
            [
                note.bar,
                beat_text(note.beat),
                note.pitch.name,
                str(fields["string"]),
                str(fields["finger"]),
                str(fields["position"]),
                words,
            ]
        )
    for line in table_lines(["bar", "beat", "pitch", "string", "finger", "position", ""], rows):
        click.echo(line)
    click.echo(_sum(job, plan))


def _is_opened(job: Prepared, shape: str) -> bool:
    """Whether a shape is one a player would be told of: an extension, or the thumb."""
    row = next((row for row in job.instrument.shapes if row.name == shape), None)
    return row is not None and (bool(row.extension) or row.zone == "thumb")


def _print_findings(plan: FingeringPlan) -> None:
    from partwright.cli.output import print_findings
    from partwright.score import beat_text

    rows: list[tuple[Verdict, str, str, str]] = [
        ("wrong", f"bar {r.bar}, beat {beat_text(r.beat)}", r.limit, r.why) for r in plan.unplayable
    ]
    rows += [("check", f"bar {r.bar}, beat {beat_text(r.beat)}", r.limit, r.why) for r in plan.relaxed]
    for item in plan.unlike:
        what = f"not fingered like bars {item.like_bars[0]}–{item.like_bars[1]}"
        rows.append(("check", f"bars {item.bars[0]}–{item.bars[1]}", what, item.why))
    print_findings(rows)
