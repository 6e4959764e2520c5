"""The table of commands, in the order of the job, and the group that loads each only when it is called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import click

from partwright.nearest import nearest_sentence

__all__ = ["CATALOGUE", "CHECKS", "COMMANDS", "CommandRow", "CommandTable"]


@dataclass(frozen=True, slots=True)
class CommandRow:
    """One command: its name, the module whose `command` it is, and its line in the list."""

    name: str
    module: str
    words: str


COMMANDS: tuple[CommandRow, ...] = (
    CommandRow("demo", "partwright.cli.demo", "Make the demonstration lesson and build all of it."),
    CommandRow("new", "partwright.cli.new", "Start a lesson folder from a tune."),
    CommandRow("keys", "partwright.cli.keys", "Rank keys and octaves by how well they lie."),
    CommandRow("arrange", "partwright.cli.arrange", "Write the tune in another key or for a level, or a part to it."),
    CommandRow("finger", "partwright.cli.finger", "Add fingers and strings to a tune."),
    CommandRow("bow", "partwright.cli.bow", "Add bow strokes to a tune."),
    CommandRow(
        "explain", "partwright.cli.explain", "Say why a note has its finger and bow, and what others would cost."
    ),
    CommandRow("learn", "partwright.cli.learn", "Learn your own hand from fingerings you corrected."),
    CommandRow("engrave", "partwright.cli.engrave", "Print the part as PDF or SVG."),
    CommandRow("sections", "partwright.cli.sections", "Show sections, phrases, and which bars return changed."),
    CommandRow("play", "partwright.cli.play", "Play a tune into a sound file or a MIDI file."),
    CommandRow("slow", "partwright.cli.slow", "Slow a recording down, or transpose it, without changing the other."),
    CommandRow("build", "partwright.cli.build", "Make everything in a lesson that is out of date."),
    CommandRow("script", "partwright.cli.script", "Print the lesson plan and the words to say."),
    CommandRow("check", "partwright.cli.check", "Check the score for what would trip a player."),
    CommandRow(
        "catalogue", "partwright.cli.catalogue", "Many lessons: editions, rights, copies, errata, search, builds."
    ),
    CommandRow("reports", "partwright.cli.reports", "Bring viewers' reports back to bars, and draft the errata."),
    CommandRow("studio", "partwright.cli.studio", "Open the studio: all of it on one page in your browser."),
)

CHECKS: tuple[CommandRow, ...] = (
    CommandRow("score", "partwright.cli.check_score", "Check the score itself: range, bars, ties, chords, level."),
    CommandRow(
        "narration", "partwright.cli.check_narration", "Check what was said: a transcript against score and plan."
    ),
    CommandRow(
        "take", "partwright.cli.check_take", "Check what was played: a recording against the score, note by note."
    ),
)

_CATALOGUE = "partwright.cli.catalogue"

CATALOGUE: tuple[CommandRow, ...] = (
    CommandRow("add", f"{_CATALOGUE}.add", "Enter lessons, or read them again."),
    CommandRow("list", f"{_CATALOGUE}.list_", 'List lessons, as in "beginner, D major, under 3 minutes".'),
    CommandRow("search", f"{_CATALOGUE}.search", "Find lessons by words."),
    CommandRow("show", f"{_CATALOGUE}.show", "Show everything known of one lesson."),
    CommandRow("rights", f"{_CATALOGUE}.rights", "Show or write the rights sheet, and what it lacks."),
    CommandRow("release", f"{_CATALOGUE}.release", "Freeze what is sold as the next edition."),
    CommandRow("verify", f"{_CATALOGUE}.verify", "Say what a file is that a customer holds."),
    CommandRow("copy", f"{_CATALOGUE}.copy", "Make a buyer's copy, with the licence line on every page."),
    CommandRow("errata", f"{_CATALOGUE}.errata", "List known mistakes, decide drafts, print the slip."),
    CommandRow("build", f"{_CATALOGUE}.build", "Build what is out of date, many lessons at once."),
    CommandRow("check", f"{_CATALOGUE}.check", "Check database, folders, editions and licences."),
    CommandRow("rebuild", f"{_CATALOGUE}.rebuild", "Make the catalogue again from the folders."),
    CommandRow("backup", f"{_CATALOGUE}.backup", "Copy the catalogue while it is in use."),
    CommandRow("export", f"{_CATALOGUE}.export", "Write the lessons as CSV or JSON."),
    CommandRow("page", f"{_CATALOGUE}.page", "Write the released lessons as a page for a web site."),
)


class CommandTable(click.Group):
    """A group whose commands are rows of a table. An unknown name is answered with the nearest known one."""

    def __init__(self, rows: Sequence[CommandRow], **settings: Any) -> None:
        super().__init__(**settings)
        self.rows = {row.name: row for row in rows}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.rows)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        row = self.rows.get(cmd_name)
        if row is None:
            return None
        command = import_module(row.module).command
        if not isinstance(command, click.Command):
            raise TypeError(f"{row.module}.command is not a click command")
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in self.rows:
            raise click.UsageError(
                f'there is no command "{name}". {nearest_sentence(name, self.rows, likeness=0.5)}', ctx
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(row.name, row.words) for row in self.rows.values()])
