"""partwright explain: why a note has its finger and its bow, and what the others would cost."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument

if TYPE_CHECKING:
    from partwright.bowing import StrokeExplanation
    from partwright.fingering import Explanation
    from partwright.instrument import Instrument
    from partwright.lesson import Prepared

__all__ = ["command", "parse_place"]

_PLACE = re.compile(r"\s*(?P<bar>[^:]+?)\s*(?::\s*(?P<beat>\d+(?:\+\d+/\d+|/\d+|\.\d+)?)\s*)?")


@click.command("explain")
@score_argument
@click.argument("place", metavar="BAR[:BEAT]")
@hand_options
@json_option
def command(score: str, place: str, as_json: bool, **hand: object) -> int:
    """Say why a note has its finger and its bow, and what others would cost.

    BAR is the number as printed, BEAT counts from 1 in the metre's beats ("13", "13:2", "13:2+1/2"). Without a beat
    every note of the bar is explained. Prices are for the whole part: what would follow from another finger counts.
    They have no unit; a plain shift of a second costs about 1.

    \b
    partwright explain waltz.musicxml 13
    partwright explain waltz 13:2 --json
    """
    from partwright.bowing import bow_explanation_document, explain_stroke
    from partwright.cli.output import print_json
    from partwright.cli.read_job import planning_for, read_job
    from partwright.errors import PartwrightError, Place
    from partwright.fingering import explain_note, notes_at, plan_of
    from partwright.lesson import explanation_document, lesson_bowing

    bar, beat = parse_place(place)
    job = read_job(score, **hand)
    planning = planning_for(job)
    bowing = lesson_bowing(job, plan_of(planning))
    try:
        explained = [explain_note(planning, note.id) for note in notes_at(planning, bar, beat)]
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error
    ids = [item.note_id for item in explained if item.note_id in bowing.by_note]
    strokes = {bowing.by_note[note_id].id: note_id for note_id in reversed(ids)}
    bowed = [explain_stroke(bowing, note_id) for note_id in reversed(strokes.values())]
    if as_json:
        documents = [explanation_document(item, job.instrument) for item in explained]
        whole = documents[0] if len(documents) == 1 else {**documents[0], "notes": documents}
        taste = {"taste": _taste_document(job)} if job.hand_taste is not None else {}
        print_json({**whole, **taste, "bow": [bow_explanation_document(stroke) for stroke in bowed]})
        return 0
    for number, item in enumerate(explained):
        if number:
            click.echo()
        _print(item, job.instrument)
    _print_taste(job, explained)
    for stroke in bowed:
        click.echo()
        _print_stroke(stroke)
    return 0


def parse_place(text: str) -> tuple[str, Fraction | None]:
    """Bar and beat from "BAR[:BEAT]". Raises InputError for what is neither.

    >>> parse_place("13:2+1/2")
    ('13', Fraction(5, 2))
    >>> parse_place("13")
    ('13', None)
    """
    from partwright.errors import InputError

    found = _PLACE.fullmatch(text)
    if found is None:
        raise InputError(f'"{text}" is no place', 'Write BAR or BAR:BEAT, as in "13", "13:2" or "13:2+1/2".')
    if found["beat"] is None:
        return found["bar"], None
    whole, _, rest = found["beat"].partition("+")
    try:
        return found["bar"], Fraction(whole) + (Fraction(rest) if rest else 0)
    except ZeroDivisionError as error:
        raise InputError(f'"{text}" names no beat', 'Write it as in "13:2" or "13:2+1/2".') from error


def _print(item: Explanation, instrument: Instrument) -> None:
    from partwright.fingering import placement_words
    from partwright.score import beat_text

    click.echo(f"bar {item.bar}, beat {beat_text(item.beat)}, {item.pitch}: {item.words}")
    if item.why:
        click.echo("  what it costs")
        for reason in item.why:
            click.echo(f"    {reason.value:6.2f}  {reason.words}")
    if item.alternatives:
        click.echo("  what others would cost more")
        for other in item.alternatives:
            how = placement_words(other.placement, instrument)
            click.echo(f"    {other.extra_cost:+6.2f}  {how}: {other.words}")


def _taste_document(job: Prepared) -> dict[str, object]:
    taste, hand = job.taste, job.hand_taste
    assert taste is not None
    assert hand is not None
    return {"name": taste.name, "decisions": hand.decisions, "times": dict(hand.times), "added": dict(hand.added)}


def _print_taste(job: Prepared, explained: Sequence[Explanation]) -> None:
    """Whose taste the prices are in, and what of it is among these reasons."""
    from partwright.fingering import taste_lines

    taste, hand = job.taste, job.hand_taste
    if taste is None or hand is None:
        return
    terms = {reason.term for item in explained for reason in item.why}
    terms |= {reason.term for item in explained for other in item.alternatives for reason in other.why}
    shown = replace(
        hand,
        times={name: value for name, value in hand.times.items() if name in terms},
        added={name: value for name, value in hand.added.items() if name in terms},
    )
    click.echo(f"  as {taste.name} has it, learned from {hand.decisions} decisions")
    for line in taste_lines(shown):
        click.echo(f"            {line}")


def _print_stroke(item: StrokeExplanation) -> None:
    from partwright.score import beat_text

    click.echo(f"bar {item.stroke.bar}, beat {beat_text(item.stroke.beat)}, bow: {item.words}")
    if item.why:
        click.echo("  what it costs")
        for reason in item.why:
            click.echo(f"    {reason.value:6.2f}  {reason.words}")
    click.echo("  what the other direction would cost more")
    click.echo(f"    {item.other.extra_cost:+6.2f}  {item.other.words}")
    if item.other.bars:
        click.echo(f"            strokes would turn in bars {', '.join(item.other.bars)}")
