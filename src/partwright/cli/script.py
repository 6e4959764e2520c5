"""partwright script: the lesson plan and the words to say."""

from __future__ import annotations

from pathlib import Path

import click

from partwright.cli.options import hand_options, json_option, out_option

__all__ = ["command"]

_KINDS = {".md": "text", ".txt": "text", ".html": "prompter", ".htm": "prompter", ".json": "cues"}


@click.command("script")
@click.argument("score", type=click.Path(), metavar="LESSON")
@out_option(required=False, words="File to write: .md (text), .html (prompter) or .json (cue list).")
@click.option("--steps", "only_steps", is_flag=True, help="Only the teaching steps and about how long each takes.")
@hand_options
@json_option
def command(score: str, out: str | None, only_steps: bool, as_json: bool, **hand: object) -> int:
    """Print the words to say, in teaching order: notes, fingers, strings, positions, bows, what returns and what is
    different in it.

    LESSON is a lesson folder or a tune. Order, episodes, tempi and rate of speaking are the lesson's. The words are
    made from the part and its plan; a script.md of your own in the lesson's folder is used instead.

    \b
    partwright script waltz
    partwright script waltz --steps
    partwright script waltz --out prompter.html
    """
    from partwright.cli.output import print_json, remark
    from partwright.cli.read_job import read_job, refuse_source
    from partwright.lesson import lesson_script, script_document, script_text, teach

    kind = _kind(out)
    job = read_job(score, **hand)
    if out is not None:
        refuse_source(Path(out), job.tune_path)
    teaching = teach(job)
    sentences = lesson_script(teaching, Path(score))
    for text in (*job.remarks, *teaching.remarks):
        remark(f"remark: {text}")
    document = script_document(teaching, sentences)
    if out is not None:
        _write(Path(out), kind, teaching, sentences, document)
    if as_json:
        print_json({"score": score, **document} | ({"file": out} if out is not None else {}))
    elif only_steps:
        _print_steps(document)
    elif out is None:
        click.echo(script_text(teaching, sentences), nl=False)
    else:
        spoken = sum(cue["end_s"] - cue["start_s"] for cue in document["cues"])  # type: ignore[attr-defined]
        click.echo(f"{out}: {len(sentences)} sentences, about {spoken / 60:.0f} minutes of speech.")
    return 0


def _kind(out: str | None) -> str:
    from partwright.errors import InputError

    if out is None:
        return ""
    kind = _KINDS.get(Path(out).suffix.casefold())
    if kind is None:
        raise InputError(f'"{out}" has no ending this command writes', "Use .md, .html or .json.")
    return kind


def _write(out: Path, kind: str, teaching: object, sentences: object, document: object) -> None:
    import json

    from partwright.files import write_atomic

    if kind == "prompter":
        from partwright.engraving import prompter_html

        write_atomic(out, prompter_html(teaching, sentences))  # type: ignore[arg-type]
    elif kind == "cues":
        write_atomic(out, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
    else:
        from partwright.lesson import script_text

        write_atomic(out, script_text(teaching, sentences))  # type: ignore[arg-type]


def _print_steps(document: object) -> None:
    from partwright.cli.output import table_lines

    assert isinstance(document, dict)
    rows = []
    for step in document["steps"]:
        first, last = step["bars"]
        rows.append(
            [
                str(step["step"]),
                str(step["episode"]),
                step["section"],
                step["kind"],
                first if first == last else f"{first}–{last}",
                f"{step['percent']:g} %",
                f"{step['times']} ×",
                f"{int(step['seconds'] // 60)}:{int(step['seconds'] % 60):02d}",
                step["adds"],
            ]
        )
    for line in table_lines(["step", "episode", "section", "what", "bars", "tempo", "played", "about", "adds"], rows):
        click.echo(line)
    total = sum(step["seconds"] for step in document["steps"])
    click.echo(f"{len(rows)} steps, about {total / 60:.0f} minutes of practice.")
