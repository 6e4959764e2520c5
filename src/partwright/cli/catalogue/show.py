"""partwright catalogue show: everything the catalogue knows of one lesson."""

from __future__ import annotations

import click

from partwright.cli.catalogue.shelf import in_option, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("show")
@click.argument("lesson", metavar="LESSON")
@in_option
@json_option
def command(lesson: str, catalogue: str | None, as_json: bool) -> int:
    """Show a lesson's sales sheet, editions with what changed, rights, errata and what is to be answered."""
    from partwright.catalogue import copies_sold, entry_document
    from partwright.cli.output import print_json
    from partwright.lesson import RIGHTS_STATUSES, erratum_words

    with opened(catalogue) as open_one:
        entry = open_one.entry(lesson)
    if as_json:
        print_json(entry_document(entry))
        return 0
    click.echo(f"{entry.title}{f', {entry.subtitle}' if entry.subtitle else ''}")
    copies = copies_sold(entry.copies)
    hand = {
        "extension": entry.extensions,
        "harmonic": entry.harmonics,
        "note in thumb position": entry.thumb,
        "double stop": entry.double_stops,
    }
    allowed = f" of {entry.rights.copies}" if entry.rights.copies is not None else ""
    facts = (
        ("id", entry.id),
        ("folder", entry.folder),
        ("composer", entry.composer),
        ("arranger", entry.arranger),
        ("teacher", entry.teacher),
        ("instrument", f"{entry.instrument.replace('_', ' ')}, {entry.level}"),
        ("key", f"{entry.key}, {entry.metre}" if entry.key else ""),
        ("length", f"{entry.duration}, {entry.bars} bars" if entry.duration else ""),
        ("range", entry.range_words),
        ("positions", ", ".join(entry.positions)),
        ("hand", ", ".join(_many(count, name) for name, count in hand.items() if count)),
        ("hardest", f"bar {entry.hardest_bar}: {entry.hardest}" if entry.hardest else ""),
        ("price", entry.price),
        ("tags", ", ".join(entry.tags)),
        ("summary", entry.summary),
        ("rights", RIGHTS_STATUSES.get(entry.rights.status, "no status yet")),
        ("copies", f"{copies}{allowed}" if copies or allowed else ""),
        ("state", entry.state),
        ("trouble", entry.trouble),
    )
    for name, value in facts:
        if value:
            click.echo(f"  {name:<11} {value}")
    for edition in reversed(entry.editions):
        click.echo(f"  edition {edition.number:<3} {edition.date.isoformat()}, {len(edition.files)} files")
        for change in edition.changes:
            click.echo(f"              {change}")
    for erratum in entry.errata:
        click.echo(f"  erratum     {erratum.id} {erratum.state}: {erratum_words(erratum)}")
    answered = sum(report.state == "answered" for report in entry.reports)
    if entry.to_answer or answered:
        click.echo(f"  reports     {entry.to_answer} to answer, {answered} answered")
    return 0


def _many(count: int, name: str) -> str:
    """As in "1 harmonic", "3 notes in thumb position"."""
    first, _, rest = name.partition(" ")
    if count == 1:
        return f"1 {name}"
    return f"{count} {name}s" if rest in ("", "stop") else f"{count} {first}s {rest}"
