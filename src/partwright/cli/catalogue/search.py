"""partwright catalogue search: lessons by words."""

from __future__ import annotations

import click

from partwright.cli.catalogue.list_ import show_found
from partwright.cli.catalogue.shelf import in_option, opened
from partwright.cli.options import json_option

__all__ = ["command"]


@click.command("search")
@click.argument("words", nargs=-1, required=True, metavar="WORDS...")
@click.option("--only", "wishes", default="", metavar="WISHES", help="As in list: only lessons that meet these.")
@click.option("--limit", type=click.IntRange(1), metavar="N", help="At most so many.  [default: all]")
@in_option
@json_option
def command(words: tuple[str, ...], wishes: str, limit: int | None, catalogue: str | None, as_json: bool) -> int:
    """Search titles, names, summaries, tags, keys and hardest spots. All words must be there; the beginning of a word
    is enough. The best match comes first.

    \b
    partwright catalogue search lantern
    partwright catalogue search waltz fennick --only "beginner"
    """
    from partwright.catalogue import find_lessons_by, parse_filters

    filters = parse_filters(wishes)
    with opened(catalogue) as open_one:
        found = find_lessons_by(open_one.database, words=" ".join(words), filters=filters, limit=limit)
    return show_found(found, as_json=as_json)
