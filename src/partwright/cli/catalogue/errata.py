"""partwright catalogue errata: what is known to be wrong in what was released."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from partwright.cli.catalogue.shelf import enter_again, in_option, lesson_folder, today
from partwright.cli.options import json_option

if TYPE_CHECKING:
    from partwright.lesson import Erratum

__all__ = ["command"]

_KINDS = ("pitch", "rhythm", "finger", "string", "bow", "word", "sound", "other")


@click.command("errata")
@click.argument("lesson", metavar="LESSON")
@click.option("--add", "words", metavar="WORDS", help='A new one, as in "C sharp instead of C".')
@click.option("--at", "place", metavar="BAR[:BEAT]", help="Where the new one is.")
@click.option("--kind", type=click.Choice(_KINDS), help="What is wrong.  [default: other]")
@click.option("--was", default="", help="What stands there, as in C3 or 3/D.")
@click.option("--right", default="", help="What should stand there. A release sees by itself that it does.")
@click.option("--confirm", "confirm", multiple=True, metavar="ID", help="A draft is right: tell buyers. Repeatable.")
@click.option("--refuse", "refuse", multiple=True, metavar="ID", help="A draft is no mistake. Repeatable.")
@click.option("--fixed", "fixed", multiple=True, metavar="ID", help="Mended: build the lesson again. Repeatable.")
@click.option("--pdf", type=click.Path(dir_okay=False), metavar="FILE", help="Write the one-page errata slip.")
@in_option
@json_option
def command(
    lesson: str,
    words: str | None,
    place: str | None,
    kind: str | None,
    was: str,
    right: str,
    confirm: tuple[str, ...],
    refuse: tuple[str, ...],
    fixed: tuple[str, ...],
    pdf: str | None,
    catalogue: str | None,
    as_json: bool,
) -> int:
    """List what is known to be wrong in a lesson's editions; add to it, decide drafts, print the errata slip.

    Drafts come from you, or from viewers by partwright reports; once confirmed they stand on the slip and are told by
    verify. The next release sees by itself which notes, fingers and bows are mended. Exit code 1: some are open.

    \b
    partwright catalogue errata waltz --add "C sharp instead of C" --at 18:3 --kind pitch --was C3 --right "C#3"
    partwright catalogue errata waltz --confirm e1 --pdf waltz-errata.pdf
    """
    from partwright.catalogue import errata_pdf, read_editions
    from partwright.checking.reports import read_kept, settle_reports, state_words
    from partwright.cli.output import print_json, remark
    from partwright.errors import InputError
    from partwright.files import write_atomic
    from partwright.lesson import Erratum, add_erratum, change_erratum, folder_lock, read_errata, read_lesson

    folder, day = lesson_folder(lesson, catalogue), today()
    settings = read_lesson(folder)
    if words is None and (place or kind or was or right):
        raise InputError("--at, --kind, --was and --right belong to a new erratum", "Say --add WORDS too.")
    if words is not None or confirm or refuse or fixed:
        with folder_lock(folder):
            numbers = tuple(edition.number for edition in read_editions(folder))
            if words is not None:
                if not words.strip():
                    raise InputError("the new erratum has no words", 'Say what is right, as in "C sharp instead of C".')
                bar, _, beat = (place or "").partition(":")
                draft = Erratum(
                    kind=kind or "other",  # type: ignore[arg-type]
                    words=words.strip(),
                    bar=bar.strip(),
                    beat=beat.strip(),
                    was=was,
                    right=right,
                    state="confirmed",
                    editions=numbers,
                )
                remark(f"added {add_erratum(folder, draft, today=day).id}")
            for erratum_id in confirm:
                known = next((e for e in read_errata(folder) if e.id == erratum_id), None)
                changes: dict[str, Any] = {"state": "confirmed"}
                if known is not None and not known.editions and numbers:
                    changes["editions"] = numbers
                change_erratum(folder, erratum_id, **changes)
            for erratum_id in refuse:
                change_erratum(folder, erratum_id, state="refused")
            for erratum_id in fixed:
                change_erratum(folder, erratum_id, state="fixed", fixed=day)
            for row in settle_reports(folder, today=day):
                remark(f"report {row.get('id')} is {state_words(row)}")
        if fixed:
            _build(folder, settings.sell)
        if settings.catalogue_id:
            enter_again(folder, catalogue)
    errata = read_errata(folder)
    if pdf:
        write_atomic(Path(pdf), errata_pdf(folder, today=day))
    waiting = sum(erratum.open for erratum in errata)
    reports: dict[str, list[dict[str, Any]]] = {}
    for row in read_kept(folder, today=day):
        reports.setdefault(str(row.get("erratum") or ""), []).append(row)
    if as_json:
        rows = [{**_document(e), "told_in": [row.get("id") for row in reports.get(e.id, ())]} for e in errata]
        print_json({"lesson": settings.catalogue_id or None, "errata": rows, "file": pdf})
        return 1 if waiting else 0
    for erratum in errata:
        click.echo(_line(erratum))
        for row in reports.get(erratum.id, ()):
            click.echo(f"    report {row.get('id')}: {state_words(row)}")
    if pdf:
        click.echo(pdf)
    remark(f"{len(errata)} in all, {waiting} open." if errata else "No mistake is known.")
    return 1 if waiting else 0


def _build(folder: Path, products: tuple[str, ...]) -> None:
    """The lesson again, as it is now; what was done is told on the side, the result of the command is the list."""
    from partwright.building import build_lesson
    from partwright.cli.output import progress, remark

    with progress(0) as shown:
        ran = build_lesson(
            folder,
            only=products,
            started=lambda step, number, count: shown.start(step.words, number, count),
            finished=lambda _: shown.finish(),
        )
    remark(f"{sum(done.made for done in ran)} of {len(ran)} products made anew; a release makes the next edition.")


def _line(erratum: Erratum) -> str:
    from partwright.lesson import erratum_words

    mark = {"draft": "? draft", "confirmed": "✗ confirmed", "fixed": "✓ fixed", "refused": "– refused"}[erratum.state]
    dates = f"found {erratum.found.isoformat()}" if erratum.found else ""
    dates += f", fixed {erratum.fixed.isoformat()}" if erratum.fixed else ""
    dates += f" in edition {erratum.fixed_in}" if erratum.fixed_in else ""
    told = f", told by {erratum.reports}" if erratum.reports else ""
    return f"{mark}  {erratum.id}  {erratum_words(erratum)} ({dates}{told})"


def _document(erratum: Erratum) -> dict[str, object]:
    from dataclasses import asdict

    return {
        key: value.isoformat() if hasattr(value, "isoformat") else list(value) if isinstance(value, tuple) else value
        for key, value in asdict(erratum).items()
    }
