"""partwright check narration: what was said in a recording, against the score and the plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument
from partwright.cli.spoken import TAKES, check_words, clock, drawn_bars, takes_transcripts, write_told

if TYPE_CHECKING:
    from partwright.checking import Finding
    from partwright.checking.narration import NarrationCheck, NarrationFinding
    from partwright.lesson import Prepared

__all__ = ["command"]


@click.command("narration")
@score_argument
@click.argument("transcripts", type=click.Path(), metavar="[TRANSCRIPT]...", nargs=-1)
@click.option("--page", type=click.Path(), metavar="FILE", help="Review page to write (.html).")
@click.option("--cards", type=click.Path(), metavar="FILE", help="Correction cards for the video to write (.json).")
@click.option("--captions", type=click.Path(), metavar="FILE", help="Captions with misheard words mended (.vtt).")
@click.option("--say-instead", type=click.Path(), metavar="FILE", help="Sentences to record again (.txt).")
@click.option(
    "--review",
    type=click.Path(),
    metavar="FILE",
    help="Decisions saved from the review page: pins go into lesson.toml, what is right is not asked again.",
)
@hand_options
@json_option
def command(
    score: str, transcripts: tuple[str, ...], page: str | None, cards: str | None, captions: str | None,
    say_instead: str | None, review: str | None, as_json: bool, **hand: object,
) -> int:  # fmt: skip
    """Check what was said: the transcript of a recorded lesson against the score and the plan.

    TRANSCRIPT is WebVTT, SubRip, lines with [m:ss], or plain text, as any captioning service gives it. Several are the
    parts of one lesson. Without one, all of a lesson folder's takes/ are checked.

    \b
    partwright check narration waltz waltz/takes/lesson.vtt
    partwright check narration waltz.musicxml lesson.srt --page review.html --cards cards.json

    "wrong" is said only where no other reading of the words is likely. Exit code 0: nothing found. 1: findings.
    """
    from partwright.checking.narration import (
        apply_pins,
        cards_document,
        corrected_captions,
        correction_cards,
        coverage_findings,
        decided,
        keep_said,
        narration_document,
        read_review,
        read_transcript,
    )
    from partwright.checking.narration import say_instead as sentences
    from partwright.cli.output import print_findings, print_json, remark
    from partwright.cli.read_job import read_job
    from partwright.errors import InputError, Place

    paths = [Path(name) for name in transcripts] or _takes_of(Path(score))
    single = [text for text in (page, cards, captions, say_instead, review) if text is not None]
    if single and len(paths) > 1:
        raise InputError("there are several transcripts, but these files are made for one", "Name one TRANSCRIPT.")
    read = [read_transcript(path) for path in paths]
    decisions = read_review(Path(review)) if review else {}
    job = read_job(score, **hand)
    for path, transcript in zip(paths, read, strict=True):
        for fault in transcript.faults[:20]:
            remark(f"remark: {path}, {fault}")
    checks = [check_words(job, transcript) for transcript in read]
    if "pin" in decisions.values():
        if not Path(score).is_dir():
            raise InputError("pins are kept in a lesson folder", "Give the folder as SCORE.", place=Place(file=score))
        pinned = apply_pins(Path(score), checks[0], decisions)
        job = read_job(score, **hand)
        after = check_words(job, read[0])
        kept = keep_said(Path(score), checks[0], after)
        for offer in pinned:
            remark(f'{score}/lesson.toml: pinned "{offer.place}" = "{offer.value}".')
        for offer in kept:
            remark(f'{score}/lesson.toml: pinned "{offer.place}" = "{offer.value}" as well, as you said it there.')
        if kept:
            job = read_job(score, **hand)
            after = check_words(job, read[0])
        checks[0] = after
    checked = [(str(path), check, decided(check.located, decisions)) for path, check in zip(paths, checks, strict=True)]
    coverage = coverage_findings([check for _, check, _ in checked])
    name, check, located = checked[0]
    write_told(page, lambda: _page(job, check, located, name))
    write_told(cards, lambda: _json(cards_document(correction_cards(located))))
    write_told(captions, lambda: corrected_captions(check))
    write_told(say_instead, lambda: _said(sentences(check, located)))
    findings = [item.finding for _, _, items in checked for item in items] + list(coverage)
    if as_json:
        document = narration_document(checked, coverage)
        print_json({"score": score, "instrument": job.instrument.name, "level": job.level, **document})
    else:
        rows = ((f.verdict, f"{clock(f.time_s)}{f.place}", f"{f.what}{_quoted(f.observed)}", f.why) for f in findings)
        print_findings(rows)
        _print_sum(checked, findings, page)
    return 1 if findings else 0


def _takes_of(score: Path) -> list[Path]:
    from partwright.errors import InputError, Place

    found = takes_transcripts(score)
    if not found:
        raise InputError(
            "holds no transcript" if score.is_dir() else "is no lesson folder, so a TRANSCRIPT must be named",
            f"Name one, or put it into {TAKES}/ of the lesson folder.", place=Place(file=str(score)),
        )  # fmt: skip
    return found


def _json(document: object) -> str:
    import json

    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def _said(rows: tuple[dict[str, object], ...]) -> str:
    lines = []
    for row in rows:
        time_s = row["time_s"]
        when = clock(float(time_s)) if isinstance(time_s, int | float) else ""
        lines += [f"{when}bar {row['bar']}, beat {row['beat']}", f"  said  {row['said']}", f"  say   {row['say']}", ""]
    return "\n".join(lines) or "Nothing needs to be said again.\n"


def _page(job: Prepared, check: NarrationCheck, located: tuple[NarrationFinding, ...], name: str) -> str:
    from partwright.checking.narration import review_page

    with drawn_bars(job) as excerpt:
        return review_page(
            job.credits.title or "The lesson", check, located, transcript_name=Path(name).name, excerpt=excerpt
        )


def _quoted(observed: str) -> str:
    return f" (“{observed}”)" if observed else ""


def _print_sum(
    checked: list[tuple[str, NarrationCheck, tuple[NarrationFinding, ...]]], findings: list[Finding], page: str | None
) -> None:
    claims = sum(len(check.judged) + len(check.structure) for _, check, _ in checked)
    placed = sum(sum(j.verdict != "unplaced" for j in check.judged) for _, check, _ in checked)
    wrong = sum(f.verdict == "wrong" for f in findings)
    if findings:
        click.echo(f"{wrong} wrong, {len(findings) - wrong} to check, of {claims} claims.")
        if page is None:
            click.echo("Add --page review.html to look at each beside its bars, and to decide.")
    elif claims:
        click.echo(f"✓ right  {claims} claims, {placed} of them placed in the score: nothing found.")
    else:
        click.echo("✓ right  nothing in the transcript claims anything of a note.")
