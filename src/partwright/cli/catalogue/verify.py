"""partwright catalogue verify: what a file is that a customer holds."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.catalogue.shelf import in_option, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("verify")
@click.argument("files", nargs=-1, required=True, type=click.Path(), metavar="FILE...")
@in_option
@json_option
def command(files: tuple[str, ...], catalogue: str | None, as_json: bool) -> int:
    """Say of a file that a customer holds whether it is of the current edition, of an old one (with what is known wrong
    in it), a buyer's copy, one of ours that was changed, or not ours.

    The hash of its bytes decides; nothing of it is kept. Exit code 0: current. 1: anything else.

    \b
    partwright catalogue verify part-a4.pdf
    """
    from partwright.catalogue import Verified, verify_file
    from partwright.cli.output import print_json
    from partwright.lesson import erratum_words

    with opened(catalogue) as open_one:
        found = [(name, verify_file(open_one, Path(name))) for name in files]

    def words(it: Verified) -> str:
        if it.what == "not ours":
            return f"✗ not ours: {it.why}"
        mark = {"current": "✓ current", "old": "? old", "changed": "✗ changed"}[it.what]
        which = f"{it.title}, edition {it.edition} of {it.date}"
        latest = f"; the latest is edition {it.latest}" if it.what == "old" else ""
        return f"{mark}: {which}{latest}{f'; {it.why}' if it.what == 'changed' else ''}"

    if as_json:
        print_json(
            {
                "files": [
                    {
                        "path": name,
                        "what": it.what,
                        "lesson": it.lesson_id or None,
                        "title": it.title or None,
                        "edition": it.edition,
                        "date": it.date or None,
                        "latest": it.latest,
                        "file": it.file or None,
                        "copy": it.copy_id or None,
                        "copy_line": it.copy or None,
                        "errata": [erratum_words(e) for e in it.errata],
                        "changes_since": list(it.since),
                        "why": it.why or None,
                    }
                    for name, it in found
                ]
            }
        )
    else:
        for name, it in found:
            click.echo(f"{words(it)}  {name}")
            if it.copy_id:
                click.echo(f"    copy {it.copy_id}: {it.copy}")
            for erratum in it.errata:
                fixed = f" Mended in edition {erratum.fixed_in}." if erratum.fixed_in else ""
                click.echo(f"    erratum: {erratum_words(erratum)}{fixed}")
            for change in it.since:
                click.echo(f"    since: {change}")
    return 0 if all(it.what == "current" for _, it in found) else 1
