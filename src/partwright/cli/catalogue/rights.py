"""partwright catalogue rights: the rights sheet, what is missing in it, and the lines it prints."""

from __future__ import annotations

from dataclasses import fields

import click

from partwright.cli.catalogue.shelf import enter_again, in_option, lesson_folder, parse_date, today
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("rights")
@click.argument("lesson", metavar="LESSON")
@click.option(
    "--status",
    type=click.Choice(["public-domain", "own-work", "licensed", "fan-arrangement"]),
    help="Set the status.",
)
@click.option("--reason", help="Set why it is in the public domain, or your own.")
@click.option("--country", "countries", multiple=True, metavar="CODE", help="Where that holds, as in DE. Repeatable.")
@click.option("--author", "authors", multiple=True, metavar="NAME", help="Who made the tune. Repeatable.")
@click.option("--owner", "owners", multiple=True, metavar="NAME", help="Whose it is. Repeatable.")
@click.option("--licence", help="Set the licence's id, as its letter says.")
@click.option("--granted", metavar="DATE", help="Set when it was granted.")
@click.option("--expires", metavar="DATE", help="Set its last day.")
@click.option("--scope", help="Set what it allows.")
@click.option("--copies", type=click.IntRange(1), metavar="N", help="Set how many copies it allows.")
@click.option("--royalty", help="Set what is owed, and on what.")
@click.option("--arrangement", help="Set the credit of the arrangement.")
@click.option("--recording", help="Set the note on the sound recording.")
@click.option("--sync", help="Set the note on music with pictures.")
@click.option("--ismn", help="Set the number of the printed music (ISO 10957).")
@click.option("--isrc", help="Set the number of the recording (ISO 3901).")
@in_option
@json_option
def command(lesson: str, catalogue: str | None, as_json: bool, **given: object) -> int:
    """Show a lesson's rights sheet, what stands against a release, and the credit that page, sound and video print.

    With options it is written into lesson.toml first; comments there stay. Exit code 0: it may be released as far as
    the sheet goes. 1: something is missing, or should be seen to.

    \b
    partwright catalogue rights waltz --status own-work --reason "I wrote it in May."
    """
    from partwright.catalogue.copies import copies_sold
    from partwright.catalogue.entry_io import read_copies
    from partwright.cli.output import print_findings, print_json, remark
    from partwright.lesson import (
        RIGHTS_CAUTION,
        RIGHTS_STATUSES,
        credit_lines,
        edit_settings,
        folder_lock,
        read_lesson,
        rights_gaps,
    )

    folder = lesson_folder(lesson, catalogue)
    values: dict[str, object] = {}
    for name, value in given.items():
        if value is None or value == ():
            continue
        plain = list(value) if isinstance(value, tuple) else value
        values[name] = parse_date(str(value)) if name in ("granted", "expires") else plain
    if values:
        with folder_lock(folder):
            edit_settings(folder, "rights", values)
    settings = read_lesson(folder)
    sheet = settings.rights_sheet
    made = copies_sold(read_copies(folder))
    gaps = rights_gaps(sheet, today=today(), copies_made=made, price=settings.price)
    credit = credit_lines(sheet, settings.rights)
    if values and settings.catalogue_id:
        enter_again(folder, catalogue)
    if as_json:
        shown = {field.name: getattr(sheet, field.name) for field in fields(sheet)}
        print_json(
            {
                "lesson": settings.catalogue_id or None,
                "sheet": {
                    name: value.isoformat() if hasattr(value, "isoformat") else value for name, value in shown.items()
                },
                "credit": list(credit),
                "copies_made": made,
                "findings": [
                    {"verdict": "wrong" if g.weight == "refuse" else "check", "what": g.what, "todo": g.todo}
                    for g in gaps
                ],
                "caution": RIGHTS_CAUTION,
            }
        )
        return 1 if gaps else 0
    click.echo(f"status       {RIGHTS_STATUSES.get(sheet.status, 'none yet')}")
    for field in fields(sheet):
        value = getattr(sheet, field.name)
        if field.name != "status" and value not in ("", (), None):
            text = "; ".join(value) if isinstance(value, tuple) else str(value)
            click.echo(f"{field.name:<12} {text}")
    if made:
        click.echo(f"copies made  {made}")
    for line in credit:
        click.echo(f"printed      {line}")
    print_findings(("wrong" if gap.weight == "refuse" else "check", "rights", gap.what, gap.todo) for gap in gaps)
    remark(RIGHTS_CAUTION)
    return 1 if gaps else 0
