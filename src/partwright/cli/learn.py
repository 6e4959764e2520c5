"""partwright learn: a teacher's own hand, learned from corrected fingerings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from partwright.cli.options import json_option

if TYPE_CHECKING:
    from partwright.fingering import Taste
    from partwright.lesson.learn_io import HandLearned, Source

__all__ = ["command"]


@click.command("learn")
@click.argument("lessons", nargs=-1, required=True, type=click.Path(), metavar="LESSON...")
@click.option("-o", "--out", type=click.Path(dir_okay=False), metavar="FILE", help="Taste file to write (.toml).")
@click.option("--use", is_flag=True, help="Put the taste into every LESSON, as its taste.toml.")
@click.option("--forget", is_flag=True, help="Take the taste out of every LESSON: the usual costs hold again.")
@click.option("--name", metavar="NAME", help="What the taste is called.  [default: the lesson's teacher]")
@click.option("--instrument", metavar="NAME", help="For tunes that are no lessons.  [default: cello]")
@click.option("--level", metavar="LEVEL", help="For tunes that are no lessons.  [default: advanced]")
@click.option("--pins-only", is_flag=True, help="Notes that were let stand say nothing.")
@click.option(
    "--seed", type=click.IntRange(min=0), default=0, metavar="N", help="Which decisions are held back together."
)
@json_option
def command(
    lessons: tuple[str, ...],
    out: str | None,
    use: bool,
    forget: bool,
    name: str | None,
    instrument: str | None,
    level: str | None,
    pins_only: bool,
    seed: int,
    as_json: bool,
) -> int:
    """Learn your own hand from fingerings you corrected.

    LESSON is a lesson folder with pins, or a tune with fingers printed in it. What your decisions have in common
    becomes a taste: a small file of how much each cost matters to you. Decisions are held back to try it on; unless
    more of them come out as you want, nothing changes. Without --out or --use it is only told.

    \b
    partwright learn waltz air reel --out my-hand.toml
    partwright learn waltz --use
    partwright finger tune.musicxml --taste my-hand.toml
    partwright learn waltz --forget
    """
    from partwright.cli.output import print_json, progress
    from partwright.errors import InputError
    from partwright.files import write_atomic
    from partwright.fingering import taste_text
    from partwright.lesson import is_lesson
    from partwright.lesson.learn_io import hand_document, hand_lines, learn_hands, use_taste

    folders = [Path(path) for path in lessons]
    if (use or forget) and any(not is_lesson(folder) for folder in folders):
        option = "--forget" if forget else "--use"
        raise InputError(f"{option} is for lesson folders, and one of these is a tune", "Leave it out, or --out FILE.")
    if forget:
        if use or out is not None:
            raise InputError("--forget takes a taste out, --use and --out put one in", "Choose one of them.")
        return _forget(folders, as_json=as_json)
    sources = _sources(lessons, instrument, level)
    with progress(1, quiet=as_json) as shown:
        results = learn_hands(sources, let_stand=0.0 if pins_only else 0.5, seed=seed, said=shown.start)
    taste = _taste(results, sources, name)
    if taste is not None:
        if out is not None:
            write_atomic(Path(out), taste_text(taste))
        if use:
            for folder in folders:
                use_taste(folder, taste)
    written = taste is not None
    if as_json:
        print_json(
            {
                "name": taste.name if taste else "",
                "file": out if written else None,
                "used_in": list(lessons) if use and written else [],
                "hands": [hand_document(result) for result in results],
            }
        )
        return 0
    for result in results:
        for line in hand_lines(result):
            click.echo(line)
    if taste is None:
        click.echo("Nothing was changed.")
        return 0
    if out is not None:
        click.echo(f"{out}: the taste of {taste.name}. Use it with --taste, or as taste in a lesson.toml.")
    if use:
        click.echo(f"{', '.join(lessons)}: planned with it from now on. --forget takes it out again.")
    if out is None and not use:
        click.echo("Nothing was changed. --out FILE keeps the taste, --use puts it into the lessons.")
    return 0


def _sources(lessons: tuple[str, ...], instrument: str | None, level: str | None) -> list[Source]:
    from partwright.cli.read_job import read_settings
    from partwright.lesson import is_lesson
    from partwright.lesson.learn_io import read_source

    found = []
    for path in lessons:
        alone = not is_lesson(Path(path))
        settings, folder = read_settings(path, instrument=instrument if alone else None, level=level if alone else None)
        found.append(read_source(settings, folder))
    return found


def _taste(results: tuple[HandLearned, ...], sources: list[Source], name: str | None) -> Taste | None:
    """The taste to write: what was learned now, over what the lessons' taste knows of other instruments."""
    import datetime
    from dataclasses import replace

    from partwright.fingering import Taste

    hands = [result.hand for result in results if result.hand is not None]
    if not hands:
        return None
    before = next((source.job.taste for source in sources if source.job.taste is not None), None)
    called = name or (before.name if before else "") or next((s.job.lesson.teacher for s in sources), "") or "my hand"
    taste = replace(before or Taste(name=called), name=called, made=datetime.date.today().isoformat())
    for hand in hands:
        taste = taste.with_hand(hand)
    return taste


def _forget(folders: list[Path], *, as_json: bool) -> int:
    from partwright.cli.output import print_json
    from partwright.lesson.learn_io import forget_taste

    done = [str(folder) for folder in folders if forget_taste(folder)]
    if as_json:
        print_json({"forgotten": done})
        return 0
    for folder in folders:
        had = str(folder) in done
        click.echo(f"{folder}: {'its taste is taken out; the usual costs hold again.' if had else 'it had no taste.'}")
    return 0
