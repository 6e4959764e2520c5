"""partwright keys: which key and octave lies best."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import hand_options, json_option, score_argument

if TYPE_CHECKING:
    from partwright.arranging import KeyChoice, KeyRanking, PhraseSpan
    from partwright.lesson import Prepared

__all__ = ["command"]


@click.command("keys")
@score_argument
@click.option(
    "--stay-near",
    metavar="KEY|FILE",
    help='A key to stay near ("G", "Bb", "F# minor"), or the recording you play along with: its key is heard.',
)
@click.option("--phrases", is_flag=True, help="Let single phrases change octave where the whole then lies better.")
@click.option("--all", "show_all", is_flag=True, help="List every key and octave, not only the first twelve.")
@hand_options
@json_option
def command(score: str, stay_near: str | None, phrases: bool, show_all: bool, as_json: bool, **hand: object) -> int:
    """Rank keys and octaves by how well they lie.

    The twelve keys are tried in three octaves each, every one with a fingering plan of its own for the chosen level.
    Cost is per note and has no unit; lower lies better. The bar named is the hardest one in that key, with its reason.

    \b
    partwright keys waltz.musicxml
    partwright keys waltz --level beginner --phrases
    partwright keys waltz.musicxml --stay-near "F# major" --json
    partwright keys waltz.musicxml --stay-near backing.flac
    """
    from partwright.arranging import keys_document, parse_key, rank_keys, semitones_to
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import read_job

    near = None
    if stay_near is not None:
        key = _heard(Path(stay_near)) if Path(stay_near).is_file() else stay_near
        near = (parse_key(key)[0], key)
    job = read_job(score, **hand)
    from partwright.errors import PartwrightError, Place

    try:
        ranking = rank_keys(
            job.part,
            job.instrument,
            level=job.level,
            near=near,
            phrases=_spans(job) if phrases else (),
        )
    except PartwrightError as error:
        raise error.at(Place(file=str(job.tune_path))) from error
    for text in job.remarks:
        remark(f"remark: {text}")
    if job.pins:
        remark("remark: pins are for the key they were set in; they are left aside here.")
    if as_json:
        print_json({"score": score, **keys_document(ranking)})
        return 0
    for line in _lines(ranking, show_all=show_all):
        click.echo(line)
    best = ranking.ranking[0] if ranking.ranking else None
    if best is not None and not best.given:
        octaves = (best.semitones - semitones_to(job.part, best.tonic)) // 12
        way = f" --octave {octaves}" if octaves else ""
        tune = shlex.quote(str(job.tune_path))
        remark(f"For a lesson in {best.key}: partwright new DIR --from {tune} --to {shlex.quote(best.tonic)}{way}")
    return 0


def _heard(recording: Path) -> str:
    """The key of a recording, with a remark that says how surely it was heard."""
    from partwright.cli.output import remark
    from partwright.sound import heard_key

    heard = heard_key(recording)
    for text in heard.remarks:
        remark(f"remark: {recording.name}: {text}")
    remark(
        f"remark: {recording.name} is heard in {heard.key} (agreement {heard.agreement:.2f}, next best "
        f"{heard.next_agreement:.2f}), {abs(heard.tuning_cents):.0f} cents "
        f"{'above' if heard.tuning_cents >= 0 else 'below'} A = 440 Hz; name the key if that is not so."
    )
    return heard.key


def _spans(job: Prepared) -> tuple[PhraseSpan, ...]:
    """The tune's phrases as spans of its notes."""
    from partwright.arranging import PhraseSpan
    from partwright.lesson import make_outline

    part = job.part
    outline = make_outline(part, sections=job.lesson.sections)
    firsts = [part.by_id[phrase.first_note_id].index for phrase in outline.phrases]
    ends = [first - 1 for first in firsts[1:]] + [len(part.notes) - 1]
    return tuple(PhraseSpan(first_note=first, last_note=last) for first, last in zip(firsts, ends, strict=True))


def _lines(ranking: KeyRanking, *, show_all: bool) -> list[str]:
    from partwright.cli.output import table_lines

    listed = ranking.ranking if show_all else ranking.ranking[:12]
    own = next((choice for choice in ranking.ranking if choice.given), None)
    if own is not None and own not in listed:
        listed = (*listed, own)
    places = {id(choice): str(number) for number, choice in enumerate(ranking.ranking, start=1)}
    rows = [
        [
            places[id(choice)],
            choice.key,
            _moved(choice),
            f"{choice.lowest}–{choice.highest}",
            f"{choice.cost_per_note:.2f}",
            choice.hardest_bar,
            choice.hardest_why,
            _remarks(choice),
        ]
        for choice in listed
    ]
    lines = list(table_lines(["", "key", "moved", "range", "cost", "hardest bar", "why", "remarks"], rows))
    near = f", near {ranking.stay_near}" if ranking.stay_near else ""
    lines.append(
        f"{ranking.tried} keys and octaves tried for {ranking.instrument.replace('_', ' ')}, {ranking.level}{near}; "
        f"{ranking.out_of_range} go beyond the instrument."
    )
    return lines


def _moved(choice: KeyChoice) -> str:
    if choice.semitones == 0:
        return "as given"
    way = "up" if choice.semitones > 0 else "down"
    octaves, rest = divmod(abs(choice.semitones), 12)
    if rest == 0:
        return f"{way} {octaves} octave{'s' if octaves > 1 else ''}"
    return f"{way} {abs(choice.semitones)} semitone{'s' if abs(choice.semitones) > 1 else ''}"


def _remarks(choice: KeyChoice) -> str:
    figures = choice.figures
    told = [
        f"{number} {one if number == 1 else many}"
        for number, one, many in (
            (figures.beyond_level, "note outside the level", "notes outside the level"),
            (figures.shifts, "shift", "shifts"),
            (figures.extended_events, "note extended", "notes extended"),
            (figures.open_events, "open", "open"),
        )
        if number
    ]
    told += [f"bars {d.first_bar}–{d.last_bar} {'up' if d.octaves > 0 else 'down'} an octave" for d in choice.displaced]
    return ", ".join(told)
