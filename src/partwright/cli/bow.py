"""partwright bow: bow strokes for a whole tune."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, marks_option, out_option, score_argument

if TYPE_CHECKING:
    from partwright.bowing import BowingPlan

__all__ = ["command"]


@click.command("bow")
@score_argument
@out_option(
    required=False,
    words="What to write: MusicXML (.musicxml, .xml, .mxl) with the bow signs, or the bow picture (.svg); "
    "without it the strokes are printed.",
)
@hand_options
@marks_option
@click.option("--may-slur", is_flag=True, help="Also suggest slurs to add or to split; none is ever added by itself.")
@json_option
def command(score: str, out: str | None, marks: str | None, may_slur: bool, as_json: bool, **hand: object) -> int:
    """Add bow strokes to a tune.

    SCORE is a tune or a lesson folder. Slurs and bow signs already in the tune are decisions, and so are pins. The tune
    itself is never changed: the signs go into a copy of it.

    \b
    partwright bow waltz.musicxml --out waltz-bowed.musicxml
    partwright bow waltz.musicxml --pin 13:1=down --pin 13:2=down --out waltz-bowed.musicxml
    partwright bow waltz.musicxml --out waltz-bow.svg
    partwright bow waltz --may-slur
    """
    from partwright.bowing import bowing_document
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import plan_prepared, read_job, refuse_source
    from partwright.lesson import lesson_bowing

    job = read_job(score, **hand)
    if out is not None:
        refuse_source(Path(out), job.tune_path)
    plan = lesson_bowing(job, plan_prepared(job), may_slur=may_slur)
    if out is not None and out.casefold().endswith(".svg"):
        from partwright.bowing import bow_picture_svg
        from partwright.files import write_atomic

        write_atomic(Path(out), bow_picture_svg(job.part, plan))
    elif out is not None:
        from partwright.lesson import bowed_tree
        from partwright.score import write_musicxml

        write_musicxml(bowed_tree(job, plan, marks=marks), Path(out))
    for text in (*job.remarks, *plan.remarks):
        remark(f"remark: {text}")
    if as_json:
        document = bowing_document(plan)
        print_json({**document, "file": out} if out is not None else document)
        return 0
    if out is not None:
        click.echo(f"{out}: {_sum(plan)}")
    else:
        _print_plan(plan)
    for suggestion in plan.suggestions:
        click.echo(f"suggestion: {suggestion.words} (saves {suggestion.saves:.2f})")
    if may_slur and not plan.suggestions:
        click.echo("suggestion: none; no slur would make the bow lie better.")
    return 0


def _sum(plan: BowingPlan) -> str:
    pinned = sum(stroke.pinned for stroke in plan.strokes)
    lifts = sum(stroke.retake for stroke in plan.strokes)
    hooks = sum(stroke.hook for stroke in plan.strokes)
    kept = f", {pinned} pinned" if pinned else ""
    return f"{len(plan.strokes)} strokes for {plan.instrument}, {plan.level}: {lifts} retakes, {hooks} hooks{kept}."


def _print_plan(plan: BowingPlan) -> None:
    from partwright.cli.output import table_lines
    from partwright.score import beat_text

    rows = []
    for stroke in plan.strokes:
        words = [word for word in ("retake", "hook") if getattr(stroke, word)]
        words += ["set elsewhere"] if stroke.reset else []
        words += [stroke.kind] if stroke.kind != "detached" else []
        words += ["pinned"] if stroke.pinned else []
        rows.append(
            [
                stroke.bar,
                beat_text(stroke.beat),
                stroke.direction,
                f"{stroke.start:.2f}",
                f"{stroke.end:.2f}",
                f"{stroke.speed_mm_s:.0f}",
                ", ".join(words),
            ]
        )
    for line in table_lines(["bar", "beat", "bow", "from", "to", "mm/s", ""], rows):
        click.echo(line)
    click.echo(_sum(plan))
