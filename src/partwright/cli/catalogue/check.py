"""partwright catalogue check: whether database, folders, editions and rights are as they should be."""

from __future__ import annotations

import click

from partwright.cli.catalogue.shelf import in_option, lessons_words, opened, today
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("check")
@in_option
@json_option
def command(catalogue: str | None, as_json: bool) -> int:
    """Check the catalogue: the database itself, folders that were moved, deleted or only half copied, editions that
    were changed by hand, licences that end soon or are used up. Exit code 1: something was found.
    """
    from partwright.catalogue import copies_sold, edition_faults, read_editions
    from partwright.cli.output import print_findings, print_json, remark
    from partwright.errors import PartwrightError
    from partwright.lesson import LESSON_FILE, RIGHTS_CAUTION, rights_gaps

    findings: list[tuple[str, str, str, str]] = []
    with opened(catalogue) as open_one:
        findings += [("wrong", "database", fault, "") for fault in open_one.faults()]
        troubles = open_one.folder_troubles()
        findings += [("wrong", trouble.folder, trouble.what, "") for trouble in troubles]
        entries = open_one.entries()
        editions = 0
        for number, entry in enumerate(entries, start=1):
            if number % 50 == 0:
                remark(f"{number}/{len(entries)} lessons")
            folder = open_one.folder_of(entry)
            if not (folder / LESSON_FILE).is_file():
                continue
            if entry.trouble:
                findings.append(("wrong", entry.id, entry.trouble, ""))
            try:
                frozen = read_editions(folder)
                editions += len(frozen)
                findings += [("wrong", entry.id, fault, "") for fault in edition_faults(folder, frozen)]
                held, known = {e.number: e.seal for e in frozen}, {e.number: e.seal for e in entry.editions}
                if held != known:
                    what = "the catalogue knows other editions than the folder holds"
                    findings.append(("check", entry.id, what, "Read it again: partwright catalogue add."))
            except PartwrightError as error:
                findings.append(("wrong", entry.id, str(error), ""))
            copies = copies_sold(entry.copies)
            for gap in rights_gaps(entry.rights, today=today(), copies_made=copies, price=entry.price):
                if gap.weight == "refuse" and not entry.editions:
                    continue  # a draft may be without; a release refuses by itself
                findings.append(("wrong" if gap.weight == "refuse" else "check", entry.id, gap.what, gap.todo))
    findings = list(dict.fromkeys(findings))
    if as_json:
        print_json(
            {
                "findings": [
                    {"verdict": v, "lesson": place, "what": what, "why": why} for v, place, what, why in findings
                ]
            }
        )
        return 1 if findings else 0
    print_findings(findings)  # type: ignore[arg-type]
    if any(place != "database" for _, place, _, _ in findings):
        remark(RIGHTS_CAUTION)
    if not findings:
        click.echo(
            f"✓ right  {lessons_words(len(entries))}, {editions} edition{'' if editions == 1 else 's'}: nothing found."
        )
    return 1 if findings else 0
