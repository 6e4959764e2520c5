"""Writes what the manual takes from the program: docs/commands.md from --help, the tables of lesson_folder.md and of
dependencies.md.

`make docs` runs it; a test fails where the files are not fresh.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
from dependencies_table import dependencies_table

from partwright.building import STEPS
from partwright.cli.main import partwright
from partwright.lesson.schema import ROWS

HERE = Path(__file__).parent


def commands_text() -> str:
    """docs/commands.md as it should be."""
    parts = ["# Commands\n\nMade from `--help` by `make docs`.\n"]
    parts += [
        f"## {context.command_path}\n\n```text\n{context.get_help().rstrip()}\n```\n"
        for context in _walk(partwright, "partwright", None)
    ]
    return "\n".join(parts)


def lesson_folder_text(now: str) -> str:
    """docs/lesson_folder.md with fresh tables of settings and of products."""
    settings = ["| table | key | what it says | values |", "|---|---|---|---|"]
    for row in ROWS:
        values = ", ".join(row.choices) if row.choices else row.kind
        if row.low is not None and row.high is not None:
            values += f" from {row.low:g} to {row.high:g}"
        settings.append(f"| {f'`[{row.table}]`' if row.table else 'top'} | `{row.key}` | {row.words} | {values} |")
    products = ["| name | what it is |", "|---|---|", *(f"| `{step.name}` | {step.words} |" for step in STEPS)]
    return _with_table(_with_table(now, "settings", settings), "products", products)


def dependencies_text(now: str) -> str:
    """docs/dependencies.md with a fresh table of packages."""
    return _with_table(now, "packages", [*dependencies_table(now)])


def _with_table(text: str, name: str, lines: Sequence[str]) -> str:
    before, rest = text.split(f"<!-- {name}: ", 1)
    comment, rest = rest.split("-->\n", 1)
    _, after = rest.split(f"<!-- end of {name} -->", 1)
    table = "\n".join(lines)
    return f"{before}<!-- {name}: {comment}-->\n\n{table}\n\n<!-- end of {name} -->{after}"


def _walk(command: click.Command, name: str, parent: click.Context | None) -> Iterator[click.Context]:
    settings = {"max_content_width": 100, **command.context_settings}
    context = click.Context(command, info_name=name, parent=parent, terminal_width=100, **settings)
    yield context
    if isinstance(command, click.Group):
        for below in command.list_commands(context):
            found = command.get_command(context, below)
            assert found is not None
            yield from _walk(found, below, context)


def main() -> int:
    """Write the files; with --check only say whether they are fresh."""
    stale = []
    lesson_folder, dependencies = HERE / "lesson_folder.md", HERE / "dependencies.md"
    for path, text in (
        (HERE / "commands.md", commands_text()),
        (lesson_folder, lesson_folder_text(lesson_folder.read_text(encoding="utf-8"))),
        (dependencies, dependencies_text(dependencies.read_text(encoding="utf-8"))),
    ):
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            stale.append(path.name)
            if "--check" not in sys.argv:
                path.write_text(text, encoding="utf-8")
    print(f"{', '.join(stale) or 'nothing'} {'is stale' if '--check' in sys.argv else 'written'}")
    return 1 if stale and "--check" in sys.argv else 0


if __name__ == "__main__":
    sys.exit(main())
